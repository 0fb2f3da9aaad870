"""Choose the curves of a continuous run of lead: lines and arcs where they serve, else cubics.

Legend: a run of lead is a chain of B bays, one between each two joints; every bay has points (N, 2)
with weights (N,).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from rubbing2pattern.curves import polyline_length, running_length
from rubbing2pattern.fitting.primitives import (
    CubicFit,
    Fit,
    fit_circle,
    fit_cubic,
    fit_line,
)
from rubbing2pattern.frame import Array


@dataclass(frozen=True, slots=True)
class Bay:
    """Measured points of one came, in running order."""

    points: Array
    weights: Array


@dataclass(frozen=True, slots=True)
class Measure:
    """How a fit is judged.

    Attributes
    ----------
    noise_mm : noise of a centre.
    window_mm : length over which it is averaged.
    short_mm : a lead that is seen over less shows no tight bend, only frayed ends.
    """

    noise_mm: float
    window_mm: float = 5.0
    short_mm: float = 10.0


def fit_run(bays: Sequence[Bay], measure: Measure, closed: bool = False) -> list[Fit]:
    """Return one fit per bay; neighbouring bays on the same curve share the same object.

    Rules:

    1. the whole chain as a line, else as a circle, if either explains its points within noise;
    2. else from each bay on, the longest stretch that a line or a circle explains;
    3. a bay without any weight goes with the one before it, or after it;
    4. bays that neither explains are taken together, with a little of their neighbours for a
       common tangent, as a smooth cubic with as few spans as explain them.
    """
    shown = [i for i, bay in enumerate(bays) if bool((bay.weights > 0).any())]
    if 0 < len(shown) < len(bays):  # rule 3
        known = fit_run([bays[i] for i in shown], measure, closed)
        before = np.searchsorted(shown, np.arange(len(bays)), side="right") - 1
        return [known[max(int(b), 0)] for b in before]
    whole = _simple(bays, measure)
    if whole is not None:  # rule 1
        return [whole] * len(bays)
    fits: list[Fit | None] = [None] * len(bays)
    i = 0
    while i < len(bays):  # rule 2
        found, last = None, i
        for j in range(i, len(bays)):
            fit = _simple(bays[i : j + 1], measure)
            if fit is None:
                break
            found, last = fit, j
        for k in range(i, last + 1):
            fits[k] = found
        i = last + 1
    return _fill_cubics(bays, fits, measure, closed)  # rule 4


def _fill_cubics(
    bays: Sequence[Bay], fits: list[Fit | None], measure: Measure, closed: bool
) -> list[Fit]:
    out: list[Fit] = []
    i = 0
    while i < len(bays):
        known = fits[i]
        if known is not None:
            out.append(known)
            i += 1
            continue
        j = i
        while j + 1 < len(bays) and fits[j + 1] is None:
            j += 1
        cubic = _cubic(bays, i, j, measure, closed)
        out.extend([cubic] * (j - i + 1))
        i = j + 1
    return out


def _joined(bays: Sequence[Bay]) -> tuple[Array, Array]:
    return np.vstack([b.points for b in bays]), np.concatenate([b.weights for b in bays])


def _simple(bays: Sequence[Bay], measure: Measure) -> Fit | None:
    """Return the line or circle that explains the points within noise at the lower cost."""
    points, weights = _joined(bays)
    if (weights > 0).sum() < 3:
        return fit_line(points, np.maximum(weights, 1e-3))
    line = fit_line(points, weights)
    as_line = judged(line, points, weights, measure)
    if as_line.settles:
        return line
    circle = fit_circle(points, weights) if (weights > 0).sum() >= 5 else None
    shown = points[weights > 0]
    reach = float(np.hypot(*(shown - shown[0]).T).max())
    short = reach < measure.short_mm
    if circle is None or (short and circle.radius_mm < 3.0 * reach):
        return line if as_line.will_do or short else None
    as_circle = judged(circle, points, weights, measure)
    if as_line.will_do and (as_line.cost <= as_circle.cost or not as_circle.will_do):
        return line
    return circle if as_circle.will_do else None


class Verdict(NamedTuple):
    """How well a fit explains its points.

    Attributes
    ----------
    cost : Bayesian information criterion.
    will_do : whether the points lie within noise of it.
    settles : whether it will do and no fit with one more parameter can cost less.
    """

    cost: float
    will_do: bool
    settles: bool


def judged(fit: Fit, points: Array, weights: Array, measure: Measure) -> Verdict:
    """Return what a fit costs (Bayesian information criterion, Schwarz 1978) and if it will do.

    Centres near each other share their error, so residuals are averaged over windows first; a fit
    will do when their mean square stays below 2.25 times that of the noise and nowhere two
    windows together stray by more than three times the noise.
    """
    mean = _windows(fit.residuals(points), points, weights, measure.window_mm)
    if mean.size == 0:
        return Verdict(0.0, True, True)
    noise = min(max(measure.noise_mm, _jitter(mean)), 2.0 * measure.noise_mm)
    z2 = (mean / noise) ** 2
    misfit, price = float(np.minimum(z2, 25.0).sum()), math.log(max(mean.size, 2))
    pairs = 0.5 * (mean[1:] + mean[:-1]) if mean.size > 1 else mean
    straying = np.sort(np.abs(pairs))[-1 - len(pairs) // 40]
    good = bool(np.mean(np.minimum(z2, 36.0)) <= 2.25 and straying <= 3.0 * noise)
    return Verdict(misfit + fit.parameters * price, good, good and misfit <= price)


def _jitter(mean: Array) -> float:
    """Noise of the windows from their second differences, which no smooth curve can explain."""
    if mean.size < 8:
        return 0.0
    second = np.diff(mean, n=2)
    return float(1.4826 * np.median(np.abs(second)) / math.sqrt(6.0))


def _windows(residuals: Array, points: Array, weights: Array, window_mm: float) -> Array:
    bins = (running_length(points) / window_mm).astype(np.int64)
    mass = np.bincount(bins, weights)
    total = np.bincount(bins, weights * residuals)
    full = mass > 0.25 * max(float(mass.max()), 1e-9)
    return np.asarray(total[full] / mass[full])


def _cubic(bays: Sequence[Bay], i: int, j: int, measure: Measure, closed: bool) -> CubicFit:
    """Smooth cubic through bays i..j with as few spans as explain them."""
    # Before the first bay of a closed run comes its last.
    before = bays[i - 1] if i > 0 or (closed and j < len(bays) - 1) else None
    after = bays[j + 1] if j + 1 < len(bays) else None
    parts = list(bays[i : j + 1])
    if before is not None:
        parts.insert(0, _tail(before))
    if after is not None:
        parts.append(_head(after))
    points, weights = _joined(parts)
    keep = weights > 0
    if keep.sum() < 8:
        keep = np.ones(len(points), dtype=bool)
    p, w = points[keep], np.maximum(weights[keep], 1e-3)
    length = polyline_length(p)
    best = fit_cubic(p, w, 1)
    least = judged(best, p, w, measure).cost
    for spans in range(2, max(2, int(length / 15.0) + 1) + 1):
        if len(p) < 2 * spans:
            break
        fit = fit_cubic(p, w, spans)
        cost, good, _ = judged(fit, p, w, measure)
        if cost < least:
            best, least = fit, cost
        elif good and cost > least + 12.0:
            break
    return best


def _tail(bay: Bay, count: int = 20) -> Bay:
    used = np.nonzero(bay.weights > 0)[0][-count:]
    return Bay(bay.points[used], bay.weights[used])


def _head(bay: Bay, count: int = 20) -> Bay:
    used = np.nonzero(bay.weights > 0)[0][:count]
    return Bay(bay.points[used], bay.weights[used])
