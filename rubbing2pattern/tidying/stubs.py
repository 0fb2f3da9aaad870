"""Stubs: leads where they come out of a joint, clear of solder and of other leads."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rubbing2pattern.fitting.primitives import Fit, LineFit, fit_circle, fit_cubic, fit_line
from rubbing2pattern.fitting.runs import Measure, judged
from rubbing2pattern.frame import Array
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.tidying.refine import Track
from rubbing2pattern.tidying.web import Web

End = tuple[int, bool]
"""A strand, and whether it starts at the joint."""


@dataclass(frozen=True, slots=True)
class Stub:
    """A lead next to a joint.

    Attributes
    ----------
    end : which strand end it is.
    fit : curve through the clean lead next to the joint.
    tip : (2,) the clean place nearest to the joint.
    heading : (2,) unit vector at the tip, towards the joint.
    seen_mm : length of clean lead behind the fit.
    width_mm : of the lead.
    """

    end: End
    fit: Fit
    tip: Array
    heading: Array
    seen_mm: float
    width_mm: float


def reach_of_solder(web: Web, node: int, options: TidyOptions) -> float:
    """Radius in mm within which solder may hide the leads of a joint."""
    widths = [web.strands[k].width_mm for k, _ in web.ends_at(node)]
    if len(widths) < 2:
        return 0.0
    return options.blob * max(widths) + 0.5


Tracks = dict[int, Track]


def lone_width(web: Web, k: int, tracks: Tracks, options: TidyOptions) -> float:
    """Width of a strand where it runs alone, in mm.

    A short strand that is wider than every lead it goes on in is two leads run together.
    """
    strand = web.strands[k]
    own = tracks[k].lone_mm
    if strand.length_mm > options.fused_mm:
        return own
    beside = [
        tracks[e].lone_mm
        for n in (strand.a, strand.b)
        for e, _ in web.ends_at(n)
        if e != k and e in tracks and tracks[e].seen_at_all
    ]
    return min(own, max(beside, default=own))


def clean_places(web: Web, k: int, tracks: Tracks, options: TidyOptions) -> npt.NDArray[np.bool_]:
    """Where a strand shows one lead alone: outside solder, seen, and no wider than it should be."""
    strand, track = web.strands[k], tracks[k]
    along, length = track.along_mm, float(track.along_mm[-1])
    alone_mm = lone_width(web, k, tracks, options)
    alone = track.local_mm <= (1.0 + options.merged) * alone_mm + options.merged_mm
    seen = track.response >= options.unseen_below
    if strand.a == strand.b and web.degree(strand.a) == 2:
        return np.asarray(alone & seen)
    here, there = (reach_of_solder(web, n, options) for n in (strand.a, strand.b))
    return np.asarray(alone & seen & (along >= here) & (along <= length - there))


def clean_length(clean: npt.NDArray[np.bool_], track: Track) -> float:
    """Length of clean lead in mm."""
    step = float(track.along_mm[-1]) / max(len(clean) - 1, 1)
    return float(clean.sum()) * step


def hidden(web: Web, k: int, tracks: Tracks, options: TidyOptions) -> bool:
    """Whether less of a strand is in the clear than tells its direction."""
    strand = web.strands[k]
    if strand.a == strand.b:
        return False
    return clean_length(clean_places(web, k, tracks, options), tracks[k]) < options.clear_mm


def stub_of(web: Web, end: End, tracks: Tracks, options: TidyOptions) -> Stub | None:
    """Fit the clean lead next to a joint; None when the strand is hidden.

    A line if it will do, else a circle, else a cubic of one span, through up to `local_mm` of lead.
    """
    k, starts = end
    track = tracks[k]
    clean = clean_places(web, k, tracks, options)
    if clean_length(clean, track) < options.clear_mm:
        return None
    order = np.nonzero(clean)[0] if starts else np.nonzero(clean)[0][::-1]
    from_tip = np.abs(track.along_mm[order] - track.along_mm[order[0]])
    order = order[from_tip <= options.local_mm]
    points = track.points[order]
    weights = np.clip(track.response[order], 0.05, 1.0).astype(np.float64)
    fit = _best(points, weights, max(options.noise_mm, options.noise_share * track.lone_mm))
    tip, along = fit.near(points[0])
    if float(along @ (points[0] - points[-1])) < 0:
        along = -along
    seen = math.dist(points[0], points[-1])
    return Stub(end, fit, tip, along, seen, track.lone_mm)


def _best(points: Array, weights: Array, noise_mm: float) -> Fit:
    measure = Measure(noise_mm, 3.0)
    line: LineFit = fit_line(points, weights)
    line_cost, line_ok = judged(line, points, weights, measure)
    if len(points) < 10:
        return line
    circle = fit_circle(points, weights)
    if circle is None or circle.radius_mm < 8.0:
        return line
    circle_cost, circle_ok = judged(circle, points, weights, measure)
    if line_ok and line_cost <= circle_cost + 2.0:
        return line
    if circle_ok or len(points) < 24:
        return circle
    cubic = fit_cubic(points, weights, 1)
    cubic_cost, _ = judged(cubic, points, weights, measure)
    return cubic if cubic_cost < circle_cost - 4.0 else circle
