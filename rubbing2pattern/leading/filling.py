"""Quick ways to fill sticks, and bounds on how many are needed.

Sizes are whole numbers, longest first, each with a demand; a stick is given as a pattern: how many
of each size it gives.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

_LATER = 20.0
"""How many sizes after the longest a stick begins on average, when by chance."""


def first_fit(sizes: Sequence[int], demand: Sequence[int], stick: int) -> list[tuple[int, ...]]:
    """Cut each strip, longest first, from the first stick that has room: first-fit decreasing."""
    rooms: list[int] = []
    sticks: list[list[int]] = []
    for k, size in enumerate(sizes):
        for _ in range(demand[k]):
            i = next((i for i, room in enumerate(rooms) if room >= size), len(rooms))
            if i == len(rooms):
                rooms.append(stick)
                sticks.append([0] * len(sizes))
            rooms[i] -= size
            sticks[i][k] += 1
    return [tuple(pattern) for pattern in sticks]


def full_sticks(
    sizes: Sequence[int], demand: Sequence[int], stick: int, seed: int = 0
) -> list[tuple[int, ...]]:
    """Fill stick after stick: the longest strip left, and of the others what fills it best.

    The best filling is exact (subset sum, by bits of one whole number); of equal ones that with the
    longer strips is taken. With a seed over 0 the strip a stick begins with is one of the longer
    ones by chance: strips that fill well together are then not always used up first.
    """
    chance = np.random.default_rng(seed)
    left = list(demand)
    sticks = []
    while any(left):
        waiting = [k for k, n in enumerate(left) if n]
        later = int(chance.exponential(_LATER)) if seed else 0
        first = waiting[min(later, len(waiting) - 1)]
        pattern = [0] * len(sizes)
        pattern[first] = 1
        left[first] -= 1
        for k in _best_filling(sizes, left, stick - sizes[first]):
            pattern[k] += 1
            left[k] -= 1
        sticks.append(tuple(pattern))
    return sticks


def _best_filling(sizes: Sequence[int], left: Sequence[int], room: int) -> list[int]:
    """Return the sizes, by index, whose sum comes nearest to the room without going over it."""
    most = [min(n, room // size) for n, size in zip(left, sizes, strict=True)]
    items = [k for k in range(len(sizes) - 1, -1, -1) for _ in range(most[k])]
    mask = (1 << (room + 1)) - 1
    reached = [1]  # Bit s of entry i is set when the first i items can sum up to s.
    for k in items:
        reached.append((reached[-1] | reached[-1] << sizes[k]) & mask)
    at = reached[-1].bit_length() - 1
    chosen = []
    for i in range(len(items) - 1, -1, -1):
        size = sizes[items[i]]
        if size <= at and reached[i] >> (at - size) & 1:
            chosen.append(items[i])
            at -= size
    return chosen


def least_by_bounds(sizes: Sequence[int], demand: Sequence[int], stick: int) -> int:
    """Return a number of sticks that is surely needed.

    The bound L2 of Martello and Toth (*Knapsack Problems*, 1990, section 8.3): for a size K, strips
    over `stick` - K share a stick with none of K or longer; of those over half a stick, none share
    one; the shorter ones, down to K, fill what room these leave.
    """
    best = 0
    pairs = list(zip(sizes, demand, strict=True))
    for least in {0, *(size for size in sizes if 2 * size <= stick)}:
        alone = sum(n for size, n in pairs if size > stick - least)
        large = [(size, n) for size, n in pairs if stick - least >= size > stick / 2]
        small = sum(size * n for size, n in pairs if least <= size <= stick / 2)
        halves = sum(n for _, n in large)
        room = halves * stick - sum(size * n for size, n in large)
        best = max(best, alone + halves + max(0, -(-(small - room) // stick)))
    return best
