"""The only place where pixels (column, row, downwards) meet millimetres (x, y, upwards).

Four maps are needed, and no other module converts:

- `Frame`: a rectified grid of square cells laid over the sheet;
- `Warp`: the photograph itself, seen through perspective and lens;
- `Join`: a sheet of two papers, one of which lies out of register;
- `Placement`: the rigid motion from the sheet's millimetres to the panel's.

Pixel centres lie at integers, row 0 on top. Arrays of points have shape (N, 2), pixel points in the
order (column, row), millimetre points in the order (x, y).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

Mask = npt.NDArray[np.bool_]
Array = npt.NDArray[np.float64]


def points_array(points: npt.ArrayLike) -> Array:
    """Return points as a float array of shape (N, 2)."""
    return np.asarray(points, dtype=np.float64).reshape(-1, 2)


@dataclass(frozen=True, slots=True)
class Frame:
    """A grid of square cells: `px_per_mm` cells per millimetre, pixel (0, 0) at (left, top).

    Attributes
    ----------
    px_per_mm : cells per millimetre.
    left_mm, top_mm : x and y of the centre of the pixel in column 0, row 0.
    width_px, height_px : size of the grid.
    """

    px_per_mm: float
    left_mm: float
    top_mm: float
    width_px: int
    height_px: int

    def to_mm(self, pixels: npt.ArrayLike) -> Array:
        """Map (column, row) to (x, y) in mm; shape (N, 2) to (N, 2)."""
        p = points_array(pixels)
        return np.column_stack(
            (self.left_mm + p[:, 0] / self.px_per_mm, self.top_mm - p[:, 1] / self.px_per_mm)
        )

    def to_px(self, points_mm: npt.ArrayLike) -> Array:
        """Map (x, y) in mm to (column, row); shape (N, 2) to (N, 2)."""
        p = points_array(points_mm)
        return np.column_stack(self.px_apart(p[:, 0], p[:, 1]))

    def px_apart(self, x_mm: Array, y_mm: Array) -> tuple[Array, Array]:
        """Map x and y in mm, each of any shape, to columns and rows."""
        return (x_mm - self.left_mm) * self.px_per_mm, (self.top_mm - y_mm) * self.px_per_mm

    @property
    def bounds_mm(self) -> tuple[float, float, float, float]:
        """x_min, y_min, x_max, y_max of the cells' outer edges, in mm."""
        half = 0.5 / self.px_per_mm
        return (
            self.left_mm - half,
            self.top_mm - (self.height_px - 0.5) / self.px_per_mm,
            self.left_mm + (self.width_px - 0.5) / self.px_per_mm,
            self.top_mm + half,
        )

    @classmethod
    def over(cls, bounds_mm: tuple[float, float, float, float], px_per_mm: float) -> Frame:
        """Lay a grid over the rectangle x_min, y_min, x_max, y_max (mm)."""
        x_min, y_min, x_max, y_max = bounds_mm
        half = 0.5 / px_per_mm
        return cls(
            px_per_mm,
            x_min + half,
            y_max - half,
            max(1, round((x_max - x_min) * px_per_mm)),
            max(1, round((y_max - y_min) * px_per_mm)),
        )


