"""A seam: a straight line across the sheet, with two sides."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rubbing2pattern.geometry.frame import Array


@dataclass(frozen=True, slots=True)
class Seam:
    """The line through `at_mm` square to the direction `normal_deg`, which points beyond it."""

    at_mm: tuple[float, float]
    normal_deg: float

    @property
    def normal(self) -> Array:
        """Unit vector square to the seam, (2,)."""
        a = np.radians(self.normal_deg)
        return np.array([np.cos(a), np.sin(a)])

    @property
    def along(self) -> Array:
        """Unit vector along the seam, to the left of its normal, (2,)."""
        return np.array([-self.normal[1], self.normal[0]])

    def beyond_mm(self, places: Array) -> Array:
        """Return how far places (N, 2) lie beyond the seam, (N,)."""
        return np.asarray((places - self.at_mm) @ self.normal)

    def nearest(self, place: Array) -> Array:
        """Return the place on the seam next to another, (2,)."""
        return np.asarray(self.at_mm + self.along * ((place - self.at_mm) @ self.along))

    def apart_mm(self, other: Seam, reach_mm: float) -> float:
        """Return how far two seams lie from each other, at most, within a reach of the other."""
        ends = np.array([other.at_mm + t * other.along for t in (-reach_mm, reach_mm)])
        return float(np.abs(self.beyond_mm(ends)).max())
