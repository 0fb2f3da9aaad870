"""How a glass lies between hearts and leaves: where it binds, where light would show, its play."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from scipy.optimize import linprog
from scipy.spatial import HalfspaceIntersection, QhullError
from shapely.geometry import MultiPoint, Polygon

from rubbing2pattern.curves import as_point
from rubbing2pattern.frame import Array, Placement
from rubbing2pattern.matching.distances import ExactDistance, even_ring
from rubbing2pattern.matching.fitting import Pose
from rubbing2pattern.matching.loose import LoosePiece, Opening, Placed, Stretch
from rubbing2pattern.matching.shapes import turned_over
from rubbing2pattern.options.match import MatchOptions

_STEP_MM = 0.7
_MOST_PLACES = 600
_ROUNDS = 3
_FARTHEST_MM = 1.5
_PLAY_BOUND_MM = 10.0


@dataclass(frozen=True, slots=True)
class _Edge:
    """The edge of a glass in an opening, and its signed distances from hearts and leaves (N,).

    `beyond` is positive where it stands beyond a heart, `short` where it ends before a leaf.
    """

    places: Array
    beyond: Array
    beyond_slope: Array
    short: Array
    short_slope: Array


def laid(piece: LoosePiece, pose: Pose, opening: Opening, options: MatchOptions) -> Placed:
    """Return a piece laid so that it is off by as little as can be, and what is off then.

    Rule: from the likeliest pose the glass is shifted and turned until the greatest of what stands
    beyond a heart and what falls short of a leaf is least (a linear programme on the distances at
    its edge, solved again from where it led). What is then off by less than `tolerance_mm` counts
    as nothing.
    """
    hearts = ExactDistance(opening.hearts)
    sight = None if opening.sight.is_empty else ExactDistance(opening.sight)
    outline = turned_over(piece.outline) if pose.over else piece.outline
    count = int(np.clip(math.ceil(outline.exterior.length / _STEP_MM), 32, _MOST_PLACES))
    own = even_ring(outline, count)
    placement = pose.placement
    for _ in range(_ROUNDS):
        edge = _edge(placement.apply(own), hearts, sight)
        placement = _eased(placement, edge)
    edge = _edge(placement.apply(own), hearts, sight)
    groze = _stretches(edge.places, edge.beyond, options)
    short = _stretches(edge.places, edge.short, options)
    away = ExactDistance(opening.cut).at(edge.places)[0]
    return Placed(
        number=opening.number,
        over=pose.over,
        placement=placement,
        outline=shapely.orient_polygons(_moved(outline, placement)),
        rms_mm=float(np.sqrt(np.mean(away**2))),
        log_likelihood=pose.log_likelihood,
        groze=groze,
        short=short,
        groze_mm=max((s.most_mm for s in groze), default=0.0),
        short_mm=max((s.most_mm for s in short), default=0.0),
        play_mm=_play(edge),
    )


def _moved(outline: Polygon, placement: Placement) -> Polygon:
    moved = shapely.transform(outline, placement.apply)
    assert isinstance(moved, Polygon)
    return moved


def _edge(places: Array, hearts: ExactDistance, sight: ExactDistance | None) -> _Edge:
    beyond, beyond_slope = hearts.at(places)
    if sight is None:
        return _Edge(
            places, beyond, beyond_slope, np.full(len(places), -np.inf), np.zeros_like(places)
        )
    inside, slope = sight.at(places)
    return _Edge(places, beyond, beyond_slope, -inside, -slope)


def _eased(placement: Placement, edge: _Edge) -> Placement:
    """Return the placement after one step towards the least greatest fault."""
    centre = edge.places.mean(axis=0)
    arm = edge.places - centre
    size = max(float(np.hypot(*arm.T).max()), 1e-6)
    rows, limits = [], []
    for fault, slope in ((edge.beyond, edge.beyond_slope), (edge.short, edge.short_slope)):
        near = fault > fault.max() - 2.0 * _FARTHEST_MM
        turning = (slope[:, 1] * arm[:, 0] - slope[:, 0] * arm[:, 1]) / size
        rows.append(np.column_stack((turning, slope, -np.ones(len(fault))))[near])
        limits.append(-fault[near])
    bounds = [(-_FARTHEST_MM, _FARTHEST_MM)] * 3 + [(None, None)]
    solved = linprog(
        (0.0, 0.0, 0.0, 1.0), np.vstack(rows), np.concatenate(limits), bounds=bounds, method="highs"
    )
    if not solved.success:
        return placement
    turn, dx, dy = solved.x[0] / size, solved.x[1], solved.x[2]
    about = Placement(math.degrees(turn))
    shift = centre - about.apply([centre])[0] + (dx, dy)
    own = about.apply([(placement.dx_mm, placement.dy_mm)])[0] + shift
    return Placement(
        (placement.angle_deg + math.degrees(turn)) % 360.0, float(own[0]), float(own[1])
    )


def _stretches(places: Array, fault: Array, options: MatchOptions) -> tuple[Stretch, ...]:
    """Return the runs of an edge that are off by more than the tolerance, worst first."""
    off = fault > options.tolerance_mm
    if not off.any():
        return ()
    step_mm = float(np.hypot(*(places[1] - places[0])))
    first = 0 if off.all() else int(np.flatnonzero(~off)[0])
    order = (np.arange(len(off)) + first) % len(off)
    at = np.flatnonzero(off[order])
    breaks = np.flatnonzero(np.diff(at) * step_mm > options.stretch_gap_mm) + 1
    found = []
    for run in np.split(at, breaks):
        index = order[run[0] : run[-1] + 1]
        worst = index[int(np.argmax(fault[index]))]
        path = np.array(places[index])
        path.flags.writeable = False
        found.append(Stretch(path, float(fault[worst]), as_point(places[worst])))
    return tuple(sorted(found, key=lambda stretch: -stretch.most_mm))


def _play(edge: _Edge) -> float:
    """Return the least width of the shifts that keep the glass between the hearts."""
    room = -edge.beyond
    if room.min() <= 0.0:
        return 0.0
    near = room < _PLAY_BOUND_MM
    halves = np.column_stack((edge.beyond_slope[near], -room[near]))
    box = np.array([(1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0)])
    halves = np.vstack((halves, np.column_stack((box, np.full(4, -_PLAY_BOUND_MM)))))
    try:
        corners = HalfspaceIntersection(halves, np.zeros(2)).intersections
    except QhullError:
        return 0.0
    hull = shapely.get_coordinates(MultiPoint(corners).convex_hull)
    way = np.diff(hull, axis=0)
    length = np.hypot(*way.T)
    normal = np.column_stack((way[:, 1], -way[:, 0]))[length > 1e-9] / length[length > 1e-9, None]
    across = hull @ normal.T
    return float((across.max(axis=0) - across.min(axis=0)).min()) if len(normal) else 0.0
