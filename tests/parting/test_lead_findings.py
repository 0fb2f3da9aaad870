"""Findings about leads that may lie off their place."""

from __future__ import annotations

import numpy as np
import pytest

from rubbing2pattern.findings import Code
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.parting.lead_findings import may_be_off

OPTIONS = TidyOptions()


def reported(*doubts: tuple[float, float, float]) -> list[tuple[float, float]]:
    """Return the places reported for leads that may be off by so many mm at x, y."""
    rows = np.array(doubts).reshape(-1, 3)
    found = may_be_off(rows[:, 0], list(rows[:, 1:]), OPTIONS)
    assert all(f.code is Code.LEAD_OFF for f in found)
    return [f.at for f in found if f.at]


def test_only_what_may_be_off_by_more_than_the_limit_is_reported() -> None:
    assert reported((0.3, 0.0, 0.0), (0.99, 50.0, 0.0), (1.01, 100.0, 0.0)) == [(100.0, 0.0)]


def test_leads_side_by_side_are_one_doubt_at_the_worst_of_them() -> None:
    places = reported((1.2, 0.0, 0.0), (2.5, 8.0, 0.0), (1.4, 16.0, 0.0), (1.1, 60.0, 0.0))
    assert places == [(8.0, 0.0), (60.0, 0.0)]


@pytest.mark.parametrize("off_mm", [1.3, 4.0])
def test_the_finding_tells_the_figure(off_mm: float) -> None:
    (finding,) = may_be_off(np.array([off_mm]), [np.array((3.0, 4.0))], OPTIONS)
    assert f"{off_mm:.1f} mm" in finding.message
    assert finding.at == (3.0, 4.0)
