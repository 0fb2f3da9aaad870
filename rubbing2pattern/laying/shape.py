"""The curve of a run of lead: a line, else a circle, else a smooth curve, chosen by the evidence.

Legend: R runs, N measured places of all of them, M points of a polyline.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from rubbing2pattern.fitting.primitives import CircleFit, Circles, LineFit, fit_circles, fit_lines
from rubbing2pattern.fitting.ragged import Ints, firsts, quantiles, sorted_runs
from rubbing2pattern.fitting.smooth import Places, SmoothFit, fit_smooth
from rubbing2pattern.geometry.curves import running_length, spaced
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.options.laying import LayingOptions

Fit = LineFit | CircleFit | SmoothFit
Mask = npt.NDArray[np.bool_]

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

    fit: Fit
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

    def place(self, t: float) -> Array:
        """Return the place at a running length, (2,)."""
        k = max(self.index(t), 1)
        before, after = self.t_mm[k - 1 : k + 1].tolist()
        share = min(max((t - before) / max(after - before, 1e-12), 0.0), 1.0)
        return np.asarray((1.0 - share) * self.points[k - 1] + share * self.points[k])

    def way(self, t: float) -> Array:
        """Return the unit tangent at a running length, (2,)."""
        k = min(max(self.index(t), 1), len(self.t_mm) - 2)
        d = self.points[k + 1] - self.points[k - 1]
        return np.asarray(d / max(math.hypot(d[0], d[1]), 1e-12))

    def straightened(self, line: LineFit) -> Shape:
        """Return the same stretch of another line."""
        middle = float((line.centre - self.points[0]) @ line.along)
        at = self.t_mm - self.t_mm[0] - middle
        points = line.centre + at[:, None] * line.along
        return replace(self, fit=line, points=points)


def shapes_of(
    places: Sequence[Places], closed: Sequence[bool], width_mm: Array, options: LayingOptions
) -> list[Shape]:
    """Return for the places of every run the simplest curve that explains them.

    1. a line, if its misfit is within the noise and a circle is not the better one for its price;
    2. else a circle, if its misfit is within the noise;
    3. else a smooth curve.

    Lines are fitted and judged together; only what is no line goes on.
    """
    if not places:
        return []
    p, sigma, owner = _used(places)
    runs = len(places)
    first = firsts(owner, runs)
    count = np.diff(first)
    weights = (np.minimum.reduceat(sigma, first[:-1])[owner] / sigma) ** 2
    noise = np.maximum(options.noise_mm, options.noise_share * width_mm)
    noise = noise * (1.0 + options.short_doubt_mm / np.maximum(count * options.step_mm, 3.0))
    centre, along = fit_lines(p, weights, owner, runs)
    off = LineFit(centre[owner], along[owner].T).residuals(p)
    as_line = judged(off, p, sigma, owner, LineFit.parameters, noise, options.mean_mm)
    fits: list[Fit] = [LineFit(*line) for line in zip(centre, along, strict=True)]
    rest = np.flatnonzero((count >= 4) & (np.array(closed) | ~as_line.settles))
    if len(rest):
        among = np.isin(owner, rest)
        of = np.searchsorted(rest, owner[among])
        p, sigma = p[among], sigma[among]
        circles = fit_circles(p, weights[among], of, len(rest))
        sound = _sound(circles, p, of)
        off = np.where(sound[of], circles.residuals(p, of), 0.0)
        as_circle = judged(off, p, sigma, of, CircleFit.parameters, noise[rest], options.mean_mm)
        dear = sound & (as_circle.cost < as_line.cost[rest])
        straight = ~np.array(closed)[rest] & as_line.will_do[rest] & ~dear
        for i in np.flatnonzero(~straight).tolist():
            k = int(rest[i])
            if sound[i] and as_circle.will_do[i]:
                fits[k] = circles.one(i)
            elif count[k] >= LEAST_SMOOTH:
                fits[k] = _smooth(places[k], closed[k], float(width_mm[k]), options)
    return _drawn(fits, places, closed, options)


def _used(places: Sequence[Places]) -> tuple[Array, Array, Ints]:
    """Return the places of all runs that count, their deviations, and the number of their run."""
    sigma = np.concatenate([one.sigma_mm for one in places])
    owner = np.repeat(np.arange(len(places)), [len(one.sigma_mm) for one in places])
    used = np.isfinite(sigma)
    return np.concatenate([one.points for one in places])[used], sigma[used], owner[used]


def _smooth(places: Places, closed: bool, width_mm: float, options: LayingOptions) -> SmoothFit:
    """Fit a smooth curve, without the ends at which the run turns too tight."""
    if closed:
        return fit_smooth(_wrapped(places), options.knot_mm)
    smooth = fit_smooth(places, options.knot_mm)
    while (less := _unhooked(smooth, places, width_mm, options.step_mm)) is not None:
        places, smooth = less, fit_smooth(less, options.knot_mm)
    return smooth


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
    """How well fits explain their places, (R,) each.

    Attributes
    ----------
    cost : Bayesian information criterion.
    will_do : whether the places lie within noise of it.
    settles : whether it will do and no fit with one more parameter can cost less.
    """

    cost: Array
    will_do: Mask
    settles: Mask


def judged(
    residuals: Array,
    points: Array,
    sigma_mm: Array,
    owner: Ints,
    parameters: int,
    noise_mm: Array,
    window_mm: float,
) -> Verdict:
    """Return what fits cost (Bayesian information criterion, Schwarz 1978) and if they will do.

    Places near each other share their error, so residuals are averaged over windows first. A fit
    will do when the mean square of the windows, each weighed by how sure it is, stays below 2.25
    times that of the noise and nowhere two windows together stray by more than three times it.

    Parameters
    ----------
    residuals, owner : (N,) of all places, and the number of the run of each.
    noise_mm : (R,) that every run may have at least.
    """
    runs = len(noise_mm)
    mean, deviation, of = _windows(residuals, points, sigma_mm, owner, window_mm)
    first = firsts(of, runs)[:-1]
    count = np.bincount(of, minlength=runs)
    twice = 2.0 * np.minimum.reduceat(deviation, first)[of]
    surest = deviation < twice
    jitter = _jitter(mean[surest], of[surest], runs)
    noise = np.minimum(np.maximum(noise_mm, jitter), 2.0 * noise_mm)[of]
    whole = np.hypot(noise, np.sqrt(np.maximum(deviation**2 - twice**2, 0.0)))
    sure = (noise / whole) ** 2
    z2 = (mean / whole) ** 2
    misfit = np.bincount(of, np.minimum(z2, 25.0), runs)
    price = np.log(np.maximum(count, 2))
    w = 1.0 / whole**2
    both = np.flatnonzero(of[1:] == of[:-1])
    pairs = np.abs(mean[both + 1] * w[both + 1] + mean[both] * w[both]) / (w[both + 1] + w[both])
    pairs *= np.sqrt(0.5 * (w[both + 1] + w[both]))
    lone = first[count == 1]
    pairs = np.concatenate((pairs, np.abs(mean[lone]) / whole[lone]))
    at = np.concatenate((of[both], of[lone]))
    number = np.maximum(count - 1, 1)
    straying = sorted_runs(pairs, at)[np.cumsum(number) - 1 - number // 40]
    square = np.bincount(of, sure * np.minimum(z2, 36.0), runs) / np.bincount(of, sure, runs)
    good = (square <= 2.25) & (straying <= 3.0)
    return Verdict(misfit + parameters * price, good, good & (misfit <= price))


def _jitter(mean: Array, owner: Ints, runs: int) -> Array:
    """Noise of the windows from their second differences, which no smooth curve can explain."""
    three = np.flatnonzero(owner[2:] == owner[:-2])
    second = np.abs((mean[three + 2] - mean[three + 1]) - (mean[three + 1] - mean[three]))
    enough = np.bincount(owner, minlength=runs) >= 8
    noise = 1.4826 * quantiles(second, owner[three], runs, 0.5) / math.sqrt(6.0)
    return np.where(enough, noise, 0.0)


def _windows(
    residuals: Array, points: Array, sigma_mm: Array, owner: Ints, window_mm: float
) -> tuple[Array, Array, Ints]:
    """Mean residual of every window, its deviation, and the number of its run."""
    along = running_length(points)
    first = firsts(owner, int(owner[-1]) + 1)
    bins = ((along - along[first[owner]]) / window_mm).astype(np.int64)
    here = np.cumsum(np.concatenate(([0], (bins[1:] != bins[:-1]) | (owner[1:] != owner[:-1]))))
    mass = np.bincount(here, 1.0 / sigma_mm**2)
    total = np.bincount(here, residuals / sigma_mm**2)
    begins = np.flatnonzero(np.diff(here, prepend=-1))
    return total / mass, 1.0 / np.sqrt(mass), owner[begins]


def _sound(circles: Circles, p: Array, owner: Ints) -> Mask:
    """Whether the places support circles so small: frayed ends make a circle too small, (R,)."""
    radius = np.nan_to_num(circles.radius_mm)
    first = firsts(owner, len(radius))[:-1]
    reach = np.maximum.reduceat(np.hypot(*(p - p[first][owner]).T), first)
    return (radius > 8.0) & ((reach > 10.0) | (radius > 3.0 * reach))


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


class _Course(NamedTuple):
    """A fit drawn: where its places lie along it, and a dense polyline with their lengths there."""

    fit: LineFit | CircleFit
    places_mm: Array
    at_mm: Array
    points: Array
    last_mm: float


def _drawn(
    fits: Sequence[Fit], places: Sequence[Places], closed: Sequence[bool], options: LayingOptions
) -> list[Shape]:
    """Draw fits as dense polylines from beyond their first place to beyond their last."""
    drawn: dict[int, Shape] = {}
    plain: dict[int, _Course] = {}
    for k, (fit, one, ring) in enumerate(zip(fits, places, closed, strict=True)):
        if isinstance(fit, SmoothFit):
            drawn[k] = _smoothly(fit, one, ring, options)
            continue
        p = one.points[np.isfinite(one.sigma_mm)]
        beyond = 0.0 if ring else options.beyond_mm
        plain[k] = (
            _straight(fit, p, beyond, options.dense_mm)
            if isinstance(fit, LineFit)
            else _round(fit, p, ring, beyond, options.dense_mm)
        )
    if plain:
        deviations = _spread(list(plain.values()), _used([places[k] for k in plain])[1])
        for (k, course), deviation in zip(plain.items(), deviations, strict=True):
            t = course.at_mm - course.places_mm[0]
            drawn[k] = Shape(fits[k], course.points, t, deviation, course.last_mm, closed[k])
    return [drawn[k] for k in range(len(fits))]


def _smoothly(fit: SmoothFit, places: Places, closed: bool, options: LayingOptions) -> Shape:
    length = float(places.t_mm[-1])
    beyond = 0.0 if closed else options.beyond_mm
    t = _even(float(places.t_mm[0]) - beyond, length + beyond, options.dense_mm)
    points, _, deviation = fit.at(t)
    along = running_length(points)
    start, last = np.interp([places.t_mm[0], length], t, along).tolist()
    return Shape(fit, points, along - start, deviation, last - start, closed)


def _straight(fit: LineFit, p: Array, beyond_mm: float, dense_mm: float) -> _Course:
    s = (p - fit.centre) @ fit.along
    at = _even(float(s[0]) - beyond_mm, float(s[-1]) + beyond_mm, dense_mm)
    return _Course(fit, s, at, fit.centre + at[:, None] * fit.along, float(s[-1] - s[0]))


def _round(fit: CircleFit, p: Array, closed: bool, beyond_mm: float, dense_mm: float) -> _Course:
    d = p - fit.centre
    angle = np.unwrap(np.arctan2(d[:, 1], d[:, 0]))
    way = 1.0 if angle[-1] >= angle[0] else -1.0
    s = way * fit.radius_mm * angle
    whole = 2.0 * math.pi * fit.radius_mm
    reach = min(beyond_mm, max(0.0, 0.5 * (0.95 * whole - float(s[-1] - s[0]))))
    end = float(s[0]) + whole if closed else float(s[-1])
    at = _even(float(s[0]) - reach, end + reach, dense_mm)
    a = way * at / fit.radius_mm
    points = fit.centre + fit.radius_mm * np.column_stack((np.cos(a), np.sin(a)))
    return _Course(fit, s, at, points, end - float(s[0]))


def _even(first: float, last: float, step_mm: float) -> Array:
    return spaced(first, last, max(3, round((last - first) / step_mm) + 1))


def _spread(courses: Sequence[_Course], sigma: Array) -> list[Array]:
    """Deviation along every polyline: of a line as of one, of a circle as of a parabola.

    Parameters
    ----------
    sigma : (N,) of the places of all courses.
    """
    counts = np.array([len(c.places_mm) for c in courses])
    owner = np.repeat(np.arange(len(courses)), counts)
    ends = np.array([(c.places_mm[0], c.places_mm[-1]) for c in courses])
    middle = ends.mean(axis=1)
    scale = np.maximum(0.5 * np.abs(ends[:, 1] - ends[:, 0]), 1e-6)
    x = (np.concatenate([c.places_mm for c in courses]) - middle[owner]) / scale[owner]
    bent = np.array([c.fit.parameters > 2 for c in courses])[owner]
    basis = np.column_stack((bent * x**2, x, np.ones(len(x)))) / sigma[:, None]
    products = basis[:, :, None] * basis[:, None, :]
    covariance = np.linalg.pinv(np.add.reduceat(products, firsts(owner, len(courses))[:-1]))
    out = []
    for course, m, half, c in zip(courses, middle, scale, covariance, strict=True):
        asked = np.vander((course.at_mm - m) / half, 3)
        out.append(np.sqrt(((asked @ c) * asked).sum(axis=1)))
    return out
