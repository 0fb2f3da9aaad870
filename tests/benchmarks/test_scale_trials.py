"""The stated uncertainty of lengths against the errors of trials (`benchmarks.scale`)."""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks.scale import KINDS, drawn, length_errors


@pytest.mark.parametrize("kind", KINDS)
def test_statement_is_calibrated(kind):
    """Two thirds of the errors within it; the median statement at most 3 times the median error.

    Of 40 trials two thirds are 27; by chance a fair statement has 22 or more in 95 of 100.
    """
    square_mm, made = KINDS[kind]
    found = [made(drawn(1000 + n, square_mm)) for n in range(40)]
    errors = np.array([each.error for each in found])
    stated = np.array([each.stated for each in found])
    assert (errors <= stated).sum() >= 22
    assert np.median(stated) < 3.5 * np.median(errors)


def test_errors_of_lengths():
    """By hand: 1 % larger along x alone moves widths by 1 %, heights by nothing."""
    true = np.stack(np.meshgrid([0.0, 30, 60], [0.0, 40, 80], indexing="ij"), axis=-1)
    errors = length_errors(true * (1.01, 1.0), true)
    assert errors[:3] == pytest.approx(0.01)
    assert errors[3:6] == pytest.approx(0.0)
    diagonal = np.hypot(60.6, 80) / 100 - 1
    assert errors[6:] == pytest.approx(diagonal)
