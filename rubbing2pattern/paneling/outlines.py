"""Outlines inside the leads: where the glass ends, and what is seen between the leaves.

Legend for shapes: P pieces, E cames, S = 2 E sides (see `walk`). All lengths in mm.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import LineString, MultiPolygon, Point, Polygon

from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.paneling.lines import LeadLines
from rubbing2pattern.paneling.openings import Opening

Shapes = npt.NDArray[np.object_]
Side = tuple[float, bytes]
"""Half the width of a came and the coordinates of its lead line, in the direction walked."""

QUADRANT_CHORDS = 8
"""Chords per quarter of a rounded corner: their rise is 0.5 % of its radius, 0.015 mm at 3 mm."""
_MOST_KEPT = 4096
"""Outlines kept: most pieces are as they were when a panel is cut again."""


def inner_outlines(
    shapes: Shapes, openings: Sequence[Opening], lines: LeadLines, half_widths_mm: Array
) -> Shapes:
    """Return what the leads leave free of each opening.

    A lead takes the strip of its half width on either side of its line. It ends square at its
    joints, and there a round corner of the narrower of two neighbouring leads closes the gap. A
    strap lead has round ends. With one width all round this is the outline set in by it.

    Parameters
    ----------
    shapes : (P,) centre outlines, valid.
    openings : P openings they belong to.
    lines : the lead lines.
    half_widths_mm : (E,) half the width of each came.

    Returns
    -------
    (P,) polygons, multipolygons where a neck is narrower than the leads, or empty polygons.
    """
    inner = np.empty(len(openings), dtype=object)
    for k, opening in enumerate(openings):
        rings = tuple(
            tuple(_side(s, lines, half_widths_mm) for s in ring)
            for ring in (opening.shell, *opening.holes)
        )
        straps = tuple(_side(2 * c, lines, half_widths_mm) for c in opening.straps)
        inner[k] = _inner(shapes[k], rings, straps)
    return inner


def _side(side: int, lines: LeadLines, half_widths_mm: Array) -> Side:
    path = lines.paths[side >> 1]
    run = path[::-1] if side & 1 else path
    return float(half_widths_mm[side >> 1]), run.tobytes()


def _run(side: Side) -> Array:
    """Return the lead line of a side, (N, 2)."""
    return np.frombuffer(side[1]).reshape(-1, 2)


@lru_cache(maxsize=_MOST_KEPT)
def _inner(
    shape: Polygon, rings: tuple[tuple[Side, ...], ...], straps: tuple[Side, ...]
) -> Polygon | MultiPolygon:
    """Return what the leads around an opening, and those in it, leave free."""
    least_mm = min(half for ring in rings for half, _ in ring)
    inner = shapely.buffer(shape, -least_mm, quad_segs=QUADRANT_CHORDS)
    taken = _taken(rings, straps, least_mm)
    if len(taken):
        inner = shapely.difference(inner, shapely.union_all(taken))
    return inner if isinstance(inner, Polygon | MultiPolygon) else polygons_of(inner)


def polygons_of(shape: shapely.Geometry) -> Polygon | MultiPolygon:
    """Return the polygons in a shape, leaving out points and lines; an empty polygon if none."""
    found = [p for p in shapely.get_parts(shape) if isinstance(p, Polygon) and not p.is_empty]
    if len(found) == 1:
        return found[0]
    return MultiPolygon(found) if found else Polygon()


def largest_part(shape: Polygon | MultiPolygon) -> Polygon:
    """Return the polygon with the largest area, the first of equals."""
    if isinstance(shape, Polygon):
        return shape
    return max(shape.geoms, key=lambda part: part.area)


def _taken(rings: Sequence[Sequence[Side]], straps: Sequence[Side], least_mm: float) -> Shapes:
    """Return the strips that leads wider than the least around an opening and straps take."""
    flat: list[tuple[LineString, float]] = []
    round_: list[tuple[LineString | Point, float]] = []
    for ring in rings:
        for chain, joint_half in _chains(ring):
            half = chain[0][0]
            if half <= least_mm and joint_half <= least_mm:
                continue
            path = np.vstack([_run(chain[0]), *(_run(side)[1:] for side in chain[1:])])
            if half > least_mm:
                closed = len(chain) == len(ring)
                (round_ if closed else flat).append((LineString(path), half))
            if joint_half > least_mm:
                round_.append((Point(path[-1]), joint_half))
    round_ += [(LineString(_run(side)), side[0]) for side in straps]
    return np.concatenate((_buffered(flat, "flat"), _buffered(round_, "round")))


def _chains(ring: Sequence[Side]) -> Iterator[tuple[Sequence[Side], float]]:
    """Yield runs of neighbouring sides of one width, with the half width that rounds their end."""
    halves = [half for half, _ in ring]
    changes = [i for i in range(len(ring)) if halves[i] != halves[i - 1]]
    if not changes:
        yield ring, 0.0
    for a, b in zip(changes, [*changes[1:], *changes[:1]], strict=True):
        chain = ring[a:b] if a < b else (*ring[a:], *ring[:b])
        yield chain, min(halves[a], halves[b])


def _buffered(strips: Sequence[tuple[shapely.Geometry, float]], caps: str) -> Shapes:
    shapes = np.array([shape for shape, _ in strips], dtype=object)
    halves = np.array([half for _, half in strips], dtype=np.float64)
    grown = shapely.buffer(shapes, halves, quad_segs=QUADRANT_CHORDS, cap_style=caps)
    return np.asarray(grown, dtype=object)
