"""Robust least-squares fits of a straight line, a circle and a smooth cubic to points.

Legend: N points, shape (N, 2) in mm; weights (N,), 0 leaves a point out. Every fit returns a `Fit`
whose `near` gives the closest place and direction on the (infinitely prolonged) curve.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from scipy.interpolate import BSpline, make_lsq_spline

from rubbing2pattern.frame import Array


class Fit(Protocol):
    """A fitted curve without ends."""

    @property
    def parameters(self) -> int:
        """Number of free parameters."""

    def residuals(self, points: Array) -> Array:
        """Signed distances of points from the curve, (N,) mm."""

    def near(self, point: Array) -> tuple[Array, Array]:
        """Closest place on the curve and the unit tangent there."""


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

    def near(self, point: Array) -> tuple[Array, Array]:
        """Foot of the perpendicular and the direction."""
        foot = self.centre + self.along * float((point - self.centre) @ self.along)
        return foot, self.along


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

    def near(self, point: Array) -> tuple[Array, Array]:
        """Closest point of the circle and the tangent."""
        d = point - self.centre
        r = d / max(float(np.hypot(*d)), 1e-12)
        return self.centre + self.radius_mm * r, self.turn * np.array([-r[1], r[0]])


@dataclass(frozen=True, slots=True)
class CubicFit:
    """A cubic spline over chord length, prolonged straight beyond its ends."""

    spline: BSpline
    first: float
    last: float
    table: Array
    table_t: Array

    @property
    def parameters(self) -> int:
        """One per coefficient and axis, less the two of the running parameter."""
        return 2 * len(self.spline.c) - 2

    def parameter(self, points: Array) -> Array:
        """Parameter of the closest place for each point (N,), beyond the ends where needed."""
        d2 = ((points[:, None, :] - self.table[None]) ** 2).sum(axis=2)
        t = self.table_t[d2.argmin(axis=1)].astype(np.float64)
        for _ in range(3):
            inside = np.clip(t, self.first, self.last)
            place = self.spline(inside)
            speed = self.spline(inside, 1)
            place = place + (t - inside)[:, None] * speed
            t = t + ((points - place) * speed).sum(axis=1) / np.maximum(
                (speed**2).sum(axis=1), 1e-12
            )
        return np.asarray(t)

    def at(self, t: Array) -> tuple[Array, Array]:
        """Places and unit tangents at parameters."""
        inside = np.clip(t, self.first, self.last)
        speed = self.spline(inside, 1)
        place = self.spline(inside) + (t - inside)[:, None] * speed
        return place, speed / np.maximum(np.hypot(*speed.T), 1e-12)[:, None]

    def residuals(self, points: Array) -> Array:
        """Signed distances, positive to the left."""
        place, along = self.at(self.parameter(points))
        d = points - place
        return np.asarray(along[:, 0] * d[:, 1] - along[:, 1] * d[:, 0])

    def near(self, point: Array) -> tuple[Array, Array]:
        """Closest place and tangent."""
        place, along = self.at(self.parameter(point[None]))
        return place[0], along[0]


def fit_line(points: Array, weights: Array) -> LineFit:
    """Fit a line by total least squares with Huber weights (Huber 1964), running as the points do."""
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
    cov = (w[:, None] * d).T @ d
    return LineFit(centre, np.linalg.eigh(cov)[1][:, 1])


def fit_circle(points: Array, weights: Array) -> CircleFit | None:
    """Fit a circle: algebraic start (Kasa 1976), then Gauss-Newton on the distances, Huber weights.

    Returns None when the points are too straight for a circle (radius above 50 m).
    """
    origin = points.mean(axis=0)
    p = points - origin
    scale = max(float(np.abs(p).max()), 1e-9)
    a = np.column_stack((2 * p / scale, np.ones(len(p))))
    rw = np.sqrt(weights)
    solution = np.linalg.lstsq(a * rw[:, None], ((p / scale) ** 2).sum(axis=1) * rw, rcond=None)[0]
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
        sw = np.sqrt(w)
        step = np.linalg.lstsq(jac * sw[:, None], -res * sw, rcond=None)[0]
        centre, radius = centre + step[:2], radius + float(step[2])
        if np.abs(step).max() < 1e-6:
            break
    if not 0.5 < radius < 5e4:
        return None
    mid = p[len(p) // 2]
    cross = np.cross2d if hasattr(np, "cross2d") else None
    del cross
    u, v = mid - p[0], p[-1] - mid
    turn = math.copysign(1.0, float(u[0] * v[1] - u[1] * v[0]))
    return CircleFit(centre + origin, radius, turn)


def fit_cubic(points: Array, weights: Array, pieces: int, closed: bool = False) -> CubicFit | None:
    """Fit a cubic spline of `pieces` spans to ordered points by chord length, Huber weights."""
    del closed
    step = np.hypot(*np.diff(points, axis=0).T)
    t = np.concatenate(([0.0], np.cumsum(np.maximum(step, 1e-6))))
    inner = np.linspace(0.0, t[-1], pieces + 1)[1:-1]
    knots = np.concatenate((np.zeros(4), inner, np.full(4, t[-1])))
    w = np.maximum(weights, 1e-6)
    fit = None
    for _ in range(3):
        try:
            spline = make_lsq_spline(t, points, knots, k=3, w=np.sqrt(w))
        except (ValueError, np.linalg.LinAlgError):
            return None
        table_t = np.linspace(0.0, t[-1], max(16, int(t[-1]) + 1))
        fit = CubicFit(spline, 0.0, float(t[-1]), spline(table_t), table_t)
        t_new = np.clip(fit.parameter(points), 0.0, t[-1])
        t = np.maximum.accumulate(t_new + 1e-9 * np.arange(len(t_new)))
        t[0] = min(t[0], 0.0)
        t = np.clip(t, 0.0, float(knots[-1]))
        t = np.maximum.accumulate(t)
        w = np.maximum(weights * _huber(fit.residuals(points), weights), 1e-6)
    return fit


def _huber(residuals: Array, weights: Array) -> Array:
    used = residuals[weights > 0]
    spread = 1.4826 * float(np.median(np.abs(used))) if used.size else 0.0
    limit = 1.5 * max(spread, 0.03)
    return np.asarray(np.minimum(1.0, limit / np.maximum(np.abs(residuals), 1e-12)))
