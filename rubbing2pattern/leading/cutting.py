"""The cutting-stock problem in one dimension: strips from as few sticks as can be.

A pattern is a way to cut one stick: how many of each length it gives. The least number of sticks is
found over all patterns at once (Kantorovich 1939, Gilmore and Gomory 1961); the integer programme
is solved by HiGHS through scipy. Lengths are whole numbers of one small unit, so nothing is rounded
on the way, and the solver's limits are counted, so that the same strips give the same sticks. The
solver is imported when a programme is to be solved: most strips fit as the bounds say.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.leading.filling import first_fit, full_sticks, least_by_bounds

if TYPE_CHECKING:
    from scipy.sparse import csr_array

Pattern = tuple[int, ...]
"""How many of each size one stick gives, longest size first."""

_HAIR = 1e-6
"""What rounding leaves of a whole number of sticks."""


@dataclass(frozen=True, slots=True)
class Limits:
    """How much is tried: fillings by chance, ways to cut a stick, searches, branches."""

    fillings: int = 60
    patterns: int = 3000
    rounds: int = 60
    nodes: int = 50


@dataclass(frozen=True, slots=True)
class Cutting:
    """Strips on sticks.

    Attributes
    ----------
    sticks : for each stick the indices of its strips; fullest first, longest strip first.
    least : no way of cutting needs fewer sticks than this.
    method : how the sticks were found, one clause.
    """

    sticks: tuple[tuple[int, ...], ...]
    least: int
    method: str

    @property
    def proven(self) -> bool:
        """True when no way of cutting needs fewer sticks."""
        return len(self.sticks) == self.least


def cut_stock(lengths: Sequence[int], stick: int, limits: Limits = Limits()) -> Cutting:
    """Find the fewest sticks that hold all strips.

    Rules:

    1. First-fit decreasing, and sticks filled one after the other as far as they can be, give a
       number that suffices; the bounds of Martello and Toth (1990) one that is needed. Where the
       two agree, no solver can better them. Sticks are filled in up to `limits.fillings` orders.
    2. Else, when there are no more than `limits.patterns` full patterns, the integer programme over
       all of them is solved: its optimum is that of the problem.
    3. Else useful patterns are generated from the duals of the linear programme (Gilmore and Gomory
       1961), which also bounds the number from below (Farley 1990), and the integer programme is
       solved over these. Where its optimum is above the bound, it is reported as not proven.
    4. What first-fit decreasing or the filling found is kept unless the solver finds fewer.

    Parameters
    ----------
    lengths : of the strips, whole numbers over 0.
    stick : what one stick gives, in the same unit.

    Raises
    ------
    UsageFault
        For a length of 0 or less, or over that of a stick.

    Examples
    --------
    >>> len(cut_stock([6, 6, 6, 5, 5, 5, 4, 4, 4], 15).sticks)
    3
    """
    for k, length in enumerate(lengths):
        if not 0 < length <= stick:
            raise UsageFault(f"strip {k + 1} is {length} long, but must be 1 to {stick}, a stick")
    counts = Counter(lengths)
    sizes = sorted(counts, reverse=True)
    demand = [counts[size] for size in sizes]
    best, least = first_fit(sizes, demand, stick), least_by_bounds(sizes, demand, stick)
    method = "first-fit decreasing"
    for seed in range(limits.fillings):
        if len(best) == least:
            break
        filled = full_sticks(sizes, demand, stick, seed)
        if len(filled) < len(best):
            best, method = filled, "sticks filled one by one"
    if len(best) > least:
        work = _Work(sizes, demand, stick, limits)
        patterns, least, complete = work.patterns(best, least)
        solved, optimal = work.solved(patterns)
        if complete and optimal:  # rule 2
            least = max(least, len(solved))
        if len(solved) < len(best):  # rule 4
            best, method = solved, "integer programme over patterns"
        elif len(best) == least:
            method += ", proved by the integer programme"
    else:
        method += ", proved by the bounds"
    if len(best) > least:
        method += f"; the solver stopped at its limits, {least} might do"
    return Cutting(_named(best, sizes, lengths), least, method)


@dataclass(frozen=True, slots=True)
class _Work:
    sizes: Sequence[int]
    demand: Sequence[int]
    stick: int
    limits: Limits

    def patterns(self, start: Sequence[Pattern], least: int) -> tuple[list[Pattern], int, bool]:
        """Return patterns, a bound, and whether the patterns are all there are."""
        every: list[Pattern] = []
        for pattern in full_patterns(self.sizes, self.demand, self.stick):
            every.append(pattern)
            if len(every) > self.limits.patterns:
                return *self._generated(start, least), False  # rule 3
        return every, least, True

    def _generated(self, start: Sequence[Pattern], least: int) -> tuple[list[Pattern], int]:
        from scipy.optimize import linprog

        # One size alone on a stick makes the programme solvable from the first.
        alone = np.eye(len(self.sizes), dtype=np.int64)
        patterns = list(dict.fromkeys([*start, *(tuple(map(int, row)) for row in alone)]))
        for _ in range(self.limits.rounds):
            matrix = _matrix(patterns)
            part = linprog(np.ones(len(patterns)), A_ub=-matrix, b_ub=-np.array(self.demand))
            if not part.success:
                break
            price = np.maximum(-part.ineqlin.marginals, 0.0)
            pattern, worth = best_pattern(price, self.sizes, self.demand, self.stick)
            bound = price @ np.array(self.demand) / max(worth, 1.0)
            least = max(least, int(np.ceil(bound - _HAIR)))
            if worth <= 1.0 + _HAIR or pattern in patterns or least >= len(start):
                break
            patterns.append(pattern)
        return patterns, least

    def solved(self, patterns: Sequence[Pattern]) -> tuple[list[Pattern], bool]:
        """Return the sticks of the integer programme, and whether they are its optimum."""
        from scipy.optimize import Bounds, LinearConstraint, milp

        result = milp(
            np.ones(len(patterns)),
            integrality=np.ones(len(patterns)),
            bounds=Bounds(0, np.inf),
            constraints=LinearConstraint(_matrix(patterns), lb=np.array(self.demand)),
            options={"node_limit": self.limits.nodes, "mip_rel_gap": 0.0},
        )
        if result.x is None:
            return [(1,)] * sum(self.demand), False
        times = np.rint(result.x).astype(int)
        return self._without_surplus(patterns, times), result.status == 0

    def _without_surplus(self, patterns: Sequence[Pattern], times: npt.NDArray[np.int_]) -> (
        list[Pattern]
    ):  # fmt: skip
        """Cut no more of a size than is needed; drop sticks that nothing is left on."""
        left = list(self.demand)
        sticks = []
        for pattern, n in zip(patterns, times, strict=True):
            for _ in range(int(n)):
                kept = tuple(min(a, b) for a, b in zip(pattern, left, strict=True))
                left = [a - b for a, b in zip(left, kept, strict=True)]
                if any(kept):
                    sticks.append(kept)
        assert not any(left), "the integer programme leaves strips uncut"
        return sticks


def full_patterns(sizes: Sequence[int], demand: Sequence[int], stick: int) -> Iterator[Pattern]:
    """Yield every pattern to which no further strip can be added, `sizes` longest first."""
    chosen = [0] * len(sizes)

    def fill(k: int, room: int, spare: int) -> Iterator[Pattern]:
        # `spare` is the shortest size passed over of which more could be had.
        if k == len(sizes):
            if room < spare:
                yield tuple(chosen)
            return
        most = min(demand[k], room // sizes[k])
        for n in range(most, -1, -1):
            chosen[k] = n
            yield from fill(k + 1, room - n * sizes[k], sizes[k] if n < demand[k] else spare)
        chosen[k] = 0

    yield from fill(0, stick, stick + 1)


def best_pattern(
    price: npt.NDArray[np.float64], sizes: Sequence[int], demand: Sequence[int], stick: int
) -> tuple[Pattern, float]:
    """Return the pattern of the greatest worth: the bounded knapsack problem, solved exactly.

    Parameters
    ----------
    price : (K,) worth of one strip of each size.
    """
    scale = int(np.gcd.reduce([*sizes]))
    room = stick // scale
    most = [min(n, stick // size) for n, size in zip(demand, sizes, strict=True)]
    parts = [(k, part) for k, n in enumerate(most) for part in _doubling(n)]
    worth = np.zeros(room + 1)
    taken = np.zeros((len(parts), room + 1), dtype=bool)
    for row, (k, n) in enumerate(parts):
        size = n * sizes[k] // scale
        if price[k] <= 0.0 or size > room:
            continue
        with_it = worth[: room + 1 - size] + n * price[k]
        taken[row, size:] = with_it > worth[size:] + 1e-12
        worth[size:] = np.where(taken[row, size:], with_it, worth[size:])
    pattern, at = [0] * len(sizes), room
    for row in range(len(parts) - 1, -1, -1):
        if taken[row, at]:
            k, n = parts[row]
            pattern[k] += n
            at -= n * sizes[k] // scale
    return tuple(pattern), float(worth[room])


def _doubling(count: int) -> Iterator[int]:
    """Split a count so that the parts sum up to anything from 0 to it: 1, 2, 4 ... and the rest."""
    part = 1
    while count > 0:
        yield min(part, count)
        count -= part
        part *= 2


def _matrix(patterns: Sequence[Pattern]) -> csr_array:
    from scipy.sparse import csr_array

    return csr_array(np.array(patterns, dtype=np.float64).T)


def _named(
    sticks: Sequence[Pattern], sizes: Sequence[int], lengths: Sequence[int]
) -> tuple[tuple[int, ...], ...]:
    """Put the strips themselves into the patterns, those of one size in their order."""
    fullest = sorted(sticks, key=lambda p: (-sum(map(int.__mul__, p, sizes)), [-n for n in p]))
    waiting: dict[int, list[int]] = {size: [] for size in sizes}
    for k in range(len(lengths) - 1, -1, -1):
        waiting[lengths[k]].append(k)
    return tuple(
        tuple(waiting[size].pop() for size, n in zip(sizes, pattern, strict=True) for _ in range(n))
        for pattern in fullest
    )
