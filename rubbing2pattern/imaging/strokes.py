"""Lines of a given width drawn on a grid."""

from __future__ import annotations

from collections.abc import Iterable

import cv2
import numpy as np
import numpy.typing as npt

from rubbing2pattern.frame import Array, Frame


def drawn_mask(frame: Frame, lines: Iterable[tuple[Array, float]]) -> npt.NDArray[np.bool_]:
    """Return (H, W), True on the lines; each is a path (N, 2) in mm and its full width in mm."""
    mask = np.zeros((frame.height_px, frame.width_px), dtype=np.uint8)
    for path, width_mm in lines:
        eighths = np.round(frame.to_px(path) * 8.0).astype(np.int32)
        thick = max(1, round(width_mm * frame.px_per_mm))
        cv2.polylines(mask, [eighths], False, 1, thick, cv2.LINE_8, 3)
    return mask.astype(bool)
