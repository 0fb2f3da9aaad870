"""Corners that point into the glass: where a lead was not read."""

from __future__ import annotations

import math

import pytest
from shapely.geometry import Point as Place, Polygon, box

from rubbing2pattern.findings import Code, Finding, Severity
from rubbing2pattern.options.audit import AuditOptions
from rubbing2pattern.options.pieces import PieceOptions
from rubbing2pattern.stages.audit import audit
from rubbing2pattern.stages.audit.notches import inward_corners
from rubbing2pattern.stages.pieces import cut_pieces
from tests.nets import Draft

ANGLE = Polygon([(0, 0), (60, 0), (60, 20), (20, 20), (20, 60), (0, 60)])


@pytest.mark.parametrize("outline", [ANGLE, ANGLE.reverse()])
def test_the_corner_of_an_angle_is_found_whichever_way_it_is_drawn(outline: Polygon) -> None:
    ((place, turn),) = inward_corners(outline, 5.0, 30.0)
    assert math.dist(place, (20, 20)) < 0.6
    assert turn == pytest.approx(90.0, abs=8.0)


@pytest.mark.parametrize("outline", [box(0, 0, 60, 40), Place(0, 0).buffer(30.0, quad_segs=64)])
def test_what_is_nowhere_hollow_has_none(outline: Polygon) -> None:
    assert inward_corners(outline, 5.0, 30.0) == ()


def test_an_inward_curve_is_not_a_corner() -> None:
    crescent = box(0, 0, 80, 40).difference(Place(40, 60).buffer(30.0, quad_segs=64))
    assert inward_corners(crescent, 5.0, 30.0) == ()


@pytest.mark.parametrize(("turned_deg", "found"), [(26.0, 0), (34.0, 1)])
def test_the_limit_is_the_turn(turned_deg: float, found: int) -> None:
    rise = 40.0 * math.tan(math.radians(turned_deg))
    bent = Polygon([(0, 0), (40, 0), (80, -rise), (80, 60), (0, 60)])
    dented = Polygon([(0, 0), (40, 0), (80, -rise), (80, -60), (0, -60)])
    assert len(inward_corners(dented, 5.0, 30.0)) == 0
    assert len(inward_corners(bent, 5.0, 30.0)) == found


def test_an_outline_too_short_for_its_chords_is_left_alone() -> None:
    assert inward_corners(Polygon([(0, 0), (4, 0), (1, 1), (0, 4)]), 5.0, 30.0) == ()


def test_two_pieces_whose_short_lead_was_not_read_are_reported_with_its_length() -> None:
    """Of the lead across the waist between two wedges nothing shows: one piece instead of two."""
    draft = Draft().line((0, 0), (45, 0), (85, 0), (130, 0), (130, 80))
    draft.line((130, 80), (85, 80), (45, 80), (0, 80), (0, 0))
    draft.line((45, 0), (65, 33), (85, 0)).line((45, 80), (65, 47), (85, 80))
    panel = audit(cut_pieces(draft.net(), PieceOptions()), AuditOptions())
    (finding,) = [f for f in panel.findings if f.code is Code.INWARD_CORNER]
    assert finding.severity is Severity.CHECK
    assert "a lead of 14 mm" in finding.message
    assert len(finding.pieces) == 1
    assert finding.at is not None


def bent_lead(*, held: bool) -> Finding:
    """Return the finding for a lead that turns by 90 degrees within 5 mm, with a lead there or not.

    The lead runs on through the joint and bends behind it.
    """
    draft = Draft().line((0, 0), (100, 0), (100, 80), (63, 80), (30, 80), (0, 80), (0, 30), (0, 0))
    draft.line((0, 30), (60, 30)).cubic((60, 30), (64, 30), (63, 30), (63, 80))
    if held:
        draft.line((60, 30), (30, 80))
    panel = audit(cut_pieces(draft.net(), PieceOptions()), AuditOptions())
    (finding,) = [f for f in panel.findings if f.code is Code.INWARD_CORNER]
    return finding


def test_a_corner_where_a_lead_runs_through_is_a_note() -> None:
    assert bent_lead(held=True).severity is Severity.NOTE
    assert bent_lead(held=False).severity is Severity.CHECK
