"""Robust least-squares fits of a straight line and a circle to points.

Legend: N points, shape (N, 2) in mm; weights (N,), 0 leaves a point out; R runs of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, NamedTuple

import numpy as np
import numpy.typing as npt

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
    """Fit one circle as `fit_circles` fits many; None if its radius is nan."""
    found = fit_circles(points, weights, np.zeros(len(points), dtype=np.int64), 1)
    return None if np.isnan(found.radius_mm[0]) else found.one(0)


class Circles(NamedTuple):
    """Circles by their centres (R, 2), radii and turns, (R,) each."""

    centre: Array
    radius_mm: Array
    turn: Array

    def residuals(self, points: Array, owner: Ints) -> Array:
        """Signed distances of points from the circles of their runs, as of one."""
        d = points - self.centre[owner]
        return np.asarray(self.turn[owner] * (self.radius_mm[owner] - np.hypot(d[:, 0], d[:, 1])))

    def one(self, run: int) -> CircleFit:
        """Return one of them."""
        return CircleFit(self.centre[run], float(self.radius_mm[run]), float(self.turn[run]))


def fit_circles(points: Array, weights: Array, owner: Ints, runs: int) -> Circles:
    """Fit a circle to every run of points.

    Algebraic start (Kasa 1976), then Gauss-Newton on the distances, Huber weights. The radius is
    nan where points are too straight for a circle (radius above 50 m).

    Parameters
    ----------
    owner : (N,) number of the run of every point, rising; none of the R runs is empty.
    """
    first = firsts(owner, runs)
    count = np.diff(first)
    origin = np.add.reduceat(points, first[:-1]) / count[:, None]
    p = points - origin[owner]
    scale = np.maximum(np.maximum.reduceat(np.abs(p).max(axis=1), first[:-1]), 1e-9)
    q = p / scale[owner, None]
    basis = np.column_stack((2.0 * q, np.ones(len(q))))
    start, bent = _solved(basis, weights, (q**2).sum(axis=1), first)
    centre = start[:, :2] * scale[:, None]
    square = start[:, 2] * scale**2 + (centre**2).sum(axis=1)
    radius = np.sqrt(np.maximum(square, 1e-12))
    found, going = bent, np.ones(runs, dtype=bool)
    for _ in range(8):
        found = found & (radius <= _LARGEST_MM)
        centre[~found], radius[~found] = 0.0, 1.0
        d = p - centre[owner]
        dist = np.maximum(np.hypot(d[:, 0], d[:, 1]), 1e-9)
        res = dist - radius[owner]
        w = weights * _huber(res, weights, owner, runs)
        step, _ = _solved(np.column_stack((d / dist[:, None], np.ones(len(d)))), w, res, first)
        step[~going] = 0.0
        centre, radius = centre + step[:, :2], radius + step[:, 2]
        going = going & (np.abs(step).max(axis=1) >= 1e-6)
        if not going.any():
            break
    found = found & (radius > 0.5) & (radius < _LARGEST_MM)
    middle = points[first[:-1] + count // 2]
    u, v = middle - points[first[:-1]], points[first[1:] - 1] - middle
    turn = np.copysign(1.0, u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])
    return Circles(centre + origin, np.where(found, radius, np.nan), turn)


_LARGEST_MM = 5e4
"""Radius above which nothing on a sheet shows that it is round."""


def _solved(
    basis: Array, weights: Array, right: Array, first: Ints
) -> tuple[Array, npt.NDArray[np.bool_]]:
    """Return least-squares solutions of all runs, (R, 3), and whether each is determined."""
    weighed = weights[:, None] * basis
    normal = np.add.reduceat(weighed[:, :, None] * basis[:, None, :], first[:-1])
    own, axes = np.linalg.eigh(normal)
    sure = own > 1e-13 * own[:, -1:]
    along = np.einsum("rij,ri->rj", axes, np.add.reduceat(weighed * right[:, None], first[:-1]))
    along = np.where(sure, along / np.where(sure, own, 1.0), 0.0)
    return np.einsum("rij,rj->ri", axes, along), np.asarray(sure.all(axis=1))


def _huber(residuals: Array, weights: Array, owner: Ints, runs: int) -> Array:
    used = weights > 0
    spread = 1.4826 * quantiles(np.abs(residuals)[used], owner[used], runs, 0.5)
    limit = 1.5 * np.fmax(spread, 0.03)[owner]
    return np.asarray(np.minimum(1.0, limit / np.maximum(np.abs(residuals), 1e-12)))
