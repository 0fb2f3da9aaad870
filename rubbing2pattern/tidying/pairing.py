"""Which two stubs of a knot are one lead running through."""

from __future__ import annotations

import itertools
import math

import numpy as np

from rubbing2pattern.frame import Array
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.tidying.stubs import Stub


def paired(stubs: list[Stub], options: TidyOptions) -> tuple[list[tuple[Stub, Stub]], list[Stub]]:
    """Return the pairing with the least cost; all are tried."""
    n = len(stubs)
    cost = np.full((n, n), np.inf)
    for i, j in itertools.combinations(range(n), 2):
        cost[i, j] = cost[j, i] = _cost(stubs[i], stubs[j], options)
    best: tuple[float, list[tuple[int, int]]] = (math.inf, [])
    for pairs in _matchings(list(range(n)), cost, options.alone_cost):
        total = sum(cost[i, j] for i, j in pairs) + options.alone_cost * (n - 2 * len(pairs))
        if total < best[0] - 1e-12:
            best = (total, pairs)
    taken = {i for pair in best[1] for i in pair}
    return (
        [(stubs[i], stubs[j]) for i, j in best[1]],
        [s for i, s in enumerate(stubs) if i not in taken],
    )


def _matchings(items: list[int], cost: Array, alone: float) -> list[list[tuple[int, int]]]:
    """All sets of disjoint pairs cheaper than leaving both alone."""
    if len(items) < 2:
        return [[]]
    first, rest = items[0], items[1:]
    out = _matchings(rest, cost, alone)
    for j in rest:
        if cost[first, j] < 2.0 * alone:
            left = [x for x in rest if x != j]
            out = out + [[(first, j), *m] for m in _matchings(left, cost, alone)]
    return out


def _cost(one: Stub, two: Stub, options: TidyOptions) -> float:
    """Squared misfit, in standard deviations, of prolonging each stub to the other's tip.

    What may be expected grows with the gap: a lead may bend a little on the way, and a short stub
    tells its direction badly.
    """
    gap = math.dist(one.tip, two.tip)
    if gap < 1e-6:
        return math.inf
    if float(one.heading @ two.heading) > -0.5:
        return math.inf
    way = (two.tip - one.tip) / gap
    if gap > 3.0 and (float(one.heading @ way) < 0.6 or float(two.heading @ way) > -0.6):
        return math.inf
    total = 0.0
    for a, b in ((one, two), (two, one)):
        foot, along = a.fit.near(b.tip)
        along = along if float(along @ a.heading) > 0 else -along
        sure = max(min(a.seen_mm, options.local_mm), 2.0)
        aside = math.dist(foot, b.tip)
        turn = math.degrees(math.acos(float(np.clip(-(along @ b.heading), -1.0, 1.0))))
        slack_mm = 0.35 + 0.05 * gap + 0.15 * gap / sure
        slack_deg = 5.0 + 0.2 * gap + 12.0 / sure
        total += 0.5 * ((aside / slack_mm) ** 2 + (turn / slack_deg) ** 2)
    wide = (one.width_mm - two.width_mm) / (0.15 * (one.width_mm + two.width_mm) / 2 + 0.25)
    return total + wide**2
