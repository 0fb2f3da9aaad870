"""The sheet of paper, the grid on which it is worked, and rows of that grid."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from tests.rendering.geometry import Array

Grid = npt.NDArray[np.float32]
Rng = np.random.Generator

COARSE_PER_MM = 1.0
"""Cells per mm of the maps that change slowly: strokes, smudges, tone, height of the leads."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """The sheet of paper and where the panel lies on it.

    Attributes
    ----------
    width_mm, height_mm : size; the sheet's origin is its lower left corner.
    shift_mm : of the panel's origin on the sheet.
    angle_deg : turn of the panel on the sheet.
    """

    width_mm: float
    height_mm: float
    shift_mm: tuple[float, float]
    angle_deg: float

    @property
    def matrix(self) -> Array:
        """Map of panel millimetres to sheet millimetres, shape (3, 3)."""
        a = np.radians(self.angle_deg)
        c, s = np.cos(a), np.sin(a)
        return np.array([[c, -s, self.shift_mm[0]], [s, c, self.shift_mm[1]], [0, 0, 1.0]])

    def place(self, points: Array) -> Array:
        """Map panel millimetres to sheet millimetres."""
        m = self.matrix
        return np.asarray(points @ m[:2, :2].T + m[:2, 2])


@dataclass(frozen=True, slots=True)
class Rows:
    """Rows `first` to `last` (not included) of the fine grid over a sheet.

    Pixel centres lie at integers; the sheet's corner is the outer corner of pixel (0, 0).
    """

    sheet: Sheet
    per_mm: float
    first: int
    last: int

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return (self.last - self.first, columns_of(self.sheet, self.per_mm))

    def to_px(self, points: Array) -> Array:
        """Map sheet millimetres to (column, row counted from `first`)."""
        return np.column_stack(
            (
                points[:, 0] * self.per_mm - 0.5,
                (self.sheet.height_mm - points[:, 1]) * self.per_mm - 0.5 - self.first,
            )
        )

    def x_mm(self) -> Grid:
        """Return x of the columns, shape (1, W)."""
        return ((np.arange(self.shape[1], dtype=np.float32) + 0.5) / self.per_mm)[None]

    def y_mm(self) -> Grid:
        """Return y of the rows, shape (H, 1)."""
        rows = np.arange(self.first, self.last, dtype=np.float32)
        return (self.sheet.height_mm - (rows + 0.5) / self.per_mm)[:, None]

    def fine(self, coarse: Grid) -> Grid:
        """Return these rows of a coarse map, interpolated linearly."""
        k = COARSE_PER_MM / self.per_mm
        w = self.shape[1]
        col = np.clip((np.arange(w) + 0.5) * k - 0.5, 0, coarse.shape[1] - 1)
        row = np.clip((np.arange(self.first, self.last) + 0.5) * k - 0.5, 0, coarse.shape[0] - 1)
        c0 = np.minimum(col.astype(int), coarse.shape[1] - 2)
        t = (col - c0).astype(np.float32)
        top = int(row[0])
        part = coarse[top : int(row[-1]) + 2]
        wide = part[:, c0] * (1 - t) + part[:, c0 + 1] * t
        r0 = np.minimum(row.astype(int) - top, len(part) - 2 if len(part) > 1 else 0)
        s = (row - top - r0).astype(np.float32)[:, None]
        r1 = np.minimum(r0 + 1, len(part) - 1)
        return np.asarray(wide[r0] * (1 - s) + wide[r1] * s, dtype=np.float32)


def columns_of(sheet: Sheet, per_mm: float) -> int:
    """Return the number of columns over the sheet."""
    return int(np.ceil(sheet.width_mm * per_mm))


def rows_of(sheet: Sheet, per_mm: float) -> int:
    """Return the number of rows over the sheet."""
    return int(np.ceil(sheet.height_mm * per_mm))


def coarse_shape(sheet: Sheet) -> tuple[int, int]:
    """Return rows and columns of the coarse maps."""
    return (rows_of(sheet, COARSE_PER_MM), columns_of(sheet, COARSE_PER_MM))


def coarse_px(sheet: Sheet, points: Array) -> Array:
    """Map sheet millimetres to (column, row) of the coarse maps."""
    return Rows(sheet, COARSE_PER_MM, 0, 0).to_px(points)


def cloud(shape: tuple[int, int], size_px: float, rng: Rng) -> Grid:
    """Return smooth noise of mean 0 and deviation 1, its bumps about `size_px` wide."""
    step = max(1.0, size_px / 3)
    small = (max(4, int(shape[0] / step) + 3), max(4, int(shape[1] / step) + 3))
    n = rng.standard_normal(small, dtype=np.float32)
    n = cv2.GaussianBlur(n, (0, 0), max(0.4, size_px / step / 2.5))
    n = (n - n.mean()) / max(1e-6, float(n.std()))
    return np.asarray(
        cv2.resize(n, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC), dtype=np.float32
    )
