"""The border between glass and ground where it shows in places only, by a random walk.

Legend for shapes: H, W rows and columns; U places that are to be settled.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.sparse import coo_matrix, csc_matrix
from scipy.sparse.linalg import splu

from rubbing2pattern.reading import Grid

Labels = npt.NDArray[np.int32]

_PASS = 0.7
"""By how much one deviation of a line makes it less likely to be crossed, of its logarithm."""
_LEAST = 1e-4
"""Least weight between neighbours, so that everything can be reached."""


def walked(relief: Grid, markers: Labels) -> Labels:
    """Return the marker that a random walk from each place reaches first most likely, (H, W).

    A walk crosses a place the less likely the higher its relief is (H, W). Where a rim has gaps the
    border runs straight across them, for the walk seldom finds them: a watershed would leak
    (Grady 2006, Random walks for image segmentation). `markers` are positive, 0 where unknown.
    """
    names = np.unique(markers[markers > 0])
    open_ = markers == 0
    count = int(open_.sum())
    if not count or len(names) < 2:
        return markers
    number = np.full(markers.shape, -1, dtype=np.int64)
    number[open_] = np.arange(count)
    diagonal = np.full(count, 1e-9)
    right = np.zeros((count, len(names)))
    rows, columns, values = [], [], []
    for first, second in (
        ((slice(None), slice(0, -1)), (slice(None), slice(1, None))),
        ((slice(0, -1), slice(None)), (slice(1, None), slice(None))),
    ):
        weight = np.exp(-_PASS * 0.5 * (relief[first] + relief[second])) + _LEAST
        a, b = number[first], number[second]
        for one, other, at in ((a, b, second), (b, a, first)):
            use = one >= 0
            np.add.at(diagonal, one[use], weight[use])
            both = use & (other >= 0)
            rows.append(one[both])
            columns.append(other[both])
            values.append(-weight[both])
            for k, name in enumerate(names):
                edge = use & (markers[at] == name)
                np.add.at(right[:, k], one[edge], weight[edge])
    rows.append(np.arange(count))
    columns.append(np.arange(count))
    values.append(diagonal)
    where = (np.concatenate(rows), np.concatenate(columns))
    matrix = csc_matrix(coo_matrix((np.concatenate(values), where), shape=(count, count)))
    chance = splu(matrix, permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True}).solve(right)
    settled = markers.copy()
    settled[open_] = names[chance.argmax(axis=1)]
    return settled