@dataclass(frozen=True, slots=True)
class Join:
    """Two papers joined out of register along a straight seam: one of them is moved back.

    *As seen*, the moved paper lies beyond the seam, on the side to which the normal points. Its
    points belong where ``at + shift + turned(p - at)`` puts them. *In register*, the papers meet
    midway between the seam and the moved seam: where they would lie over each other, each is used
    up to there; where they gape, the strip between shows the nearest rim of the paper on its side.

    Attributes
    ----------
    at_mm : a place on the seam as it is seen.
    normal_deg : direction square to the seam that points to the moved paper.
    shift_mm : (dx, dy) by which the place `at_mm` of the moved paper is moved.
    turn_deg : anticlockwise turn of the moved paper about `at_mm`.
    """

    at_mm: tuple[float, float]
    normal_deg: float
    shift_mm: tuple[float, float]
    turn_deg: float = 0.0

    @property
    def motion(self) -> Placement:
        """The rigid motion of the moved paper, from as seen to in register."""
        turn = Placement(self.turn_deg)
        back = np.add(self.at_mm, self.shift_mm) - turn.apply([self.at_mm])[0]
        return Placement(self.turn_deg, float(back[0]), float(back[1]))

    def beyond_mm(self, seen_mm: npt.ArrayLike) -> Array:
        """Return how far points as seen lie beyond the seam, (N,); negative on the other paper."""
        return (points_array(seen_mm) - self.at_mm) @ _unit(self.normal_deg)

    def moved(self, points_mm: npt.ArrayLike) -> Mask:
        """Say which points in register lie on the moved paper, (N,)."""
        middle = np.add(self.at_mm, 0.5 * np.array(self.shift_mm))
        side = (points_array(points_mm) - middle) @ _unit(self.normal_deg + 0.5 * self.turn_deg)
        return np.asarray(side >= 0.0)

    def to_seen(self, points_mm: npt.ArrayLike) -> Array:
        """Map (x, y) in register to where the picture shows it; shape (N, 2) to (N, 2)."""
        p, moved = points_array(points_mm), self.moved(points_mm)
        seen = np.where(moved[:, None], self.motion.inverse().apply(p), p)
        beyond = self.beyond_mm(seen)
        over = np.where(moved, np.minimum(beyond, 0.0), np.maximum(beyond, 0.0))
        return np.asarray(seen - over[:, None] * _unit(self.normal_deg))

    def to_register(self, seen_mm: npt.ArrayLike) -> Array:
        """Map (x, y) as the picture shows it to where it belongs; shape (N, 2) to (N, 2)."""
        p = points_array(seen_mm)
        return np.where(self.beyond_mm(p)[:, None] >= 0.0, self.motion.apply(p), p)

    def placed(self, placement: Placement) -> Join:
        """Return the same join in the frame into which `placement` moves the millimetres."""
        at = placement.apply([self.at_mm])[0]
        shift = Placement(placement.angle_deg).apply([self.shift_mm])[0]
        return Join(
            (float(at[0]), float(at[1])),
            self.normal_deg + placement.angle_deg,
            (float(shift[0]), float(shift[1])),
            self.turn_deg,
        )


