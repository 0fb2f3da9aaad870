"""The edges of the leaves: curves beside a lead line, cut off where another lead lies over them.

Straight leads keep straight edges and circular leads circular ones; only beside a free curve is the
edge fitted anew.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import LineString, MultiPolygon, Polygon

from rubbing2pattern.curves import Arc, Cubic, Curve, Line, Point, as_point, running_length
from rubbing2pattern.frame import Array, points_array
from rubbing2pattern.model import Came

Shapes = npt.NDArray[np.object_]

_CHORD_MM = 0.005
"""Rise of chords over curves, a twentieth of the finest line drawn."""
_NOTHING_MM = 0.05
"""Shorter bits of an edge are noise of the cutting."""
_STRAIGHT_ON_DEG = 1.0
_LONGEST_MITRE = 2.5
"""Of half the wider lead; a sharper corner is drawn blunt, as a leaf is trimmed."""


@dataclass(frozen=True, slots=True)
class LeafEdge:
    """A visible edge of a leaf.

    Attributes
    ----------
    curve : where it runs.
    outer : True when it looks away from all glass, at the rim of the panel.
    """

    curve: Curve
    outer: bool


def leaf_edges(
    cames: Sequence[Came], widths_mm: Sequence[float], glass: Polygon | MultiPolygon
) -> tuple[LeafEdge, ...]:
    """Return the edges of all cames that no other came covers.

    Strategy: every came has a body, its lead line widened; where two neighbouring cames leave a
    wedge open at a corner, a mitred body fills it. The long edges, the ends and the mitres of each
    body are kept as far as they lie outside all other bodies.

    Parameters
    ----------
    cames : the cames of the panel.
    widths_mm : width of each, face or heart.
    glass : union of the centre outlines, to tell the rim from the inside.
    """
    bodies = [_body(came.curve, width) for came, width in zip(cames, widths_mm, strict=True)]
    mitres = tuple(_mitres(cames, widths_mm))
    covers = _covers([*bodies, *(Polygon(m) for m in mitres)])
    # The ends of two cames that follow each other touch; a hair more covers both.
    grown = shapely.buffer(covers, _NOTHING_MM)
    edges: list[Curve] = []
    over: list[shapely.Geometry] = []
    for i, (came, width) in enumerate(zip(cames, widths_mm, strict=True)):
        beside = _sides(came.curve, width)
        ends = _ends(came.curve, width) if came.start != came.end else ()
        edges += (*beside, *ends)
        # Only a free curve can turn so sharply that its offset falls back into its own body.
        own = bodies[i].buffer(-2 * _CHORD_MM) if isinstance(came.curve, Cubic) else None
        cover = covers[i] if own is None else shapely.union(covers[i], own)
        over += (*[cover] * len(beside), *[grown[i]] * len(ends))
    for cover, (_, a, tip, b) in zip(covers[len(bodies) :], mitres, strict=True):
        edges += (Line(a, tip), Line(tip, b))
        over += (cover, cover)
    return tuple(_kept(edges, np.array(over, dtype=object), glass))


def lead_bounds_mm(
    cames: Sequence[Came], widths_mm: Sequence[float]
) -> tuple[float, float, float, float]:
    """Return x_min, y_min, x_max, y_max of the leads with their widths."""
    bodies = [_body(came.curve, width) for came, width in zip(cames, widths_mm, strict=True)]
    corners = [Polygon(m) for m in _mitres(cames, widths_mm)]
    x_min, y_min, x_max, y_max = shapely.total_bounds(np.array([*bodies, *corners], dtype=object))
    return float(x_min), float(y_min), float(x_max), float(y_max)


def offset_curve(curve: Curve, to_left_mm: float) -> Curve | None:
    """Return the curve beside a curve, to the left of its direction; None when it shrinks away."""
    match curve:
        case Line():
            d = np.subtract(curve.end, curve.start)
            normal = np.array((-d[1], d[0])) * (to_left_mm / max(math.hypot(*d), 1e-12))
            return Line(as_point(curve.start + normal), as_point(curve.end + normal))
        case Arc():
            radius = curve.radius_mm - math.copysign(to_left_mm, to_left_mm * curve.sweep_deg)
            if radius <= _NOTHING_MM:
                return None
            return Arc(curve.centre, radius, curve.start_deg, curve.sweep_deg)
    return _offset_cubic(curve, to_left_mm)


def portion(curve: Curve, start: float, end: float) -> Curve:
    """Return the part of a curve between two parameters.

    Parameters
    ----------
    start, end : shares of the length, 0 to 1, of a line or arc; for a chain of n cubic curves the
        number of the curve plus the parameter within it, 0 to n.
    """
    match curve:
        case Line():
            a, d = points_array(curve.start)[0], np.subtract(curve.end, curve.start)
            return Line(as_point(a + start * d), as_point(a + end * d))
        case Arc():
            sweep = curve.sweep_deg
            return Arc(
                curve.centre,
                curve.radius_mm,
                curve.start_deg + start * sweep,
                (end - start) * sweep,
            )
    count = (len(curve.control) - 1) // 3
    first, last = min(int(start), count - 1), max(0, min(math.ceil(end) - 1, count - 1))
    control: list[Point] = []
    for k in range(first, last + 1):
        bend = points_array(curve.control[3 * k : 3 * k + 4])
        cut = _bezier_part(bend, max(start - k, 0.0), min(end - k, 1.0))
        control += [as_point(p) for p in (cut if not control else cut[1:])]
    return Cubic(tuple(control))


def middle_of(curve: Curve) -> Point:
    """Return the point half way along a curve."""
    place = LineString(curve.points(_CHORD_MM)).interpolate(0.5, normalized=True)
    return (float(place.x), float(place.y))


def _covers(bodies: Sequence[Polygon]) -> Shapes:
    """Return for each of B bodies the union of those that touch it, (B,)."""
    # Mitres of leads that meet at a sharp angle and ends of bent ones may overlap themselves.
    every = shapely.make_valid(np.array(bodies, dtype=object))
    of, near = shapely.STRtree(every).query(every, predicate="dwithin", distance=_NOTHING_MM)
    covers = np.empty(len(every), dtype=object)
    for k in range(len(every)):
        covers[k] = shapely.union_all(every[np.sort(near[(of == k) & (near != k)])])
    return covers


def _sides(curve: Curve, width_mm: float) -> tuple[Curve, ...]:
    beside = (offset_curve(curve, side) for side in (0.5 * width_mm, -0.5 * width_mm))
    return tuple(edge for edge in beside if edge is not None)


def _body(curve: Curve, width_mm: float) -> Polygon:
    path = LineString(curve.points(_CHORD_MM))
    return path.buffer(0.5 * width_mm, cap_style="flat", join_style="round", quad_segs=16)


def _ends(curve: Curve, width_mm: float) -> tuple[Line, ...]:
    lines = []
    for point, direction in (_departure(curve), _departure(curve.reversed())):
        across = 0.5 * width_mm * np.array((-direction[1], direction[0]))
        lines.append(Line(as_point(point + across), as_point(point - across)))
    return tuple(lines)


def _departure(curve: Curve) -> tuple[Array, Array]:
    """Return the first point and the direction in which the curve leaves it."""
    p = curve.points(_CHORD_MM)
    d = p[1] - p[0]
    if isinstance(curve, Arc):
        a = math.radians(curve.start_deg)
        d = np.array((-math.sin(a), math.cos(a))) * math.copysign(1.0, curve.sweep_deg)
    elif isinstance(curve, Cubic):
        c = points_array(curve.control)
        off = c - c[0]
        d = off[np.argmax(np.hypot(off[:, 0], off[:, 1]) > 1e-6)]
    return p[0], d / max(math.hypot(*d), 1e-12)


def _mitres(
    cames: Sequence[Came], widths_mm: Sequence[float]
) -> Iterator[tuple[Point, Point, Point, Point]]:
    """Yield joint, edge, tip, edge where neighbouring cames stand more than 180 degrees apart."""
    leaving: dict[str, list[tuple[float, float, Array]]] = {}
    for came, width in zip(cames, widths_mm, strict=True):
        for joint, curve in ((came.start, came.curve), (came.end, came.curve.reversed())):
            place, d = _departure(curve)
            angle = math.atan2(d[1], d[0])
            leaving.setdefault(joint, []).append((angle, 0.5 * width, place))
    for ends in leaving.values():
        ends.sort(key=lambda e: (e[0], e[1]))
        for k, (angle, half, place) in enumerate(ends):
            next_angle, next_half, _ = ends[(k + 1) % len(ends)]
            gap = math.degrees(next_angle - angle) % 360.0
            if len(ends) > 1 and 180.0 + _STRAIGHT_ON_DEG < gap < 360.0 - _STRAIGHT_ON_DEG:
                yield _mitre(place, (angle, half), (next_angle, next_half))


def _mitre(
    joint: Array, first: tuple[float, float], second: tuple[float, float]
) -> tuple[Point, Point, Point, Point]:
    """Return the wedge left of the first came and right of the second.

    It is blunt where it would be very long, and where the edge of the wider came passes behind the
    end of the narrower one, so that there is no wedge between them.
    """
    (a, half_a), (b, half_b) = first, second
    away_a, away_b = np.array((math.cos(a), math.sin(a))), np.array((math.cos(b), math.sin(b)))
    edge_a = joint + half_a * np.array((-away_a[1], away_a[0]))
    edge_b = joint + half_b * np.array((away_b[1], -away_b[0]))
    along = np.linalg.solve(np.column_stack((away_a, -away_b)), edge_b - edge_a)[0]
    tip = edge_a + along * away_a
    wedge = Polygon((joint, edge_a, tip, edge_b))
    too_long = math.dist(tip, joint) > _LONGEST_MITRE * max(half_a, half_b)
    if too_long or not wedge.is_valid:
        tip = 0.5 * (edge_a + edge_b)
    return as_point(joint), as_point(edge_a), as_point(tip), as_point(edge_b)


def _kept(
    edges: Sequence[Curve], covers: Shapes, glass: Polygon | MultiPolygon
) -> Iterator[LeafEdge]:
    """Yield the parts of each of E edges outside its cover, (E,)."""
    sampled = [_sampled(edge) for edge in edges]
    whole = np.array([LineString(points) for points, _ in sampled], dtype=object)
    parts, of = shapely.get_parts(shapely.difference(whole, covers), return_index=True)
    length = shapely.length(parts)
    parts, of, length = (x[length > _NOTHING_MM] for x in (parts, of, length))
    # The middle is found on the whole even where a part begins at the seam of a ring.
    middle = shapely.line_interpolate_point(parts, 0.5, normalized=True)
    centre = shapely.line_locate_point(whole[of], middle)
    shapely.prepare(glass)
    outer = ~shapely.covers(glass, middle)
    for k, i in enumerate(of):
        points, parameters = sampled[i]
        run = running_length(points)
        reach = (centre[k] - 0.5 * length[k], centre[k] + 0.5 * length[k])
        start, end = np.interp(reach, run, parameters)
        yield LeafEdge(portion(edges[i], float(start), float(end)), bool(outer[k]))


def _sampled(curve: Curve) -> tuple[Array, Array]:
    """Return points along a curve, (N, 2), and their parameters for `portion`, (N,)."""
    if not isinstance(curve, Cubic):
        points = curve.points(_CHORD_MM)
        return points, np.linspace(0.0, 1.0, len(points))
    parts, parameters = [points_array(curve.start)], [np.zeros(1)]
    for k in range((len(curve.control) - 1) // 3):
        points = Cubic(curve.control[3 * k : 3 * k + 4]).points(_CHORD_MM)
        parts.append(points[1:])
        parameters.append(k + np.linspace(0.0, 1.0, len(points))[1:])
    return np.vstack(parts), np.concatenate(parameters)


def _offset_cubic(curve: Cubic, to_left_mm: float) -> Cubic:
    """Fit cubic curves through offset points with their exact tangents (Hermite)."""
    control: list[Point] = []
    for k in range((len(curve.control) - 1) // 3):
        bend = points_array(curve.control[3 * k : 3 * k + 4])
        count = _pieces_for(bend)
        t = np.linspace(0.0, 1.0, count + 1)
        points, speed, curvature = _derivatives(bend, t)
        size = np.maximum(np.hypot(speed[:, 0], speed[:, 1]), 1e-12)[:, None]
        normal = np.column_stack((-speed[:, 1], speed[:, 0])) / size
        beside = points + to_left_mm * normal
        handle = speed * (1.0 - to_left_mm * curvature)[:, None] / (3.0 * count)
        for i in range(count):
            if not control:
                control.append(as_point(beside[0]))
            before, after = beside[i] + handle[i], beside[i + 1] - handle[i + 1]
            control += [as_point(before), as_point(after), as_point(beside[i + 1])]
    return Cubic(tuple(control))


def _pieces_for(bend: Array) -> int:
    """Return a number of pieces that turn by about 10 degrees each."""
    sides = np.diff(bend, axis=0)
    sides = sides[np.hypot(sides[:, 0], sides[:, 1]) > 1e-9]
    angles = np.unwrap(np.arctan2(sides[:, 1], sides[:, 0]))
    turn_deg = float(np.degrees(np.abs(np.diff(angles)).sum()))
    return max(2, min(64, math.ceil(turn_deg / 10.0)))


def _derivatives(bend: Array, t: Array) -> tuple[Array, Array, Array]:
    """Return points, first derivatives and signed curvature of a cubic curve at parameters t."""
    s, u = (1.0 - t)[:, None], t[:, None]
    a, b, c, d = bend
    points = s**3 * a + 3 * s**2 * u * b + 3 * s * u**2 * c + u**3 * d
    first = 3 * (s**2 * (b - a) + 2 * s * u * (c - b) + u**2 * (d - c))
    second = 6 * (s * (c - 2 * b + a) + u * (d - 2 * c + b))
    # A handle of no length has no direction of its own: the chord to the far side stands in.
    stuck = np.hypot(first[:, 0], first[:, 1]) < 1e-9
    first[stuck] = 1e-6 * (d - a)
    cross = first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]
    curvature = cross / np.maximum(np.hypot(first[:, 0], first[:, 1]) ** 3, 1e-12)
    return points, first, np.where(stuck, 0.0, curvature)


def _bezier_part(bend: Array, start: float, end: float) -> Array:
    """Return the control points of a cubic curve between two parameters (de Casteljau)."""
    right = _split(bend, start)[1]
    return _split(right, (end - start) / (1.0 - start) if start < 1.0 else 1.0)[0]


def _split(bend: Array, t: float) -> tuple[Array, Array]:
    levels = [bend]
    while len(levels[-1]) > 1:
        levels.append((1.0 - t) * levels[-1][:-1] + t * levels[-1][1:])
    left = np.array([level[0] for level in levels])
    right = np.array([level[-1] for level in levels[::-1]])
    return left, right
