"""Cures: every one can be made, settles its doubt, and the likeliest comes first."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
import shapely

from rubbing2pattern.documents.kept_rubbing import KeptRubbing
from rubbing2pattern.findings import Code, Kind, Severity, finding_of
from rubbing2pattern.findings.names import named
from rubbing2pattern.geometry.curves import Point
from rubbing2pattern.geometry.frame import Frame
from rubbing2pattern.inputs.edits import corrections_of, edit_of
from rubbing2pattern.model import Panel
from rubbing2pattern.options import Options
from rubbing2pattern.reviewing.cures import Cure, Doubt, queue
from rubbing2pattern.stages.audit import audit
from rubbing2pattern.workflows.correct import apply_corrections
from tests import nets
from tests.correcting.making import FOUR, panel_from
from tests.reviewing.served import doubtful, open_border


def corners() -> nets.Draft:
    """Return one piece with two corners that point at each other: a lead of 40 mm is missing."""
    return nets.Draft().line(
        (0, 0), (90, 0), (100, 60), (110, 0), (200, 0), (200, 200), (120, 200), (100, 100),
        (80, 200), (0, 200), (0, 0),
    )  # fmt: skip


def between_stock() -> nets.Draft:
    return nets.grid((0, 50, 100, 200), (0, 150, 300), width_mm=7.0)


DRAFTS = (doubtful, open_border, corners, between_stock)


def straight(a: Point, b: Point) -> list[Point]:
    """Return the control points of a straight cubic."""
    return [(a[0] + (b[0] - a[0]) * k / 3, a[1] + (b[1] - a[1]) * k / 3) for k in range(4)]


def made(panel: Panel, cure: Cure) -> Panel:
    return apply_corrections(panel, corrections_of(cure.edits, "A. Glazier", "2026-11-25")).panel


def doubt(panel: Panel, code: Code, rubbing: KeptRubbing | None = None) -> Doubt:
    return next(d for d in queue(panel, "mm", rubbing) if d.findings[0].code is code)


@pytest.mark.parametrize("draft", DRAFTS)
def test_every_cure_can_be_made_and_settles_its_doubt(draft: Callable[[], nets.Draft]) -> None:
    panel = panel_from(draft().net())
    panel = replace(panel, findings=named(panel.findings))
    doubts = queue(panel, "mm")
    assert sorted(f.id for d in doubts for f in d.findings) == sorted(f.id for f in panel.findings)
    for found in doubts:
        assert found.words and 1 <= len(found.cures) <= 6
        assert len({cure.words for cure in found.cures}) == len(found.cures)
        for cure in found.cures:
            after = made(panel, cure)
            assert found.findings[0].id not in {f.id for f in after.findings}, cure


@pytest.mark.parametrize(
    ("draft", "code", "words", "pieces"),
    [
        (open_border, Code.BORDER_OPEN, "Close the border", 5),
        (open_border, Code.NO_GLASS_LEFT, "It is one piece with", 3),
        (corners, Code.INWARD_CORNER, "A lead runs between the corners", 2),
        (doubtful, Code.FREE_END, "C6 goes on to the next lead", 6),
    ],
)
def test_the_first_cure_puts_it_right(
    draft: Callable[[], nets.Draft], code: Code, words: str, pieces: int
) -> None:
    panel = panel_from(draft().net())
    panel = replace(panel, findings=named(panel.findings))
    first = doubt(panel, code).cures[0]
    assert first.words.startswith(words)
    assert len(made(panel, first).pieces) == pieces


def test_all_widths_of_one_size_are_one_doubt() -> None:
    panel = panel_from(between_stock().net())
    panel = replace(panel, findings=named(panel.findings))
    (found,) = [d for d in queue(panel, "mm") if d.findings[0].code is Code.WIDTH_BETWEEN_STOCK]
    set_all = [cure for cure in found.cures if cure.words.startswith("All are ")]
    assert len(set_all) == 2
    after = made(panel, set_all[0])
    assert {round(came.face_width_mm, 2) for came in after.cames} == {6.35}  # 1/4 in


def with_findings(*kinds: tuple[Kind, dict[str, object]]) -> Panel:
    found = [finding_of(kind, **given) for kind, given in kinds]  # type: ignore[arg-type]
    return replace(FOUR, findings=named(tuple(found)))


def test_the_gravest_come_first_and_notes_of_one_kind_are_one() -> None:
    gap = {"joints": ("J1",), "gap_mm": 9.0, "from_mm": 10.0, "at": (50.0, 300.0)}
    note = {**gap, "severity": Severity.NOTE}
    panel = with_findings(
        (Kind.BRIDGED_GAP, {"cames": ("C1",), **note}),
        (Kind.BRIDGED_GAP, {"cames": ("C2",), **note}),
        (Kind.BRIDGED_GAP, {"cames": ("C3",), **gap}),
        (
            Kind.DOUBTFUL_LEAD,
            {"cames": ("C3",), "seen_share": 0.4, "length_mm": 9.0, "chance": 0.3},
        ),
        (
            Kind.DOUBTFUL_LEAD,
            {"cames": ("C4",), "seen_share": 0.9, "length_mm": 9.0, "chance": 0.9},
        ),
        (Kind.LEAD_LEFT_OUT, {"at": (10.0, 10.0)}),
    )
    doubts = queue(panel, "mm")
    shape = [(d.findings[0].code, len(d.findings), d.findings[0].severity) for d in doubts]
    assert shape == [
        (Code.POSSIBLE_LEAD, 1, Severity.WRONG),
        (Code.DOUBTFUL_LEAD, 2, Severity.CHECK),
        (Code.DOUBTFUL_LEAD, 1, Severity.CHECK),
        (Code.BRIDGED_GAP, 2, Severity.NOTE),
    ]
    firsts = [d.cures[0].words for d in doubts]
    assert firsts[1] == "Take out C3" and firsts[2] == "It is a lead"
    assert len(doubts[3].cures) == 1 and len(doubts[3].cures[0].edits) == 2


@pytest.mark.parametrize("angle_deg", [0.0, 25.0, 70.0, 90.0, 140.0])
def test_a_dark_strip_can_be_drawn_as_a_lead(angle_deg: float) -> None:
    """The strip crosses piece 1 (100 by 150 mm); the lead drawn lies on it, within half a width."""
    frame = Frame.over((-10.0, -10.0, 210.0, 310.0), 4.0)
    rows, columns = np.mgrid[: frame.height_px, : frame.width_px]
    mm = frame.to_mm(np.column_stack((columns.ravel(), rows.ravel()))) - (50.0, 225.0)
    across = np.array((-np.sin(np.radians(angle_deg)), np.cos(np.radians(angle_deg))))
    dark = (np.abs(mm @ across) < 2.5).reshape(rows.shape)
    noise = np.random.default_rng(1).normal(0.0, 8.0, dark.shape)
    grey = np.clip(220.0 - 100.0 * dark + noise, 0, 255).astype(np.uint8)
    strip = {"at": (52.0, 226.0), "length_mm": 40.0, "width_mm": 5.0}
    panel = with_findings((Kind.DARK_STRIP, strip))
    found = doubt(panel, Code.POSSIBLE_LEAD, KeptRubbing(frame, grey, b""))
    assert found.cures[0].words == "A lead runs along the dark strip"
    after = made(panel, found.cures[0])
    assert len(after.pieces) == 5
    (new,) = [c for c in after.cames if c.corrected.value == "added"]
    assert np.abs((new.path - (50.0, 225.0)) @ across).max() < 4.0
    assert [c.words for c in doubt(panel, Code.POSSIBLE_LEAD).cures] == ["No lead runs here"]


def test_the_lead_that_the_rubbing_shows_is_offered_first() -> None:
    """A corner from which leads may run to two others; the rubbing shows one of them."""
    draft = nets.Draft().line(
        (70, 0), (130, 0), (200, 120), (200, 200), (120, 200), (100, 100), (80, 200), (0, 200),
        (0, 120), (70, 0),
    )  # fmt: skip
    panel = panel_from(draft.net())
    panel = replace(panel, findings=named(panel.findings))
    frame = Frame.over((-10.0, -10.0, 210.0, 210.0), 4.0)
    rows, columns = np.mgrid[: frame.height_px, : frame.width_px]
    mm = frame.to_mm(np.column_stack((columns.ravel(), rows.ravel())))
    for end in ((70.0, 0.0), (130.0, 0.0)):
        way = (np.array(end) - (100.0, 100.0)) / np.hypot(30.0, 100.0)
        along = (mm - (100.0, 100.0)) @ way
        off = np.abs((mm - (100.0, 100.0)) @ (-way[1], way[0]))
        grey = np.where((along > 0.0) & (off < 3.0), 90, 225).astype(np.uint8).reshape(rows.shape)
        found = doubt(panel, Code.INWARD_CORNER, KeptRubbing(frame, grey, b""))
        assert found.cures[0].edits[0].given["to"] == pytest.approx(end, abs=0.01)
        assert len(found.cures) <= 4


def test_the_side_on_which_the_paper_lay() -> None:
    panel = audit(replace(FOUR, seen_from="unstated"), Options().audit)
    cures = doubt(replace(panel, findings=named(panel.findings)), Code.SIDE_NOT_STATED).cures
    words = ["The paper lay on the inside", "The paper lay on the outside"]
    assert [cure.words for cure in cures[:2]] == words
    assert [made(panel, cure).seen_from for cure in cures[:2]] == ["inside", "outside"]


LOST = {
    "beside others": (nets.brick_bond, (0.0, 90.0)),
    "at a corner": (nets.two_by_two, (50.0, 300.0)),
    "under a bow": (nets.lancet, (60.0, 560.0)),
}


@pytest.mark.parametrize("name", LOST)
def test_a_lost_piece_comes_back_by_one_cure(name: str) -> None:
    """Its border is drawn so that it has its area again, and bows as it did."""
    draft, at = LOST[name]
    whole = panel_from(draft().net())
    outer = min(
        (c for c in whole.cames if c.border),
        key=lambda c: shapely.LineString(c.path).distance(shapely.Point(at)),
    )
    out = edit_of("remove_lead", {"came": outer.id, "border": True})
    panel = made(whole, Cure("", (out,)))
    assert len(panel.pieces) == len(whole.pieces) - 1
    (lost,) = [d for d in queue(panel, "mm") if d.findings[0].code is Code.BORDER_OPEN]
    assert {f.code for f in lost.findings} == {Code.BORDER_OPEN}
    first, *_, right = lost.cures
    assert [e.kind for e in right.edits] == ["dismiss"] * len(lost.findings)
    assert first.words.startswith("Close the border from J")
    back = made(panel, first)
    assert Code.BORDER_OPEN not in {f.code for f in back.findings}
    assert len(back.pieces) == len(whole.pieces)
    for piece in whole.pieces:
        again = back.piece_at(piece.label_at)
        assert again is not None
        assert again.centre_area_mm2 == pytest.approx(piece.centre_area_mm2, rel=1e-3)
    (drawn,) = [c for c in back.cames if c.corrected.value == "added"]
    assert shapely.hausdorff_distance(
        shapely.LineString(drawn.path), shapely.LineString(outer.path)
    ) < 0.05  # fmt: skip


def test_what_is_found_about_one_gap_is_one_doubt() -> None:
    """A gap that reaches a joint, a doubt about the joint, a lead that may be none, and a note."""
    came = FOUR.cames[3]
    joint, length = came.end, came.length_mm
    other = next(c for c in FOUR.cames if c.start == joint)
    gap = {"joints": (came.start,), "gap_mm": 12.0}
    panel = with_findings(
        (Kind.BRIDGED_GAP, {"cames": (came.id,), **gap, "from_mm": length - 12.0}),
        (Kind.BRIDGED_GAP, {"cames": (came.id,), **gap, "from_mm": 5.0, "severity": Severity.NOTE}),
        (Kind.BRIDGED_GAP, {"cames": (other.id,), **gap, "from_mm": 0.0}),
        (Kind.DOUBTFUL_JOINT, {"joints": (joint,), "cames": (came.id, other.id), "off_mm": 1.2}),
        (Kind.BRIDGED_GAP, {"cames": (FOUR.cames[0].id,), **gap, "from_mm": 40.0}),
        (Kind.BRIDGED_GAP, {"cames": ("C2",), **gap, "from_mm": 40.0, "severity": Severity.NOTE}),
    )
    shape = [[f.kind for f in d.findings] for d in queue(panel, "mm")]
    gaps = Kind.BRIDGED_GAP
    assert shape == [[Kind.DOUBTFUL_JOINT, gaps, gaps, gaps], [gaps], [gaps]]


def test_a_lead_unseen_from_end_to_end_ties_no_gaps() -> None:
    first, second = FOUR.cames[3], FOUR.cames[6]
    assert first.end == second.start
    gap = {"joints": (first.start,), "from_mm": 0.0}
    panel = with_findings(
        (Kind.BRIDGED_GAP, {"cames": (first.id,), **gap, "gap_mm": first.length_mm}),
        (Kind.BRIDGED_GAP, {"cames": (second.id,), **gap, "gap_mm": 12.0}),
    )
    assert [len(d.findings) for d in queue(panel, "mm")] == [1, 1]


def test_a_joint_can_be_put_where_its_leads_run_straight_on() -> None:
    """The joint lies 0.8 mm off the crossing of four leads, which turn to it over 5 mm."""
    draft = nets.Draft()
    draft.line((0, 0), (100, 0), (200, 0), (200, 150), (200, 300))
    draft.line((200, 300), (100, 300), (0, 300), (0, 150), (0, 0))
    off = (100.6, 150.5)
    for end, near in (
        ((100, 300), (100, 155)),
        ((100, 0), (100, 145)),
        ((0, 150), (95, 150)),
        ((200, 150), (105, 150)),
    ):
        draft.cubic(*straight(end, near), *straight(near, off)[1:])
    net = draft.net()
    unsure = [2.0 if (joint.x_mm, joint.y_mm) == off else 0.1 for joint in net.joints]
    joints = tuple(replace(j, uncertainty_mm=u) for j, u in zip(net.joints, unsure, strict=True))
    panel = panel_from(replace(net, joints=joints))
    found = doubt(replace(panel, findings=named(panel.findings)), Code.DOUBTFUL_JOINT)
    assert found.cures[0].words == "They meet as drawn"
    (move,) = [c for c in found.cures if c.words.endswith("lies where its leads run straight on")]
    assert move.edits[0].given["to"] == pytest.approx((100.0, 150.0), abs=0.1)
    assert Code.DOUBTFUL_JOINT not in {f.code for f in made(panel, move).findings}


def test_leads_that_cross_can_meet_there_or_one_of_them_goes() -> None:
    draft = nets.frame(200, 200).line((0, 0), (200, 200)).line((0, 200), (200, 0), confidence=0.6)
    panel = panel_from(draft.net())
    panel = replace(panel, findings=named(panel.findings))
    found = doubt(panel, Code.DOUBTFUL_JOINT)
    assert found.cures[0].words == "They meet as drawn"
    arms = {c.id: c for c in panel.cames if c.confidence == 0.6}
    taken = [c for c in found.cures if c.words.startswith("Take out")]
    assert {c.edits[0].given["came"] for c in taken} == {*arms} and len(arms) == 2
    assert [len(made(panel, c).pieces) for c in taken] == [3, 3]


def test_a_lead_that_crosses_another_again_can_begin_there() -> None:
    panel = panel_from(nets.recrossing().net())
    panel = replace(panel, findings=named(panel.findings))
    found = doubt(panel, Code.DOUBTFUL_JOINT)
    assert found.findings[0].kind is Kind.PIECE_CROSSED
    assert "meets" in found.cures[0].words
    after = made(panel, found.cures[0])
    assert Code.DOUBTFUL_JOINT not in {f.code for f in after.findings}
    assert len(after.pieces) == len(panel.pieces)
