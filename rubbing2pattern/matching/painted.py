"""Whether paint is seen on a loose piece: marks much darker than the rest of its glass."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt
from shapely.geometry import Polygon

from rubbing2pattern.geometry.frame import Warp
from rubbing2pattern.matching.loose import LoosePiece

_EDGE_MM = 3.0
"""Along the edge crusts of cement and the wall of the glass are as dark as paint."""
_STROKE_MM = 0.7
"""Marks are looked at over this width; seeds and dust are finer."""
_DARK = 0.7
"""Share of the middle lightness below which a place is dark: texture and reeds do not reach it."""
_LEAST, _MOST = 0.015, 0.6
"""Share of the glass that strokes cover: less may be dirt, more is the glass itself."""


def is_painted(piece: LoosePiece, colour: npt.NDArray[np.uint8], warp: Warp) -> bool:
    """Return whether strokes of paint are seen on a piece.

    Parameters
    ----------
    piece : with its outline in the photograph's sheet.
    colour : (H, W, 3) the photograph.
    warp : from its sheet's mm to its pixels.

    Notes
    -----
    A matt of even darkness all over is not told from dark glass.
    """
    inner = piece.outline.buffer(-_EDGE_MM)
    parts = [inner] if isinstance(inner, Polygon) else list(inner.geoms)
    rings = [warp.to_px(np.array(p.exterior.coords)) for p in parts if not p.is_empty]
    if not rings:
        return False
    every = np.vstack(rings)
    low = np.maximum(np.floor(every.min(axis=0)).astype(int), 0)
    high = np.minimum(np.ceil(every.max(axis=0)).astype(int) + 1, colour.shape[1::-1])
    if (high <= low + 2).any():
        return False
    part = colour[low[1] : high[1], low[0] : high[0]]
    mask = np.zeros(part.shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.round(ring - low).astype(np.int32) for ring in rings], 1)
    light = cv2.cvtColor(np.ascontiguousarray(part), cv2.COLOR_RGB2GRAY).astype(np.float32)
    centre = piece.outline.centroid
    width = _STROKE_MM * warp.px_per_mm((centre.x, centre.y))
    smooth = cv2.GaussianBlur(light, (0, 0), max(0.5, 0.5 * width))
    inside = smooth[mask > 0]
    if inside.size == 0:
        return False
    dark = float((inside < _DARK * np.median(inside)).mean())
    return _LEAST < dark < _MOST
