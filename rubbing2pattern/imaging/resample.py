"""The photograph on a rectified grid, or at single places, without a full-size rectified copy."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
from scipy import ndimage

from rubbing2pattern.geometry.frame import Frame, Warp
from rubbing2pattern.reading import Grey, Grid

_NODE_PX = 16
"""Distance of the pixels that are placed exactly; between them a warp is straight enough."""
_LONGEST_PX = 30_000
"""Longest side that OpenCV resamples; it counts pixels in 16 bits with a sign."""
Maps = tuple[Grid, Grid]


def warp_maps(warp: Warp, frame: Frame) -> Maps:
    """Return column and row in the photograph for every cell of a grid, (H, W) float32 each.

    Strategy: the warp is smooth, so it is computed at every 16th cell and interpolated linearly
    between; over 16 cells of 0.5 mm the error stays far below a hundredth of a pixel. Where two
    papers are joined it is not smooth, and every cell is computed.
    """
    if warp.join is not None:
        return _exact_maps(warp, frame)
    s = _NODE_PX
    cols = np.arange(-1, frame.width_px // s + 2) * s + (s - 1) / 2.0
    rows = np.arange(-1, frame.height_px // s + 2) * s + (s - 1) / 2.0
    grid = np.stack(np.meshgrid(cols, rows), axis=-1).reshape(-1, 2)
    seen = warp.to_px(frame.to_mm(grid)).reshape(len(rows), len(cols), 2)
    size = (len(cols) * s, len(rows) * s)
    full = cv2.resize(seen.astype(np.float32), size, interpolation=cv2.INTER_LINEAR)
    part = full[s : s + frame.height_px, s : s + frame.width_px]
    return np.ascontiguousarray(part[..., 0]), np.ascontiguousarray(part[..., 1])


def _exact_maps(warp: Warp, frame: Frame) -> Maps:
    columns = np.empty((frame.height_px, frame.width_px), dtype=np.float32)
    rows = np.empty_like(columns)
    across = np.arange(frame.width_px, dtype=np.float64)
    for i in range(frame.height_px):
        line = frame.to_mm(np.column_stack((across, np.full_like(across, i))))
        seen = warp.to_px(line)
        columns[i], rows[i] = seen[:, 0], seen[:, 1]
    return columns, rows


def on_grid(grey: Grey, warp: Warp, frame: Frame, outside: int = 255) -> Grey:
    """Return the photograph resampled to a grid, (H, W) uint8, averaged over each cell's area.

    Cells that lie outside the picture get `outside`.
    """
    x_min, y_min, x_max, y_max = frame.bounds_mm
    scale = warp.px_per_mm(((x_min + x_max) / 2.0, (y_min + y_max) / 2.0)) / frame.px_per_mm
    step = max(1, int(scale + 0.3))
    column, row = warp_maps(warp, frame)
    if step > 1:
        h, w = grey.shape[0] // step, grey.shape[1] // step
        small = cv2.resize(grey[: h * step, : w * step], (w, h), interpolation=cv2.INTER_AREA)
        column -= np.float32((step - 1) / 2.0)
        row -= np.float32((step - 1) / 2.0)
        column /= np.float32(step)
        row /= np.float32(step)
    else:
        small = grey
    return np.asarray(_remapped(small, column, row, outside), dtype=np.uint8)


def at_points(picture: Grey | Grid, columns: Grid, rows: Grid) -> Grid:
    """Sample a picture bilinearly at (columns, rows), both (a, b); result float32 (a, b)."""
    a, limit = columns.shape[0], _LONGEST_PX
    if a <= limit:
        return np.asarray(_remapped(picture, columns, rows), np.float32)
    out = np.empty(columns.shape, dtype=np.float32)
    for i in range(0, a, limit):
        out[i : i + limit] = _remapped(picture, columns[i : i + limit], rows[i : i + limit])
    return out


def _remapped(
    picture: npt.NDArray[Any], columns: Grid, rows: Grid, outside: int | None = None
) -> npt.NDArray[Any]:
    """Sample bilinearly; around the picture lies `outside`, or its edge goes on."""
    if max(*picture.shape, *columns.shape) > _LONGEST_PX:
        mode = "nearest" if outside is None else "grid-constant"
        at = (rows, columns)
        found = ndimage.map_coordinates(picture, at, np.float32, 1, mode, outside or 0)
        return np.asarray(np.round(found) if picture.dtype == np.uint8 else found)
    found = cv2.remap(
        picture,
        np.ascontiguousarray(columns, dtype=np.float32),
        np.ascontiguousarray(rows, dtype=np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE if outside is None else cv2.BORDER_CONSTANT,
        borderValue=outside or 0,
    )
    return np.asarray(found)
