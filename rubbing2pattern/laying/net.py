"""The net as it is laid: runs with their stops in order, and the cames between them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from rubbing2pattern.fitting.primitives import CircleFit, LineFit
from rubbing2pattern.geometry.curves import Arc, Cubic, Curve, Line, arc_through, as_point, spaced
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.laying.joints import Joint
from rubbing2pattern.laying.runs import Run, polyline_between
from rubbing2pattern.laying.shape import Shape
from rubbing2pattern.options.laying import LayingOptions


@dataclass(frozen=True, slots=True)
class Stop:
    """A joint on a run, at a length along it."""

    t_mm: float
    joint: int


@dataclass(frozen=True, slots=True)
class Laid:
    """Runs and joints that fit together.

    Attributes
    ----------
    runs : the leads.
    places : (J, 2) joints in mm.
    misfit_mm : (J,) how far a joint lies off the curves that come to it.
    stops : for every run its joints in order; a closed run ends with its first, one turn on.
    """

    runs: list[Run]
    places: Array
    misfit_mm: Array
    stops: list[list[Stop]]


def laid(runs: list[Run], joints: list[Joint], options: LayingOptions) -> Laid:
    """Order the stops of every run; what lies beyond a run's end joins the joint there."""
    same = list(range(len(joints)))

    def root(i: int) -> int:
        while same[i] != i:
            i = same[i]
        return i

    on: list[list[Stop]] = [[] for _ in runs]
    limits: dict[tuple[int, bool], Stop] = {}
    for i, joint in enumerate(joints):
        for number, t in joint.through:
            on[number].append(Stop(t, i))
        for number, t, last in joint.ending:
            limits[number, last] = Stop(t, i)
    stops: list[list[Stop]] = []
    places = [j.place for j in joints]
    misfit = [j.misfit_mm for j in joints]
    for k, run in enumerate(runs):
        mine = sorted(on[k], key=lambda s: s.t_mm)
        if run.closed:
            if not mine:
                places.append(run.shape.place(0.0))
                misfit.append(0.0)
                same.append(len(same))
                mine = [Stop(0.0, len(places) - 1)]
            mine.append(Stop(mine[0].t_mm + run.shape.last_mm, mine[0].joint))
            stops.append(mine)
            continue
        for last in (False, True):
            if (k, last) not in limits:
                t = run.shape.last_mm if last else 0.0
                places.append(run.shape.place(t))
                misfit.append(0.0)
                same.append(len(same))
                limits[k, last] = Stop(t, len(places) - 1)
        first, final = limits[k, False], limits[k, True]
        inside = []
        for stop in mine:
            if stop.t_mm <= first.t_mm + options.same_mm:
                same[root(stop.joint)] = root(first.joint)
            elif stop.t_mm >= final.t_mm - options.same_mm:
                same[root(stop.joint)] = root(final.joint)
            else:
                inside.append(stop)
        stops.append([first, *inside, final])
    kept = sorted({root(i) for i in range(len(same))})
    name = {r: i for i, r in enumerate(kept)}
    renamed = [
        _distinct([Stop(s.t_mm, name[root(s.joint)]) for s in mine], run, options)
        for run, mine in zip(runs, stops, strict=True)
    ]
    return Laid(
        runs,
        np.array([places[r] for r in kept]).reshape(-1, 2),
        np.array([misfit[r] for r in kept]),
        renamed,
    )


def _distinct(stops: list[Stop], run: Run, options: LayingOptions) -> list[Stop]:
    """Leave out a stop that repeats the joint before it within a few mm.

    A straight lead does not come back to a joint, however far on.
    """
    same_mm = math.inf if isinstance(run.shape.fit, LineFit) else options.same_place_mm
    out = stops[:1]
    for stop in stops[1:]:
        if stop.joint == out[-1].joint and abs(stop.t_mm - out[-1].t_mm) < same_mm:
            continue
        out.append(stop)
    return out


