"""Lead lines as polylines between joints, and the order in which a net is always taken.

Legend for shapes: J joints, E cames, N points. All lengths in mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from rubbing2pattern.geometry.curves import (
    Arc,
    Cubic,
    Curve,
    Line,
    Point,
    as_point,
    points_at,
    polyline_length,
    running_length,
)
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.reading import LeadNet, NetCame

Indices = npt.NDArray[np.int64]

_MOST_KEPT = 8192
"""Lead lines kept once drawn: those of a panel of a thousand pieces, before and after."""
_SAME_PLACE_MM = 1e-9
"""Distance below which two points of a path are one; less than any digit of the record."""


@dataclass(frozen=True, slots=True)
class LeadLines:
    """The net drawn as polylines whose ends lie exactly on the joints.

    Attributes
    ----------
    joints_mm : (J, 2) places of the joints.
    ends : (E, 2) joints at the start and the end of each came.
    paths : E polylines (N, 2), read-only.
    middles_mm, lengths_mm : middle of each path along it, and its length.
    """

    joints_mm: Array
    ends: Indices
    paths: tuple[Array, ...]
    middles_mm: tuple[Point, ...]
    lengths_mm: tuple[float, ...]


def lead_lines(net: LeadNet, flatness_mm: float) -> LeadLines:
    """Draw every came as a polyline.

    Parameters
    ----------
    net : the net.
    flatness_mm : how far a chord may leave its curve.

    Raises
    ------
    ValueError
        When a came has no length: a defect of the stage that made the net.
    """
    joints = np.array([(j.x_mm, j.y_mm) for j in net.joints], dtype=np.float64).reshape(-1, 2)
    ends = np.array([(c.start, c.end) for c in net.cames], dtype=np.int64).reshape(-1, 2)
    at = [(x, y) for x, y in joints.tolist()]
    drawn = [
        _drawn(came.curve, at[came.start], at[came.end], came.start == came.end, flatness_mm)
        for came in net.cames
    ]
    paths, middles, lengths = zip(*drawn, strict=True) if drawn else ((), (), ())
    return LeadLines(joints, ends, paths, middles, lengths)


def in_fixed_order(net: LeadNet, flatness_mm: float) -> LeadNet:
    """Return the net with joints, cames and directions in an order that its geometry decides.

    Joints run from the top down, then from left to right; a came starts at the earlier of its
    joints, a closed one runs anticlockwise; cames follow by their middle. Joints that hold no came
    are left out. Whatever order the net came in, what is built from the result is the same.
    """
    used = sorted(
        {j for came in net.cames for j in (came.start, came.end)},
        key=lambda j: (-net.joints[j].y_mm, net.joints[j].x_mm, j),
    )
    place = {old: new for new, old in enumerate(used)}
    cames = [_directed(_between(came, place[came.start], place[came.end])) for came in net.cames]
    joints = tuple(net.joints[j] for j in used)
    lines = lead_lines(replace(net, joints=joints, cames=tuple(cames)), flatness_mm)
    middles = lines.middles_mm
    order = sorted(
        range(len(cames)),
        key=lambda c: (-middles[c][1], middles[c][0], cames[c].start, cames[c].end),
    )
    return replace(net, joints=joints, cames=tuple(cames[c] for c in order))


def point_along(path: Array, share: float) -> tuple[float, float]:
    """Return the point of a polyline at a share of its length, 0 .. 1."""
    return _point_along(np.asarray(path, dtype=np.float64).tobytes(), share)


@lru_cache(maxsize=_MOST_KEPT)
def _point_along(coordinates: bytes, share: float) -> Point:
    path = np.frombuffer(coordinates).reshape(-1, 2)
    at = running_length(path)
    return as_point(points_at(path, at, share * at[-1])[0])


def signed_area(points: Array) -> float:
    """Return the area to the left of a closed polyline (shoelace formula), in mm2."""
    p = points - points[0]
    return 0.5 * float(np.sum(p[:-1, 0] * p[1:, 1] - p[1:, 0] * p[:-1, 1]))


def leaving_deg(curve: Curve) -> float:
    """Return the direction in which a curve leaves its start, from its tangent."""
    if isinstance(curve, Arc):
        return curve.start_deg + math.copysign(90.0, curve.sweep_deg)
    if isinstance(curve, Line):
        return _direction_deg(curve.start, curve.end)
    assert isinstance(curve, Cubic)
    start = curve.control[0]
    ahead = next((p for p in curve.control[1:] if math.dist(start, p) > 1e-6), curve.end)
    return _direction_deg(start, ahead)


@lru_cache(maxsize=_MOST_KEPT)
def _drawn(
    curve: Curve, start: Point, end: Point, closed: bool, flatness_mm: float
) -> tuple[Array, Point, float]:
    """Return the path of a came between joints, its middle and its length.

    A net is drawn several times while its panel is made, and again for each correction of it.
    """
    # A zero has no sign here, so that equal curves have one path, whichever was drawn first.
    path = np.array(curve.points(flatness_mm), dtype=np.float64) + 0.0
    path[0], path[-1] = start, end
    step = np.hypot(*np.diff(path, axis=0).T)
    path = path[np.concatenate(([True], step > _SAME_PLACE_MM))]
    if len(path) < (4 if closed else 2):
        raise ValueError(f"a came at ({start[0]:.1f}, {start[1]:.1f}) mm has no length")
    path[-1] = end
    path += 0.0
    path.setflags(write=False)
    return path, point_along(path, 0.5), polyline_length(path)


def _between(came: NetCame, start: int, end: int) -> NetCame:
    if (came.start, came.end) == (start, end):
        return came
    return replace(came, start=start, end=end)


def _directed(came: NetCame) -> NetCame:
    if came.start == came.end:
        turn = signed_area(came.curve.points(0.1))
        return came if turn >= 0.0 else turned(came)
    return came if came.start < came.end else turned(came)


def turned(came: NetCame) -> NetCame:
    """Return the same came from its end to its start."""
    length = came.curve.length_mm
    gaps = tuple((length - b, length - a) for a, b in reversed(came.gaps))
    return replace(came, start=came.end, end=came.start, curve=came.curve.reversed(), gaps=gaps)


def _direction_deg(start: tuple[float, float], end: tuple[float, float]) -> float:
    return math.degrees(math.atan2(end[1] - start[1], end[0] - start[0]))
