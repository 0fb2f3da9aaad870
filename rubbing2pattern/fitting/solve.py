"""The place where fitted curves meet."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from rubbing2pattern.fitting.primitives import Fit
from rubbing2pattern.frame import Array


def meeting_place(
    fits: Sequence[Fit], start: Array, weights: Sequence[float] | None = None, hold_mm: float = 10.0
) -> tuple[Array, Array]:
    """Return the place nearest to all curves and its signed distance from each.

    Strategy: every curve is replaced by its tangent nearest to the last estimate, the least-squares
    point of the tangents is taken, and so on. A weak pull to the start keeps nearly parallel curves
    from meeting in the far distance.

    Parameters
    ----------
    fits : K fitted curves.
    start : (2,) first estimate in mm.
    weights : K weights, 1 by default.
    hold_mm : distance from the start at which the pull counts as much as 0.1 mm of misfit.

    Returns
    -------
    place : (2,) mm.
    misfits : (K,) mm.
    """
    w = np.ones(len(fits)) if weights is None else np.asarray(weights, dtype=np.float64)
    place = start.astype(np.float64)
    pull = (0.1 / hold_mm) ** 2
    for _ in range(4):
        matrix = pull * np.eye(2)
        right = pull * start
        for fit, weight in zip(fits, w, strict=True):
            foot, along = fit.near(place)
            n = np.array([-along[1], along[0]])
            matrix = matrix + weight * np.outer(n, n)
            right = right + weight * n * float(n @ foot)
        place = np.asarray(np.linalg.solve(matrix, right), dtype=np.float64)
    return place, np.array([_signed(fit, place) for fit in fits])


def _signed(fit: Fit, place: Array) -> float:
    foot, along = fit.near(place)
    return float(along[0] * (place[1] - foot[1]) - along[1] * (place[0] - foot[0]))