def curve_between(
    shape: Shape, one: Stop, two: Stop, places: tuple[Array, Array], options: LayingOptions
) -> Curve:
    """Return the curve of a came between its joints, as plain as its run and the evidence allow.

    Where the run misses a joint by more than `bent_mm` it bends to it on the last stretch alone:
    what is clean keeps its place.
    """
    start, end = places
    a, b = as_point(start), as_point(end)
    off = [p - _state(shape, s.t_mm).place for p, s in zip(places, (one, two), strict=True)]
    if max(float(np.hypot(*d)) for d in off) > options.bent_mm and two.t_mm - one.t_mm > 1.0:
        return _bent(shape, one.t_mm, two.t_mm, off, options).moved_ends(a, b)
    if isinstance(shape.fit, LineFit):
        return Line(a, b)
    if isinstance(shape.fit, CircleFit):
        sweep = math.degrees((two.t_mm - one.t_mm) / shape.fit.radius_mm) * _turn(shape)
        if one.joint == two.joint:
            first = math.degrees(
                math.atan2(start[1] - shape.fit.centre[1], start[0] - shape.fit.centre[0])
            )
            return Arc(
                as_point(shape.fit.centre), shape.fit.radius_mm, first, math.copysign(360.0, sweep)
            )
        return arc_through(a, b, sweep)
    at = _evenly(one.t_mm, two.t_mm, options.knot_mm)
    cubic = _through([_state(shape, t) for t in at.tolist()]).moved_ends(a, b)
    return cubic if one.joint == two.joint else plain(cubic, options.plain_mm)


class _State(NamedTuple):
    """A place of a run at a length along it, and how it moves on with the length."""

    t_mm: float
    place: Array
    way: Array


def _state(shape: Shape, t: float) -> _State:
    at = t - shape.last_mm if shape.closed and t > shape.last_mm else t
    return _State(t, shape.place(at), shape.way(at))


def _evenly(low: float, high: float, step_mm: float) -> Array:
    return spaced(low, high, max(1, math.ceil((high - low) / step_mm)) + 1)


def _through(states: list[_State]) -> Cubic:
    """Return the cubic through all places, each passed on its way (Hermite)."""
    control = [as_point(states[0].place)]
    for one, two in pairwise(states):
        third = (two.t_mm - one.t_mm) / 3.0
        inner = (one.place + third * one.way, two.place - third * two.way)
        control += [*map(as_point, inner), as_point(two.place)]
    return Cubic(tuple(control))


def _bent(shape: Shape, low: float, high: float, off: list[Array], options: LayingOptions) -> Cubic:
    """Return a run between two lengths, its ends moved by `off`, its middle where it was.

    The shift fades with the square of the way left, over `bend_over` times what is missed.
    """
    reach = [
        min(0.5 * (high - low), max(1.0, options.bend_over * float(np.hypot(*d)))) for d in off
    ]
    stops = (low, low + 0.5 * reach[0], low + reach[0], high - reach[1], high - 0.5 * reach[1])
    at = np.unique(np.concatenate((_evenly(*stops[2:4], options.knot_mm), stops, [high])).round(6))
    states = []
    for t in at.tolist():
        place, way = _state(shape, t)[1:]
        for shift, far, length, sign in zip(
            off, (t - low, high - t), reach, (-2.0, 2.0), strict=True
        ):
            left = max(0.0, 1.0 - far / length)
            place = place + left**2 * shift
            way = way + sign * left / length * shift
        states.append(_State(t, place, way))
    return _through(states)


def _turn(shape: Shape) -> float:
    """Return +1 where the polyline of a circle runs anticlockwise, else -1."""
    u, v = shape.points[1] - shape.points[0], shape.points[2] - shape.points[1]
    return math.copysign(1.0, float(u[0] * v[1] - u[1] * v[0]))


def plain(cubic: Cubic, plain_mm: float) -> Curve:
    """Return a line or an arc where either leaves the curve by less than `plain_mm`."""
    points = cubic.points(0.02)
    start, end = points[0], points[-1]
    chord = end - start
    length = float(np.hypot(*chord))
    if length < 1e-6:
        return cubic
    along = chord / length
    off = along[0] * (points[:, 1] - start[1]) - along[1] * (points[:, 0] - start[0])
    if float(np.abs(off).max()) < plain_mm:
        return Line(as_point(start), as_point(end))
    rise = float(off[np.abs(off).argmax()])
    if abs(rise) > 0.45 * length:
        return cubic
    arc = arc_through(
        as_point(start), as_point(end), -math.degrees(4.0 * math.atan2(2.0 * rise, length))
    )
    if isinstance(arc, Arc):
        away = np.abs(np.hypot(*(points - np.array(arc.centre)).T) - arc.radius_mm)
        if float(away.max()) < plain_mm:
            return arc
    return cubic


def trimmed(laid_net: Laid, run: int) -> Array:
    """Polyline of a run from its first joint to its last."""
    stops = laid_net.stops[run]
    shape = laid_net.runs[run].shape
    if shape.closed:
        return polyline_between(shape, 0.0, shape.last_mm)
    return polyline_between(shape, stops[0].t_mm, max(stops[-1].t_mm, stops[0].t_mm + 0.5))
