"""Values and derivatives of cubic B-splines by the recurrence of de Boor and Cox (de Boor 1972).

The library that has them takes longer to load than all the curves of a window take to fit.

Legend: M parameters, K splines, K + 4 knots.
"""

from __future__ import annotations

import numpy as np

from rubbing2pattern.fitting.ragged import Ints
from rubbing2pattern.geometry.frame import Array

_DEGREE = 3
"""Of a cubic; one spline more than this is not 0 at a place."""


def spans_of(knots: Array, t: Array) -> Ints:
    """Return the number of the knot before every parameter (M,), the ends' for those beyond."""
    before = np.searchsorted(knots, t, side="right") - 1
    return np.clip(before, _DEGREE, len(knots) - _DEGREE - 2)


def basis(knots: Array, t: Array, span: Ints, order: int = 0) -> Array:
    """Return the four splines that are not 0, or a derivative of them, at parameters, (M, 4).

    Parameters
    ----------
    knots : (K + 4,) rising.
    t : (M,) parameters.
    span : (M,) numbers of the knots before them; spline ``span - 3`` is the first of the four.
    order : of the derivative, 0 to 3.
    """
    found = np.ones((1, len(t)))
    for degree in range(1, _DEGREE + 1):
        steps = np.arange(1, degree + 1)[:, None]
        after, before = knots[span + steps], knots[span + steps - degree]
        wider = np.zeros((degree + 1, len(t)))
        if degree <= _DEGREE - order:
            share = found / (after - before)
            wider[1:] = share * (t - before)
            wider[:-1] += share * (after - t)
        else:
            share = degree * found / (after - before)
            wider[1:] = share
            wider[:-1] -= share
        found = wider
    return np.ascontiguousarray(found.T)
