"""Statistics of many runs of values at once.

Legend: N values of all runs, R runs; `owner` (N,) is the number of the run of every value, rising.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from rubbing2pattern.geometry.frame import Array

Ints = npt.NDArray[np.int64]


def firsts(owner: Ints, runs: int) -> Ints:
    """Return the index of the first value of every run, and N last, (R + 1,)."""
    return np.concatenate(([0], np.cumsum(np.bincount(owner, minlength=runs)))).astype(np.int64)


def sorted_runs(values: npt.NDArray[np.floating], owner: Ints) -> Array:
    """Return the values of every run in rising order, (N,)."""
    order = np.argsort(values)
    few = owner[order].astype(np.min_scalar_type(int(owner.max()))) if len(owner) else owner
    return np.asarray(values[order][np.argsort(few, kind="stable")])


def quantiles(values: npt.NDArray[np.floating], owner: Ints, runs: int, share: float) -> Array:
    """Return the quantile of every run, linear between two values, (R,); nan of an empty run.

    That is type 7 of Hyndman and Fan, Sample quantiles in statistical packages (1996).
    """
    count = np.bincount(owner, minlength=runs)
    if not len(values):
        return np.full(runs, np.nan)
    rising = sorted_runs(values, owner)
    place = share * np.maximum(count - 1, 0)
    below = np.floor(place).astype(np.int64)
    first = np.minimum(firsts(owner, runs)[:-1] + below, len(values) - 1)
    after = np.minimum(first + (below + 1 < count), len(values) - 1)
    ahead = (place - below).astype(values.dtype)
    found = rising[first] + ahead * (rising[after] - rising[first])
    return np.where(count > 0, found, np.nan).astype(np.float64)


def lowest(values: Array, owner: Ints, runs: int) -> Ints:
    """Return the index of the first least value of every run, none of them empty, (R,)."""
    least = np.minimum.reduceat(values, firsts(owner, runs)[:-1])
    where = np.flatnonzero(values == least[owner])[::-1]
    found = np.empty(runs, dtype=np.int64)
    found[owner[where]] = where  # the first is written last
    return found
