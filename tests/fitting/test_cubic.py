"""Cubic B-splines against SciPy's BSpline, another implementation of the same recurrence."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import BSpline

from rubbing2pattern.fitting.cubic import basis, spans_of

KNOTS = -1.7 + 2.3 * np.arange(-3.0, 12.0)
INSIDE = np.concatenate((np.linspace(KNOTS[3], KNOTS[-4], 77), KNOTS[3:-3]))


@pytest.mark.parametrize("order", [0, 1, 2, 3])
def test_a_curve_and_its_derivatives_are_those_of_scipy(order: int) -> None:
    coefficients = np.random.default_rng(5).normal(size=(len(KNOTS) - 4, 2))
    span = spans_of(KNOTS, INSIDE)
    around = coefficients[span[:, None] + np.arange(-3, 1)]
    found = (basis(KNOTS, INSIDE, span, order)[:, :, None] * around).sum(axis=1)
    np.testing.assert_array_max_ulp(found, BSpline(KNOTS, coefficients, 3)(INSIDE, order), 4)
