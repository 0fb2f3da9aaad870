"""Fit all leads again to what is in sight along their laid lines."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from rubbing2pattern.fitting.primitives import LineFit
from rubbing2pattern.fitting.smooth import Places
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.laying.net import Laid
from rubbing2pattern.laying.runs import Run
from rubbing2pattern.laying.shape import shapes_of
from rubbing2pattern.laying.sights import Sight
from rubbing2pattern.options.laying import LayingOptions


def refitted(net: Laid, sight: Sight, options: LayingOptions) -> list[Run]:
    """Return the runs with widths and curves by what is in sight.

    1. a run without any clear stretch keeps its direction, and is moved to what shows of it;
    2. a run is drawn to a joint that it ends at but that its curve misses;
    3. of a short lead the direction is known badly: between two leads that run
       through it is likely to be square to both.
    """
    inner: dict[int, list[tuple[int, float]]] = {}
    for j, stops in enumerate(net.stops):
        for stop in stops[1:-1]:
            inner.setdefault(stop.joint, []).append((j, stop.t_mm))
    runs = _reread(net, sight, options)
    return [_squared(net, k, run, inner, options) for k, run in enumerate(runs)]  # rule 3


def _squared(
    net: Laid,
    k: int,
    run: Run,
    inner: dict[int, list[tuple[int, float]]],
    options: LayingOptions,
) -> Run:
    """Turn a short straight lead towards the square of the leads it ends at."""
    fit = run.shape.fit
    if run.clear_mm > options.short_mm or not isinstance(fit, LineFit):
        return run
    ways = []
    for stop in (net.stops[k][0], net.stops[k][-1]):
        for j, t in inner.get(stop.joint, []):
            if j != k:
                along = net.runs[j].shape.way(t)
                across = np.array([-along[1], along[0]])
                ways.append(across * np.sign(float(across @ fit.along) or 1.0))
    if len(ways) < 2:
        return run
    mean = np.mean(ways, axis=0)
    turn = float(np.arctan2(fit.along[0] * mean[1] - fit.along[1] * mean[0], fit.along @ mean))
    square = math.radians(options.square_deg)
    measured = 1.0 / max(run.clear_mm, 1.0)
    share = measured**2 / (measured**2 + square**2)
    if abs(turn) > 3.0 * np.hypot(measured, square):
        return run
    c, s = np.cos(share * turn), np.sin(share * turn)
    along = np.array([c * fit.along[0] - s * fit.along[1], s * fit.along[0] + c * fit.along[1]])
    return replace(run, shape=run.shape.straightened(LineFit(fit.centre, along)))


def _joints_off(net: Laid, k: int, missed_mm: float) -> list[tuple[bool, Array]]:
    """Return the ends of a run that its curve misses, with the place of the joint there."""
    run, stops = net.runs[k], net.stops[k]
    if run.closed:
        return []
    ends = ((False, stops[0]), (True, stops[-1]))
    places = [(last, s.t_mm, net.places[s.joint]) for last, s in ends]
    return [
        (last, place)
        for last, t, place in places
        if np.hypot(*(run.shape.place(t) - place)) > missed_mm
    ]


def _reread(net: Laid, sight: Sight, options: LayingOptions) -> list[Run]:
    rows = sight.rows
    found = np.isfinite(sight.sigma_mm)
    seen = np.bincount(rows.owner[found], minlength=rows.lines) * options.step_mm
    clean = found & ~sight.soldered
    clear = np.bincount(rows.owner[clean], minlength=rows.lines) * options.step_mm
    sigma = sight.sigma_mm * np.sqrt(options.shared_mm / options.step_mm)
    points = rows.base + sight.middle_mm[:, None] * rows.normal
    runs = [
        replace(run, width_mm=width)
        for run, width in zip(net.runs, sight.width_mm.tolist(), strict=True)
    ]
    read, places = np.flatnonzero(seen >= options.clear_mm).tolist(), []
    for k in read:
        part = rows.of(k)
        for last, joint in _joints_off(net, k, options.missed_mm):  # rule 2
            end = part.stop - 1 if last else part.start
            points[end], sigma[end] = joint, options.hidden_mm
        places.append(Places(rows.along_mm[part], points[part], rows.normal[part], sigma[part]))
    closed = [runs[k].closed for k in read]
    shapes = shapes_of(places, closed, sight.width_mm[read], options)
    for k, shape in zip(read, shapes, strict=True):
        runs[k] = replace(runs[k], shape=shape, clear_mm=float(clear[k]))
    for k in np.flatnonzero(seen < options.clear_mm).tolist():  # rule 1
        part = rows.of(k)
        runs[k] = _shifted(runs[k], sight.middle_mm[part][found[part]])
    return runs


def _shifted(run: Run, aside_mm: Array) -> Run:
    """Move a straight run aside, by the median of what was read."""
    fit = run.shape.fit
    if not len(aside_mm) or not isinstance(fit, LineFit):
        return run
    left = np.array([-fit.along[1], fit.along[0]])
    moved = LineFit(fit.centre + float(np.median(aside_mm)) * left, fit.along)
    return replace(run, shape=run.shape.straightened(moved))
