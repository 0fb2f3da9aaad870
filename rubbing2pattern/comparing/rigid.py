"""Rigid motions of a panel: mirrored if need be, turned, shifted; the closed fit to pairs."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import MultiPolygon, Polygon

from rubbing2pattern.geometry.frame import Array, Placement, points_array

STILL = Placement()


@dataclass(frozen=True, slots=True)
class Motion:
    """From one panel's frame to another's.

    Attributes
    ----------
    mirrored : x becomes -x first.
    placement : then turned about the origin and shifted.
    """

    mirrored: bool = False
    placement: Placement = STILL

    def apply(self, points_mm: npt.ArrayLike) -> Array:
        """Map (x, y) in mm; shape (N, 2) to (N, 2)."""
        points = points_array(points_mm)
        return self.placement.apply(points * (-1.0, 1.0) if self.mirrored else points)

    def shape(self, area: Polygon | MultiPolygon) -> Polygon | MultiPolygon:
        """Map a shape."""
        return shapely.transform(area, self.apply)

    def then(self, turn_rad: float, about: Array, shift: Array) -> Motion:
        """Return the motion followed by a turn about a place (2,) and a shift (2,)."""
        a = math.radians(self.placement.angle_deg) + turn_rad
        origin = np.array((self.placement.dx_mm, self.placement.dy_mm))
        dx, dy = turned(origin - about, turn_rad)[0] + about + shift
        # Kept from -180 to 180 degrees.
        angle_deg = math.degrees(math.remainder(a, 2.0 * math.pi))
        return Motion(self.mirrored, Placement(angle_deg, float(dx), float(dy)))


def turned(points: npt.ArrayLike, angle_rad: float) -> Array:
    """Return points (N, 2) turned anticlockwise about the origin."""
    p = points_array(points)
    c, s = math.cos(angle_rad), math.sin(angle_rad)
    return np.column_stack((c * p[:, 0] - s * p[:, 1], s * p[:, 0] + c * p[:, 1]))


def closed_fit(from_mm: Array, to_mm: Array, weights: Array | None = None) -> Placement:
    """Return the turn and shift that bring places nearest to others, pair by pair.

    The closed solution of Kabsch (1976, Acta Crystallographica A 32, 922-923) in the plane, without
    mirroring and without scale, as Umeyama (1991, IEEE PAMI 13, 376-380) gives it too: with both
    sets read as x + i y about their weighted means, the turn is the angle of the sum of
    w conj(a) b.

    Parameters
    ----------
    from_mm, to_mm : (N, 2) each.
    weights : (N,), 1 each when not given.
    """
    w = np.ones(len(from_mm)) if weights is None else weights
    total = float(w.sum())
    mean_a, mean_b = (w @ from_mm) / total, (w @ to_mm) / total
    a, b = (from_mm - mean_a) @ (1.0, 1.0j), (to_mm - mean_b) @ (1.0, 1.0j)
    turn = float(np.angle(np.sum(w * np.conj(a) * b)))
    dx, dy = mean_b - turned(mean_a, turn)[0]
    return Placement(math.degrees(turn), float(dx), float(dy))
