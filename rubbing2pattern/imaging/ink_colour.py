"""The grey of a colour picture in which ink stands out most from paper."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

Colours = npt.NDArray[np.uint8]
Array = npt.NDArray[np.float64]
Weights = tuple[float, float, float]

LUMA: Weights = (0.299, 0.587, 0.114)
"""Red, green, blue as ITU-R BT.601 weighs them, and JPEG itself."""

_LONGER_PX = 512
"""Longer side of the copy from which the mix is found; ink and paper cover areas."""
_MIDDLE = 0.2
"""Share of the picture that is left out on each side: the middle is rubbing."""
_AROUND, _FINE_PX = 0.04, 1.0
"""Width over which paper is averaged, of the longer side, and that of noise, in pixels."""
_DARK = 4.0
"""Levels that are added before a logarithm is taken, so that noise of dark places stays small."""
_READING = 1.5
"""Levels of noise at least: a file rounds to whole ones."""
_STEPS = 16
"""Steps of a weight, so that pictures that are alike get the same mix."""
_MOST = 1.0
"""Difference from the paper, in log levels, beyond which a place counts no more."""
_LEAST_INK = 0.04
"""Spread, in log levels, below which a picture shows no ink."""


def ink_weights(colours: Colours, least_gain: float) -> Weights | None:
    """Return the weights of red, green and blue that part ink from paper best, or None for luma.

    Strategy: in the middle of the picture, what differs from its surroundings is ink for the
    greater part. The principal direction of those differences, as logarithms, is that from paper to
    ink; the weights are Fisher's for that direction and the noise of paper and camera. None is
    negative, so that more light is never darker. They are rounded to sixteenths, so that no last
    digit decides.

    Parameters
    ----------
    colours : (H, W, 3) red, green, blue; a small copy does.
    least_gain : by how much ink must stand out more, in units of the noise, than in luma.
    """
    level = _levels(colours)
    apart = level - _blurred(level, _AROUND * max(level.shape))
    noise = level - _blurred(level, _FINE_PX)
    differences = np.clip(apart, -_MOST, _MOST).reshape(-1, 3)
    direction = _principal(differences)
    if float(np.sqrt(np.mean((differences @ direction) ** 2))) < _LEAST_INK:
        return None
    spread = _noise(noise.reshape(-1, 3)) + np.diag(_floor(level) ** 2)
    # Rule of Fisher (1936): the inverse of the noise times the difference of the means.
    weights = np.maximum(-np.linalg.solve(spread, direction), 0.0)
    if not weights.sum() > 0.0:
        return None
    parts = np.floor(weights / weights.sum() * _STEPS + 0.5)
    red, green, blue = (float(part) for part in parts / parts.sum())

    def standing_out(by: Array) -> float:
        return float(-(by @ direction) / np.sqrt(by @ spread @ by))

    gain = standing_out(np.array((red, green, blue))) / max(standing_out(np.array(LUMA)), 1e-6)
    return (red, green, blue) if gain > least_gain else None


def weighed(colours: Colours, weights: Weights) -> npt.NDArray[np.uint8]:
    """Return the grey (H, W) of colours (H, W, 3) by weights that add up to 1."""
    return np.asarray(cv2.transform(colours, np.array([weights])), dtype=np.uint8).reshape(
        colours.shape[:2]
    )


def _levels(colours: Colours) -> npt.NDArray[np.float32]:
    """Return the logarithms (h, w, 3) of a reduced copy of the picture's middle."""
    height, width = colours.shape[:2]
    top, left = round(_MIDDLE * height), round(_MIDDLE * width)
    middle = np.ascontiguousarray(colours[top : height - top, left : width - left])
    ratio = min(1.0, _LONGER_PX / max(middle.shape))
    size = (max(8, round(middle.shape[1] * ratio)), max(8, round(middle.shape[0] * ratio)))
    small = cv2.resize(middle, size, interpolation=cv2.INTER_AREA)
    return np.asarray(np.log(small.astype(np.float32) + np.float32(_DARK)))


def _blurred(level: npt.NDArray[np.float32], sigma_px: float) -> npt.NDArray[np.float32]:
    return np.asarray(cv2.GaussianBlur(level, (0, 0), sigma_px), dtype=np.float32)


def _principal(apart: npt.NDArray[np.float32]) -> Array:
    """Return the principal direction (3,), from paper to ink: ink is darker on the whole."""
    square = apart.T.astype(np.float64) @ apart.astype(np.float64)
    found = np.linalg.eigh(square)[1][:, -1]
    return np.asarray(-found * np.sign(found.sum()))


def _noise(fine: npt.NDArray[np.float32]) -> Array:
    """Return the covariance (3, 3) of the quieter half of the fine differences."""
    size = np.abs(fine).sum(axis=1)
    quiet = fine[size <= np.median(size)].astype(np.float64)
    return np.asarray(quiet.T @ quiet / max(1, len(quiet)))


def _floor(level: npt.NDArray[np.float32]) -> Array:
    """Return the least noise (3,) of each channel: a level and a half of its usual brightness."""
    return np.asarray(_READING / np.exp(np.median(level, axis=(0, 1)).astype(np.float64)))
