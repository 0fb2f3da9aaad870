"""How far shadows reach beside the glass of a photograph, by the direction of its edge.

All glass on a bench lies under the same lamps, so shadows fall the same way. Beside coloured glass
a shadow cannot be taken for glass, for it is as grey as its ground; so coloured glass shows how far
shadows reach, and clear glass, whose rim a shadow hides, is read by it.

Legend for shapes: N places along an outline; M offsets across it, from outside inwards.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import gaussian_filter1d, median_filter

from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.reading import Grid

_DIRECTIONS = 24
"""Directions of an edge that are told apart: shadows change over a right angle."""
_FEWEST = 25
"""Places that settle one direction."""
_BARE_MM = 1.0
"""Outer part of a profile that lies on bare ground."""
_ALONG = 3.0
"""Places over which colours are smoothed along an outline, before light is compared."""
_CHANGED = 0.06
"""Share of the light by which a place differs from the ground beside it, however even that is."""
_TIMES = 3.0
"""Times the unevenness of the ground from which a place differs."""
_UNEVEN = 0.22
"""Share by which three colours differ that no shadow has; blurred colours have half of it."""
_LASTS_MM = 0.4
"""Length over which a change lasts: noise does not."""
_SMOOTH = 11
"""Places along an outline whose middle one counts."""
_SHARE = 0.55
"""Share of the usual reach of shadows up to which a grey step is a shadow's: glass is not all of
one thickness."""
_LEAST_MM = 0.8
"""Reach below which nothing is taken for shadow: the blur of an edge has as much."""


@dataclass(frozen=True, slots=True)
class Shadows:
    """How far shadows reach in each direction, (24,) mm; 0 where none was seen."""

    reach_mm: Array

    def beside(self, outward: Array) -> Array:
        """Return how far a shadow reaches beside edges with outward normals (N, 2), (N,) mm."""
        return np.interp(
            _direction(outward), np.arange(_DIRECTIONS), self.reach_mm, period=_DIRECTIONS
        )

    def limit_mm(self, outward: Array, begins_mm: Array) -> Array:
        """Return up to which offsets (N,) grey steps are those of shadows."""
        reach = self.beside(outward)
        limit = np.where(reach > _LEAST_MM, begins_mm + _SHARE * reach, -np.inf)
        return np.asarray(limit)


NO_SHADOWS = Shadows(np.zeros(_DIRECTIONS))


def shadows_of(seen: Sequence[tuple[Array, Array]]) -> Shadows:
    """Return how far shadows reach.

    Parameters
    ----------
    seen : of each piece the outward normals (N, 2) of places where coloured glass begins, and how
        far outside of it the ground begins to differ, (N,) mm.
    """
    if not seen:
        return NO_SHADOWS
    outward, reach = (np.concatenate(each) for each in zip(*seen, strict=True))
    at = _direction(outward)
    found = np.full(_DIRECTIONS, np.nan)
    for k in range(_DIRECTIONS):
        near = np.abs((at - k + _DIRECTIONS / 2) % _DIRECTIONS - _DIRECTIONS / 2) < 1.0
        if near.sum() >= _FEWEST:
            found[k] = float(np.median(reach[near]))
    known = np.flatnonzero(np.isfinite(found))
    if not len(known):
        return NO_SHADOWS
    every = np.arange(_DIRECTIONS)
    return Shadows(np.interp(every, known, found[known], period=_DIRECTIONS))


def begins_mm(coded: Grid, offsets: Array) -> Array:
    """Return where the picture begins to differ from the ground outside, (N,) mm.

    `coded` (N, M, 3) are colours at the offsets (M,). Where nothing differs it is the last offset.
    """
    off, uneven = _changes(coded, offsets)
    first = _first(off > np.maximum(_CHANGED, _TIMES * uneven), offsets)
    at = np.where(first < 0, len(offsets) - 1, first)
    return np.asarray(offsets[median_filter(at, _SMOOTH, mode="wrap")])


def beside_colour(light: Grid, coded: Grid, outward: Array, offsets: Array) -> tuple[Array, Array]:
    """Return the normals of places where coloured glass begins, and how far out all begins there.

    `light` (N, M, 3) is in even steps.
    """
    soft = gaussian_filter1d(light, _ALONG, axis=0, mode="wrap")
    bare = soft[:, _bare(offsets)].mean(axis=1, keepdims=True)
    share = soft / np.maximum(bare, 1e-4)
    uneven = (share.max(axis=2) - share.min(axis=2)) / np.maximum(share.max(axis=2), 1e-4)
    usual = 2.0 * float(np.quantile(uneven[:, _bare(offsets)], 0.9))
    first = _first(uneven > max(_UNEVEN, usual), offsets)
    there = first >= 0
    reach = offsets[np.maximum(first, 0)] - begins_mm(coded, offsets)
    return outward[there], np.maximum(reach[there], 0.0)


def _changes(coded: Grid, offsets: Array) -> tuple[Array, float]:
    """Return by how much lightness differs from the ground outside, (N, M), and its unevenness."""
    grey = gaussian_filter1d(coded.mean(axis=2), _ALONG, axis=0, mode="wrap")
    outer = grey[:, _bare(offsets)]
    bare = outer.mean(axis=1, keepdims=True)
    off = np.abs(grey / np.maximum(bare, 1e-3) - 1.0)
    return off, float(np.quantile(off[:, _bare(offsets)], 0.7))


def _direction(outward: Array) -> Array:
    """Return the directions of normals (N, 2), (N,), in steps of which a turn has `_DIRECTIONS`."""
    return np.asarray(np.arctan2(outward[:, 1], outward[:, 0]) / (2.0 * np.pi) * _DIRECTIONS)


def _bare(offsets: Array) -> slice:
    return slice(0, max(4, int(np.searchsorted(offsets, offsets[0] + _BARE_MM))))


def _first(there: npt.NDArray[np.bool_], offsets: Array) -> npt.NDArray[np.int64]:
    """Return the first offset (an index) from which something lasts; -1 for none."""
    lasts = max(2, round(_LASTS_MM / float(offsets[1] - offsets[0])))
    run = there.copy()
    for k in range(1, lasts):
        run[:, :-k] &= there[:, k:]
    run[:, -lasts:] = False
    return np.where(run.any(axis=1), run.argmax(axis=1), -1)
