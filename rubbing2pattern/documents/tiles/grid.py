"""How a pattern is divided into tiles: windows that overlap, seams in the middle of the overlap.

Words: a *window* is what of the panel a page shows; a *seam* is the line along which two pages are
joined, in the middle of what both show; a *cell* is what is left of a window between its seams.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from rubbing2pattern.geometry.curves import Point
from rubbing2pattern.options.paper import Paper, PaperOptions
from rubbing2pattern.reading import Bounds

STRIP_LEFT_MM = 10.0
"""Beside the window, for the upright check length."""
STRIP_BELOW_MM = 17.0
"""Below the window, for the check length across and the words of the page."""
STRIP_OUTSIDE_MM = 5.0
"""Above and to the right of the window, for crop marks."""
_AROUND_MM = 4.0
"""Paper shown around the leads, so that the rim is not at an edge."""


@dataclass(frozen=True, slots=True)
class PageFrame:
    """Positions on a page, in mm as printed, from its lower left corner.

    Attributes
    ----------
    width_mm, height_mm : of the page of the file, as the printer at hand would print it.
    window_mm : x_min, y_min, x_max, y_max of the window.
    below_mm : y of the lowest print.
    """

    width_mm: float
    height_mm: float
    window_mm: Bounds
    below_mm: float

    @property
    def window_size_mm(self) -> tuple[float, float]:
        """Width and height of the window."""
        x_min, y_min, x_max, y_max = self.window_mm
        return x_max - x_min, y_max - y_min


@dataclass(frozen=True, slots=True)
class Tile:
    """A page of the pattern.

    Attributes
    ----------
    row, column : from the upper left, from 0.
    window_mm, cell_mm : x_min, y_min, x_max, y_max in the frame of the drawing.
    """

    row: int
    column: int
    window_mm: Bounds
    cell_mm: Bounds

    @property
    def name(self) -> str:
        """Row as a letter, column as a number: A1 is the upper left."""
        return tile_name(self.row, self.column)


@dataclass(frozen=True, slots=True)
class Grid:
    """All tiles of a pattern on one paper.

    Attributes
    ----------
    corner : lower left of the lowest left window.
    size_mm : width and height of a window.
    overlap_mm : shared by neighbours.
    """

    columns: int
    rows: int
    corner: Point
    size_mm: tuple[float, float]
    overlap_mm: float

    def tile(self, row: int, column: int) -> Tile:
        """Return one tile; at the outside of the pattern its cell ends with its window."""
        (w, h), o = self.size_mm, self.overlap_mm
        x = self.corner[0] + column * (w - o)
        y = self.corner[1] + (self.rows - 1 - row) * (h - o)
        cell = (
            x + (0.5 * o if column > 0 else 0.0),
            y + (0.5 * o if row < self.rows - 1 else 0.0),
            x + w - (0.5 * o if column < self.columns - 1 else 0.0),
            y + h - (0.5 * o if row > 0 else 0.0),
        )
        return Tile(row, column, (x, y, x + w, y + h), cell)

    def tiles(self) -> Iterator[Tile]:
        """Yield the tiles row by row from the top."""
        for row in range(self.rows):
            for column in range(self.columns):
                yield self.tile(row, column)


def tile_name(row: int, column: int) -> str:
    """Write a tile's name: A1, A2 ... B1 ... Z9, AA1."""
    letters, n = "", row
    while n >= 0:
        letters = chr(ord("A") + n % 26) + letters
        n = n // 26 - 1
    return f"{letters}{column + 1}"


def page_frame(sheet: Paper, paper: PaperOptions) -> PageFrame:
    """Lay out a page so that its print, from whichever corner it grows, stays on the paper."""
    across, up = paper.print_across, paper.print_up
    width, height = sheet.width_mm * across, sheet.height_mm * up
    beside = paper.unprinted_mm + max(0.0, width - sheet.width_mm)
    below = paper.unprinted_mm + max(0.0, height - sheet.height_mm)
    window = (
        beside + STRIP_LEFT_MM,
        below + STRIP_BELOW_MM,
        width - beside - STRIP_OUTSIDE_MM,
        height - below - STRIP_OUTSIDE_MM,
    )
    return PageFrame(width, height, window, below)


def grid_over(leads_mm: Bounds, frame: PageFrame, overlap_mm: float) -> Grid:
    """Lay as few windows as will do over the leads, the pattern in their middle."""
    w, h = frame.window_size_mm
    x_min, y_min, x_max, y_max = leads_mm
    width, height = x_max - x_min + 2 * _AROUND_MM, y_max - y_min + 2 * _AROUND_MM
    columns, rows = _count(width, w, overlap_mm), _count(height, h, overlap_mm)
    covered = columns * (w - overlap_mm) + overlap_mm, rows * (h - overlap_mm) + overlap_mm
    corner = (0.5 * (x_min + x_max - covered[0]), 0.5 * (y_min + y_max - covered[1]))
    return Grid(columns, rows, corner, (w, h), overlap_mm)


def _count(length_mm: float, window_mm: float, overlap_mm: float) -> int:
    return max(1, math.ceil((length_mm - overlap_mm) / (window_mm - overlap_mm) - 1e-9))
