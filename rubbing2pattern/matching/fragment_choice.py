"""Of all sets of fragments in all openings, those that are likeliest together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array

_HALF = 0.5


@dataclass(frozen=True, slots=True)
class Choice:
    """A set of fragments (indices of pieces) in an opening (index), and the value of all."""

    opening: int
    pieces: frozenset[int]
    value: float


def chosen_with_margins(
    choices: Sequence[Choice], alike: Sequence[int], part_cost: float, least_margin: float
) -> tuple[tuple[int, frozenset[int]], ...]:
    """Return the chosen sets (indices), each with the pieces in it whose place is doubtful.

    Each piece and each opening is used once at most, and the sum of the values less `part_cost` for
    each piece is greatest. A piece is doubtful when that sum falls by less than `least_margin` if
    it may not go to that opening nor to one that is alike (`alike` holds a label for each opening).
    """
    gains = np.array([c.value - part_cost * len(c.pieces) for c in choices])
    best, total = _packed(choices, gains)
    found = []
    for k in best:
        label = alike[choices[k].opening]
        doubtful = set()
        for piece in sorted(choices[k].pieces):
            barred = [piece in c.pieces and alike[c.opening] == label for c in choices]
            _, other = _packed(choices, np.where(barred, 0.0, gains))
            if total - other < least_margin:
                doubtful.add(piece)
        found.append((k, frozenset(doubtful)))
    return tuple(found)


def _packed(choices: Sequence[Choice], gains: np.ndarray) -> tuple[list[int], float]:
    """Return the sets that together gain most, and what they gain."""
    useful = [int(k) for k in np.flatnonzero(gains > 0.0)]
    if not useful:
        return [], 0.0
    rows: dict[tuple[str, int], int] = {}
    at = []
    for column, k in enumerate(useful):
        names = [("opening", choices[k].opening)] + [("piece", p) for p in choices[k].pieces]
        at += [(rows.setdefault(name, len(rows)), column) for name in names]
    row, column_of = np.array(at).T
    once = csr_array((np.ones(len(at)), (row, column_of)), shape=(len(rows), len(useful)))
    solved = milp(
        -gains[useful],
        integrality=np.ones(len(useful)),
        bounds=Bounds(0.0, 1.0),
        constraints=LinearConstraint(once, -np.inf, 1.0),
    )
    taken = [k for k, x in zip(useful, solved.x, strict=True) if x > _HALF]
    return taken, float(gains[taken].sum())
