"""Lead lines that cross where the net has no joint."""

from __future__ import annotations

import pytest
import shapely
from shapely.geometry import LineString

from rubbing2pattern.findings import Code, Severity
from rubbing2pattern.paneling import openings
from tests.laws import (
    assert_euler,
    assert_tiled,
    codes,
    cut,
)
from tests.nets import Draft, frame, recrossing


def test_lines_that_cross_without_a_joint_get_one_and_a_finding() -> None:
    draft = frame(200, 200).line((0, 0), (200, 200), gaps=((10.0, 40.0), (200.0, 230.0)))
    draft.arc((0, 200), (200, 0), 40.0)
    panel = cut(draft)
    assert len(panel.pieces) == 4
    assert codes(panel) == [Code.DOUBTFUL_JOINT]
    assert_euler(panel)
    assert_tiled(panel)
    gaps = sorted(gap for came in panel.cames for gap in came.gaps)
    assert sum(b - a for a, b in gaps) == pytest.approx(60.0)


def test_cubics_that_cross_without_a_joint_keep_their_course() -> None:
    control = ((0, 0), (150, 0), (50, 200), (200, 200))
    draft = frame(200, 200).cubic(*control).line((0, 200), (200, 0))
    panel = cut(draft)
    whole = cut(frame(200, 200).cubic(*control))
    assert len(panel.pieces) == 4
    joined = shapely.union_all([LineString(c.path) for c in panel.cames])
    (curve,) = [c for c in whole.cames if len(c.path) > 2]
    assert shapely.distance(shapely.points(curve.path), joined).max() < 0.02


def test_lines_that_cross_again_close_to_their_joint_make_no_splinter() -> None:
    """Two curves fitted to a point often cross once more a few millimetres from it."""
    draft = frame(200, 200).line((0, 0), (200, 200))
    draft.cubic((0, 0), (10, 12), (40, 20), (100, 30), (160, 40), (190, 80), (200, 0))
    panel = cut(draft)
    assert len(panel.pieces) == 3
    assert_euler(panel)
    assert all(p.outline.is_valid for p in panel.pieces)
    assert sum(p.centre_area_mm2 for p in panel.pieces) == pytest.approx(200**2, abs=20.0)


def test_the_order_of_leads_is_judged_beyond_where_they_cross_again() -> None:
    panel = cut(recrossing())
    assert len(panel.pieces) == 3
    (finding,) = panel.findings
    assert finding.code is Code.DOUBTFUL_JOINT
    assert "cut off 7.8 mm²" in finding.message
    assert sum(p.centre_area_mm2 for p in panel.pieces) == pytest.approx(200**2, abs=10.0)


def test_where_no_order_works_the_leads_get_a_joint(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(openings, "REACHES_MM", (0.0,))
    panel = cut(recrossing(), nothing_mm2=0.0)
    assert Code.DOUBTFUL_JOINT in codes(panel)
    assert_euler(panel)
    assert_tiled(panel)
    assert sum(p.centre_area_mm2 > 100.0 for p in panel.pieces) == 3
    assert len(cut(recrossing()).pieces) == 3


def test_of_two_leads_on_one_line_only_one_is_left_out() -> None:
    """Drawn twice from joint to joint, a lead crosses nothing and still is no plane drawing."""
    draft = frame(200, 200).line((0, 0), (200, 200), confidence=0.9)
    panel = cut(draft.line((0, 0), (200, 200), confidence=0.3))
    assert_euler(panel)
    assert len(panel.pieces) == 2
    reported = [f for f in panel.findings if "left out" in f.message]
    assert len(reported) == 1
    assert reported[0].severity is Severity.WRONG
    assert min(came.confidence for came in panel.cames) > 0.8


def run_together() -> Draft:
    """Two leads that part at (100, 94), and a third that meets the second just behind the first."""
    border = [(0, 0), (100, 0), (200, 0), (200, 200), (100, 200), (90, 200), (0, 200), (0, 100)]
    draft = Draft().line(*border, border[0])
    draft.line((100, 0), (100, 94), (100, 100), (100, 200)).line((100, 94), (90, 200))
    return draft.line((0, 100), (100, 100))


def test_a_lead_that_meets_two_which_run_together_makes_no_piece_of_nothing() -> None:
    panel = cut(run_together())
    assert len(panel.pieces) == 4
    assert min(p.centre_area_mm2 for p in panel.pieces) > 400.0
    assert codes(panel) == []
    assert_euler(panel)
    assert_tiled(panel)


def test_two_leads_beside_a_piece_of_nothing_make_no_ring_without_length() -> None:
    """The shortest side of an opening of four has a twin, which cannot shrink with it."""
    draft = frame(200, 200)
    corners = [(100, 100), (100.3, 100), (100.35, 101), (99.95, 101)]
    draft.line(*corners, corners[0]).arc(corners[0], corners[1], 60.0)
    for corner, end in zip(corners, [(0, 0), (200, 0), (200, 200), (0, 200)], strict=True):
        draft.line(corner, end)
    panel = cut(draft)
    assert len(panel.pieces) == 4
    assert min(p.centre_area_mm2 for p in panel.pieces) > 400.0
    assert_euler(panel)
    assert_tiled(panel)


def test_however_small_a_piece_is_it_stays_where_the_limit_allows_it() -> None:
    panel = cut(run_together(), nothing_mm2=0.5)
    assert len(panel.pieces) == 5
    assert codes(panel) == [Code.DOUBTFUL_JOINT]
