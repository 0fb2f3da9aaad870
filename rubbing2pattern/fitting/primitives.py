"""Robust least-squares fits of a straight line and a circle to points.

Legend: N points, shape (N, 2) in mm; weights (N,), 0 leaves a point out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from rubbing2pattern.geometry.frame import Array


@dataclass(frozen=True, slots=True)
class LineFit:
    """A line through `centre` along the unit vector `along`."""

    centre: Array
    along: Array
    parameters: int = 2

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
    parameters: int = 3

    def residuals(self, points: Array) -> Array:
        """Signed distances, positive to the left of the running direction."""
        d = points - self.centre
        return np.asarray(self.turn * (self.radius_mm - np.hypot(d[:, 0], d[:, 1])))


def fit_line(points: Array, weights: Array) -> LineFit:
    """Fit a line by total least squares, Huber weights (Huber 1964), running as the points do."""
    w = weights.copy()
    fit = _plain_line(points, w)
    for _ in range(3):
        w = weights * _huber(fit.residuals(points), weights)
        fit = _plain_line(points, w)
    if float((points[-1] - points[0]) @ fit.along) < 0:
        fit = LineFit(fit.centre, -fit.along)
    return fit


def _plain_line(points: Array, w: Array) -> LineFit:
    centre = (w[:, None] * points).sum(axis=0) / max(w.sum(), 1e-12)
    d = points - centre
    (xx, xy), (_, yy) = (w[:, None] * d).T @ d
    angle = 0.5 * math.atan2(2.0 * xy, xx - yy)
    return LineFit(centre, np.array([math.cos(angle), math.sin(angle)]))


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
    for _ in range(8):
        if radius > 5e4:
            return None
        d = p - centre
        dist = np.maximum(np.hypot(d[:, 0], d[:, 1]), 1e-9)
        res = dist - radius
        w = weights * _huber(res, weights)
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


def _huber(residuals: Array, weights: Array) -> Array:
    used = residuals[weights > 0]
    spread = 1.4826 * float(np.median(np.abs(used))) if used.size else 0.0
    limit = 1.5 * max(spread, 0.03)
    return np.asarray(np.minimum(1.0, limit / np.maximum(np.abs(residuals), 1e-12)))
