"""The curve of a run of lead: a line, else a circle, else a smooth curve, chosen by the evidence.

Legend: N measured places, M points of the polyline.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from rubbing2pattern.fitting.primitives import CircleFit, LineFit, fit_circle, fit_line
from rubbing2pattern.fitting.smooth import Places, SmoothFit, fit_smooth
from rubbing2pattern.geometry.curves import running_length
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.options.laying import LayingOptions

LEAST_SMOOTH = 8
"""Places that a smooth curve asks for."""
HOOK_MM = 2.0
"""So much before such a turn is left out with it."""
HOOK_WIDTHS = 2.5
"""So near its end, in widths of the lead, a run is not believed to turn sharply."""


@dataclass(frozen=True, slots=True)
class Shape:
    """A curve as a dense polyline, prolonged beyond what was measured.

    Attributes
    ----------
    fit : line, circle or smooth curve.
    points : (M, 2) in mm.
    t_mm : (M,) running length, 0 at the first measured place; below and beyond it is prolonged.
    sigma_mm : (M,) deviation across.
    last_mm : where the last measured place lies.
    closed : whether the end is the beginning.
    """

    fit: LineFit | CircleFit | SmoothFit
    points: Array
    t_mm: Array
    sigma_mm: Array
    last_mm: float
    closed: bool

    def index(self, t: float) -> int:
        """Return the index of the polyline nearest to a running length."""
        return min(int(self.t_mm.searchsorted(t)), len(self.t_mm) - 1)

    def near(self, place: Array, low: float = -math.inf, high: float = math.inf) -> float:
        """Return the running length of the point nearest to a place, between two lengths."""
        a, b = self.index(low), self.index(high) + 1
        d = self.points[a:b] - place
        return float(self.t_mm[a + int((d * d).sum(axis=1).argmin())])

    def at(self, t: float) -> tuple[Array, Array]:
        """Place and unit tangent at a running length."""
        k = min(max(self.index(t), 1), len(self.t_mm) - 1)
        before, after = self.t_mm[k - 1], self.t_mm[k]
        share = min(max((t - before) / max(after - before, 1e-12), 0.0), 1.0)
        p = (1.0 - share) * self.points[k - 1] + share * self.points[k]
        i = min(k, len(self.t_mm) - 2)
        d = self.points[i + 1] - self.points[i - 1]
        return p, d / max(math.hypot(d[0], d[1]), 1e-12)

    def straightened(self, line: LineFit) -> Shape:
        """Return the same stretch of another line."""
        middle = float((line.centre - self.points[0]) @ line.along)
        at = self.t_mm - self.t_mm[0] - middle
        points = line.centre + at[:, None] * line.along
        return replace(self, fit=line, points=points)


def shape_of(places: Places, closed: bool, width_mm: float, options: LayingOptions) -> Shape:
    """Return the simplest curve that explains the places.

    1. a line, if its misfit is within the noise and a circle is not the better one for its price;
    2. else a circle, if its misfit is within the noise;
    3. else a smooth curve.
    """
    used = np.isfinite(places.sigma_mm)
    p, sigma = places.points[used], places.sigma_mm[used]
    weights = (sigma.min() / sigma) ** 2
    seen = float(used.sum()) * options.step_mm
    noise = max(options.noise_mm, options.noise_share * width_mm)
    noise *= 1.0 + options.short_doubt_mm / max(seen, 3.0)
    if len(p) < 4:
        return _drawn(fit_line(p, weights), places, closed, sigma, options)
    line = fit_line(p, weights)
    as_line = judged(line, p, sigma, noise, options.mean_mm)
    if not closed and as_line.settles:
        return _drawn(line, places, closed, sigma, options)
    circle = fit_circle(p, weights)
    as_circle = None
    if circle is not None and _sound(circle, p):
        as_circle = judged(circle, p, sigma, noise, options.mean_mm)
    if not closed and as_line.will_do and (as_circle is None or as_line.cost <= as_circle.cost):
        return _drawn(line, places, closed, sigma, options)
    if circle is not None and as_circle is not None and as_circle.will_do:
        return _drawn(circle, places, closed, sigma, options)
    if len(p) < LEAST_SMOOTH:
        return _drawn(fit_line(p, weights), places, closed, sigma, options)
    if closed:
        return _drawn(fit_smooth(_wrapped(places), options.knot_mm), places, closed, sigma, options)
    smooth = fit_smooth(places, options.knot_mm)
    while (less := _unhooked(smooth, places, width_mm, options.step_mm)) is not None:
        places, smooth = less, fit_smooth(less, options.knot_mm)
    return _drawn(smooth, places, closed, sigma, options)


def _unhooked(fit: SmoothFit, places: Places, width_mm: float, step_mm: float) -> Places | None:
    """Leave out the ends of a run that turn tighter than the lead is wide; None if neither does.

    No glazier bends lead so. There the ridge runs into solder or along another lead.
    """
    t = _even(fit.first, fit.last, step_mm)
    _, along, _ = fit.at(t)
    turn = np.abs(np.diff(np.unwrap(np.arctan2(along[:, 1], along[:, 0]))) / np.diff(t))
    tight = np.flatnonzero(turn > 1.0 / width_mm)
    near = HOOK_WIDTHS * width_mm
    head, tail = t[1:][tight], t[:-1][tight]
    first = float(head[head < fit.first + near].max(initial=-math.inf)) + HOOK_MM
    last = float(tail[tail > fit.last - near].min(initial=math.inf)) - HOOK_MM
    used = np.isfinite(places.sigma_mm)
    kept = used & (places.t_mm >= first) & (places.t_mm <= last)
    if (kept == used).all() or int(kept.sum()) < LEAST_SMOOTH:
        return None
    return replace(places, sigma_mm=np.where(kept, places.sigma_mm, np.inf))


class Verdict(NamedTuple):
    """How well a fit explains its places.

    Attributes
    ----------
    cost : Bayesian information criterion.
    will_do : whether the places lie within noise of it.
    settles : whether it will do and no fit with one more parameter can cost less.
    """

    cost: float
    will_do: bool
    settles: bool


def judged(
    fit: LineFit | CircleFit, points: Array, sigma_mm: Array, noise_mm: float, window_mm: float
) -> Verdict:
    """Return what a fit costs (Bayesian information criterion, Schwarz 1978) and if it will do.

    Places near each other share their error, so residuals are averaged over windows first. A fit
    will do when the mean square of the windows, each weighed by how sure it is, stays below 2.25
    times that of the noise and nowhere two windows together stray by more than three times it.
    """
    mean, deviation = _windows(fit.residuals(points), points, sigma_mm, window_mm)
    noise = min(max(noise_mm, _jitter(mean[deviation < 2.0 * deviation.min()])), 2.0 * noise_mm)
    extra = np.sqrt(np.maximum(deviation**2 - (2.0 * deviation.min()) ** 2, 0.0))
    whole = np.hypot(noise, extra)
    sure = (noise / whole) ** 2
    z2 = (mean / whole) ** 2
    misfit, price = float(np.minimum(z2, 25.0).sum()), math.log(max(mean.size, 2))
    if mean.size > 1:
        w = 1.0 / whole**2
        pairs = np.abs(mean[1:] * w[1:] + mean[:-1] * w[:-1]) / (w[1:] + w[:-1])
        pairs *= np.sqrt(0.5 * (w[1:] + w[:-1]))
    else:
        pairs = np.abs(mean) / whole
    straying = np.sort(pairs)[-1 - len(pairs) // 40]
    square = float((sure * np.minimum(z2, 36.0)).sum() / sure.sum())
    good = bool(square <= 2.25 and straying <= 3.0)
    return Verdict(misfit + fit.parameters * price, good, good and misfit <= price)


def _jitter(mean: Array) -> float:
    """Noise of the windows from their second differences, which no smooth curve can explain."""
    if mean.size < 8:
        return 0.0
    second = np.diff(mean, n=2)
    return float(1.4826 * np.median(np.abs(second)) / math.sqrt(6.0))


def _windows(
    residuals: Array, points: Array, sigma_mm: Array, window_mm: float
) -> tuple[Array, Array]:
    """Mean residual of every window, and its deviation."""
    bins = (running_length(points) / window_mm).astype(np.int64)
    mass = np.bincount(bins, 1.0 / sigma_mm**2)
    total = np.bincount(bins, residuals / sigma_mm**2)
    full = mass > 0
    return total[full] / mass[full], 1.0 / np.sqrt(mass[full])


def _sound(circle: CircleFit, p: Array) -> bool:
    """Whether the places support a circle so small: frayed ends make a circle too small."""
    reach = float(np.hypot(*(p - p[0]).T).max())
    return circle.radius_mm > 8.0 and (reach > 10.0 or circle.radius_mm > 3.0 * reach)


def _wrapped(places: Places, over_mm: float = 40.0) -> Places:
    """Repeat what lies near the seam of a ring on its other side."""
    length = float(places.t_mm[-1])
    head, tail = places.t_mm < over_mm, places.t_mm > length - over_mm
    every = np.ones(len(head), dtype=bool)
    parts = [(tail, -length), (every, 0.0), (head, length)]
    return Places(
        np.concatenate([places.t_mm[k] + d for k, d in parts]),
        np.vstack([places.points[k] for k, _ in parts]),
        np.vstack([places.normal[k] for k, _ in parts]),
        np.concatenate([places.sigma_mm[k] for k, _ in parts]),
    )


def _drawn(
    fit: LineFit | CircleFit | SmoothFit,
    places: Places,
    closed: bool,
    sigma: Array,
    options: LayingOptions,
) -> Shape:
    """Draw a fit as a dense polyline from beyond its first place to beyond its last."""
    used = np.isfinite(places.sigma_mm)
    p, length = places.points[used], float(places.t_mm[-1])
    beyond = 0.0 if closed else options.beyond_mm
    if isinstance(fit, SmoothFit):
        t = _even(float(places.t_mm[0]) - beyond, length + beyond, options.dense_mm)
        points, _, deviation = fit.at(t)
        along = running_length(points)
        start = float(np.interp(places.t_mm[0], t, along))
        return Shape(
            fit,
            points,
            along - start,
            deviation,
            float(np.interp(length, t, along)) - start,
            closed,
        )
    if isinstance(fit, LineFit):
        s = (p - fit.centre) @ fit.along
        at = _even(float(s[0]) - beyond, float(s[-1]) + beyond, options.dense_mm)
        points = fit.centre + at[:, None] * fit.along
        deviation = _spread(s, at, sigma, 2)
        return Shape(fit, points, at - float(s[0]), deviation, float(s[-1] - s[0]), closed)
    d = p - fit.centre
    angle = np.unwrap(np.arctan2(d[:, 1], d[:, 0]))
    way = 1.0 if angle[-1] >= angle[0] else -1.0
    s = way * fit.radius_mm * angle
    reach = min(beyond, max(0.0, 0.5 * (1.9 * math.pi * fit.radius_mm - float(s[-1] - s[0]))))
    end = float(s[0]) + 2.0 * math.pi * fit.radius_mm if closed else float(s[-1])
    at = _even(float(s[0]) - reach, end + reach, options.dense_mm)
    a = way * at / fit.radius_mm
    points = fit.centre + fit.radius_mm * np.column_stack((np.cos(a), np.sin(a)))
    deviation = _spread(s, at, sigma, 3)
    return Shape(fit, points, at - float(s[0]), deviation, end - float(s[0]), closed)


def _even(first: float, last: float, step_mm: float) -> Array:
    return np.linspace(first, last, max(3, round((last - first) / step_mm) + 1))


def _spread(s: Array, at: Array, sigma: Array, parameters: int) -> Array:
    """Deviation (M,) of a polynomial fitted at `s` with deviations `sigma`, at other places."""
    middle, scale = 0.5 * (s[0] + s[-1]), max(0.5 * abs(float(s[-1] - s[0])), 1e-6)
    count = min(parameters, len(s))
    basis = np.vander((s - middle) / scale, count) / sigma[:, None]
    asked = np.vander((at - middle) / scale, count)
    covariance = np.linalg.pinv(basis.T @ basis)
    return np.asarray(np.sqrt(np.einsum("ij,jk,ik->i", asked, covariance, asked)))
