"""Corrections on drawn panels: what each kind does, what keeps its name, what is refused."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings, strategies as st

from rubbing2pattern import apply_corrections
from rubbing2pattern.findings import Code, Finding, Severity
from rubbing2pattern.geometry.curves import Arc, Cubic
from rubbing2pattern.inputs.calipers import parse_calipers
from rubbing2pattern.model import Corrected as Mark, JointKind, Panel
from rubbing2pattern.options import Options
from rubbing2pattern.options.pieces import PieceOptions
from rubbing2pattern.record.panel import panel_of, record_of
from rubbing2pattern.stages.audit import audit
from rubbing2pattern.stages.pieces import cut_pieces
from rubbing2pattern.workflows.kept_options import options_of
from rubbing2pattern.workflows.provenance import plain
from tests import nets
from tests.correcting.making import (
    ACROSS,
    FOUR,
    HEAD,
    RING,
    corrected,
    panel_from,
    piece,
    refused,
    said,
    text_of,
)

BRICKS = panel_from(nets.brick_bond().net())
LANCET = panel_from(nets.lancet().net())


def came_between(panel: Panel, a: int, b: int) -> str:
    return next(c.id for c in panel.cames if set(c.pieces) == {a, b})


def area(panel: Panel) -> float:
    return sum(p.centre_area_mm2 for p in panel.pieces)


def test_a_split_piece_keeps_its_number_once_and_all_others_keep_theirs() -> None:
    done = corrected(FOUR, ACROSS)
    assert [p.number for p in done.panel.pieces] == [1, 2, 3, 4, 5]
    assert done.applied.pieces_new == (5,) and done.applied.pieces_gone == ()
    # Two trapezia of 100 mm between 90 and 100 mm, and between 50 and 60 mm high.
    assert piece(done.panel, 1).centre_area_mm2 == pytest.approx(9500.0, abs=0.1)
    assert piece(done.panel, 5).centre_area_mm2 == pytest.approx(5500.0, abs=0.1)
    for number in (3, 4):
        assert piece(done.panel, number).outline.equals(piece(FOUR, number).outline)
    added = [c for c in done.panel.cames if c.corrected is Mark.ADDED]
    assert [set(c.pieces) for c in added] == [{1, 5}]
    assert added[0].seen_share == 0.0


def test_of_two_halves_the_upper_keeps_the_number() -> None:
    done = corrected(FOUR, "[[split_piece]]\npiece = 1\nfrom = [0, 225]\nto = [100, 225]\n")
    assert piece(done.panel, 1).outline.bounds == pytest.approx((0, 225, 100, 300))


def test_removing_an_added_lead_gives_the_panel_back() -> None:
    done = corrected(FOUR, ACROSS)
    back = corrected(done.panel, f'[[remove_lead]]\ncame = "{done.applied.cames_new[-1]}"\n')
    for now, before in zip(back.panel.pieces, FOUR.pieces, strict=True):
        assert now.number == before.number
        assert now.cames == before.cames
        assert now.outline.equals(before.outline)
        assert now.cut_outline.equals_exact(before.cut_outline, 0.0011)
    assert {c.id for c in back.panel.cames} == {c.id for c in FOUR.cames}
    assert {j.id for j in back.panel.joints} == {j.id for j in FOUR.joints}
    assert [len(c.changes) for c in back.panel.corrections] == [1, 1]
    assert back.applied.pieces_gone == (5,)


def test_what_is_gone_is_not_given_to_another() -> None:
    done = corrected(FOUR, ACROSS)
    back = corrected(done.panel, f'[[remove_lead]]\ncame = "{done.applied.cames_new[-1]}"\n')
    again = corrected(back.panel, ACROSS, HEAD + 'remark = "once more"\n')
    assert again.applied.pieces_new == (6,)
    assert not set(again.applied.cames_new) & set(done.applied.cames_new)


def test_removing_a_lead_makes_one_piece_of_two() -> None:
    name = came_between(FOUR, 1, 2)
    done = corrected(FOUR, f'[[remove_lead]]\ncame = "{name}"\n')
    assert [p.number for p in done.panel.pieces] == [1, 3, 4]
    assert piece(done.panel, 1).centre_area_mm2 == pytest.approx(30000.0, abs=0.1)
    assert done.applied.cames_gone[0] == name or name in done.applied.cames_gone
    # The border above the lead is one came again, the crossing in the middle a tee.
    joints = {(j.x_mm, j.y_mm): j.kind for j in done.panel.joints}
    assert (100.0, 300.0) not in joints
    assert joints[100.0, 150.0] is JointKind.TEE
    top = [c for c in done.panel.cames if np.allclose(c.path[:, 1], 300.0)]
    assert [round(c.length_mm, 3) for c in top] == [200.0]


def test_a_lead_that_goes_leaves_its_neighbours_that_go_on_dangling_only_where_they_do() -> None:
    """Two leads that end at one joint are removed alone, not with what they ran on into."""
    first, second = came_between(FOUR, 1, 2), came_between(FOUR, 1, 3)
    text = f'[[remove_lead]]\ncame = "{first}"\n[[remove_lead]]\ncame = "{second}"\n'
    done = corrected(FOUR, text)
    assert len(done.panel.pieces) == 2
    assert sorted(round(p.centre_area_mm2) for p in done.panel.pieces) == [15000, 45000]


def test_joined_pieces() -> None:
    done = corrected(FOUR, "[[join_pieces]]\npieces = [4, 3]\n")
    assert [p.number for p in done.panel.pieces] == [1, 2, 3]
    assert "pieces 4 and 3" in done.applied.changes[0].did
    three = corrected(FOUR, "[[join_pieces]]\npieces = [1, 2, 3]\n")
    assert [p.number for p in three.panel.pieces] == [4, 5]


def test_a_moved_lead_slides_along_those_that_run_through() -> None:
    name = came_between(BRICKS, 1, 2)
    came = next(c for c in BRICKS.cames if c.id == name)
    done = corrected(BRICKS, f'[[move_lead]]\ncame = "{name}"\nby = [10, 0]\n')
    moved = next(c for c in done.panel.cames if c.id == name)
    assert np.allclose(
        np.sort(moved.path, axis=0), np.sort(came.path + np.array([10.0, 0.0]), axis=0)
    )
    assert moved.corrected is Mark.MOVED
    assert done.applied.pieces_new == done.applied.pieces_gone == ()
    assert area(done.panel) == pytest.approx(area(BRICKS), abs=0.1)


def test_a_moved_border_takes_its_corners_along() -> None:
    left = [c.id for c in FOUR.cames if np.allclose(c.path[:, 0], 0.0)]
    done = corrected(FOUR, f'[[move_lead]]\ncame = "{left[0]}"\nby = [-5, 0]\n')
    assert done.panel.width_mm == pytest.approx(205.0)
    assert [p.number for p in done.panel.pieces] == [1, 2, 3, 4]


def test_a_moved_ring() -> None:
    text = "[[move_lead]]\nat = [140, 100]\nto = [150, 95]\n"
    done = corrected(RING, text)
    ring = next(c for c in done.panel.cames if isinstance(c.curve, Arc))
    assert ring.curve.centre == pytest.approx((110.0, 95.0))
    assert area(done.panel) == pytest.approx(40000.0, abs=0.1)


def test_a_moved_joint_takes_its_leads_along() -> None:
    done = corrected(FOUR, "[[move_joint]]\nat = [101, 149]\nto = [110, 140]\n")
    marks = [c for c in done.panel.cames if c.corrected is Mark.MOVED]
    assert len(marks) == 4
    assert area(done.panel) == pytest.approx(60000.0, abs=0.1)
    # Shoelace by hand: (0, 300), (0, 150), (110, 140), (100, 300).
    assert piece(done.panel, 1).centre_area_mm2 == pytest.approx(16250.0, abs=0.1)


def test_a_width_given() -> None:
    name = came_between(FOUR, 1, 2)
    done = corrected(FOUR, f'[[set_width]]\ncame = "{name}"\nwidth_mm = "3/8 in"\n')
    came = next(c for c in done.panel.cames if c.id == name)
    assert came.face_width_mm == pytest.approx(9.525)
    assert came.face_width_uncertainty_mm == pytest.approx(0.1)
    assert (came.stock, came.corrected) == ("3/8 in", Mark.WIDTH)
    # Sight size: half of 6 mm on one side, half of 9.525 mm on the other.
    x_min, _, x_max, _ = piece(done.panel, 1).sight_outline.bounds
    assert x_max - x_min == pytest.approx(100.0 - 3.0 - 4.7625, abs=0.002)


def test_a_lead_across_several_others_has_a_joint_at_each() -> None:
    done = corrected(FOUR, "[[add_lead]]\nfrom = [0, 30]\nto = [200, 50]\nwidth_mm = 5\n")
    added = [c for c in done.panel.cames if c.corrected is Mark.ADDED]
    assert len(added) == 2 and len(done.panel.pieces) == 6
    assert len({c.strip for c in added}) == 1
    assert area(done.panel) == pytest.approx(60000.0, abs=0.1)


def test_a_lead_that_passes_a_joint_closely_goes_through_it() -> None:
    done = corrected(FOUR, "[[add_lead]]\nfrom = [0, 30]\nto = [200, 267]\n")
    ends = {e for c in done.panel.cames if c.corrected is Mark.ADDED for e in (c.start, c.end)}
    at = {j.id: (j.x_mm, j.y_mm) for j in done.panel.joints}
    assert (100.0, 150.0) in {at[e] for e in ends}
    assert len(done.panel.pieces) == 6


def test_ends_go_to_the_lead_that_is_near() -> None:
    done = corrected(FOUR, "[[split_piece]]\npiece = 1\nfrom = [5, 200]\nto = [94, 210]\n")
    added = next(c for c in done.panel.cames if c.corrected is Mark.ADDED)
    assert sorted(round(float(x), 3) for x in added.path[:, 0]) == [0.0, 100.0]


def test_bends_through_places() -> None:
    one = corrected(FOUR, ACROSS + "through = [[50, 230]]\n").panel
    arc = next(c for c in one.cames if c.corrected is Mark.ADDED)
    assert isinstance(arc.curve, Arc)
    assert shapely.LineString(arc.path).distance(shapely.Point(50, 230)) < 0.01
    two = corrected(FOUR, ACROSS + "through = [[30, 230], [60, 190]]\n").panel
    wave = next(c for c in two.cames if c.corrected is Mark.ADDED)
    assert isinstance(wave.curve, Cubic)
    for place in ((30, 230), (60, 190)):
        assert shapely.LineString(wave.path).distance(shapely.Point(place)) < 0.02


def test_a_strap_ends_freely_only_when_that_is_said() -> None:
    strap = "[[add_lead]]\nfrom = [0, 225]\nto = [50, 230]\nwidth_mm = 5\n"
    refused(FOUR, strap, "add_lead 1: no lead within 8 mm of (50.0, 230.0) mm", "is 50.0 mm away")
    done = corrected(FOUR, strap + "free_end = true\n")
    assert len(done.panel.pieces) == 4
    assert all(f.code is not Code.FREE_END for f in done.panel.findings)
    assert [d.finding.code for d in done.panel.dismissed] == [Code.FREE_END]
    further = corrected(done.panel, "[[renumber]]\npiece = 4\nnumber = 9\n")
    assert all(f.code is not Code.FREE_END for f in further.panel.findings)


def test_a_lead_meets_an_arc_and_a_ring() -> None:
    done = corrected(LANCET, "[[add_lead]]\nfrom = [150, 400]\nto = [150, 659]\n")
    assert len(done.panel.pieces) == len(LANCET.pieces) + 1
    back = corrected(done.panel, "[[remove_lead]]\nat = [150, 500]\n").panel
    assert area(back) == pytest.approx(area(LANCET), abs=0.1)
    halves = corrected(RING, "[[add_lead]]\nfrom = [100, 60]\nto = [100, 140]\n")
    assert sorted(round(p.centre_area_mm2 / (math.pi * 800.0), 3) for p in halves.panel.pieces)[
        :2
    ] == [1.0, 1.0]
    whole = corrected(halves.panel, "[[remove_lead]]\nat = [100, 100]\n").panel
    assert sorted(p.centre_area_mm2 for p in whole.pieces) == pytest.approx(
        sorted(p.centre_area_mm2 for p in RING.pieces), abs=0.5
    )


def test_numbers_change_places() -> None:
    text = "[[renumber]]\npiece = 1\nnumber = 4\n[[renumber]]\nat = [150, 50]\nnumber = 1\n"
    done = corrected(FOUR, text)
    assert piece(done.panel, 4).outline.equals(piece(FOUR, 1).outline)
    assert piece(done.panel, 1).outline.equals(piece(FOUR, 4).outline)
    assert [p.number for p in done.panel.pieces] == [1, 2, 3, 4]
    for came in done.panel.cames:
        for number in came.pieces:
            assert came.id in piece(done.panel, number).cames


def test_a_finding_is_dismissed_with_its_reason_and_stays_so() -> None:
    strapped = panel_from(nets.frame(200, 200).line((0, 0), (80, 80)).net())
    ends = [f for f in strapped.findings if f.code is Code.FREE_END]
    assert len(ends) == 1
    text = '[[dismiss]]\ncode = "free-end"\nat = [82, 79]\nwhy = "a strap over a crack"\n'
    done = corrected(strapped, text).panel
    assert all(f.code is not Code.FREE_END for f in done.findings)
    kept = done.dismissed[0]
    assert (kept.finding, kept.by, kept.why) == (ends[0], "A. Glazier", "a strap over a crack")
    further = corrected(done, "[[set_width]]\nat = [100, 0]\nwidth_mm = 8\n").panel
    assert all(f.code is not Code.FREE_END for f in further.findings)
    assert further.dismissed[0] == kept


def test_the_same_again_gives_the_same_record() -> None:
    text = ACROSS + "[[move_joint]]\nat = [100, 0]\nto = [104, 0]\n"
    assert text_of(corrected(FOUR, text).panel) == text_of(corrected(FOUR, text).panel)


places = st.tuples(st.floats(8.0, 92.0), st.floats(8.0, 92.0))


@settings(max_examples=25, deadline=None)
@given(shares=places, upright=st.booleans(), number=st.integers(1, 4))
def test_adding_and_removing_keeps_the_area(
    shares: tuple[float, float], upright: bool, number: int
) -> None:
    x_min, y_min, x_max, y_max = piece(FOUR, number).outline.bounds
    a, b = (round(s / 100.0, 4) for s in shares)
    if upright:
        x1, x2 = x_min + a * (x_max - x_min), x_min + b * (x_max - x_min)
        ends = f"from = [{x1}, {y_min}]\nto = [{x2}, {y_max}]"
    else:
        y1, y2 = y_min + a * (y_max - y_min), y_min + b * (y_max - y_min)
        ends = f"from = [{x_min}, {y1}]\nto = [{x_max}, {y2}]"
    done = corrected(FOUR, f"[[split_piece]]\npiece = {number}\n{ends}\n")
    assert len(done.panel.pieces) == 5
    assert area(done.panel) == pytest.approx(area(FOUR), abs=0.05)
    added = next(c.id for c in done.panel.cames if c.corrected is Mark.ADDED)
    back = corrected(done.panel, f'[[remove_lead]]\ncame = "{added}"\n').panel
    assert [p.number for p in back.pieces] == [1, 2, 3, 4]
    assert area(back) == pytest.approx(area(FOUR), abs=0.05)


def of_the_reading(*findings: Finding) -> Panel:
    """Return the four pieces with findings that only a picture can give."""
    return replace(FOUR, findings=findings)


def test_findings_of_the_reading_stay_until_they_are_settled() -> None:
    faint = Finding(Code.FAINT_REGION, Severity.CHECK, "Faint here.", (50.0, 75.0), (3,))
    whole = Finding(Code.LOW_RESOLUTION, Severity.NOTE, "Few pixels.")
    missing = Finding(Code.POSSIBLE_LEAD, Severity.CHECK, "A lead left out.", (50.0, 207.0), (1,))
    weak = Finding(Code.DOUBTFUL_JOINT, Severity.CHECK, "Who knows.", (100.0, 225.0), (1, 2))
    panel = of_the_reading(faint, whole, missing, weak)
    renumbered = corrected(panel, "[[renumber]]\npiece = 3\nnumber = 9\n").panel
    assert {f.code for f in renumbered.findings} == {f.code for f in panel.findings}
    assert next(f for f in renumbered.findings if f.code is Code.FAINT_REGION).pieces == (9,)
    split = {f.code for f in corrected(panel, ACROSS + "width_mm = 6\n").panel.findings}
    assert split == {Code.FAINT_REGION, Code.LOW_RESOLUTION, Code.DOUBTFUL_JOINT}
    gone = {f.code for f in corrected(panel, "[[remove_lead]]\nat = [100, 225]\n").panel.findings}
    assert gone == {Code.FAINT_REGION, Code.LOW_RESOLUTION, Code.POSSIBLE_LEAD}


def test_findings_of_a_piece_and_of_the_whole_panel_are_dismissed() -> None:
    faint = Finding(Code.FAINT_REGION, Severity.CHECK, "Faint here.", (50.0, 75.0), (3,))
    whole = Finding(Code.LOW_RESOLUTION, Severity.NOTE, "Few pixels.")
    text = '[[dismiss]]\ncode = "faint-region"\npiece = 3\nwhy = "seen"\n'
    text += '[[dismiss]]\ncode = "low-resolution"\nwhy = "measured"\n'
    done = corrected(of_the_reading(faint, whole), text).panel
    assert done.findings == ()
    assert [d.finding for d in done.dismissed] == [replace(faint, id="F1"), replace(whole, id="F2")]
    graver = replace(faint, severity=Severity.WRONG)
    again = corrected(replace(done, findings=(graver,)), ACROSS + "width_mm = 6\n").panel
    assert [f.severity for f in again.findings] == [Severity.WRONG]


def test_a_width_that_nobody_gave_is_a_finding() -> None:
    done = corrected(FOUR, ACROSS).panel
    doubts = [f for f in done.findings if f.code is Code.WIDTH_UNCERTAIN]
    added = next(c.id for c in done.cames if c.corrected is Mark.ADDED)
    assert len(doubts) == 1 and added in doubts[0].message


def test_the_longer_part_of_a_lead_keeps_its_id() -> None:
    left = next(c for c in FOUR.cames if c.pieces == (1,) and np.allclose(c.path[:, 0], 0.0))
    done = corrected(FOUR, "[[split_piece]]\npiece = 1\nfrom = [0, 200]\nto = [100, 210]\n").panel
    kept = next(c for c in done.cames if c.id == left.id)
    assert kept.length_mm == pytest.approx(100.0)


def test_the_border_is_removed_only_when_that_is_said() -> None:
    text = "[[remove_lead]]\nat = [0, 75]\nborder = true\n"
    done = corrected(FOUR, text)
    assert [p.number for p in done.panel.pieces] == [1, 2, 4]
    assert done.applied.pieces_gone == (3,)
    assert any(f.code is Code.BORDER_OPEN for f in done.panel.findings)


def test_a_piece_whose_border_leaves_nothing_over_is_told_until_it_is_closed_or_dismissed() -> None:
    """The outer lead of a brick in the middle row is all its border."""
    whole = panel_from(nets.brick_bond().net())
    number = next(p.number for p in whole.pieces if p.outline.covers(shapely.Point(25, 90)))
    done = corrected(whole, "[[remove_lead]]\nat = [0, 90]\nborder = true\n").panel
    (lost,) = (f for f in done.findings if f.code is Code.BORDER_OPEN)
    assert done.corrections[-1].pieces_gone == (number,)
    assert lost.at == piece(whole, number).label_at
    assert lost.numbers["area_mm2"] == pytest.approx(50 * 60, rel=1e-3)
    assert done.corrections[-1].findings_new == (lost.id,)
    still = corrected(done, "[[set_width]]\nat = [150, 0]\nwidth_mm = 8\n").panel
    assert lost.id in {f.id for f in still.findings}
    closed = corrected(still, "[[add_lead]]\nfrom = [0, 60]\nto = [0, 120]\n").panel
    assert Code.BORDER_OPEN not in {f.code for f in closed.findings}
    assert len(closed.pieces) == len(whole.pieces)
    so = corrected(done, f'[[dismiss]]\nname = "{lost.id}"\nwhy = "it is so"\n').panel
    assert lost.id not in {f.id for f in so.findings}
    back = corrected(so, "[[add_lead]]\nfrom = [0, 60]\nto = [0, 120]\n").panel
    assert len(back.pieces) == len(whole.pieces)


def test_widths_that_callipers_calibrated_are_taken_as_they_are() -> None:
    """A caliper adds to all cames of its size when the rubbing is read, and not once more."""
    pieces = PieceOptions(calipers=parse_calipers(["C1=6.5mm"]))
    options = replace(Options(), pieces=pieces)
    cut = cut_pieces(nets.two_by_two().net(), pieces)
    panel = panel_of(record_of(audit(cut, options.audit), {}))
    assert {c.face_width_mm for c in panel.cames} == {6.5}
    again = options_of({"options": {n: plain(v) for n, v in options.changed().items()}})
    assert again == options
    done = apply_corrections(panel, said(ACROSS + "width_mm = 5\n"), options=again).panel
    widths = {c.face_width_mm for c in done.cames if c.corrected is Mark.NO}
    assert widths == {6.5}
