"""Robust least-squares fits of a straight line, a circle and a smooth cubic to points.

Legend: N points, shape (N, 2) in mm; weights (N,), 0 leaves a point out. Every fit returns a `Fit`
whose `near` gives the closest place and direction on the (infinitely prolonged) curve.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from scipy.interpolate import BSpline

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
    """A cubic spline over chord length, prolonged beyond its ends with its last curvature.

    Attributes
    ----------
    spline : the curve, parameter about mm along it.
    first, last : range of the parameter that is backed by points.
    bend_first, bend_last : (2,) second derivatives used beyond the ends.
    table, table_t : (K, 2) places along the curve and their parameters, to start a search.
    """

    spline: BSpline
    first: float
    last: float
    bend_first: Array
    bend_last: Array
    table: Array
    table_t: Array

    @property
    def parameters(self) -> int:
        """One per coefficient and axis, less the running parameter's at each."""
        return len(self.spline.c) + 1

    def state(self, t: Array) -> tuple[Array, Array]:
        """Places and derivatives at parameters (N,), each (N, 2)."""
        inside = np.clip(t, self.first, self.last)
        beyond = (t - inside)[:, None]
        # The last curvature is kept for 15 mm, then the curve runs straight.
        curved = np.clip(beyond, -15.0, 15.0)
        bend = np.where(beyond < 0, self.bend_first, self.bend_last)
        start = self.spline(inside)
        speed = self.spline(inside, 1)
        place = start + beyond * speed + bend * curved * (beyond - 0.5 * curved)
        return place, speed + bend * curved

    def parameter(self, points: Array) -> Array:
        """Parameter of the closest place for each point (N,), beyond the ends where needed."""
        d2 = ((points[:, None, :] - self.table[None]) ** 2).sum(axis=2)
        t = self.table_t[d2.argmin(axis=1)].astype(np.float64)
        for _ in range(4):
            place, speed = self.state(t)
            step = ((points - place) * speed).sum(axis=1)
            t = t + np.clip(step / np.maximum((speed**2).sum(axis=1), 0.05), -20.0, 20.0)
        return np.asarray(t)

    def at(self, t: Array) -> tuple[Array, Array]:
        """Places and unit tangents at parameters."""
        place, speed = self.state(t)
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


def fit_tip(points: Array, weights: Array, memory_mm: float, stiff: float) -> LineFit | CircleFit:
    """Fit the end of a curve, to be prolonged beyond its first point.

    A parabola in which places weigh less with their distance from the end, by a factor e each
    `memory_mm` (local regression, Cleveland 1979), Huber weights; `stiff` (mm^2) holds its
    curvature down. Returned as the circle, or the line, that touches it there.
    """
    here = points[0]
    ahead = here - points[min(6, len(points) - 1)]
    ahead = ahead / max(float(np.hypot(*ahead)), 1e-9)
    left = np.array([-ahead[1], ahead[0]])
    d = points - here
    x, y = d @ ahead, d @ left
    near = weights * np.exp(-np.hypot(*d.T) / memory_mm)
    basis = np.column_stack((np.ones_like(x), x, x**2))
    hold = np.diag((1e-9, 1e-9, stiff))
    w = near
    for _ in range(3):
        c = np.linalg.solve((basis * w[:, None]).T @ basis + hold, (basis * w[:, None]).T @ y)
        off = y - basis @ c
        spread = 1.4826 * float(np.median(np.abs(off[: max(6, len(off) // 3)])))
        w = near * np.minimum(1.0, 1.5 * max(spread, 0.03) / np.maximum(np.abs(off), 1e-9))
    along = ahead + c[1] * left
    along = along / float(np.hypot(*along))
    place, bend = here + c[0] * left, 2.0 * float(c[2])
    if abs(bend) < 1e-4:
        return LineFit(place, along)
    normal = np.array([-along[1], along[0]])
    return CircleFit(place + normal / bend, abs(1.0 / bend), math.copysign(1.0, bend))


def fit_cubic(points: Array, weights: Array, spans: int) -> CubicFit:
    """Fit a cubic spline of `spans` spans to ordered points by chord length, Huber weights.

    A faint penalty on the third differences of the coefficients (P-splines, Eilers and Marx 1996)
    keeps spans without points from running wild.
    """
    step = np.hypot(*np.diff(points, axis=0).T)
    t = np.concatenate(([0.0], np.cumsum(np.maximum(step, 1e-3))))
    end = float(t[-1])
    inner = np.linspace(0.0, end, spans + 1)[1:-1]
    knots = np.concatenate((np.zeros(4), inner, np.full(4, end)))
    basis = BSpline.design_matrix(np.clip(t, 0.0, end * (1 - 1e-12)), knots, 3).toarray()
    penalty = np.diff(np.eye(basis.shape[1]), n=3, axis=0)
    w = weights / max(float(weights.max()), 1e-9)
    used = w.copy()
    fit = None
    for _ in range(3):
        rw = np.sqrt(np.maximum(used, 1e-6))[:, None]
        stiff = 0.002 * float(rw.sum()) ** 0.5
        system = np.vstack((basis * rw, stiff * penalty))
        right = np.vstack((points * rw, np.zeros((len(penalty), 2))))
        coefficients = np.linalg.lstsq(system, right, rcond=None)[0]
        fit = _with_table(BSpline(knots, coefficients, 3), end)
        place = fit.spline(t)
        speed = fit.spline(t, 1)
        away = points - place
        across = (speed[:, 0] * away[:, 1] - speed[:, 1] * away[:, 0]) / np.maximum(
            np.hypot(*speed.T), 1e-6
        )
        used = w * _huber(across, w)
    assert fit is not None
    return fit


def _with_table(spline: BSpline, end: float) -> CubicFit:
    table_t = np.linspace(0.0, end, max(16, int(end) + 1))
    near = min(15.0, 0.5 * end)
    bends = [
        spline(np.linspace(a, b, 5), 2).mean(axis=0) for a, b in ((0, near), (end - near, end))
    ]
    return CubicFit(spline, 0.0, end, bends[0], bends[1], spline(table_t), table_t)


def _huber(residuals: Array, weights: Array) -> Array:
    used = residuals[weights > 0]
    spread = 1.4826 * float(np.median(np.abs(used))) if used.size else 0.0
    limit = 1.5 * max(spread, 0.03)
    return np.asarray(np.minimum(1.0, limit / np.maximum(np.abs(residuals), 1e-12)))
