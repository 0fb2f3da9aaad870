"""The edges of the leaves: curves beside a lead line, cut off where another lead lies over them.

Straight leads keep straight edges and circular leads circular ones; only beside a free curve is the
edge fitted anew.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import LineString, MultiPolygon, Polygon

from rubbing2pattern.documents.drawing.beside import (
    CHORD_MM,
    NOTHING_MM,
    offset_curves,
    portion,
    sampled,
)
from rubbing2pattern.geometry.curves import Arc, Cubic, Curve, Line, Point, as_point, running_length
from rubbing2pattern.geometry.frame import Array, points_array
from rubbing2pattern.model import Came

Shapes = npt.NDArray[np.object_]

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
    glass : union of the centre outlines, to distinguish the rim from the inside.
    """
    curves = [came.curve for came in cames]
    bodies = _bodies(curves, widths_mm)
    mitres = tuple(_mitres(cames, widths_mm))
    covers = _covers(np.array([*bodies, *(Polygon(m) for m in mitres)], dtype=object))
    ends = _open_ends(cames, widths_mm, covers)
    # The ends of two cames that follow each other touch; a hair more covers both.
    with_ends = [i for i, own_ends in enumerate(ends) if own_ends]
    grown = dict(zip(with_ends, shapely.buffer(covers[with_ends], NOTHING_MM), strict=True))
    # Only a free curve can turn so sharply that its offset falls back into its own body.
    free = np.array([k for k, curve in enumerate(curves) if isinstance(curve, Cubic)], dtype=int)
    own = shapely.buffer(bodies[free], -2 * CHORD_MM, quad_segs=16)
    covers[free] = shapely.union(covers[free], own)
    half = [0.5 * width for width in widths_mm]
    left, right = offset_curves(curves, half), offset_curves(curves, [-h for h in half])
    edges: list[Curve] = []
    over: list[shapely.Geometry] = []
    for i, own_ends in enumerate(ends):
        beside = [edge for edge in (left[i], right[i]) if edge is not None]
        edges += (*beside, *own_ends)
        over += [covers[i]] * len(beside) + [grown[i] for _ in own_ends]
    for cover, (_, a, tip, b) in zip(covers[len(bodies) :], mitres, strict=True):
        edges += (Line(a, tip), Line(tip, b))
        over += (cover, cover)
    return tuple(_kept(edges, np.array(over, dtype=object), glass))


def lead_bounds_mm(
    cames: Sequence[Came], widths_mm: Sequence[float]
) -> tuple[float, float, float, float]:
    """Return x_min, y_min, x_max, y_max of the leads with their widths."""
    bodies = _bodies([came.curve for came in cames], widths_mm)
    corners = [Polygon(m) for m in _mitres(cames, widths_mm)]
    x_min, y_min, x_max, y_max = shapely.total_bounds(np.array([*bodies, *corners], dtype=object))
    return float(x_min), float(y_min), float(x_max), float(y_max)


def middle_of(curve: Curve) -> Point:
    """Return the point half way along a curve."""
    place = LineString(curve.points(CHORD_MM)).interpolate(0.5, normalized=True)
    return (float(place.x), float(place.y))


def _covers(bodies: Shapes) -> Shapes:
    """Return for each of B bodies the union of those that touch it, (B,)."""
    # Mitres of leads that meet at a sharp angle and ends of bent ones may overlap themselves.
    every = shapely.make_valid(bodies)
    of, near = shapely.STRtree(every).query(every, predicate="dwithin", distance=NOTHING_MM)
    of, near = of[near != of], near[near != of]
    order = np.lexsort((near, of))
    of, near = of[order], near[order]
    counts = np.bincount(of, minlength=len(every))
    around = np.full((len(every), int(counts.max(initial=0))), None, dtype=object)
    around[of, np.arange(len(of)) - (np.cumsum(counts) - counts)[of]] = every[near]
    covers: Shapes = shapely.union_all(around, axis=1)
    return covers


