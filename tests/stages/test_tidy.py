"""What is kept and what is reported of drawn rubbings, through all the steps of tidying."""

from __future__ import annotations

from itertools import pairwise

import pytest

from rubbing2pattern.errors import NoLeadFound
from rubbing2pattern.findings import Code
from rubbing2pattern.options.tidy import TidyOptions
from tests.bands import Drawing, cames_at, measured, tidied


def test_good_lead_is_sure() -> None:
    net, _, _ = tidied(Drawing().frame().band((80, 20), (80, 140)))
    assert all(0.95 < came.confidence < 1.0 for came in net.cames)
    assert net.findings == ()


@pytest.mark.parametrize("bare_mm", [0.0, 8.0, 16.0, 30.0, 50.0, 60.0, 70.0, 80.0, 100.0])
def test_nothing_is_kept_that_is_likelier_not_lead(bare_mm: float) -> None:
    drawing = Drawing().frame().band((80, 20), (80, 140))
    net, _, _ = tidied(drawing.worn((80, 80), bare_mm / 2) if bare_mm else drawing)
    assert min(came.confidence for came in net.cames) > 0.5


@pytest.mark.parametrize("bare_mm", [16.0, 30.0, 50.0])
def test_a_lead_carried_over_bare_paper_says_where(bare_mm: float) -> None:
    drawing = Drawing().frame().band((80, 20), (80, 140)).worn((80, 80), bare_mm / 2)
    (came,) = cames_at(measured(drawing), (80.0, 80.0))
    assert sum(high - low for low, high in came.gaps) == pytest.approx(bare_mm, abs=4.0)
    assert came.seen_share == pytest.approx(1.0 - bare_mm / 120.0, abs=0.08)


def test_less_ink_makes_less_sure() -> None:
    """A lead bare for ever longer about its middle, between ends that are well rubbed."""
    stated = []
    for bare_mm in (0.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0):
        drawing = Drawing().frame().band((80, 20), (80, 140))
        net, _, _ = tidied(drawing.worn((80, 80), bare_mm / 2) if bare_mm else drawing)
        (came,) = cames_at(net, (80.0, 80.0))
        stated.append(came.confidence)
    assert all(more > less for more, less in pairwise(stated))
    assert stated[0] > stated[-1] + 0.03


def test_a_picture_of_which_too_little_is_surely_lead_is_refused() -> None:
    """Four fifths of the leads are sure: enough for the default, too little for nine tenths."""
    drawing = Drawing().frame().band((80, 20), (80, 140)).worn((80, 80), 30.0)
    assert len(tidied(drawing)[0].cames) == 7
    with pytest.raises(NoLeadFound, match=r"of \d+ mm that may be lead lines only \d+ mm surely"):
        tidied(drawing, TidyOptions(least_sure=0.9))


def test_a_second_panel_on_the_sheet_is_reported_and_left_out() -> None:
    """They lie 40 mm apart, corner to corner; between them is bare paper."""
    drawing = Drawing(240.0).frame(8.0, 20.0, 120.0).band((70, 20), (70, 120))
    net, _, _ = tidied(drawing.frame(8.0, 150.0, 220.0))
    assert len(net.cames) == 7
    assert max(max(p) for came in net.cames for p in (came.curve.start, came.curve.end)) < 125.0
    assert [finding.code for finding in net.findings] == [Code.SEPARATE_PARTS]
