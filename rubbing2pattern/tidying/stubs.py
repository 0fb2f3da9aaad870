"""Stubs: leads where they come out of a joint, clear of solder and of other leads."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rubbing2pattern.fitting.primitives import Fit, LineFit, fit_circle, fit_line, fit_tip
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
    clear = (along >= here) & (along <= length - there)
    return np.asarray(track.known | (alone & seen & clear))


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

    A line if it will do, else a circle, through up to `local_mm` of lead, else its tip alone.
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
    noise = max(options.noise_mm, options.noise_share * track.lone_mm)
    fit = _fitted(points, weights, noise, options)
    tip, along = fit.near(points[0])
    if float(along @ (points[0] - points[-1])) < 0:
        along = -along
    seen = math.dist(points[0], points[-1])
    return Stub(end, fit, tip, along, seen, track.lone_mm)


def followed(fit: Fit, start: Array, heading: Array, length_mm: float, step_mm: float) -> Array:
    """Return places along a curve from one on it, (N, 2), the first included.

    Once it has turned by 50 degrees it is taken to run straight: no bend is foretold further.
    """
    points, here, first, straight = [start], start, heading, False
    for _ in range(int(length_mm / step_mm)):
        if straight:
            here = here + step_mm * heading
        else:
            here, along = fit.near(here + step_mm * heading)
            heading = along if float(along @ heading) > 0 else -along
            straight = float(heading @ first) < 0.64
        points.append(here)
    return np.array(points)


def _fitted(points: Array, weights: Array, noise_mm: float, options: TidyOptions) -> Fit:
    """Return a line if it explains clean lead next to a joint, else a circle, else its tip.

    Either must also lie on the last places before the joint, for it is there that it is prolonged.
    """
    measure = Measure(noise_mm, 3.0)
    back = np.hypot(*(points - points[0]).T)
    last = back < options.tip_mm
    trend = np.column_stack((np.ones(int(last.sum())), -back[last]))

    def at_tip(fit: Fit) -> bool:
        off = fit.residuals(points[last])
        here, drift = np.linalg.lstsq(trend, off, rcond=None)[0]
        # Where it leaves the lead on its way into the joint it is off before, if only a little.
        ahead = here + options.tip_ahead_mm * drift
        return max(abs(float(here)), abs(float(ahead)) / 3.0) <= noise_mm

    line: LineFit = fit_line(points, weights)
    as_line = judged(line, points, weights, measure)
    if len(points) < 10 or (as_line.settles and at_tip(line)):
        return line
    circle = fit_circle(points, weights)
    if circle is not None and circle.radius_mm >= 8.0:
        as_circle = judged(circle, points, weights, measure)
        if as_line.will_do and as_line.cost <= as_circle.cost + 2.0 and at_tip(line):
            return line
        if as_circle.will_do and at_tip(circle):
            return circle
    elif as_line.will_do and at_tip(line):
        return line
    return fit_tip(points, weights, options.tip_memory_mm, options.tip_stiff_mm2)
