"""Confidence of finished cames, from what a drawn rubbing shows along them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from rubbing2pattern.curves import Line
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.reading import LeadMap, LeadNet, NetCame, NetJoint, Rubbing
from rubbing2pattern.tidying.sureness import with_confidence
from tests.bands import Drawing, cames_at, tidied

OPTIONS = TidyOptions()
Tidied = tuple[LeadNet, LeadMap, Rubbing]


@pytest.fixture(scope="module")
def window() -> Tidied:
    """Two pieces between well rubbed leads."""
    return tidied(Drawing().frame().band((80, 20), (80, 140)))


def with_line(window: Tidied, start: tuple[float, float], end: tuple[float, float]) -> NetCame:
    """Return a lead line added by hand from one free end to another, with its confidence."""
    net, lead, rubbing = window
    joints = (*net.joints, NetJoint(*start, ""), NetJoint(*end, ""))
    count = len(net.joints)
    added = NetCame(count, count + 1, Line(start, end), shown_width_mm=5.0)
    larger = replace(net, joints=joints, cames=(*net.cames, added))
    return with_confidence(larger, lead, rubbing, OPTIONS).cames[-1]


def test_every_came_has_a_confidence_between_0_and_1_and_good_lead_is_sure(window: Tidied) -> None:
    stated = [came.confidence for came in window[0].cames]
    assert all(0.0 < p < 1.0 for p in stated)
    assert min(stated) > 0.95


def test_a_line_over_bare_paper_is_not_believed(window: Tidied) -> None:
    assert with_line(window, (50, 40), (50, 120)).confidence < 0.2


def test_more_ink_makes_surer() -> None:
    """The same lead, bare for ever longer about its middle, stated along the same line."""
    stated = []
    whole, _, _ = tidied(Drawing().frame().band((80, 20), (80, 140)))
    for bare_mm in (0.0, 15.0, 30.0, 50.0):
        drawing = Drawing().frame().band((80, 20), (80, 140))
        if bare_mm:
            drawing.worn((80.0, 80.0), bare_mm)
        _, lead, rubbing = tidied(drawing)
        net = with_confidence(whole, lead, rubbing, OPTIONS)
        (came,) = cames_at(net, (80.0, 80.0))
        stated.append(came.confidence)
    assert stated == sorted(stated, reverse=True)
    assert stated[0] > 0.95
    assert stated[-1] < 0.5


def test_weighing_once_more_changes_nothing(window: Tidied) -> None:
    net, lead, rubbing = window
    assert with_confidence(net, lead, rubbing, OPTIONS) == net
