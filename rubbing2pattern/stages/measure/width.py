"""The width of a dark band from the mean of many profiles across it.

Legend: N profiles, M offsets.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.reading import Grid

STRETCH = 0.4
"""Share of the way from the middle to the edge whose darkest stretch says how dark the lead is."""
WITHIN = 0.9
"""Share of the way to an edge, once it is known, that lies within the lead."""


def band_width(profile: Grid | Array, off: Array, guess_mm: float) -> float:
    """Return the full width at half height of a mean profile, nan when there is none.

    Parameters
    ----------
    profile : (M,) density.
    off : (M,) offsets in mm, evenly spaced about 0.
    guess_mm : width as first seen; the edges are sought around half of it on either side.

    Strategy: height is the mean of the darkest stretch between the middle and the edge, `STRETCH`
    of that long: a hollow band (dark edges, paler middle) is read like a full one, and grains that
    are darker than the lead about them raise it little. The foot is the palest place beyond the
    edge. Each side is taken separately, since smudges lie on one side, and twice, since the height
    needs the edge; the edge is where the profile last falls through half of the height.
    """
    found = edges(profile, off, guess_mm)
    return float("nan") if found is None else found[0] + found[1]


def edges(profile: Grid | Array, off: Array, guess_mm: float) -> tuple[float, float, float] | None:
    """Return the distances of the left and right edge from offset 0, and the mean height.

    Parameters as for `band_width`; None when an edge is missing.
    """
    step = float(off[1] - off[0])
    zero = len(off) // 2
    found = []
    for side in (profile[zero:], profile[zero::-1]):
        edge = _edge(np.asarray(side, dtype=np.float64), 0.5 * guess_mm / step)
        if edge is None:
            return None
        found.append(edge)
    (left, a), (right, b) = found
    return left * step, right * step, 0.5 * (a + b)


def _edge(side: Array, guess: float) -> tuple[float, float] | None:
    """Return the steps from the middle to the edge, to a fraction of a step, and the height."""
    height = _height(side, guess)
    edge = _fall(side, height, guess)
    if edge is not None:
        height = _height(side, WITHIN * edge)
        edge = _fall(side, height, guess)
    return None if edge is None else (edge, height)


def _height(side: Array, reach: float) -> float:
    """Return the mean of the darkest stretch within `reach` steps of the middle."""
    long = max(2, round(STRETCH * reach))
    total = np.concatenate(([0.0], np.cumsum(side[: max(long, round(reach))])))
    return float((total[long:] - total[:-long]).max() / long)


def _fall(side: Array, height: float, guess: float) -> float | None:
    """Return where one side last falls through half of its height, nearest to the guess."""
    first, last = max(1, round(0.4 * guess)), min(len(side) - 1, round(1.7 * guess + 12))
    foot = float(side[round(guess) : last + 1].min()) if round(guess) < last else float(side[-1])
    if height - foot < 0.03:
        return None
    level = 0.5 * (height + foot)
    crossings = np.nonzero((side[first:last] >= level) & (side[first + 1 : last + 1] < level))[0]
    if not crossings.size:
        return None
    i = first + int(crossings[np.abs(crossings + first - guess).argmin()])
    a, b = float(side[i]), float(side[i + 1])
    return i + (a - level) / max(a - b, 1e-9)


def readings(density: Grid, off: Array, guess_mm: float, rows_per_window: int) -> Array:
    """Return one width per window of profiles, (W,), nan where there is none."""
    count = max(1, len(density) // rows_per_window)
    parts = np.array_split(np.arange(len(density)), count)
    return np.array([band_width(density[p].mean(axis=0), off, guess_mm) for p in parts])


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
