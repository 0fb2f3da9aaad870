"""The lens of `geometry.frame.Warp`, for arrays of any shape and for trial values of k1."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rubbing2pattern.geometry.frame import Array


@dataclass(frozen=True, slots=True)
class Lens:
    """Radial distortion about the centre of the picture (Brown 1966, two terms).

    Attributes
    ----------
    centre_px : (column, row) of the picture's centre.
    radius_px : half of the picture's diagonal, the unit of the radius.
    k1 : the first coefficient.
    k2 : the second one; never part of a warp, only of what may be wrong with it.
    """

    centre_px: tuple[float, float]
    radius_px: float
    k1: float = 0.0
    k2: float = 0.0

    @classmethod
    def of(cls, shape: tuple[int, ...], k1: float = 0.0) -> Lens:
        """Return the lens of a picture of `shape` (rows, columns)."""
        height_px, width_px = shape[:2]
        centre_px = ((width_px - 1) / 2.0, (height_px - 1) / 2.0)
        return cls(centre_px, float(np.hypot(width_px, height_px)) / 2.0, k1)

    def with_k1(self, k1: float, k2: float = 0.0) -> Lens:
        """Return the lens with other coefficients, kept where the map is one to one."""
        return Lens(self.centre_px, self.radius_px, min(max(k1, -0.3), 0.3), k2)

    def seen(self, ideal: Array) -> Array:
        """Map ideal to seen pixels, (..., 2) to (..., 2)."""
        return np.stack(self.seen_apart(ideal[..., 0], ideal[..., 1]), axis=-1)

    def seen_apart(self, column: Array, row: Array) -> tuple[Array, Array]:
        """Map columns and rows of ideal pixels, each of any shape, to those of seen ones."""
        x, y = column - self.centre_px[0], row - self.centre_px[1]
        square = (x**2 + y**2) / self.radius_px**2
        factor = 1.0 + square * (self.k1 + self.k2 * square if self.k2 else self.k1)
        return self.centre_px[0] + x * factor, self.centre_px[1] + y * factor

    def ideal(self, seen: Array) -> Array:
        """Map seen to ideal pixels, (..., 2) to (..., 2); Newton's method on the radius."""
        offset = seen - self.centre_px
        r = np.hypot(offset[..., :1], offset[..., 1:]) / self.radius_px
        rho = r.copy()
        for _ in range(5):
            square = rho**2
            by_k2 = self.k2 * square if self.k2 else 0.0
            slope = np.maximum(1.0 + square * (3.0 * self.k1 + 5.0 * by_k2), 0.2)
            rho -= (rho * (1.0 + square * (self.k1 + by_k2)) - r) / slope
        return np.asarray(self.centre_px + offset * (rho / np.maximum(r, 1e-12)))
