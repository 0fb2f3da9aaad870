"""Where edges of a sheet may lie: slopes of brightness and of texture on reduced pictures."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from rubbing2pattern.reading import Grey, Grid

COARSE_PX = 256
"""Longer side of the picture in which sheets are searched first, all at once."""
MIDDLE_PX = 1024
"""Longer side of the picture from which the others are made, and texture is read."""
CLOSED_PX = 512
"""Longer side of the picture without narrow dark marks, in which edges are followed."""
_CLOSING = 0.028
"""Width of dark marks that are closed, as a share of the longer side: leads and writing."""
_RIM = 3
"""Pixels at the rim of the picture whose slopes do not count: filters have no data beyond it."""
_LEAST_SLOPE = 0.006
"""Slope, in log light per pixel, that halves what counts where the picture is even."""
_TEXTURE_FLOOR = 0.006
"""Added to the roughness before its logarithm is taken: what noise leaves of an even ground."""


@dataclass(frozen=True, slots=True)
class Slopes:
    """Slopes along x and along y, (H, W) each, squeezed into -1 .. 1."""

    along_x: Grid
    along_y: Grid


@dataclass(frozen=True, slots=True)
class Evidence:
    """What the search for the sheet works on.

    Attributes
    ----------
    brightness : slopes of the closed brightness, positive where it gets lighter.
    texture : slopes of the fine texture, positive where it gets rougher.
    closed : (H, W) picture without its narrow dark marks, `CLOSED_PX` on its longer side.
    """

    brightness: Slopes
    texture: Slopes
    closed: Grey


def gather(grey: Grey) -> Evidence:
    """Reduce a picture and take its slopes.

    1. Leads are dark and narrow; a closing takes them out, so that paper looks like paper.
    2. Slopes are squeezed, so that a weak edge that runs true counts like a strong one.
    3. Texture is what a blur takes away, relative to the brightness: wood, cloth and stone have
       it where bare paper has none.
    """
    middle = _reduced(grey, MIDDLE_PX)
    half = _reduced(middle, CLOSED_PX)
    small = _reduced(half, COARSE_PX)
    plain = middle.astype(np.float32)
    fine = np.abs(plain - cv2.GaussianBlur(plain, (0, 0), 2.0)) / (plain + 8.0)
    rough = cv2.resize(fine, small.shape[::-1], interpolation=cv2.INTER_AREA)
    rough = cv2.GaussianBlur(rough, (0, 0), 1.5)
    level = np.log(_closed(small).astype(np.float32) + 4.0)
    level = cv2.GaussianBlur(level, (0, 0), 1.2)
    return Evidence(
        _slopes(np.asarray(level, dtype=np.float32)),
        _slopes(np.log(rough + np.float32(_TEXTURE_FLOOR))),
        _closed(half),
    )


def _reduced(grey: Grey, long_px: int) -> Grey:
    height, width = grey.shape
    ratio = long_px / max(height, width)
    if ratio >= 1.0:
        return grey
    size = (round(width * ratio), round(height * ratio))
    return np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)


def _closed(picture: Grey) -> Grey:
    """Return the picture without its narrow dark marks (rule 1)."""
    size = max(3, round(_CLOSING * max(picture.shape)) | 1)
    # A narrow strip of ground at the rim of the picture is not a narrow mark.
    wide = cv2.copyMakeBorder(picture, size, size, size, size, cv2.BORDER_REPLICATE)
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    closed = cv2.morphologyEx(wide, cv2.MORPH_CLOSE, disc)[size:-size, size:-size]
    return np.ascontiguousarray(closed, dtype=np.uint8)


def _slopes(level: Grid) -> Slopes:
    x = cv2.Sobel(level, cv2.CV_32F, 1, 0, ksize=3) / 8.0
    y = cv2.Sobel(level, cv2.CV_32F, 0, 1, ksize=3) / 8.0
    size = np.hypot(x, y)
    size += max(_LEAST_SLOPE, float(np.median(size)))
    x, y = x / size, y / size
    for slope in (x, y):
        slope[:_RIM] = slope[-_RIM:] = 0.0
        slope[:, :_RIM] = slope[:, -_RIM:] = 0.0
    return Slopes(x.astype(np.float32), y.astype(np.float32))
