"""A camera over a bench: a pinhole with its axis off the middle, and a lens of two radial terms.

World: x right, y up on the bench, z towards the camera. Pixel centres at integers, rows downwards.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tests.second_bench.panes import Array, Rng

Field = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class View:
    """Projection (3, 4) to ideal pixels, lens about `centre` in half diagonals, size, height."""

    projection: Array
    k1: float
    k2: float
    centre: Array
    radius: float
    size_px: tuple[int, int]
    height_mm: float
    foot_mm: Array

    @property
    def flat(self) -> bool:
        """Whether it is a scanner."""
        return not np.isfinite(self.height_mm)

    def see(self, mm: Array, z_mm: float = 0.0) -> Array:
        """Return where places (N, 2) at a height are seen."""
        p = np.column_stack((mm, np.full(len(mm), 0.0 if self.flat else z_mm), np.ones(len(mm))))
        h = p @ self.projection.T
        q = (h[:, :2] / h[:, 2:] - self.centre) / self.radius
        r2 = (q * q).sum(axis=1, keepdims=True)
        return self.centre + self.radius * q * (1 + self.k1 * r2 + self.k2 * r2 * r2)

    def bench(self) -> tuple[Field, Field]:
        """Return x and y on the bench for every pixel, (H, W) each."""
        w, h = self.size_px
        y, x = np.mgrid[0:h, 0:w].astype(np.float32)
        x, y = (x - self.centre[0]) / self.radius, (y - self.centre[1]) / self.radius
        r = np.linspace(0.0, 1.4, 2000)
        bent = r * (1 + self.k1 * r**2 + self.k2 * r**4)
        ratio = np.interp(np.sqrt(x * x + y * y), bent, r / np.maximum(bent, 1e-12))
        ratio[(x == 0) & (y == 0)] = 1.0
        u, v = x * ratio * self.radius + self.centre[0], y * ratio * self.radius + self.centre[1]
        m = np.linalg.inv(self.projection[:, [0, 1, 3]])
        d = m[2, 0] * u + m[2, 1] * v + m[2, 2]
        return (
            ((m[0, 0] * u + m[0, 1] * v + m[0, 2]) / d).astype(np.float32),
            ((m[1, 0] * u + m[1, 1] * v + m[1, 2]) / d).astype(np.float32),
        )


def above(size_mm: tuple[float, float], per_mm: float, rng: Rng) -> View:
    """Return a hand-held camera some degrees off, its lens bent by -3 to +2 % at the corner."""
    w, h = (round(s * per_mm * 1.07) for s in size_mm)
    high = float(max(rng.uniform(700, 1700), 1.15 * max(size_mm)))
    tip, tilt, roll = np.radians(rng.normal(0, (1.6, 1.6, 1.2)))
    turn_x = np.array([[1, 0, 0], [0, np.cos(tip), -np.sin(tip)], [0, np.sin(tip), np.cos(tip)]])
    turn_y = np.array(
        [[np.cos(tilt), 0, np.sin(tilt)], [0, 1, 0], [-np.sin(tilt), 0, np.cos(tilt)]]
    )
    turn_z = np.array(
        [[np.cos(roll), -np.sin(roll), 0], [np.sin(roll), np.cos(roll), 0], [0, 0, 1]]
    )
    rotation = np.diag([1.0, -1.0, -1.0]) @ turn_z @ turn_y @ turn_x
    f = per_mm * high
    middle = np.array([(w - 1) / 2, (h - 1) / 2]) + rng.normal(0, 0.004 * w, 2)
    k = np.array([[f, 0, middle[0]], [0, f, middle[1]], [0, 0, 1.0]])
    eye = np.array([size_mm[0] / 2, size_mm[1] / 2, 0]) - high * (rotation.T @ [0.0, 0.0, 1.0])
    projection = k @ np.column_stack((rotation, -rotation @ eye))
    corner, share = rng.uniform(-0.03, 0.02), rng.uniform(-0.2, 0.2)
    radius = float(np.hypot(w, h) / 2)
    lens = (corner * (1 - share), corner * share)
    return View(projection, *lens, middle, radius, (w, h), float(eye[2]), eye[:2])


def scanner(size_mm: tuple[float, float], per_mm: float) -> View:
    """Return a scanner that looks straight down everywhere."""
    w, h = (round(s * per_mm) for s in size_mm)
    m = np.array([[per_mm, 0, 0, 0], [0, -per_mm, 0, h - 1.0], [0, 0, 0, 1.0]])
    centre = np.array([(w - 1) / 2, (h - 1) / 2])
    return View(m, 0.0, 0.0, centre, 1.0, (w, h), float("inf"), np.zeros(2))
