"""Odds moved to the share of lead in one rubbing."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, strategies as st

from rubbing2pattern.tidying.prior import shift_to_own_share

WIDE = (-50.0, 50.0)


def logit(share: float) -> float:
    return math.log(share / (1.0 - share))


@pytest.mark.parametrize("share", [0.05, 0.3, 0.5, 0.8, 0.97])
def test_the_share_of_a_drawn_mixture_is_found(share: float) -> None:
    """Two normal classes of the same spread: the odds are exact, so the shift is known."""
    rng = np.random.default_rng(7)
    count = 20_000
    true = rng.random(count) < share
    seen = rng.normal(np.where(true, 1.0, -1.0), 1.0)
    odds = 2.0 * seen + logit(0.6)  # log likelihood ratio of N(1, 1) to N(-1, 1) is 2 x

    shift = shift_to_own_share(odds.tolist(), 0.6, WIDE)

    assert shift == pytest.approx(logit(share) - logit(0.6), abs=0.12)


def test_nothing_to_weigh_moves_to_evens() -> None:
    assert shift_to_own_share([], 0.79, WIDE) == pytest.approx(-logit(0.79))


@given(
    st.lists(st.floats(-40.0, 40.0), max_size=30),
    st.floats(0.05, 0.95),
    st.floats(-3.0, 0.0),
    st.floats(0.0, 3.0),
)
def test_the_shift_stays_within_its_limits(
    odds: list[float], fitted: float, least: float, greatest: float
) -> None:
    assert least <= shift_to_own_share(odds, fitted, (least, greatest)) <= greatest


def test_surer_lines_raise_the_share() -> None:
    shifts = [shift_to_own_share([odd] * 9 + [-3.0] * 9, 0.5, WIDE) for odd in (-2.0, 0.0, 2.0)]
    assert shifts == sorted(shifts)
    assert shifts[0] < shifts[-1]