def _bodies(curves: Sequence[Curve], widths_mm: Sequence[float]) -> Shapes:
    """Return each curve widened, (B,)."""
    paths = _lines([curve.points(CHORD_MM) for curve in curves])
    half = 0.5 * np.asarray(widths_mm, dtype=np.float64)
    bodies: Shapes = shapely.buffer(paths, half, cap_style="flat", join_style="round", quad_segs=16)
    return bodies


def _lines(points: Sequence[Array]) -> Shapes:
    """Return lines through points, made at once."""
    which = np.repeat(np.arange(len(points)), [len(p) for p in points])
    lines: Shapes = shapely.linestrings(np.concatenate(points), indices=which)
    return lines


def _open_ends(
    cames: Sequence[Came], widths_mm: Sequence[float], covers: Shapes
) -> list[list[Line]]:
    """Return for each came its ends that its cover leaves open; a ring has none."""
    ends: list[list[Line]] = [
        list(_ends(came.curve, width)) if came.start != came.end else []
        for came, width in zip(cames, widths_mm, strict=True)
    ]
    of = np.repeat(np.arange(len(ends)), [len(own) for own in ends])
    if len(of):
        shapely.prepare(covers)
        lines = _lines([end.points() for own in ends for end in own])
        covered = iter(shapely.covers(covers[of], lines))
        ends = [[end for end in own if not next(covered)] for own in ends]
    return ends


def _ends(curve: Curve, width_mm: float) -> tuple[Line, ...]:
    lines = []
    for point, direction in _departures(curve):
        (x, y), (u, v) = point.tolist(), direction.tolist()
        dx, dy = -0.5 * width_mm * v, 0.5 * width_mm * u
        lines.append(Line((x + dx, y + dy), (x - dx, y - dy)))
    return tuple(lines)


@lru_cache(maxsize=4096)
def _departures(curve: Curve) -> tuple[tuple[Array, Array], tuple[Array, Array]]:
    """Return what `_departure` says of both ends; mitres, ends and bounds of a panel ask for it."""
    return _departure(curve), _departure(curve.reversed())


def _departure(curve: Curve) -> tuple[Array, Array]:
    """Return the first point and the direction in which the curve leaves it."""
    if isinstance(curve, Cubic):
        c = points_array(curve.control)
        off = c - c[0]
        start, d = c[0], off[np.argmax(np.hypot(off[:, 0], off[:, 1]) > 1e-6)]
    else:
        p = curve.points(CHORD_MM)
        start, d = p[0], p[1] - p[0]
    if isinstance(curve, Arc):
        a = math.radians(curve.start_deg)
        d = np.array((-math.sin(a), math.cos(a))) * math.copysign(1.0, curve.sweep_deg)
    return start, d / max(math.hypot(*d), 1e-12)


def _mitres(
    cames: Sequence[Came], widths_mm: Sequence[float]
) -> Iterator[tuple[Point, Point, Point, Point]]:
    """Yield joint, edge, tip, edge where neighbouring cames lie more than 180 degrees apart."""
    leaving: dict[str, list[tuple[float, float, Array]]] = {}
    for came, width in zip(cames, widths_mm, strict=True):
        for joint, (place, d) in zip((came.start, came.end), _departures(came.curve), strict=True):
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
    along = sampled(edges)
    whole = _lines([points for points, _ in along])
    parts, of = shapely.get_parts(shapely.difference(whole, covers), return_index=True)
    length = shapely.length(parts)
    parts, of, length = (x[length > NOTHING_MM] for x in (parts, of, length))
    # The middle is found on the whole even where a part begins at the seam of a ring.
    middle = shapely.line_interpolate_point(parts, 0.5, normalized=True)
    centre = shapely.line_locate_point(whole[of], middle)
    shapely.prepare(glass)
    outer = ~shapely.covers(glass, middle)
    for k, i in enumerate(of):
        points, parameters = along[i]
        run = running_length(points)
        reach = (centre[k] - 0.5 * length[k], centre[k] + 0.5 * length[k])
        start, end = np.interp(reach, run, parameters)
        yield LeafEdge(portion(edges[i], float(start), float(end)), bool(outer[k]))
