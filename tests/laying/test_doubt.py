"""How far a lead is said to be off, from the figures that tell it."""

from __future__ import annotations

import numpy as np
import pytest

from rubbing2pattern.laying.doubt import MOST_MM, strays_of
from rubbing2pattern.options.laying import LayingOptions


def strays(misfit_mm: list[float]) -> list[float]:
    """Return what is stated of leads whose joints lie so far off the curves that come to them."""
    figures = np.zeros((len(misfit_mm), 8))
    figures[:, :2] = -2.0
    figures[:, 2] = misfit_mm
    return list(map(float, strays_of(figures, LayingOptions())))


def test_a_lead_whose_joints_lie_farther_off_is_said_to_be_farther_off() -> None:
    near, far = strays([0.1, 1.0])
    assert 0.0 < near < far < MOST_MM


@pytest.mark.parametrize("misfit_mm", [50.0, 1e6])
def test_a_joint_far_off_its_leads_gives_a_length_that_a_record_can_hold(misfit_mm: float) -> None:
    assert strays([misfit_mm]) == [pytest.approx(MOST_MM)]
