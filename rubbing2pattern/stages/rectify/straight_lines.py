"""Straight lines along which the evidence of a sheet's edge adds up.

Everything here lies on an *ideal canvas*: the reduced picture with a trial lens taken out, a rim
added on all sides, coordinates counted from the centre. Lines are steep: ``x = at + slope * y``.
Flat lines are the steep lines of the transposed canvas.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.reading import Grid
from rubbing2pattern.stages.rectify.lens import Lens

Index = npt.NDArray[np.int64]

_RIM = 0.17
"""How far beyond the picture lines are laid, of its longer side: corners may lie outside."""
_STEEPEST = 0.62
"""Steepest slope of the lines, 32 degrees off an axis; others count by the other axis."""
_SLOPES = np.linspace(-_STEEPEST, _STEEPEST, 63)
_ROW_STEP = 3
"""Every such row is summed; a line crosses enough of them."""
_NEIGHBOURS = np.ones((7, 7), dtype=np.uint8)


@dataclass(frozen=True, slots=True)
class Lines:
    """N steep lines on a canvas of H rows.

    Attributes
    ----------
    at : (N,) x where the line crosses the middle row.
    slope : (N,) change of x for one row.
    sums : (N, H + 1) running sum of the evidence down the rows.
    """

    at: Array
    slope: Array
    sums: Array

    def joined(self, other: Lines) -> Lines:
        """Return both lists as one."""
        return Lines(
            np.concatenate((self.at, other.at)),
            np.concatenate((self.slope, other.slope)),
            np.concatenate((self.sums, other.sums)),
        )

    def mean(self, index: Index, start: Array, stop: Array) -> Array:
        """Return the mean evidence of lines `index` between two rows counted from the middle."""
        rows = self.sums.shape[1] - 1
        middle = rows / 2.0
        first = np.clip(np.rint(start + middle), 0, rows).astype(np.int64)
        last = np.clip(np.rint(stop + middle), 0, rows).astype(np.int64)
        total = self.sums[index, last] - self.sums[index, first]
        return np.asarray(total / np.maximum(stop - start, 1.0))


def canvas_maps(shape: tuple[int, ...], lens: Lens) -> tuple[Grid, Grid]:
    """Return column and row in the reduced picture for every place of its canvas."""
    height, width = shape
    rim = round(_RIM * max(height, width))
    x = np.arange(width + 2 * rim) - rim - lens.centre_px[0]
    y = (np.arange(height + 2 * rim) - rim - lens.centre_px[1])[:, None]
    stretch = 1.0 + lens.k1 / lens.radius_px**2 * (x**2 + y**2)
    column, row = lens.centre_px[0] + x * stretch, lens.centre_px[1] + y * stretch
    return column.astype(np.float32), row.astype(np.float32)


def canvas(slopes: Grid, maps: tuple[Grid, Grid]) -> Grid:
    """Take the lens out of a field of evidence (h, w); the canvas's rim is zero."""
    return np.asarray(cv2.remap(slopes, *maps, cv2.INTER_LINEAR), dtype=np.float32)


def strongest(field: Grid, count: int) -> tuple[Lines, Lines]:
    """Return the steep lines along which a canvas (H, W) adds up most, upwards and downwards.

    Returns
    -------
    tuple
        At most `count` lines with the largest and with the smallest sums; the running sums of the
        latter are those of ``-field``.
    """
    sums = _radon(field)
    return _peaks(field, sums, count), _peaks(-field, -sums, count)


def _peaks(field: Grid, sums: Grid, count: int) -> Lines:
    peak = (sums >= cv2.dilate(sums, _NEIGHBOURS)) & (sums > 0)
    row, column = np.nonzero(peak)
    order = np.argsort(-sums[row, column], kind="stable")[:count]
    row, column = row[order], column[order]
    at = column - (field.shape[1] - 1) / 2.0
    slope = _SLOPES[row]
    return Lines(at, slope, _running(field, at, slope))


def _radon(field: Grid) -> Grid:
    """Sum a canvas along every slope and column; (slopes, W)."""
    height, width = field.shape
    rows = np.arange(_ROW_STEP // 2, height, _ROW_STEP)
    reach = int(np.ceil(_STEEPEST * height / 2)) + 1
    wide = np.pad(field[rows], ((0, 0), (reach, reach)))
    windows = np.lib.stride_tricks.sliding_window_view(wide, width, axis=1)
    start = reach + np.rint(_SLOPES[:, None] * (rows - (height - 1) / 2.0)).astype(np.int64)
    each = np.arange(len(rows))
    return np.stack([windows[each, shift].sum(axis=0) for shift in start])


def _running(field: Grid, at: Array, slope: Array) -> Array:
    height, width = field.shape
    y = np.arange(height) - (height - 1) / 2.0
    column = np.rint(at[:, None] + slope[:, None] * y + (width - 1) / 2.0).astype(np.int64)
    inside = (column >= 0) & (column < width)
    values = field[np.arange(height), np.clip(column, 0, width - 1)] * inside
    return np.concatenate((np.zeros((len(at), 1)), np.cumsum(values, axis=1)), axis=1)