@dataclass(frozen=True, slots=True)
class Warp:
    """From the sheet's millimetres to the photograph's pixels, through a plane and a lens.

    The millimetres are in register: where two papers were joined out of register, points are first
    brought to where the picture shows them.

    The ideal (pinhole) pixel is ``homography @ (x, y, 1)``; the lens then moves it radially:
    with ``c`` the centre of distortion and ``r`` the distance from it in units of `radius_px`,
    ``seen = c + (ideal - c) * (1 + k1 * r**2)`` (Brown 1966, first radial term).

    Attributes
    ----------
    homography : nine numbers, row by row, mapping (x_mm, y_mm, 1) to ideal pixels (column, row).
    k1 : radial coefficient; 0 for a scan.
    centre_px : (column, row) of the centre of distortion.
    radius_px : the length that counts as 1 in `k1` (half the picture's diagonal).
    join : of two papers out of register, else None.
    """

    homography: tuple[float, ...]
    k1: float = 0.0
    centre_px: tuple[float, float] = (0.0, 0.0)
    radius_px: float = 1.0
    join: Join | None = None

    @property
    def matrix(self) -> Array:
        """The homography as an array of shape (3, 3)."""
        return np.array(self.homography, dtype=np.float64).reshape(3, 3)

    def to_px(self, points_mm: npt.ArrayLike) -> Array:
        """Map (x, y) in mm on the sheet to (column, row) in the photograph."""
        seen = points_array(points_mm) if self.join is None else self.join.to_seen(points_mm)
        ideal = _apply(self.matrix, seen)
        if self.k1 == 0.0:
            return ideal
        offset = ideal - self.centre_px
        r2 = np.sum(offset**2, axis=1, keepdims=True) / self.radius_px**2
        return np.asarray(self.centre_px + offset * (1.0 + self.k1 * r2))

    def to_mm(self, pixels: npt.ArrayLike) -> Array:
        """Map (column, row) in the photograph to (x, y) in mm on the sheet."""
        inverse = np.asarray(np.linalg.inv(self.matrix), dtype=np.float64)
        seen = _apply(inverse, self.undistorted(pixels))
        return seen if self.join is None else self.join.to_register(seen)

    def undistorted(self, pixels: npt.ArrayLike) -> Array:
        """Take the lens out of (column, row); fixed-point iteration, converges for |k1| < 0.3."""
        seen = points_array(pixels)
        if self.k1 == 0.0:
            return seen
        offset = seen - self.centre_px
        ideal = offset.copy()
        for _ in range(25):
            r2 = np.sum(ideal**2, axis=1, keepdims=True) / self.radius_px**2
            ideal = offset / (1.0 + self.k1 * r2)
        return np.asarray(self.centre_px + ideal)

    def px_per_mm(self, at_mm: tuple[float, float]) -> float:
        """Return the local scale (pixels per millimetre, root of the area ratio) at a place."""
        if self.join is not None:
            # A rigid motion leaves the scale alone, but a difference across the seam would not.
            x, y = self.join.to_seen([at_mm])[0]
            return replace(self, join=None).px_per_mm((float(x), float(y)))
        x, y = at_mm
        d = 0.5
        p = self.to_px([(x - d, y), (x + d, y), (x, y - d), (x, y + d)])
        a, b = (p[1] - p[0]) / (2 * d), (p[3] - p[2]) / (2 * d)
        return math.sqrt(abs(float(a[0] * b[1] - a[1] * b[0])))

    def placed(self, placement: Placement) -> Warp:
        """Return the warp from the frame into which `placement` moves the sheet's millimetres."""
        back = placement.inverse()
        origin, right, up = back.apply(((0.0, 0.0), (1.0, 0.0), (0.0, 1.0)))
        motion = np.array(
            (
                (right[0] - origin[0], up[0] - origin[0], origin[0]),
                (right[1] - origin[1], up[1] - origin[1], origin[1]),
                (0.0, 0.0, 1.0),
            )
        )
        turned = tuple(float(h) for h in (self.matrix @ motion).ravel())
        join = None if self.join is None else self.join.placed(placement)
        return replace(self, homography=turned, join=join)

    @classmethod
    def similarity(cls, px_per_mm: float, height_px: int, angle_deg: float = 0.0) -> Warp:
        """Return the warp of a flat scan: x right, y up, (0, 0) at the lower left pixel's centre.

        `angle_deg` is the direction of the sheet's x axis in the picture, counted anticlockwise
        as seen.
        """
        c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
        k = px_per_mm
        return cls((k * c, -k * s, 0.0, -k * s, -k * c, height_px - 1.0, 0.0, 0.0, 1.0))


@dataclass(frozen=True, slots=True)
class Placement:
    """A rigid motion: turn by `angle_deg` (anticlockwise) about the origin, then shift."""

    angle_deg: float = 0.0
    dx_mm: float = 0.0
    dy_mm: float = 0.0

    def apply(self, points_mm: npt.ArrayLike) -> Array:
        """Map (x, y) in mm from the sheet's frame to the panel's; shape (N, 2) to (N, 2)."""
        p = points_array(points_mm)
        a = math.radians(self.angle_deg)
        c, s = math.cos(a), math.sin(a)
        return np.column_stack(
            (
                c * p[:, 0] - s * p[:, 1] + self.dx_mm,
                s * p[:, 0] + c * p[:, 1] + self.dy_mm,
            )
        )

    def inverse(self) -> Placement:
        """Return the motion that undoes this one."""
        a = math.radians(self.angle_deg)
        c, s = math.cos(a), math.sin(a)
        return Placement(
            -self.angle_deg,
            -(c * self.dx_mm + s * self.dy_mm),
            s * self.dx_mm - c * self.dy_mm,
        )


def _unit(angle_deg: float) -> Array:
    a = math.radians(angle_deg)
    return np.array([math.cos(a), math.sin(a)])


def _apply(matrix: Array, points: Array) -> Array:
    h = points @ matrix[:, :2].T + matrix[:, 2]
    return np.asarray(h[:, :2] / h[:, 2:3])
