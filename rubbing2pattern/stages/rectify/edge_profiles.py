"""Profiles across straight ideal lines, taken where the photograph shows them."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.reading import Grey, Grid
from rubbing2pattern.stages.rectify.lens import Lens

_ROWS_AT_ONCE = 30000
"""OpenCV's maps have fewer rows than 32768."""


def across(
    picture: Grey,
    ends: Array,
    offsets: Array,
    lens: Lens,
    blocks: int,
    along: int,
    track: Array | float = 0.0,
) -> Grid:
    """Return mean profiles across lines.

    Parameters
    ----------
    picture : (H, W) photograph or a reduced copy of it; `ends` and `lens` count its pixels.
    ends : (L, 2, 2) ideal start and end of each line.
    offsets : (D,) ideal px across, positive to the right of the way from start to end as seen.
    lens : of the picture.
    blocks, along : profiles for each line, and samples along the line that each is the mean of.
    track : (L, blocks * along) px across from which `offsets` count.

    Returns
    -------
    Grid
        (L, blocks, D) grey levels; outside the picture its rim goes on.
    """
    t = (np.arange(blocks * along) + 0.5) / (blocks * along)
    middle = np.broadcast_to(track, (len(ends), len(t)))
    ideal = places(ends, t, middle[..., None] + offsets)
    column, row = (
        np.asarray(each, dtype=np.float32).reshape(-1, len(offsets))
        for each in lens.seen_apart(ideal[..., 0], ideal[..., 1])
    )
    parts = [
        cv2.remap(
            picture,
            column[top : top + _ROWS_AT_ONCE],
            row[top : top + _ROWS_AT_ONCE],
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        )
        for top in range(0, len(column), _ROWS_AT_ONCE)
    ]
    values = np.concatenate(parts).reshape(len(ends), blocks, along, len(offsets))
    return np.asarray(values.mean(axis=2, dtype=np.float32), dtype=np.float32)


def peak_places(size: Grid, tolerance: float | None = None) -> tuple[Array, npt.NDArray[np.bool_]]:
    """Return where the strongest peak of every profile lies, to a part of a step.

    Parameters
    ----------
    size : (L, S, D) sizes of slopes about a track in the middle.
    tolerance : steps within which a peak counts fully; one twice as far off does not count.

    Returns
    -------
    tuple
        Steps from the middle (L, S), and where the peak stands out clearly (L, S).
    """
    half = size.shape[2] // 2
    place = np.arange(-half, half + 1)
    near = 1.0 if tolerance is None else np.exp(-0.5 * (place / tolerance) ** 2)
    best = np.clip(np.argmax(size * near, axis=2), 1, 2 * half - 1)
    before, here, after = (
        np.take_along_axis(size, best[..., None] + step, 2)[..., 0] for step in (-1, 0, 1)
    )
    bend = before - 2.0 * here + after
    part = np.where(bend < -1e-9, 0.5 * (before - after) / np.minimum(bend, -1e-9), 0.0)
    offset = np.asarray(place[best] + part, dtype=np.float64)
    usual = np.median(size, axis=(1, 2), keepdims=True)[..., 0]
    clear = (here >= before) & (here >= after) & (here > 2.0 * usual)
    if tolerance is not None:
        clear &= np.abs(offset) <= 2.0 * tolerance
    return offset, clear


def places(ends: Array, t: Array, offsets: Array) -> Array:
    """Return ideal places on lines.

    Parameters
    ----------
    ends : (L, 2, 2) start and end.
    t : (T,) share of the way.
    offsets : (L, T, D) px across.

    Returns
    -------
    Array
        (L, T, D, 2).
    """
    way = ends[:, 1] - ends[:, 0]
    unit = way / np.linalg.norm(way, axis=1, keepdims=True)
    normal = np.stack((-unit[:, 1], unit[:, 0]), axis=1)
    on_line = ends[:, None, 0] + t[None, :, None] * way[:, None]
    # Columns and rows each lie together in memory, which makes what follows quicker.
    apart = np.empty((2, *offsets.shape))
    for k in (0, 1):
        np.multiply(offsets, normal[:, k, None, None], out=apart[k])
        apart[k] += on_line[..., k, None]
    return np.moveaxis(apart, 0, -1)
