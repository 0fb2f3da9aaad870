"""Basins of glass on a map of lead: a place for each opening that lead lines leave."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt
from scipy import ndimage
from skimage.morphology import reconstruction

from rubbing2pattern.options.skeleton import SkeletonOptions

Labels = npt.NDArray[np.int32]

_STEP = 2
"""Times the grid is shrunk: a basin is wider than two cells."""


def glass_basins(
    glass: npt.NDArray[np.bool_], px_per_mm: float, options: SkeletonOptions
) -> tuple[Labels, int]:
    """Label the places (H, W) that are surely glass and apart from each other, and count them.

    Strategy: the distance to anything lead-like peaks once in every piece; two peaks are apart when
    the neck between them is narrower than `neck` times the smaller one. Taken on the logarithm of
    the distance this is one height for pieces of all sizes.
    """
    far = cv2.distanceTransform(glass.astype(np.uint8), cv2.DIST_L2, 5) / px_per_mm
    small = far[::_STEP, ::_STEP]
    height = np.log(np.maximum(small, 0.2)).astype(np.float32)
    height = cv2.GaussianBlur(height, (0, 0), 0.7)
    drop = -float(np.log(options.neck))
    dome = height - reconstruction(height - drop, height, method="dilation")
    domes, count = ndimage.label(dome > 1e-3, structure=np.ones((3, 3)))
    rows, cols = np.nonzero(domes)
    top = np.full((2, count + 1), -np.inf, dtype=np.float32)
    for k, level in enumerate((dome, height)):
        np.maximum.at(top[k], domes[rows, cols], level[rows, cols])
    kept = (top[0] > drop - 1e-3) & (top[1] > np.log(options.smallest_mm))
    number = np.where(kept, np.cumsum(kept), 0).astype(np.int32)
    labels = np.where(dome > 0.5 * drop, number[domes], 0)
    out = np.zeros(glass.shape, dtype=np.int32)
    rows, cols = np.nonzero(labels)
    out[rows * _STEP, cols * _STEP] = labels[rows, cols]
    return out, int(number.max())
