"""The photograph on a rectified grid, or at single places, without a full-size rectified copy."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from rubbing2pattern.geometry.frame import Array, Frame, Warp
from rubbing2pattern.reading import Grey, Grid

_NODE_PX = 16
"""Distance of the pixels that are placed exactly; between them a warp is straight enough."""
_LONGEST_PX = 30_000
"""Longest side that OpenCV resamples; it counts pixels in 16 bits with a sign."""
_STRIP = 256
"""Rows of a grid that are placed and sampled together, a multiple of `_NODE_PX`: what they need is
used again for the next ones, so that little new memory is touched."""


def on_grid(grey: Grey, warp: Warp, frame: Frame, outside: int = 255) -> Grey:
    """Return the photograph resampled to a grid, (H, W) uint8, averaged over each cell's area.

    Cells that lie outside the picture get `outside`.
    """
    x_min, y_min, x_max, y_max = frame.bounds_mm
    scale = warp.px_per_mm(((x_min + x_max) / 2.0, (y_min + y_max) / 2.0)) / frame.px_per_mm
    step = max(1, int(scale + 0.3))
    picture = np.asarray(grey)
    if step > 1:
        h, w = grey.shape[0] // step, grey.shape[1] // step
        whole = grey[: h * step, : w * step]
        picture = np.asarray(cv2.resize(whole, (w, h), interpolation=cv2.INTER_AREA), np.uint8)
    laid = np.empty((frame.height_px, frame.width_px), dtype=np.uint8)
    for top in range(0, frame.height_px, _STRIP):
        strip = laid[top : top + _STRIP]
        places = _places(warp, frame, top, len(strip))
        if step > 1:
            places -= np.float32((step - 1) / 2.0)
            places /= np.float32(step)
        strip[:] = _remapped(picture, places[..., 0], places[..., 1], outside)
    return laid


def _places(warp: Warp, frame: Frame, top: int, height: int) -> Grid:
    """Return column and row in the photograph of every cell of some rows of a grid, (h, W, 2).

    Strategy: the warp is smooth, so it is computed at every 16th cell and interpolated linearly
    between; over 16 cells of 0.5 mm the error stays far below a hundredth of a pixel. Where two
    papers are joined it is not smooth, and every cell is computed.
    """
    s, width = _NODE_PX, frame.width_px
    if warp.join is not None:
        nodes = _nodes(np.arange(width), np.arange(top, top + height))
        return warp.to_px(frame.to_mm(nodes)).reshape(height, width, 2).astype(np.float32)
    middle = (s - 1) / 2.0
    cols = np.arange(-1, width // s + 2) * s + middle
    rows = top + np.arange(-1, height // s + 2) * s + middle
    seen = warp.to_px(frame.to_mm(_nodes(cols, rows))).reshape(len(rows), len(cols), 2)
    size = (len(cols) * s, len(rows) * s)
    full = cv2.resize(seen.astype(np.float32), size, interpolation=cv2.INTER_LINEAR)
    return np.asarray(full[s : s + height, s : s + width])


def _nodes(cols: npt.NDArray[Any], rows: npt.NDArray[Any]) -> Array:
    return np.stack(np.meshgrid(cols, rows), axis=-1).reshape(-1, 2).astype(np.float64)


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
        from scipy import ndimage  # a fifth of a second at the start, for very few pictures

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
