"""Optical density over the bare paper: uneven light divided out."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from rubbing2pattern.reading import Grey, Grid

Mask = npt.NDArray[np.bool_]


def paper_level(
    coarse: Grey, mask: Mask, px_per_mm: float, closing_mm: float, median_mm: float
) -> Grid:
    """Return the grey of the bare paper on a coarse grid, (h, w) float32, at least 1.

    Strategy: a closing takes out what is dark and narrow (the leads), a median takes out its
    corners and single bright specks, a blur makes it smooth; outside the sheet the level of the
    nearest edge is carried on, so that the surround does not leak in.
    """
    level = _carried_outwards(coarse, mask)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (_odd(closing_mm * px_per_mm),) * 2)
    closed = cv2.morphologyEx(level, cv2.MORPH_CLOSE, kernel)
    calm = cv2.medianBlur(closed, min(_odd(median_mm * px_per_mm), 255))
    sigma = max(median_mm * px_per_mm / 3.0, 0.5)
    smooth = cv2.GaussianBlur(calm.astype(np.float32), (0, 0), sigma)
    return np.maximum(np.asarray(smooth, dtype=np.float32), 1.0)


def density(grey: npt.NDArray[np.generic], level: npt.NDArray[np.floating]) -> Grid:
    """Return ln(level / grey), clipped below at 0; shapes alike. Lambert's law of absorption."""
    ratio = level / np.maximum(grey.astype(np.float32), 1.0)
    return np.asarray(np.log(np.maximum(ratio, 1.0)), dtype=np.float32)


def _carried_outwards(grey: Grey, mask: Mask) -> Grey:
    if mask.all() or not mask.any():
        return grey
    _, label = cv2.distanceTransformWithLabels(
        (~mask).astype(np.uint8), cv2.DIST_L2, 3, labelType=cv2.DIST_LABEL_PIXEL
    )
    values = np.zeros(int(label.max()) + 1, dtype=np.uint8)
    inner = cv2.blur(grey, (5, 5))
    values[label[mask]] = inner[mask]
    return np.asarray(values[label], dtype=np.uint8)


def _odd(value_px: float) -> int:
    return 2 * round(max(value_px, 1.0) / 2.0) + 1
