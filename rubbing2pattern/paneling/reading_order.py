"""Reading order: rows from the top, and from left to right within a row."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from rubbing2pattern.geometry.frame import Array


def reading_order(places_mm: Array, heights_mm: Array, row_share: float) -> list[int]:
    """Return the indices of places in the order in which a page is read.

    Rules:

    1. Places may share a row when they differ in height by no more than `row_share` of the typical
       height (geometric mean) of the things in that row. A share well under one half keeps the
       staggered rows of diamond quarries apart.
    2. The places are divided into as few rows as rule 1 allows; among such divisions the one with
       the least spread within its rows, and so the widest gaps between them, is taken.
    3. Within a row the order is from left to right; where that ties, from the top.

    Parameters
    ----------
    places_mm : (N, 2) places, y upwards.
    heights_mm : (N,) heights of the things at these places.
    row_share : as in rule 1.
    """
    rows = rows_of(places_mm, heights_mm, row_share)
    return [
        i for row in rows for i in sorted(row, key=lambda i: (places_mm[i, 0], -places_mm[i, 1], i))
    ]


def rows_of(places_mm: Array, heights_mm: Array, row_share: float) -> list[list[int]]:
    """Return the rows of `reading_order` from the top, each as indices of its places."""
    if not len(places_mm):
        return []
    order = np.lexsort((np.arange(len(places_mm)), places_mm[:, 0], -places_mm[:, 1]))
    y = places_mm[order, 1]
    log_heights = np.concatenate(([0.0], np.cumsum(np.log(heights_mm[order]))))
    starts = _row_starts(y, log_heights, row_share)
    bounds = [*starts, len(y)]
    return [[int(i) for i in order[a:b]] for a, b in pairwise(bounds)]


def _row_starts(y: Array, log_heights: Array, row_share: float) -> Sequence[int]:
    """Divide heights y, sorted from the top, by dynamic programming from the last one back."""
    n = len(y)
    row_cost = 2.0 * float(y[0] - y[-1]) + 1.0  # more than all spreads: rows come first
    # No row is higher than the highest thing allows; rounding is given its due.
    highest = row_share * math.exp(float(np.diff(log_heights).max())) * (1.0 + 1e-9)
    best = np.zeros(n + 1)
    row_end = np.zeros(n, dtype=np.int64)
    counts, down = np.arange(1, n + 1), -y
    for i in range(n - 1, -1, -1):
        end = max(i + 1, int(np.searchsorted(down, highest - y[i], side="right")))
        spread = y[i] - y[i:end]
        typical = np.exp((log_heights[i + 1 : end + 1] - log_heights[i]) / counts[: end - i])
        cost = best[i + 1 : end + 1] + row_cost + spread
        cost[spread > row_share * typical] = np.inf  # rule 1
        k = int(np.argmin(cost))
        best[i], row_end[i] = cost[k], i + k + 1
    starts = [0]
    while (end := int(row_end[starts[-1]])) < n:
        starts.append(end)
    return starts
