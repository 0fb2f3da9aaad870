"""The fit of how far leads may be off finds again what made its data."""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks.doubt_fit import Cames, fitted, reliability


def drawn(seed: int, count: int = 8000) -> Cames:
    """Return cames off by t mm or more with log odds -2 + 1.5 x - 2.5 ln t; y says nothing."""
    rng = np.random.default_rng(seed)
    x, y = rng.normal(size=(2, count))
    odds = rng.logistic(size=count)
    off_mm = np.exp((-2.0 + 1.5 * x + odds) / 2.5)
    return Cames("drawn", seed, np.column_stack((x, y)), off_mm)


def test_the_weights_are_those_of_the_data() -> None:
    cames = drawn(1)
    look = fitted(cames.figures, cames.off_mm)
    assert look == pytest.approx([-2.0, 1.5, 0.0, 2.5], abs=0.12)


def test_what_is_stated_is_what_happens_on_other_seeds() -> None:
    rows = reliability([drawn(1), drawn(2)]).splitlines()
    assert rows[0] == "| stated | drawn |"
    middle = next(row for row in rows if row.startswith("| 0.20 to 0.35"))
    assert 0.22 < float(middle.split("|")[2].split(" of ")[0]) < 0.33
