"""Glass that lay wholly outside the border read: its leads can be drawn, in one file or several."""

from __future__ import annotations

import math

import pytest

from rubbing2pattern.findings import Code
from tests import nets
from tests.correcting.making import FOUR, corrected, panel_from, piece, refused, text_of

BOW = "[[add_lead]]\nfrom = [0, 0]\nto = [0, 150]\nthrough = [[-40, 75]]\nwidth_mm = 6\n"
OUT = "[[add_lead]]\nfrom = [200, 300]\nto = [260, 300]\nwidth_mm = 6\nfree_end = true\n"
DOWN = "[[add_lead]]\nfrom = [260, 300]\nto = [200, 150]\nwidth_mm = 6\n"


def test_a_bowed_lead_outside_the_border_encloses_a_piece() -> None:
    done = corrected(FOUR, BOW)
    assert done.applied.pieces_new == (5,) and not done.panel.findings
    # A segment of 150 mm chord and 40 mm height: radius (75^2 + 40^2) / 80 = 90.3125 mm.
    radius, half = 90.3125, math.atan2(75.0, 90.3125 - 40.0)
    segment = radius**2 * (half - math.sin(half) * math.cos(half))
    assert piece(done.panel, 5).centre_area_mm2 == pytest.approx(segment, rel=1e-3)
    assert done.panel.width_mm == pytest.approx(240.0, abs=0.01)
    border = {c.id for c in done.panel.cames if c.border}
    assert not any(c.border for c in done.panel.cames if {*c.pieces} == {3, 5})
    assert next(c.id for c in done.panel.cames if c.corrected) in border


@pytest.mark.parametrize("files", [(OUT + DOWN,), (OUT, DOWN)])
def test_a_corner_outside_is_drawn_lead_by_lead(files: tuple[str, ...]) -> None:
    panel = FOUR
    for text in files:
        panel = corrected(panel, text).panel
    assert len(panel.pieces) == 5 and not panel.findings
    # A triangle of 60 by 150 mm.
    assert piece(panel, 5).centre_area_mm2 == pytest.approx(4500.0, abs=0.1)


def test_a_lead_that_encloses_nothing_yet_is_told() -> None:
    assert Code.BORDER_OPEN in {f.code for f in corrected(FOUR, OUT).panel.findings}


def test_a_border_joint_is_moved_outwards() -> None:
    done = corrected(FOUR, "[[move_joint]]\nat = [0, 150]\nto = [-30, 150]\n")
    assert piece(done.panel, 1).centre_area_mm2 == pytest.approx(15000 + 15 * 150, abs=0.1)


@pytest.mark.parametrize(
    "table",
    [
        BOW.replace("-40", "-400"),
        OUT.replace("260", "501"),
        "[[move_joint]]\nat = [0, 150]\nto = [-301, 150]\n",
        "[[move_lead]]\nat = [0, 75]\nby = [-302, 0]\n",
    ],
)
def test_what_lies_too_far_outside_is_a_slip(table: str) -> None:
    refused(FOUR, table, "outside the panel", "limit 300 mm")


def test_a_straight_lead_across_a_notch_encloses_a_piece() -> None:
    """The ends lie on the panel; only the middle lies far from it."""
    notched = nets.Draft().line((0, 0), (200, 0), (200, 200), (100, 60), (0, 200), (0, 0))
    panel = panel_from(notched.net())
    done = corrected(panel, "[[add_lead]]\nfrom = [0, 200]\nto = [200, 200]\nwidth_mm = 6\n")
    assert piece(done.panel, 2).centre_area_mm2 == pytest.approx(14000.0, abs=0.1)


def test_beside_the_border_there_is_no_room_for_glass() -> None:
    refused(FOUR, BOW.replace("-40", "-7.9"), "runs out of the panel by 7.9 mm", "move the border")
    assert text_of(corrected(FOUR, BOW.replace("-40", "-8.1")).panel)
