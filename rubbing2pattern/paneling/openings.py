"""The openings of a net: where a piece of glass sits, with holes and strap leads in it.

Legend for shapes: J joints, E cames, S = 2 E sides (see `walk`). All lengths in mm.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import MultiPolygon, Polygon

from rubbing2pattern.paneling.lines import LeadLines
from rubbing2pattern.paneling.walk import (
    Turn,
    Walk,
    leaving_joint,
    parts,
    rounds,
    side_areas,
    side_turns,
    walk_points,
    walks,
)

OUTSIDE = -1
"""Means the outside of the panel where a number of an opening is expected."""
REACHES_MM = (0.0, 1.0, 3.0, 8.0, 15.0)
"""How far out the order of cames round a joint is judged, one after the other: two fitted lines
that cross once more close to their joint are in the right order only beyond that."""

Shapes = npt.NDArray[np.object_]


@dataclass(frozen=True, slots=True)
class Opening:
    """Where one piece sits.

    Attributes
    ----------
    shell : sides around it, anticlockwise.
    holes : sides around each hole, clockwise.
    straps : cames with this opening on both sides, in the order of the net.
    """

    shell: Walk
    holes: tuple[Walk, ...] = ()
    straps: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Division:
    """How the cames divide the plane.

    Attributes
    ----------
    openings : in the order of the net.
    outer : simple rounds with the outside on their left, clockwise; what they enclose together is
        the panel.
    left : S numbers, the opening on the left of each side, or `OUTSIDE`.
    loose : cames with the outside on both sides.
    """

    openings: tuple[Opening, ...]
    outer: tuple[Walk, ...]
    left: tuple[int, ...]
    loose: tuple[int, ...]


class NotPlanarError(ValueError):
    """Lead lines cross where there is no joint, so openings cannot be separated."""


def divide(lines: LeadLines) -> Division:
    """Find the openings between the cames.

    Strategy:

    1. Walk round everything; a came walked both ways in one walk divides nothing (a strap, a bridge
       or a loose end). The number of walks must satisfy Euler's formula V - E + F = 1 + C.
    2. Walk again without those: walks with a positive area are openings, the others go round the
       outside of a connected part.
    3. A walk that touches itself at a joint is split there; what turns clockwise is a hole.
    4. A part that lies inside an opening makes a hole in it; so does a strap or bridge become that
       opening's strap.

    Raises
    ------
    NotPlanarError
        When Euler's formula holds for no order of the cames round their joints.
    """
    everything = range(len(lines.paths))
    if not everything:
        return Division((), (), (), ())

    @cache
    def turns(reach_mm: float) -> list[Turn]:
        return side_turns(lines, reach_mm)

    walked = _planar_walks(lines, everything, turns)
    both_ways = {s >> 1 for walk in walked for s in _repeated(walk)}
    ring_cames = [c for c in everything if c not in both_ways]
    leaves, areas = leaving_joint(lines), side_areas(lines)

    shells: list[Walk] = []
    holes: list[list[Walk]] = []
    rims: list[list[Walk]] = []
    for walk in _planar_walks(lines, ring_cames, turns):
        simple = sorted(rounds(walk, leaves), key=lambda r: -_area(r, areas))
        if _area(walk, areas) > 0.0:
            shells.append(simple[0])
            holes.append(list(simple[1:]))
        else:
            rims.append(simple)

    finder = _Finder(lines, shells, parts(lines, ring_cames), leaves)
    outer: list[Walk] = []
    for rim in rims:
        joint = leaves[rim[0][0]]
        where = finder.opening_around(tuple(lines.joints_mm[joint]), joint)
        (outer if where == OUTSIDE else holes[where]).extend(rim)

    straps: list[list[int]] = [[] for _ in shells]
    loose: list[int] = []
    for came in sorted(both_ways):
        where = finder.opening_around(lines.middles_mm[came], None)
        (loose if where == OUTSIDE else straps[where]).append(came)

    openings = tuple(
        Opening(shell, tuple(sorted(inner)), tuple(strap))
        for shell, inner, strap in zip(shells, holes, straps, strict=True)
    )
    return Division(openings, tuple(sorted(outer)), _left(lines, openings), tuple(loose))


def centre_shapes(division: Division, lines: LeadLines) -> Shapes:
    """Return the centre outline of every opening as a polygon, valid or not."""
    shapes = np.empty(len(division.openings), dtype=object)
    for k, opening in enumerate(division.openings):
        shapes[k] = Polygon(
            walk_points(opening.shell, lines.paths),
            [walk_points(hole, lines.paths) for hole in opening.holes],
        )
    return shapes


def outer_shape(division: Division, lines: LeadLines) -> Polygon | MultiPolygon:
    """Return what the panel covers to the middle of its border leads; valid or not."""
    shapes = [Polygon(walk_points(outer, lines.paths)[::-1]) for outer in division.outer]
    return shapes[0] if len(shapes) == 1 else MultiPolygon(shapes)


class _Finder:
    """Finds the innermost opening around a place."""

    def __init__(
        self, lines: LeadLines, shells: list[Walk], part: dict[int, int], leaves: list[int]
    ) -> None:
        polygons = [Polygon(walk_points(shell, lines.paths)) for shell in shells]
        self.polygons = np.array(polygons, dtype=object)
        self.areas = shapely.area(self.polygons)
        self.shell_part = [part[leaves[shell[0]]] for shell in shells]
        self.part = part
        shapely.prepare(self.polygons)

    def opening_around(self, at: tuple[float, float], joint: int | None) -> int:
        """Return the smallest opening around a place, leaving out those of the joint's own part."""
        if not len(self.polygons):
            return OUTSIDE
        own = None if joint is None else self.part[joint]
        inside = np.flatnonzero(shapely.contains_xy(self.polygons, *at))
        others = [int(k) for k in inside if self.shell_part[k] != own]
        return min(others, key=lambda k: (self.areas[k], k), default=OUTSIDE)


def _planar_walks(
    lines: LeadLines, cames: Sequence[int], turns: Callable[[float], list[Turn]]
) -> list[Walk]:
    part = parts(lines, cames)
    wanted = 2 * len(set(part.values())) + len(cames) - len(part)
    for reach_mm in REACHES_MM:
        found = walks(lines, cames, turns(reach_mm))
        # V - E + F = 1 + C with the C outsides of the parts counted once: F = walks - C + 1.
        if len(found) == wanted:
            return found
    raise NotPlanarError("lead lines cross where there is no joint")


def _repeated(walk: Walk) -> list[int]:
    sides = set(walk)
    return [s for s in walk if s ^ 1 in sides]


def _area(walk: Walk, areas: list[float]) -> float:
    return sum(areas[s] for s in walk)


def _left(lines: LeadLines, openings: tuple[Opening, ...]) -> tuple[int, ...]:
    left = [OUTSIDE] * (2 * len(lines.paths))
    for k, opening in enumerate(openings):
        for side in (*opening.shell, *(s for hole in opening.holes for s in hole)):
            left[side] = k
        for came in opening.straps:
            left[2 * came] = left[2 * came + 1] = k
    return tuple(left)
