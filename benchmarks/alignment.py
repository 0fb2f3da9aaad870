"""The rigid motion that lays traced lead lines on the true ones, and the scale left over."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Motion:
    """Turn by `angle_rad` about the origin, enlarge by `scale` (1 if rigid), shift."""

    angle_rad: float = 0.0
    shift_mm: tuple[float, float] = (0.0, 0.0)
    scale: float = 1.0

    def apply(self, points: Array) -> Array:
        """Map points (N, 2)."""
        c, s = math.cos(self.angle_rad), math.sin(self.angle_rad)
        turn = np.array([[c, s], [-s, c]])
        return np.asarray(self.scale * points @ turn + np.array(self.shift_mm))


def sample(path: Array, step_mm: float) -> Array:
    """Return points along a path, one in the middle of every step."""
    d = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))))
    n = max(1, round(d[-1] / step_mm))
    s = (np.arange(n) + 0.5) * d[-1] / n
    return np.column_stack((np.interp(s, d, path[:, 0]), np.interp(s, d, path[:, 1])))


def align(traced: list[Array], true: list[Array]) -> tuple[Motion, float]:
    """Return the best rigid motion of traced onto true, and the scale of the best similarity.

    Strategy: start from both lower left corners and from both middles; move by least squares on the
    distances across the true lines, nearest point by nearest point, under a limit that
    shrinks from 15 to 1 mm; keep the start that ends with more points on the lines. A
    similarity fitted in the same way from there gives the scale.
    """
    points = np.vstack([sample(p, 2.0) for p in traced])
    target, normal = _normals(true)
    tree = cKDTree(target)
    both = (np.vstack(traced), np.vstack(true))
    starts = [np.zeros(2), both[1].min(0) - both[0].min(0)]
    starts.append((both[1].min(0) + both[1].max(0) - both[0].min(0) - both[0].max(0)) / 2)
    best, most = Motion(), -1
    for shift in starts:
        motion = Motion(0.0, (float(shift[0]), float(shift[1])))
        for limit in (15.0, 8.0, 5.0, 3.0, 2.0, 1.0, 1.0, 1.0):
            motion = _step(points, tree, target, normal, motion, limit, free_scale=False)
        on = int((tree.query(motion.apply(points))[0] < 1.0).sum())
        if on > most:
            best, most = motion, on
    similar = best
    for _ in range(5):
        similar = _step(points, tree, target, normal, similar, 1.0, free_scale=True)
    return best, similar.scale


def _normals(lines: list[Array]) -> tuple[Array, Array]:
    """Return points on the true lines every quarter mm and the unit normals there."""
    points, normals = [], []
    for p in lines:
        q = sample(p, 0.25)
        a = np.vstack((p[:1], q, p[-1:]))
        t = a[2:] - a[:-2]
        t /= np.maximum(np.hypot(*t.T)[:, None], 1e-12)
        points.append(q)
        normals.append(np.column_stack((-t[:, 1], t[:, 0])))
    return np.vstack(points), np.vstack(normals)


def _step(
    points: Array,
    tree: cKDTree,
    target: Array,
    normal: Array,
    motion: Motion,
    limit_mm: float,
    *,
    free_scale: bool,
) -> Motion:
    """Improve a motion by one Gauss-Newton step on the distances across the lines."""
    q = motion.apply(points)
    d, k = tree.query(q, distance_upper_bound=limit_mm)
    near = np.isfinite(d)
    if near.sum() < 10:
        return motion
    q, k = q[near], k[near]
    middle = q.mean(axis=0)
    r = q - middle
    n = normal[k]
    miss = ((target[k] - q) * n).sum(axis=1)
    columns = [n[:, 0], n[:, 1], r[:, 0] * n[:, 1] - r[:, 1] * n[:, 0]]
    if free_scale:
        columns.append((r * n).sum(axis=1))
    a = np.column_stack(columns)
    # A small pull towards no motion keeps what the lines do not fix (a lone circle's turn) still.
    weight = np.eye(a.shape[1]) * 1e-6 * len(a)
    x = np.linalg.solve(a.T @ a + weight, a.T @ miss)
    grow = 1.0 + (float(x[3]) if free_scale else 0.0)
    turn = Motion(float(x[2]), (0.0, 0.0), grow)
    shift = turn.apply((np.array(motion.shift_mm) - middle)[None])[0] + middle + x[:2]
    return Motion(
        motion.angle_rad + float(x[2]),
        (float(shift[0]), float(shift[1])),
        motion.scale * grow,
    )
