"""What of a picture is colour and no light: there paper parts from a ground of the same grey."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.reading import Grey, Grid

_DARK = 16.0
"""Levels that are added before a logarithm is taken, so that noise of dark places stays small."""
_BLUR_PX = 1.0
"""How much colours are softened first; a camera keeps them coarser than light."""
_LEAST_RANGE = 0.5
"""Range of tint, in log levels, that is spread over all levels at most."""
_LEAST_CONTRAST = 0.08
"""Difference of tint, in log levels, below which sheet and ground have one colour."""
_LOW, _HIGH = 4.0, 96.0
"""Percentiles of the tint whose difference is its contrast; what lies beyond may be things on the
table."""
_FLOOR = 0.02
"""Least light, of white, taken for a tint; a logarithm follows."""
_MIDDLE = 0.2
"""Share of the picture that is left out on each side, so that the middle is sheet alone."""
_AROUND = 0.1
"""Width, of the longer side, over which the tint is averaged to see marks on it."""
_STEP = 4
"""Every such pixel counts for medians and percentiles."""
_LOG = np.log(np.arange(256, dtype=np.float32) + np.float32(_DARK))
_RATIOS = np.array([(1.0, -1.0, 0.0), (0.0, -1.0, 1.0)])


def tint_of(colour: npt.NDArray[np.uint8] | None, shape: tuple[int, ...]) -> Grey | None:
    """Return a picture of the tint, of `shape`, in which a shadow does not show.

    Strategy: logarithms of the ratios of red and of blue to green do not change with the light
    (Finlayson & Hordley 2001). Along the principal direction of the two the picture's tints differ
    most. Narrow marks in the middle, which are the ink, come out dark.

    Parameters
    ----------
    colour : (h, w, 3) red, green, blue, or None.
    shape : rows and columns of the picture that it is a copy of.

    Returns
    -------
    numpy.ndarray or None
        None where all has about one tint.
    """
    if colour is None:
        return None
    level = cv2.LUT(cv2.GaussianBlur(colour, (0, 0), _BLUR_PX), _LOG)
    some = level[::_STEP, ::_STEP].astype(np.float64) @ _RATIOS.T
    usual = np.median(some, axis=(0, 1))
    way = _principal(some - usual)
    tint = cv2.transform(level, way @ _RATIOS) - np.float32((way @ usual).item())
    low, high = np.percentile(tint[::_STEP, ::_STEP], (_LOW, _HIGH))
    if high - low < _LEAST_CONTRAST:
        return None
    tint *= np.float32(_upright(tint) / max(_LEAST_RANGE, 1.1 * float(np.abs(tint).max())))
    # Edges are taken where half of the light comes from either side; here the tint replaces it.
    small = 255.0 * cv2.pow(np.clip(0.5 + 0.5 * tint, _FLOOR, 1.0), 1.0 / 2.2)
    size = (shape[1], shape[0])
    return np.asarray(cv2.resize(small, size, interpolation=cv2.INTER_LINEAR) + 0.5, np.uint8)


def _principal(ratios: Array) -> Array:
    """Return the direction (1, 2) along which ratios (h, w, 2) differ most."""
    flat = ratios.reshape(-1, 2)
    return np.asarray(np.linalg.eigh(flat.T @ flat)[1][:, 1:].T)


def _upright(tint: Grid) -> float:
    """Return 1 or -1, so that what is narrow in the middle gets dark."""
    height, width = tint.shape
    top, left = round(_MIDDLE * height), round(_MIDDLE * width)
    middle = tint[top : height - top, left : width - left]
    side = round(_AROUND * max(tint.shape)) | 1
    apart = (middle - cv2.blur(middle, (side, side))).astype(np.float64)
    return -1.0 if float(np.mean(apart * apart * apart)) > 0.0 else 1.0
