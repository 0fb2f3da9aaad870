"""A smooth curve through measured places, with what it may be off at any place.

Strategy: the curve is a cubic B-spline of which the third derivative is white noise of a given
strength (a came keeps its curvature unless the places say otherwise); places count square to the
line only. Both together make a Gaussian posterior, whose covariance says how sure the curve is,
between places and beyond them (Wahba 1978; P-splines, Eilers and Marx 1996). The strength is the
one with the greatest marginal likelihood.

Legend: N places, K coefficients of each axis, M parameters asked for.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy.linalg import cho_solve_banded, cholesky_banded

from rubbing2pattern.fitting.cubic import basis, spans_of
from rubbing2pattern.fitting.ragged import Ints
from rubbing2pattern.geometry.frame import Array

BENDINGS = (1e-9, 3e-8, 1e-6, 3e-5, 3e-4)
"""Strengths tried, 1/mm^3: from a straight lead bent by hand to an S that ends in 15 mm radius."""

FADE_MM = 60.0
"""Beyond its places a bend fades by a factor e over this length: an S turns back."""


_THIRD = np.array([-1.0, 3.0, -3.0, 1.0])
"""A third difference."""
_BAND = 8
"""Rows of the banded system: four splines overlap, with two coordinates each."""


@dataclass(frozen=True, slots=True)
class Places:
    """Measured places of a curve.

    Attributes
    ----------
    t_mm : (N,) running length on the line they were measured from, rising.
    points, normal : (N, 2) places and unit vectors in which they were measured.
    sigma_mm : (N,) deviation of each; infinite leaves it out.
    """

    t_mm: Array
    points: Array
    normal: Array
    sigma_mm: Array


@dataclass(frozen=True, slots=True)
class SmoothFit:
    """A smooth curve over the range of its places, prolonged with its last curvature.

    Attributes
    ----------
    knots : (K + 4,) of the cubic B-spline that gives the place by parameter, about mm along.
    coefficients : (K, 2) in mm.
    first, last : range of the parameter.
    covariance : (2 K, 2 K) of the coefficients, x and y of each in turn.
    bending : strength of the third derivative that was chosen, 1/mm^3.
    evidence : log of the marginal likelihood.
    """

    knots: Array
    coefficients: Array
    first: float
    last: float
    covariance: Array
    bending: float
    evidence: float

    def at(self, t: Array) -> tuple[Array, Array, Array]:
        """Places (M, 2), unit tangents (M, 2) and deviations across (M,) at parameters."""
        inside = np.clip(t, self.first, self.last)
        beyond = t - inside
        span = spans_of(self.knots, inside)
        around = self.coefficients[_columns(span)]
        place, speed, bend = (
            (basis(self.knots, inside, span, order)[:, :, None] * around).sum(axis=1)
            for order in (0, 1, 2)
        )
        rate = np.maximum(np.hypot(*speed.T), 1e-9)
        along = speed / rate[:, None]
        curvature = (speed[:, 0] * bend[:, 1] - speed[:, 1] * bend[:, 0]) / rate**3
        place, along = _on_circle(place, along, curvature, beyond)
        sigma = self._deviation(inside, beyond, along)
        # Whether the bend fades or stays nobody knows: the difference is in doubt.
        far = np.abs(beyond)
        fading = FADE_MM * (far - FADE_MM * (1.0 - np.exp(-far / FADE_MM)))
        return place, along, np.hypot(sigma, curvature * (0.5 * far**2 - fading))

    def _deviation(self, inside: Array, beyond: Array, along: Array) -> Array:
        normal = np.column_stack((-along[:, 1], along[:, 0]))
        values, columns = _four_of(self.knots, inside)
        far = np.flatnonzero(beyond)
        for order, factor in ((1, beyond), (2, 0.5 * beyond**2)):
            slopes = basis(self.knots, inside[far], columns[far, 3], order)
            values[far] += factor[far, None] * slopes
        # A place hangs on four coefficients: eight neighbours of the covariance are enough.
        few = (values[:, :, None] * normal[:, None, :]).reshape(-1, 8)
        near = 2 * columns[:, :1] + np.arange(8)
        block = self.covariance[near[:, :, None], near[:, None, :]]
        variance = np.einsum("ij,ijk,ik->i", few, block, few)
        wander = self.bending * np.abs(beyond) ** 5 / 20.0
        return np.asarray(np.sqrt(np.maximum(variance, 0.0) + wander))


def _on_circle(place: Array, along: Array, curvature: Array, beyond: Array) -> tuple[Array, Array]:
    """Walk on from places along curves whose bend fades from that of the touching circle."""
    fading = np.sign(beyond) * FADE_MM * (1.0 - np.exp(-np.abs(beyond) / FADE_MM))
    turn = np.clip(curvature * fading, -math.pi, math.pi)
    half = 0.5 * turn
    chord = beyond * np.sinc(half / math.pi)
    normal = np.column_stack((-along[:, 1], along[:, 0]))
    way = along * np.cos(half)[:, None] + normal * np.sin(half)[:, None]
    ahead = along * np.cos(turn)[:, None] + normal * np.sin(turn)[:, None]
    return place + chord[:, None] * way, ahead


def _four_of(knots: Array, t: Array) -> tuple[Array, Ints]:
    """Return values and numbers of the four cubic basis functions that are not 0, (M, 4) each."""
    first, last = float(knots[3]), float(knots[-4])
    inside = np.clip(t, first, last - 1e-9 * max(abs(last), 1.0))
    span = spans_of(knots, inside)
    return basis(knots, inside, span), _columns(span)


def _columns(span: Ints) -> Ints:
    return np.asarray(span[:, None] + np.arange(-3, 1))


def fit_smooth(places: Places, knot_mm: float, limit: float = 2.0) -> SmoothFit:
    """Fit a smooth curve; Huber weights beyond `limit` deviations (Huber 1964)."""
    used = np.isfinite(places.sigma_mm)
    t = places.t_mm[used]
    first, last = float(t[0]), float(t[-1])
    spans = max(1, math.ceil((last - first) / knot_mm))
    width = max((last - first) / spans, 1e-6)
    # Even knots, also beyond the ends: only so are third differences third derivatives.
    knots = first + width * np.arange(-3.0, spans + 4.0)
    values, columns = _four_of(knots, t)
    measured = (places.points[used], places.normal[used])
    solved = _System(values, columns, len(knots) - 4, *measured, width)
    weight = 1.0 / places.sigma_mm[used] ** 2
    robust = weight
    for _ in range(3):
        off = solved.residuals(solved.fit(robust, BENDINGS[-1]).coefficients) * np.sqrt(weight)
        robust = weight * np.minimum(1.0, limit / np.maximum(np.abs(off), 1e-9))
    best = max((solved.fit(robust, q) for q in BENDINGS), key=lambda f: f.evidence)
    covariance = cho_solve_banded(
        (best.factor, True), np.eye(best.factor.shape[1]), check_finite=False
    )
    return SmoothFit(knots, best.coefficients, first, last, covariance, best.bending, best.evidence)


class _Solution(NamedTuple):
    coefficients: Array
    factor: Array
    evidence: float
    bending: float


@dataclass(frozen=True, slots=True)
class _System:
    """The normal equations of one curve.

    The x and y of a coefficient are neighbours, so that all is banded. Of the `count` splines four
    are not 0 at a place: `values` (N, 4) of those in `columns` (N, 4).
    """

    values: Array
    columns: Ints
    count: int
    points: Array
    normal: Array
    width_mm: float

    def _summed(self, shares: Array, count: int) -> Array:
        """Sum over all places what the first few of the four splines at each have, (count,)."""
        columns = self.columns[:, : shares.shape[1]]
        return np.asarray(np.bincount(columns.ravel(), shares.ravel(), count), dtype=np.float64)

    def residuals(self, coefficients: Array) -> Array:
        """Distances of the places from the curve, in the direction measured, (N,)."""
        away = self.points - self._curve(coefficients)
        return np.asarray((away * self.normal).sum(axis=1))

    def _curve(self, coefficients: Array) -> Array:
        return np.asarray((self.values[:, :, None] * coefficients[self.columns]).sum(axis=1))

    def fit(self, weight: Array, bending: float) -> _Solution:
        """Solve for the coefficients (K, 2) under a strength of the third derivative."""
        k = self.count
        # A place does not fix the curve along its line; a faint hold keeps the parameter in step.
        hold = 0.01 * weight
        n = self.normal
        metric = (weight - hold)[:, None, None] * n[:, :, None] * n[:, None, :]
        metric += hold[:, None, None] * np.eye(2)
        pulled = np.einsum("nij,nj->ni", metric, self.points)
        right = np.empty((k, 2))
        for i in (0, 1):
            right[:, i] = self._summed(self.values * pulled[:, i : i + 1], k)
        prior = bending * self.width_mm**5
        banded = np.zeros((_BAND, 2 * k))
        for apart in range(4):
            both = self.values[:, : 4 - apart] * self.values[:, apart:]
            third = _THIRD[: 4 - apart] * _THIRD[apart:]
            stiff = np.convolve(np.ones(k - 3), third) / prior
            for i in (0, 1):
                for j in (0, 1):
                    row = 2 * apart + j - i
                    if row >= 0:
                        block = self._summed(both * metric[:, i, j, None], k - apart)
                        banded[row, i : 2 * (k - apart) : 2] = block + stiff * (i == j)
        banded[0] += 1e-9
        factor = cholesky_banded(banded, lower=True, check_finite=False)
        c = cho_solve_banded((factor, True), right.ravel(), check_finite=False).reshape(k, 2)
        away = self.points - self._curve(c)
        misfit = float(np.einsum("ni,nij,nj->", away, metric, away))
        bent = np.diff(c, n=3, axis=0)
        misfit += float((bent**2).sum()) / prior
        log_det = 2.0 * float(np.log(factor[0]).sum())
        evidence = -0.5 * (misfit + log_det + 2 * (k - 3) * math.log(prior))
        return _Solution(c, factor, evidence, bending)
