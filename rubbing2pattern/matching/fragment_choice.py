"""Of all sets of fragments in all openings, those that are likeliest together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array

_HALF = 0.5
"""Above it a choice of the solver is taken: it gives 0 or 1, up to its digits."""


@dataclass(frozen=True, slots=True)
class Choice:
    """A set of fragments (indices of pieces) in an opening (index), and the value of all."""

    opening: int
    pieces: frozenset[int]
    value: float


@dataclass(frozen=True, slots=True)
class Chosen:
    """A choice that was taken.

    Attributes
    ----------
    choice : its index.
    openings : indices of all openings in which the same fragments lie as well, its own among them.
    doubtful : pieces in it that may as well lie elsewhere, or nowhere.
    """

    choice: int
    openings: tuple[int, ...]
    doubtful: frozenset[int]


def chosen_with_margins(
    choices: Sequence[Choice], alike: Sequence[int], part_cost: float, least_margin: float
) -> tuple[Chosen, ...]:
    """Return the chosen sets: each piece and each opening is used once at most.

    Rules:

    1. the sum of the values less `part_cost` for each piece is greatest;
    2. the same set lies as well in openings that are alike (`alike` holds a label for each), and
       where its value, or the sum, is less by `least_margin` at most when it lies there: nothing
       shows which of them is right;
    3. a piece is doubtful when the sum falls by less than `least_margin` if it may not go to any of
       those openings.
    """
    gains = np.array([c.value - part_cost * len(c.pieces) for c in choices])
    best, total = _packed(choices, gains)
    found = []
    for k in best:
        pieces = choices[k].pieces
        labels = {
            alike[c.opening]
            for c in choices
            if c.pieces == pieces and c.value > choices[k].value - least_margin
        }
        doubtful = _doubtful(choices, gains, alike, pieces, labels, total - least_margin)
        while doubtful.moved:
            labels |= doubtful.moved
            doubtful = _doubtful(choices, gains, alike, pieces, labels, total - least_margin)
        openings = tuple(opening for opening, label in enumerate(alike) if label in labels)
        found.append(Chosen(k, openings, doubtful.pieces))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class _Doubt:
    """Pieces of a set that may lie elsewhere, and labels of openings where the whole set may."""

    pieces: frozenset[int]
    moved: frozenset[int]


def _doubtful(
    choices: Sequence[Choice],
    gains: np.ndarray,
    alike: Sequence[int],
    pieces: frozenset[int],
    labels: set[int],
    least: float,
) -> _Doubt:
    """Try each piece of a set without openings of some labels; `least` is the least total sum."""
    doubtful, moved = set(), set()
    for piece in sorted(pieces):
        barred = [piece in c.pieces and alike[c.opening] in labels for c in choices]
        taken, other = _packed(choices, np.where(barred, 0.0, gains))
        if other > least:
            doubtful.add(piece)
            moved |= {alike[choices[k].opening] for k in taken if choices[k].pieces == pieces}
    return _Doubt(frozenset(doubtful), frozenset(moved))


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
