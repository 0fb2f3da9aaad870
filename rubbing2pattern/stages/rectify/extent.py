"""What of the sheet's plane is to be read: the paper, or what the picture shows."""

from __future__ import annotations

import numpy as np
from shapely.geometry import Polygon

from rubbing2pattern.geometry.frame import Array, Warp
from rubbing2pattern.reading import Bounds
from rubbing2pattern.stages.rectify.lens import Lens
from rubbing2pattern.stages.rectify.plane import apply, inverse

_ROUND_THE_RIM = 24
"""Places along each side of the picture at which its extent on the sheet is taken."""
_TOWARDS_HORIZON = 0.2
"""Depth, of that of the reference, below which a place is too near the horizon to count."""


def paper_of(corners: Array, warp: Warp) -> Polygon:
    """Return the sheet's outline in mm, anticlockwise from the lower left.

    `corners` are ideal px: upper left, upper right, lower right, lower left.
    """
    at = np.round(apply(inverse(warp.matrix), corners), 9) + 0.0  # no minus zero
    return Polygon([(float(x), float(y)) for x, y in at[[3, 2, 1, 0]]])


def bounds_of(warp: Warp, shape: tuple[int, ...], about_mm: Array) -> Bounds:
    """Return the bounds in mm of what a picture shows of the plane.

    Near the horizon a picture shows no end of the plane. Where the scale falls below a fifth of
    that at the places `about_mm` (N, 2), which the reference gives, their bounding box widened by
    its own size is the limit.
    """
    t = np.linspace(0.0, 1.0, _ROUND_THE_RIM)
    right, bottom = shape[1] - 0.5, shape[0] - 0.5
    rim = np.concatenate(
        [
            np.column_stack((-0.5 + (right + 0.5) * t, np.full_like(t, row)))
            for row in (-0.5, bottom)
        ]
        + [
            np.column_stack((np.full_like(t, column), -0.5 + (bottom + 0.5) * t))
            for column in (-0.5, right)
        ]
    )
    back = inverse(warp.matrix)
    ideal = Lens(warp.centre_px, warp.radius_px, warp.k1).ideal(rim)
    depth = ideal @ back[2, :2] + back[2, 2]
    own = warp.matrix[2, :2] @ about_mm.mean(axis=0) + warp.matrix[2, 2]
    near = depth * own > _TOWARDS_HORIZON
    low, high = about_mm.min(axis=0), about_mm.max(axis=0)
    size = high - low
    places = apply(back, ideal[near])
    if not near.all():
        places = np.clip(places, low - size, high + size)
        places = np.concatenate((places, [low - size, high + size]))
    x_min, y_min = places.min(axis=0)
    x_max, y_max = places.max(axis=0)
    return float(x_min), float(y_min), float(x_max), float(y_max)


def mean_scale(warp: Warp, bounds_mm: Bounds) -> float:
    """Return the mean of px per mm over 5 by 5 places within bounds."""
    x_min, y_min, x_max, y_max = bounds_mm
    share = (np.arange(5) + 0.5) / 5.0
    return float(
        np.mean(
            [
                warp.px_per_mm((x_min + (x_max - x_min) * u, y_min + (y_max - y_min) * v))
                for u in share
                for v in share
            ]
        )
    )
