"""The width of a dark band from the mean of many profiles across it; many bands at once.

Legend: N profiles, M offsets, P mean profiles, S sides of them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from rubbing2pattern.fitting.ragged import Ints
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.reading import Grid

STRETCH = 0.4
"""Share of the way from the middle to the edge whose darkest stretch says how dark the lead is."""
WITHIN = 0.9
"""Share of the way to an edge, once it is known, that lies within the lead."""
_LEAST_FALL = 0.03
"""Density by which a band is darker than what is beside it."""


class Edges(NamedTuple):
    """Where P bands end, mm to either side of offset 0, and their heights, (P,) each.

    All three are nan where an edge is missing.
    """

    left_mm: Array
    right_mm: Array
    height: Array

    @property
    def width_mm(self) -> Array:
        """Full widths at half height, (P,)."""
        return self.left_mm + self.right_mm


def windows(density: Grid, rows_per_window: int) -> list[Grid]:
    """Return the means (M,) of the windows into which profiles (N, M) are cut, one at least."""
    count = max(1, len(density) // rows_per_window)
    return [part.mean(axis=0) for part in np.array_split(density, count)]


def edges(profiles: Sequence[Grid], offs: Sequence[Array], guess_mm: Sequence[float]) -> Edges:
    """Return where the bands of P mean profiles end.

    Parameters
    ----------
    profiles : density at the offsets, (M,) each.
    offs : offsets of every profile in mm, (M,) each, evenly spaced about 0.
    guess_mm : widths as first seen; edges are sought around half of them on either side.

    Strategy: height is the mean of the darkest stretch between the middle and the edge, `STRETCH`
    of that long: a hollow band (dark edges, paler middle) is read like a full one, and grains that
    are darker than the lead about them raise it little. The foot is the palest place beyond the
    edge. Each side is taken separately, since smudges lie on one side, and twice, since the height
    needs the edge; the edge is where the profile last falls through half of the height.
    """
    if not profiles:
        return Edges(*np.zeros((3, 0)))
    step = np.array([off[1] - off[0] for off in offs])
    count = np.array([len(off) // 2 + 1 for off in offs])
    sides = np.full((2, len(count), int(count.max())), np.nan)
    for k, (profile, n) in enumerate(zip(profiles, count.tolist(), strict=True)):
        sides[0, k, :n], sides[1, k, :n] = profile[n - 1 :], profile[n - 1 :: -1]
    guess = np.tile(0.5 * np.asarray(guess_mm) / step, 2)
    edge, height = _edges(sides.reshape(2 * len(count), -1), np.tile(count, 2), guess)
    (left, right), (a, b) = edge.reshape(2, -1) * step, height.reshape(2, -1)
    return Edges(left, right, np.where(np.isnan(left + right), np.nan, 0.5 * (a + b)))


def _edges(sides: Array, count: Ints, guess: Array) -> tuple[Array, Array]:
    """Return the steps from the middle to the edge, to a fraction of a step, and the height.

    Parameters
    ----------
    sides, count : (S, C) densities from the middle outwards, and how many there are of each side.
    guess : (S,) steps.
    """
    first = _falls(sides, count, _heights(sides, count, guess), guess)
    height = _heights(sides, count, np.where(np.isnan(first), guess, WITHIN * first))
    return np.where(np.isnan(first), np.nan, _falls(sides, count, height, guess)), height


def _heights(sides: Array, count: Ints, reach: Array) -> Array:
    """Return the mean of the darkest stretch within `reach` (S,) steps of the middle."""
    long = np.maximum(2, np.round(STRETCH * reach)).astype(np.int64)
    last = np.minimum(np.maximum(long, np.round(reach).astype(np.int64)), count) - long
    total = np.zeros((len(sides), sides.shape[1] + 1))
    np.cumsum(sides, axis=1, out=total[:, 1:])
    start = np.arange(int(last.max()) + 1)
    end = np.minimum(start + long[:, None], sides.shape[1])
    sums = np.take_along_axis(total, end, 1) - total[:, start]
    return np.asarray(np.where(start <= last[:, None], sums, -np.inf).max(axis=1) / long)


def _falls(sides: Array, count: Ints, height: Array, guess: Array) -> Array:
    """Return where sides last fall through half their heights, nearest to the guess, else nan."""
    column, rows = np.arange(sides.shape[1]), np.arange(len(sides))
    end = np.minimum(count - 1, np.round(1.7 * guess + 12))
    beyond = np.minimum(np.round(guess), end)[:, None]
    outer = (column >= beyond) & (column <= end[:, None])
    foot = np.where(outer, sides, np.inf).min(axis=1)
    level = 0.5 * (height + foot)
    falls = (sides[:, :-1] >= level[:, None]) & (sides[:, 1:] < level[:, None])
    begin = np.maximum(1, np.round(0.4 * guess))[:, None]
    falls &= (column[:-1] >= begin) & (column[:-1] < end[:, None])
    i = np.where(falls, np.abs(column[:-1] - guess[:, None]), np.inf).argmin(axis=1)
    a, b = sides[rows, i], sides[rows, i + 1]
    found = (height - foot >= _LEAST_FALL) & falls[rows, i]
    return np.where(found, i + (a - level) / np.maximum(a - b, 1e-9), np.nan)


def joined_width(i: int, ends: Sequence[tuple[int, int]], widths_mm: Sequence[float]) -> float:
    """Return the width, mm, of the leads that came `i` joins; nan where none of them is known.

    `ends` holds the joints of every came, `widths_mm` what was read, nan for nothing. Of the leads
    at one end the widest counts, since a came butts against it; of the two ends the narrower, since
    a short came is seldom wider than the leads it joins (common practice, no source).
    """
    known = []
    for joint in set(ends[i]):
        beside = [w for k, w in enumerate(widths_mm) if k != i and joint in ends[k] and w == w]
        known.extend([max(beside)] if beside else [])
    return min(known, default=math.nan)
