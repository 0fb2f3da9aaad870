"""Settle the net: runs of lead, their curves, and joints where the curves meet."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
import shapely

from rubbing2pattern.curves import (
    Arc,
    Cubic,
    Curve,
    Line,
    Point,
    arc_through,
    as_point,
    points_at,
    polyline_length,
    running_length,
)
from rubbing2pattern.fitting.primitives import CircleFit, CubicFit, Fit, LineFit, fit_cubic
from rubbing2pattern.fitting.runs import Bay, Measure, fit_run
from rubbing2pattern.fitting.solve import meeting_place
from rubbing2pattern.frame import Array
from rubbing2pattern.imaging.profiles import evenly
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.reading import LeadMap, Rubbing
from rubbing2pattern.tidying.knots import Follows
from rubbing2pattern.tidying.links import link_line
from rubbing2pattern.tidying.refine import Track
from rubbing2pattern.tidying.stubs import (
    End,
    clean_length,
    clean_places,
    hidden,
    reach_of_solder,
    stub_of,
)
from rubbing2pattern.tidying.web import Web

_HALF_ROUND_DEG = 90.0

Chain = list[End]
"""Strands of a run in order; True where the strand is walked from its start."""


def chains(web: Web, follows: Follows) -> list[tuple[Chain, bool]]:
    """Return every run of lead as a chain of strands, and whether it closes on itself."""
    out: list[tuple[Chain, bool]] = []
    used: set[int] = set()
    for k in sorted(web.strands):
        if k in used:
            continue
        tail = _walk((k, True), follows)
        if tail[1]:
            chain, closed = tail[0], True
        else:
            head = _walk((k, False), follows)
            chain, closed = [(e, not f) for e, f in reversed(head[0][1:])] + tail[0], False
        out.append((chain, closed))
        used |= {e for e, _ in chain}
    return out


def _walk(start: End, follows: Follows) -> tuple[Chain, bool]:
    """Walk from a strand on while leads run through; also say if that came back to the start."""
    chain = [start]
    k, forward = start
    while True:
        following = follows.get((k, not forward))
        if following is None:
            return chain, False
        k, forward = following
        if any(k == e for e, _ in chain):
            return chain, True
        chain.append((k, forward))


def bay_of(web: Web, tracks: dict[int, Track], k: int, options: TidyOptions) -> Bay:
    """Return the points of a strand, weighed: places where it does not run alone count nothing."""
    track = tracks[k]
    clean = clean_places(web, k, tracks, options)
    weights = np.clip(track.response, 0.0, 1.0).astype(np.float64)
    if clean_length(clean, track) < options.clear_mm:
        return Bay(track.points, np.zeros(len(weights)))
    return Bay(track.points, np.where(clean, weights, 0.0))


def fit_all(
    web: Web,
    tracks: dict[int, Track],
    runs: list[tuple[Chain, bool]],
    rubbing: Rubbing,
    lead: LeadMap,
    options: TidyOptions,
) -> dict[int, Fit]:
    """Return the fitted curve of every strand; links hidden in solder are read last."""
    fits: dict[int, Fit] = {}
    for chain, closed in runs:
        bays = []
        for k, forward in chain:
            bay = bay_of(web, tracks, k, options)
            bays.append(bay if forward else Bay(bay.points[::-1], bay.weights[::-1]))
        width = float(np.median([tracks[k].lone_mm for k, _ in chain]))
        # Of a short lead too little is seen to tell a bend from frayed solder.
        seen = sum(
            clean_length(b.weights > 0, tracks[k]) for (k, _), b in zip(chain, bays, strict=True)
        )
        noise = max(options.noise_mm, options.noise_share * width)
        measure = Measure(noise * (1.0 + options.short_doubt_mm / max(seen, 3.0)))
        for (k, _), fit in zip(chain, fit_run(bays, measure, closed), strict=True):
            fits[k] = fit
    for chain, _ in runs:
        k = chain[0][0]
        if len(chain) == 1 and hidden(web, k, tracks, options):
            strand = web.strands[k]
            beside = {
                n: [
                    fits[e]
                    for e, _ in web.ends_at(n)
                    if e != k and not hidden(web, e, tracks, options)
                ]
                for n in (strand.a, strand.b)
            }
            fits[k] = link_line(web, k, beside, rubbing, lead)
    return fits


def tips_of(
    web: Web,
    tracks: dict[int, Track],
    fits: dict[int, Fit],
    runs: list[tuple[Chain, bool]],
    options: TidyOptions,
) -> dict[End, Fit]:
    """Return the fit of the last clean lead for both ends of every run that ends in a cubic.

    A cubic through a whole run is good between its places, but a bad guide beyond them.
    """
    ends = [(k, starts) for k, fit in fits.items() for starts in (True, False)]
    inner = {e for chain, closed in runs for e in _inner_ends(chain, closed)}
    tips: dict[End, Fit] = {}
    for end in ends:
        if end in inner or not isinstance(fits[end[0]], CubicFit):
            continue
        stub = stub_of(web, end, tracks, options)
        if stub is not None:
            tips[end] = stub.fit
    return tips


def _inner_ends(chain: Chain, closed: bool) -> list[End]:
    """Return the strand ends of a run at which it goes on."""
    last = [(k, not forward) for k, forward in (chain if closed else chain[:-1])]
    return last + (chain if closed else chain[1:])


def solve_joints(
    web: Web,
    fits: dict[int, Fit],
    tips: dict[End, Fit],
    runs: list[tuple[Chain, bool]],
    options: TidyOptions,
) -> dict[int, float]:
    """Move every node to where its curves meet; return the misfit in mm.

    A lead that runs through counts once and more than one that butts against it, for its place is
    known from both sides.
    """
    through: dict[tuple[int, int], int] = {}
    for number, (chain, _) in enumerate(runs):
        for k, _ in chain:
            for node in (web.strands[k].a, web.strands[k].b):
                through[(node, number)] = through.get((node, number), 0) + 1
    run_of = {k: n for n, (chain, _) in enumerate(runs) for k, _ in chain}
    misfit: dict[int, float] = {}
    for node in sorted(web.incident):
        ends = web.ends_at(node)
        if len(ends) == 2 and ends[0][0] == ends[1][0]:
            web.nodes[node] = fits[ends[0][0]].near(web.nodes[node])[0]
            misfit[node] = 0.0
            continue
        distinct: dict[int, tuple[Fit, float]] = {}
        for k, starts in ends:
            weight = 1.0 if through[(node, run_of[k])] > 1 else 0.25
            fit = tips.get((k, starts), fits[k])
            distinct[id(fit)] = (fit, weight)
        chosen = list(distinct.values())
        anchor = web.anchors.setdefault(node, web.nodes[node])
        place, away = meeting_place([f for f, _ in chosen], anchor, [w for _, w in chosen])
        if len(chosen) > 1 and _sharpest_sine([f for f, _ in chosen], anchor) < 0.06:
            # Leads in line meet anywhere; the joint stays where it was seen along them.
            place = max(chosen, key=lambda c: c[1])[0].near(anchor)[0]
        limit = options.stray * max(reach_of_solder(web, node, options), 3.0)
        if len(ends) > 2:  # a sharp joint lies far from its fork, a corner never
            sine = max(_sharpest_sine([f for f, _ in chosen], place), 0.12)
            limit = min(limit / sine, options.fused_mm)
        moved = float(math.dist(place, anchor))
        if moved > limit:
            place = anchor + (place - anchor) * (limit / moved)
            away = np.append(away, moved - limit)
        web.nodes[node] = place
        misfit[node] = float(np.abs(away).max()) if len(away) else 0.0
    return misfit


def _sharpest_sine(fits: list[Fit], place: Array) -> float:
    """Sine of the widest angle at which two of the curves meet."""
    along = [f.near(place)[1] for f in fits]
    sines = [abs(float(u[0] * v[1] - u[1] * v[0])) for i, u in enumerate(along) for v in along[:i]]
    return max(sines, default=1.0)


def curve_of(web: Web, k: int, fit: Fit, options: TidyOptions) -> Curve:
    """Return the curve of a strand between its settled joints.

    A joint that lies off the fitted curve bends only the end of the lead, not all of it.
    """
    strand = web.strands[k]
    ring = strand.a == strand.b
    start, end = web.nodes[strand.a], web.nodes[strand.b]
    if not ring and max(math.dist(fit.near(p)[0], p) for p in (start, end)) > options.bend_mm:
        return _bent_to(strand.path, fit, start, end)
    return _plain(strand.path, fit, as_point(start), as_point(end), ring)


def _plain(path: Array, fit: Fit, start: Point, end: Point, ring: bool) -> Curve:
    if isinstance(fit, CircleFit):
        return _arc(path, fit, start, end, ring)
    if isinstance(fit, CubicFit):
        return _cubic(fit, start, end, ring)
    assert isinstance(fit, LineFit)
    return _loop(path, start, end) if ring else Line(start, end)


def _loop(path: Array, start: Point, end: Point) -> Curve:
    """Return a closed lead of any shape as its path shows it."""
    even = evenly(path, 1.0)
    fit = fit_cubic(even, np.ones(len(even)), max(4, round(len(even) / 15)))
    return _cubic(fit, start, end, True)


def _bent_to(path: Array, fit: Fit, start: Array, end: Array) -> Curve:
    """Return the fitted curve with a short cubic at each end that lies off it."""
    inner = _plain(path, fit, as_point(fit.near(start)[0]), as_point(fit.near(end)[0]), False)
    points = inner.points(0.01)
    s = running_length(points)
    off = [math.dist(p, q) for p, q in ((points[0], start), (points[-1], end))]
    first = min(6.0 + 2.0 * off[0], 0.4 * s[-1])
    last = s[-1] - min(6.0 + 2.0 * off[1], 0.4 * s[-1])
    count = max(4, math.ceil((last - first) / 10.0) + 1)
    t = np.linspace(first, last, count)
    knots = points_at(points, s, t)
    tangents = points_at(points, s, np.minimum(t + 0.05, s[-1])) - points_at(points, s, t - 0.05)
    tangents /= np.maximum(np.hypot(*tangents.T), 1e-12)[:, None]
    joints = np.vstack((start, knots, end))
    lead_in = (knots[0] - start) / max(math.dist(knots[0], start), 1e-9)
    lead_out = (end - knots[-1]) / max(math.dist(end, knots[-1]), 1e-9)
    along = np.vstack((lead_in, tangents, lead_out))
    control = [as_point(joints[0])]
    for i in range(len(joints) - 1):
        third = math.dist(joints[i], joints[i + 1]) / 3.0
        control.append(as_point(joints[i] + third * along[i]))
        control.append(as_point(joints[i + 1] - third * along[i + 1]))
        control.append(as_point(joints[i + 1]))
    return Cubic(tuple(control))


def _arc(path: Array, fit: CircleFit, start: Point, end: Point, ring: bool) -> Curve:
    first = math.degrees(math.atan2(start[1] - fit.centre[1], start[0] - fit.centre[0]))
    if ring:
        angle = np.unwrap(np.arctan2(path[:, 1] - fit.centre[1], path[:, 0] - fit.centre[0]))
        run = float(angle[-1] - angle[0])
        if abs(run) < math.radians(300.0):  # a loop of another shape
            return _loop(path, start, end)
        return Arc(as_point(fit.centre), fit.radius_mm, first, math.copysign(360.0, run))
    last = math.degrees(math.atan2(end[1] - fit.centre[1], end[0] - fit.centre[0]))
    short = (last - first + 180.0) % 360.0 - 180.0
    # Both ways round lead from start to end; the lead is the one that is as long as its path, and
    # on about half a circle, where both are, the one that its path keeps to.
    ways = (short, short - math.copysign(360.0, short))
    curves = [arc_through(start, end, sweep) for sweep in ways]
    if abs(short) < _HALF_ROUND_DEG:
        length = polyline_length(path)
        return min(curves, key=lambda c: abs(c.length_mm - length))
    places = shapely.points(evenly(path, 5.0))
    return min(curves, key=lambda c: _stray_mm(places, c))


def _stray_mm(places: npt.NDArray[np.object_], curve: Curve) -> float:
    """Mean distance of places from a curve."""
    return float(shapely.distance(shapely.linestrings(curve.points(0.1)), places).mean())


def _cubic(fit: CubicFit, start: Point, end: Point, ring: bool) -> Curve:
    ta, tb = (float(t) for t in fit.parameter(np.array([start, end])))
    if ring:
        ta, tb = fit.first, fit.last
    reverse = ta > tb
    lo, hi = min(ta, tb), max(ta, tb)
    if hi - lo < 1e-6:
        return Line(start, end)
    marks = np.unique(np.concatenate((fit.spline.t, [fit.first - 15.0, fit.last + 15.0])))
    inner = marks[(marks > lo + 1e-6) & (marks < hi - 1e-6)]
    breaks = np.concatenate(([lo], inner, [hi]))
    place, speed = fit.state(breaks)
    control: list[Point] = [as_point(place[0])]
    for i in range(len(breaks) - 1):
        third = (breaks[i + 1] - breaks[i]) / 3.0
        control.append(as_point(place[i] + third * speed[i]))
        control.append(as_point(place[i + 1] - third * speed[i + 1]))
        control.append(as_point(place[i + 1]))
    if reverse:
        control = control[::-1]
    cubic = Cubic(tuple(control))
    return cubic.moved_ends(start, end)
