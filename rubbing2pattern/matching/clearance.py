"""How a glass lies between hearts and leaves: where it binds, where light would show, its play."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from scipy.optimize import linprog
from scipy.spatial import HalfspaceIntersection, QhullError
from shapely.geometry import MultiPoint, MultiPolygon, Polygon

from rubbing2pattern.geometry.curves import as_point, running_length
from rubbing2pattern.geometry.frame import Array, Placement
from rubbing2pattern.matching.distances import ExactDistance, even_ring
from rubbing2pattern.matching.fitting import Pose
from rubbing2pattern.matching.loose import LoosePiece, Opening, Placed, Stretch
from rubbing2pattern.matching.shapes import turned_over
from rubbing2pattern.options.match import MatchOptions

_STEP_MM = 1.0
"""Step along outlines at which play is taken."""
_MOST_PLACES = 400
"""Places on an outline at most; of larger pieces the step grows."""
_ROUNDS = 4
"""Moves that ease a piece; each is the best for what binds then."""
_SETTLED = 1e-4
"""Gain, in mm, that a further move must bring."""
_COUNTED = (20.0, 1.0, 0.02)
"""What a millimetre counts that binds, that falls short, and that lies off the middle."""
_FARTHEST_MM = 1.5
"""How far one move may go, for slopes hold only nearby."""
_PLAY_BOUND_MM = 10.0
"""Play that is not followed beyond: the piece does not fit its opening."""


@dataclass(frozen=True, slots=True)
class _Faults:
    """Signed distances in mm that should not be positive, and where and how they change.

    Attributes
    ----------
    places : (N, 2) in the panel's frame.
    fault : (N,) how far glass reaches beyond a heart, or a leaf's edge beyond the glass.
    slope : (N, 2) change of the fault as the glass is shifted.
    """

    places: Array
    fault: Array
    slope: Array

    @property
    def most(self) -> float:
        """The greatest of them; minus infinity where there are none."""
        return float(self.fault.max(initial=-np.inf))


class _Bench:
    """One glass and one opening, ready to be laid together in any way."""

    def __init__(self, outline: Polygon, opening: Opening) -> None:
        count = int(np.clip(math.ceil(outline.exterior.length / _STEP_MM), 32, _MOST_PLACES))
        self.edge = even_ring(outline, count)
        self.glass = ExactDistance(outline)
        self.hearts = ExactDistance(opening.hearts)
        self.leaves = _places_along(opening.sight)

    def laid(self, placement: Placement) -> tuple[_Faults, _Faults]:
        """Return what binds, along the glass, and where light shows, along the leaves.

        How far a leaf reaches beyond the glass is measured from the leaf: of convex glass that is
        the greatest of linear functions of its motion, so the linear programme is exact near by.
        """
        places = placement.apply(self.edge)
        binds = _Faults(places, *self.hearts.at(places))
        if len(self.leaves) == 0:
            return binds, _Faults(self.leaves, np.zeros(0), self.leaves)
        open_by, slope = self.glass.at(placement.inverse().apply(self.leaves))
        turned = Placement(placement.angle_deg).apply(slope)
        return binds, _Faults(self.leaves, open_by, -turned)


def laid(piece: LoosePiece, pose: Pose, opening: Opening, options: MatchOptions) -> Placed:
    """Return a piece laid so that it is off by as little as can be, and what is off then.

    Rule: from the likeliest pose the glass is shifted and turned so that it has to be grozed as
    little as can be; with that, so that as little light as can be shows; with that, to the middle
    of its play. Each time the greatest fault counts. It is a linear programme on the distances at
    the edges, solved again from where it led. What is then off by less than `tolerance_mm` counts
    as nothing.
    """
    outline = turned_over(piece.outline) if pose.over else piece.outline
    bench = _Bench(outline, opening)
    placement = pose.placement
    binds, shows = bench.laid(placement)
    for _ in range(_ROUNDS):
        new = _eased(placement, binds, shows)
        faults = bench.laid(new)
        if _cost(*faults) > _cost(binds, shows) - _SETTLED:
            break
        placement, (binds, shows) = new, faults
    groze, short = _stretches(binds, options), _stretches(shows, options)
    away = ExactDistance(opening.cut).at(binds.places)[0]
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
        play_mm=_play(binds),
    )


def _places_along(sight: Polygon | MultiPolygon) -> Array:
    """Return places along all edges of the leaves around a sight outline, (N, 2)."""
    length = max(sight.length, 1e-9)
    step_mm = max(_STEP_MM, length / _MOST_PLACES)
    found = [np.zeros((0, 2))]
    for part in shapely.get_parts(sight):
        for ring in (part.exterior, *part.interiors):
            count = max(8, math.ceil(ring.length / step_mm))
            even = np.arange(count) * (ring.length / count)
            corners = running_length(shapely.get_coordinates(ring))[:-1]
            along = np.unique(np.concatenate((even, corners)))
            found.append(shapely.get_coordinates(shapely.line_interpolate_point(ring, along)))
    return np.vstack(found)


def _moved(outline: Polygon, placement: Placement) -> Polygon:
    moved = shapely.transform(outline, placement.apply)
    assert isinstance(moved, Polygon)
    return moved


def _cost(binds: _Faults, shows: _Faults) -> float:
    """Return what the linear programme makes least: the greatest faults by their weights."""
    return float(np.dot(_COUNTED, (max(binds.most, 0.0), max(shows.most, 0.0), binds.most)))


def _eased(placement: Placement, binds: _Faults, shows: _Faults) -> Placement:
    """Return the placement after one step towards the least fault; the rule is that of `laid`."""
    centre = binds.places.mean(axis=0)
    size = max(float(np.hypot(*(binds.places - centre).T).max()), 1e-6)
    rows, limits = [], []
    for faults, counted in (
        (binds, (1.0, 0.0, 0.0)),
        (binds, (0.0, 0.0, 1.0)),
        (shows, (0.0, 1.0, 0.0)),
    ):
        near = faults.fault > faults.most - 2.0 * _FARTHEST_MM
        arm, slope = faults.places[near] - centre, faults.slope[near]
        turning = (slope[:, 1] * arm[:, 0] - slope[:, 0] * arm[:, 1]) / size
        most = np.broadcast_to(np.negative(counted), (len(arm), 3))
        rows.append(np.column_stack((turning, slope, most)))
        limits.append(-faults.fault[near])
    bounds = [(-_FARTHEST_MM, _FARTHEST_MM)] * 3 + [(0.0, None), (0.0, None), (None, None)]
    solved = linprog(
        (0.0, 0.0, 0.0, *_COUNTED),
        np.vstack(rows),
        np.concatenate(limits),
        bounds=bounds,
        method="highs",
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


def _stretches(faults: _Faults, options: MatchOptions) -> tuple[Stretch, ...]:
    """Return the runs along an edge that are off by more than the tolerance, worst first.

    A run is drawn to the places beside it, so that one place alone makes a stretch too.
    """
    places, fault = faults.places, faults.fault
    off = fault > options.tolerance_mm
    if not off.any():
        return ()
    first = 0 if off.all() else int(np.flatnonzero(~off)[0])
    order = (np.arange(len(off)) + first) % len(off)
    steps = np.hypot(*np.diff(places[order], axis=0).T)
    near_mm = max(options.stretch_gap_mm, 1.5 * float(np.median(steps)))
    at = np.flatnonzero(off[order])
    apart = np.hypot(*np.diff(places[order[at]], axis=0).T)
    found = []
    for run in np.split(at, np.flatnonzero(apart > near_mm) + 1):
        low, high = max(run[0] - 1, 0), min(run[-1] + 1, len(order) - 1)
        low = low if steps[low] <= near_mm else run[0]
        high = high if steps[high - 1] <= near_mm else run[-1]
        index = order[run[0] : run[-1] + 1]
        worst = index[int(np.argmax(fault[index]))]
        path = np.array(places[order[low : high + 1]])
        path.flags.writeable = False
        found.append(Stretch(path, float(fault[worst]), as_point(places[worst])))
    return tuple(sorted(found, key=lambda stretch: -stretch.most_mm))


def _play(binds: _Faults) -> float:
    """Return the least width of the shifts that keep the glass between the hearts."""
    room = -binds.fault
    if room.min() <= 0.0:
        return 0.0
    near = room < _PLAY_BOUND_MM
    halves = np.column_stack((binds.slope[near], -room[near]))
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
