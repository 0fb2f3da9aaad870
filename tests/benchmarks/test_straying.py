"""Leads that stray: what counts, what is forgiven, and whether a finding says so."""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks.straying import Leads, strayed

# Four panes of 100 mm; the lead in the middle of the left half ends freely after 60 mm.
PANES = [
    np.array(p, float)
    for p in (
        [(0, 0), (200, 0), (200, 200), (0, 200), (0, 0)],
        [(100, 0), (100, 100)],
        [(100, 100), (100, 200)],
        [(0, 100), (100, 100)],
        [(100, 100), (200, 100)],
        [(0, 50), (60, 50)],
    )
]
STRAP = len(PANES) - 1
NOWHERE = np.zeros((0, 2))


def _laid(paths: list[np.ndarray]) -> Leads:
    return Leads(paths, [(False, k == STRAP) for k in range(len(paths))])


def _changed(number: int, path: list[tuple[float, float]]) -> Leads:
    return _laid([np.array(path, float) if k == number else p for k, p in enumerate(PANES)])


@pytest.mark.parametrize(("aside", "count"), [(0.9, 0), (1.1, 2)])
def test_a_lead_strays_beyond_one_millimetre(aside: float, count: int) -> None:
    """A bulge aside in the middle of one lead: the true and the traced came both count."""
    traced = _changed(1, [(100, 0), (100, 20), (100 + aside, 40), (100 + aside, 60), (100, 100)])
    assert strayed(_laid(PANES), traced, NOWHERE, 15.0) == (count, count)


def test_a_hook_at_a_joint_is_seen_from_its_own_side_alone() -> None:
    """Every true point lies on a traced lead; the hook's tip lies 4 mm from all true leads."""
    hook = [(0, 100), (80, 100), (96, 104), (100, 100), (100, 100), (80, 100), (100, 100)]
    assert strayed(_laid(PANES), _changed(3, hook), NOWHERE, 15.0) == (1, 1)


@pytest.mark.parametrize(
    ("place", "silent"), [((60.0, 114.0), 0), ((60.0, 116.1), 1), ((10.0, 100.0), 1)]
)
def test_a_finding_must_stand_near_the_worst_place(place: tuple[float, float], silent: int) -> None:
    """A lead drawn from (0, 100) to (100, 100) with a dent 3 mm deep at x = 60 and nothing else."""
    dented = [(0, 100), (50, 100), (60, 103), (70, 100), (100, 100)]
    count, unseen = strayed(_laid(PANES), _changed(3, dented), np.array([place]), 15.0)
    # The worst true point is (60, 100), some 2.9 mm off; the worst traced one is the dent's tip.
    assert count == 2
    assert unseen == {(60.0, 114.0): 0, (60.0, 116.1): 1, (10.0, 100.0): 2}[place]
    assert (unseen > 0) == bool(silent)


@pytest.mark.parametrize(("end", "count"), [(60.0, 0), (61.8, 0), (58.2, 0), (62.5, 1), (57.5, 1)])
def test_the_length_of_a_free_end_is_forgiven_by_two_millimetres(end: float, count: int) -> None:
    traced = _changed(STRAP, [(0, 50), (end, 50)])
    assert strayed(_laid(PANES), traced, NOWHERE, 15.0) == (count, count)


def test_leads_missed_or_added_have_strayed() -> None:
    added = _laid([*PANES, np.array([(130.0, 40.0), (160.0, 40.0)])])
    assert strayed(_laid(PANES), added, NOWHERE, 15.0) == (1, 1)
    assert strayed(added, _laid(PANES), NOWHERE, 15.0) == (1, 1)
    # A lead that stops 2.5 mm short of a joint does not end freely: 1.25 mm of the gap is too far
    # from both its end and the border.
    short = _changed(1, [(100, 2.5), (100, 100)])
    assert strayed(_laid(PANES), short, NOWHERE, 15.0) == (1, 1)
