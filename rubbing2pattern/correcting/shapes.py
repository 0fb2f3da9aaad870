"""Curves of corrected leads: through places given by hand, and two that become one. All in mm."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from rubbing2pattern.geometry.curves import (
    Arc,
    Cubic,
    Curve,
    Line,
    Point,
    arc_through,
    as_point,
    running_length,
)
from rubbing2pattern.geometry.frame import points_array

_SAME_CIRCLE_MM = 0.05
"""How far middles and radii of two arcs may differ to be one circle."""
_WHOLE_TURN_DEG = 0.05
"""How far two arcs may miss a whole turn to be a ring."""
_ARC_STEP_DEG = 45.0
"""A cubic curve leaves an arc this long by less than 0.001 % of its radius."""


def curve_through(places: Sequence[Point]) -> Curve:
    """Return a smooth curve through places: a line, an arc through three, else a cubic spline.

    The spline is the natural one over chord length, so that it bends no more than it must.
    """
    if len(places) == 2:
        return Line(places[0], places[1])
    if len(places) == 3:
        return _arc_through_three(*places)
    # Only here: the library takes as long to import as a correction takes.
    from scipy.interpolate import CubicSpline

    points = points_array(places)
    along = running_length(points)
    spline = CubicSpline(along, points, bc_type="natural")
    speed = spline(along, 1)
    control = [places[0]]
    for k, step in enumerate(np.diff(along)):
        control.append(as_point(points[k] + speed[k] * step / 3.0))
        control.append(as_point(points[k + 1] - speed[k + 1] * step / 3.0))
        control.append(places[k + 1])
    return Cubic(tuple(control))


def joined(a: Curve, b: Curve, in_line_mm: float) -> Curve:
    """Return one curve for two of which the second begins where the first ends.

    Rules:

    1. Two lines are one when the place where they meet lies within `in_line_mm` of it.
    2. Two arcs of one circle are one arc.
    3. Anything else becomes a chain of cubic curves that runs as the two do.
    """
    if isinstance(a, Line) and isinstance(b, Line):
        chord = np.subtract(b.end, a.start)
        length_mm = math.hypot(*chord)
        offset = np.subtract(a.end, a.start)
        away_mm = abs(chord[0] * offset[1] - chord[1] * offset[0]) / max(length_mm, 1e-9)
        if away_mm <= in_line_mm:  # rule 1
            return Line(a.start, b.end)
    if isinstance(a, Arc) and isinstance(b, Arc) and _one_circle(a, b):  # rule 2
        sweep_deg = a.sweep_deg + b.sweep_deg
        if abs(abs(sweep_deg) - 360.0) < _WHOLE_TURN_DEG:
            sweep_deg = math.copysign(360.0, sweep_deg)
        return Arc(a.centre, a.radius_mm, a.start_deg, sweep_deg)
    return Cubic((*_control(a), *_control(b)[1:]))  # rule 3


def _one_circle(a: Arc, b: Arc) -> bool:
    return (
        math.dist(a.centre, b.centre) <= _SAME_CIRCLE_MM
        and abs(a.radius_mm - b.radius_mm) <= _SAME_CIRCLE_MM
        and a.sweep_deg * b.sweep_deg > 0.0
        and abs(a.sweep_deg + b.sweep_deg) <= 360.0 + _WHOLE_TURN_DEG
    )


def _control(curve: Curve) -> tuple[Point, ...]:
    """Return the control points of a curve as a chain of cubic curves."""
    if isinstance(curve, Cubic):
        return curve.control
    if isinstance(curve, Line):
        a, b = np.array(curve.start), np.array(curve.end)
        return (curve.start, as_point(a + (b - a) / 3.0), as_point(b - (b - a) / 3.0), curve.end)
    count = max(1, math.ceil(abs(curve.sweep_deg) / _ARC_STEP_DEG))
    angles = np.radians(curve.start_deg + np.linspace(0.0, curve.sweep_deg, count + 1))
    on = np.array(curve.centre) + curve.radius_mm * np.column_stack(
        (np.cos(angles), np.sin(angles))
    )
    # The handbook's handle of an arc of angle t: 4/3 tan(t/4) of the radius along the tangent.
    handle_mm = curve.radius_mm * 4.0 / 3.0 * math.tan(math.radians(curve.sweep_deg) / count / 4.0)
    ahead = handle_mm * np.column_stack((-np.sin(angles), np.cos(angles)))
    control = [curve.start]
    for k in range(count):
        control += [as_point(on[k] + ahead[k]), as_point(on[k + 1] - ahead[k + 1])]
        control.append(curve.end if k == count - 1 else as_point(on[k + 1]))
    return tuple(control)


def _arc_through_three(start: Point, middle: Point, end: Point) -> Curve:
    """Return the arc from `start` over `middle` to `end`.

    The angle at the middle is the inscribed one: the arc beyond it turns by twice the rest to 180
    degrees (Euclid, Elements, III 20).
    """
    a, b = np.subtract(start, middle), np.subtract(end, middle)
    cross = float(a[0] * b[1] - a[1] * b[0])
    inscribed_deg = math.degrees(math.atan2(abs(cross), float(a @ b)))
    return arc_through(start, end, math.copysign(360.0 - 2.0 * inscribed_deg, -cross))
