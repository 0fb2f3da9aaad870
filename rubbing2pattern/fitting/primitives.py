"""Robust least-squares fits of a straight line and a circle to points.

Legend: N points, shape (N, 2) in mm; weights (N,), 0 leaves a point out; R runs of them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from rubbing2pattern.fitting.ragged import Ints, firsts, quantiles
from rubbing2pattern.geometry.frame import Array


@dataclass(frozen=True, slots=True)
class LineFit:
    """A line through `centre` along the unit vector `along`."""

    centre: Array
    along: Array
    parameters: ClassVar[int] = 2

    def residuals(self, points: Array) -> Array:
        """Signed distances, positive to the left."""
        d = points - self.centre
        return np.asarray(self.along[0] * d[:, 1] - self.along[1] * d[:, 0])


@dataclass(frozen=True, slots=True)
class CircleFit:
    """A circle; `turn` is +1 when its points run anticlockwise."""

    centre: Array
    radius_mm: float
    turn: float
    parameters: ClassVar[int] = 3

    def residuals(self, points: Array) -> Array:
        """Signed distances, positive to the left of the running direction."""
        d = points - self.centre
        return np.asarray(self.turn * (self.radius_mm - np.hypot(d[:, 0], d[:, 1])))


def fit_line(points: Array, weights: Array) -> LineFit:
    """Fit one line as `fit_lines` fits many."""
    centre, along = fit_lines(points, weights, np.zeros(len(points), dtype=np.int64), 1)
    return LineFit(centre[0], along[0])


def fit_lines(points: Array, weights: Array, owner: Ints, runs: int) -> tuple[Array, Array]:
    """Fit a line to every run of points, running as they do: centres and unit vectors, (R, 2) each.

    Total least squares with Huber weights (Huber 1964).

    Parameters
    ----------
    owner : (N,) number of the run of every point, rising; none of the R runs is empty.
    """
    first = firsts(owner, runs)
    w = weights
    for k in range(4):
        total = np.maximum(np.bincount(owner, w, runs), 1e-12)
        centre = np.add.reduceat(w[:, None] * points, first[:-1]) / total[:, None]
        d = points - centre[owner]
        xx, xy, yy = (np.bincount(owner, w * d[:, i] * d[:, j], runs) for i, j in _MOMENTS)
        angle = 0.5 * np.arctan2(2.0 * xy, xx - yy)
        along = np.column_stack((np.cos(angle), np.sin(angle)))
        if k < 3:
            w = weights * _huber(_across(along[owner], d), weights, owner, runs)
    back = ((points[first[1:] - 1] - points[first[:-1]]) * along).sum(axis=1) < 0.0
    return centre, np.where(back[:, None], -along, along)


def _across(along: Array, away: Array) -> Array:
    return np.asarray(along[:, 0] * away[:, 1] - along[:, 1] * away[:, 0])


_MOMENTS = ((0, 0), (0, 1), (1, 1))
"""Coordinates of the second moments of points in the plane."""


def fit_circle(points: Array, weights: Array) -> CircleFit | None:
    """Fit a circle: algebraic start (Kasa 1976), then Gauss-Newton on the distances, Huber weights.

    Returns None when the points are too straight for a circle (radius above 50 m).
    """
    origin = points.mean(axis=0)
    p = points - origin
    scale = max(float(np.abs(p).max()), 1e-9)
    a = np.column_stack((2 * p / scale, np.ones(len(p))))
    rw = np.sqrt(weights)
    right = ((p / scale) ** 2).sum(axis=1) * rw
    solution, _, rank, _ = np.linalg.lstsq(a * rw[:, None], right, rcond=None)
    if rank < 3:  # the points lie on one line
        return None
    centre = solution[:2] * scale
    radius = math.sqrt(max(float(solution[2]) * scale**2 + float(centre @ centre), 1e-12))
    owner = np.zeros(len(p), dtype=np.int64)
    for _ in range(8):
        if radius > 5e4:
            return None
        d = p - centre
        dist = np.maximum(np.hypot(d[:, 0], d[:, 1]), 1e-9)
        res = dist - radius
        w = weights * _huber(res, weights, owner, 1)
        jac = np.column_stack((-d / dist[:, None], -np.ones(len(p))))
        weighted = jac * w[:, None]
        step = np.linalg.lstsq(weighted.T @ jac, -weighted.T @ res, rcond=None)[0]
        centre, radius = centre + step[:2], radius + float(step[2])
        if np.abs(step).max() < 1e-6:
            break
    if not 0.5 < radius < 5e4:
        return None
    mid = p[len(p) // 2]
    u, v = mid - p[0], p[-1] - mid
    turn = math.copysign(1.0, float(u[0] * v[1] - u[1] * v[0]))
    return CircleFit(centre + origin, radius, turn)


def _huber(residuals: Array, weights: Array, owner: Ints, runs: int) -> Array:
    used = weights > 0
    spread = 1.4826 * quantiles(np.abs(residuals)[used], owner[used], runs, 0.5)
    limit = 1.5 * np.fmax(spread, 0.03)[owner]
    return np.asarray(np.minimum(1.0, limit / np.maximum(np.abs(residuals), 1e-12)))
