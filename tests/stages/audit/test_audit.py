"""What is doubtful about a panel, where, and which pieces it touches."""

from __future__ import annotations

from dataclasses import replace

import pytest
from shapely.geometry import LineString, Point as ShapelyPoint

from rubbing2pattern.findings import Code, Finding, Point, Severity
from rubbing2pattern.model import Panel
from rubbing2pattern.options.audit import AuditOptions
from rubbing2pattern.options.pieces import PieceOptions
from rubbing2pattern.reading import MarkResidual, Scale
from rubbing2pattern.stages.audit import audit
from rubbing2pattern.stages.pieces import cut_pieces
from tests import nets
from tests.nets import Draft, frame

OPTIONS = AuditOptions()


def panel_of(draft: Draft) -> Panel:
    return replace(cut_pieces(draft.net(), PieceOptions()), seen_from="inside")


def audited(draft: Draft, **options: float) -> Panel:
    return audit(panel_of(draft), replace(OPTIONS, **options))


def only(panel: Panel, code: Code) -> Finding:
    (finding,) = [f for f in panel.findings if f.code is code]
    return finding


def codes(panel: Panel) -> list[Code]:
    return [f.code for f in panel.findings]


@pytest.mark.parametrize(
    "draft",
    [nets.two_by_two(), nets.brick_bond(), nets.lancet(), nets.concentric_rings()],
)
def test_a_sound_panel_has_no_findings(draft: Draft) -> None:
    assert audited(draft).findings == ()


def test_a_side_that_nobody_states_is_a_finding() -> None:
    stated = panel_of(nets.two_by_two())
    assert Code.SIDE_NOT_STATED not in codes(audit(stated, OPTIONS))
    panel = audit(replace(stated, seen_from="unstated"), OPTIONS)
    finding = only(panel, Code.SIDE_NOT_STATED)
    assert (finding.severity, finding.at, finding.pieces) == (Severity.CHECK, None, ())
    assert "--seen-from inside or --seen-from outside" in finding.message
    assert audit(panel, OPTIONS) == panel


def test_a_lead_that_ends_freely() -> None:
    draft = Draft().line((0, 0), (100, 0), (200, 0), (200, 150), (0, 150), (0, 0))
    draft.line((100, 0), (100, 135))
    panel = audited(draft)
    finding = only(panel, Code.FREE_END)
    assert finding.at == (100.0, 135.0)
    assert finding.pieces == (1,)
    assert "15 mm short of C1" in finding.message
    assert "short of" not in only(audited(draft, near_mm=10.0), Code.FREE_END).message


def test_a_bridged_gap_is_found_where_it_is() -> None:
    draft = frame(200, 100).line((0, 0), (200, 100), gaps=((50.0, 80.0),))
    came = draft.cames[-1]
    panel = audited(draft)
    finding = only(panel, Code.BRIDGED_GAP)
    assert finding.at is not None
    along = came.curve.length_mm - 65.0  # The came is turned: it starts at its upper joint.
    named = next(c for c in panel.cames if c.gaps)
    assert named.gaps[0] == pytest.approx((came.curve.length_mm - 80, came.curve.length_mm - 50))
    x, y = named.path[0]
    assert ((finding.at[0] - x) ** 2 + (finding.at[1] - y) ** 2) ** 0.5 == pytest.approx(along)
    assert finding.pieces == (1, 2)
    assert "30 mm" in finding.message


@pytest.mark.parametrize(
    ("length_mm", "confidence", "off_at", "severity"),
    [
        (20.0, 1.0, None, Severity.NOTE),
        (30.0, 1.0, None, Severity.CHECK),
        (20.0, 0.95, None, Severity.CHECK),
        (20.0, 1.0, (100.0, 57.0), Severity.CHECK),
        (20.0, 1.0, (30.0, 15.0), Severity.NOTE),
    ],
)
def test_a_gap_is_harmless_where_the_lead_is_sure_and_in_its_place(
    length_mm: float, confidence: float, off_at: Point | None, severity: Severity
) -> None:
    draft = frame(200, 100)
    gap = (111.8 - 0.5 * length_mm, 111.8 + 0.5 * length_mm)
    draft.line((0, 0), (200, 100), gaps=(gap,), confidence=confidence)
    findings = () if off_at is None else (off_at_place(off_at),)
    panel = audit(cut_pieces(replace(draft.net(), findings=findings), PieceOptions()), OPTIONS)
    assert only(panel, Code.BRIDGED_GAP).severity is severity
    reported = Code.LEAD_OFF in codes(panel)
    assert reported is (off_at is not None and severity is Severity.NOTE)
    assert audit(panel, OPTIONS) == panel


def test_a_doubtful_lead_and_an_uncertain_width() -> None:
    draft = frame(200, 100).line(
        (0, 0),
        (200, 100),
        confidence=0.3,
        seen_share=0.55,
        width_uncertainty_mm=0.9,
        profile="flat",
    )
    panel = audited(draft)
    assert set(codes(panel)) == {Code.DOUBTFUL_LEAD, Code.WIDTH_UNCERTAIN}
    assert "55 %" in only(panel, Code.DOUBTFUL_LEAD).message
    assert "0.9 mm" in only(panel, Code.WIDTH_UNCERTAIN).message
    assert all(f.pieces == (1, 2) for f in panel.findings)


def test_a_leaf_that_may_be_round_is_reported_where_the_next_size_may_be_right() -> None:
    draft = frame(200, 100).line((0, 0), (200, 100), width_uncertainty_mm=0.9)
    message = only(audited(draft), Code.WIDTH_UNCERTAIN).message
    assert "may have a round leaf" in message
    assert "--caliper" in message


def test_a_doubtful_joint_touches_all_pieces_round_it() -> None:
    net = nets.two_by_two().net()
    joints = tuple(
        replace(j, uncertainty_mm=2.5) if (j.x_mm, j.y_mm) == (100, 150) else j for j in net.joints
    )
    panel = audit(cut_pieces(replace(net, joints=joints), PieceOptions()), OPTIONS)
    finding = only(panel, Code.DOUBTFUL_JOINT)
    assert finding.pieces == (1, 2, 3, 4)
    assert "2.5 mm" in finding.message
    assert "J5" in finding.message


def off_at_place(at: Point) -> Finding:
    return Finding(Code.LEAD_OFF, Severity.CHECK, "the lead here may lie 1.2 mm or more beside", at)


def test_a_lead_that_may_lie_off_doubts_the_pieces_beside_it_alone() -> None:
    """Even near a joint, and with its place a little beside the line that is drawn."""
    net = nets.two_by_two().net()
    panel = cut_pieces(replace(net, findings=(off_at_place((103.0, 150.8)),)), PieceOptions())
    finding = only(audit(panel, OPTIONS), Code.LEAD_OFF)
    assert len(finding.pieces) == 2
    came = next(c for c in panel.cames if set(c.pieces) == set(finding.pieces))
    assert LineString(came.path).distance(ShapelyPoint(103.0, 150.8)) < 1.0


@pytest.mark.parametrize(("aside_mm", "reported"), [(9.0, False), (20.0, True)])
def test_a_lead_at_a_doubtful_joint_is_reported_with_the_joint(
    aside_mm: float, reported: bool
) -> None:
    net = nets.two_by_two().net()
    joints = tuple(
        replace(j, uncertainty_mm=2.5) if (j.x_mm, j.y_mm) == (100, 150) else j for j in net.joints
    )
    net = replace(net, joints=joints, findings=(off_at_place((100.0 + aside_mm, 150.0)),))
    panel = audit(cut_pieces(net, PieceOptions()), OPTIONS)
    assert (Code.LEAD_OFF in codes(panel)) is reported
    assert audit(panel, OPTIONS) == panel


def test_small_pieces_slivers_and_pieces_without_glass() -> None:
    draft = Draft().line((0, 0), (9, 0), (100, 0), (100, 100), (0, 100), (0, 9), (0, 0))
    small = draft.line((0, 9), (9, 9), (9, 0))
    assert only(audited(small), Code.SMALL_PIECE).severity is Severity.CHECK

    def strip(height: float) -> Panel:
        d = Draft().line((0, 0), (100, 0), (100, height), (100, 90), (0, 90), (0, height), (0, 0))
        return audited(d.line((0, height), (100, height)))

    assert codes(strip(20.0)) == []
    sliver = only(strip(6.2), Code.SLIVER_PIECE)
    assert "3.8 mm across" in sliver.message
    covered = only(strip(5.0), Code.NO_GLASS_LEFT)
    assert covered.severity is Severity.CHECK
    assert "covered" in covered.message
    gone = only(strip(2.0), Code.NO_GLASS_LEFT)
    assert gone.severity is Severity.WRONG
    assert gone.pieces == (2,)


def test_glass_that_falls_apart_at_a_neck() -> None:
    draft = Draft().line(
        (0, 0), (80, 0), (100, 29), (120, 0), (200, 0), (200, 60), (120, 60), (100, 31)
    )
    draft.line((100, 31), (80, 60), (0, 60), (0, 0))
    finding = only(audited(draft), Code.SLIVER_PIECE)
    assert "2 parts" in finding.message


def test_a_border_that_is_not_closed() -> None:
    draft = nets.two_by_two().line((200, 0), (300, 0), (300, 140))
    finding = only(audited(draft), Code.BORDER_OPEN)
    assert finding.severity is Severity.WRONG
    assert finding.at == (300.0, 140.0)
    assert "240 mm" in finding.message


def test_parts_that_do_not_hang_together() -> None:
    draft = nets.two_by_two().line((300, 0), (380, 0), (380, 80), (300, 80), (300, 0))
    panel = audited(draft)
    finding = only(panel, Code.SEPARATE_PARTS)
    assert finding.pieces == (next(p.number for p in panel.pieces if p.label_at[0] > 250),)
    assert Code.SEPARATE_PARTS not in codes(audited(nets.concentric_rings()))


def test_an_uncertain_scale_is_reported_once() -> None:
    marks = (MarkResidual("mark 3", 2.4), MarkResidual("mark 4", 0.1))
    scale = Scale("marks", 8.0, 0.004, marks)
    panel = replace(panel_of(nets.two_by_two()), scale=scale)
    first = audit(panel, OPTIONS)
    assert codes(first) == [Code.REFERENCE_RESIDUAL, Code.SCALE_UNCERTAIN]
    assert "mark 3" in only(first, Code.REFERENCE_RESIDUAL).message
    assert "1.2 mm over the 300 mm" in only(first, Code.SCALE_UNCERTAIN).message
    reported = Finding(Code.SCALE_UNCERTAIN, Severity.CHECK, "Said before.")
    second = audit(replace(panel, findings=(reported,)), OPTIONS)
    assert only(second, Code.SCALE_UNCERTAIN) == reported


def test_a_finding_with_a_place_gets_its_pieces() -> None:
    panel = panel_of(nets.two_by_two())
    middle, corner, away = (100.0, 151.0), (30.0, 250.0), (400.0, 0.0)
    faint = [Finding(Code.FAINT_REGION, Severity.CHECK, "Faint.", at) for at in (middle, corner)]
    outside = Finding(Code.FAINT_REGION, Severity.CHECK, "Faint.", away)
    named = Finding(Code.POSSIBLE_LEAD, Severity.CHECK, "Maybe.", corner, (4,))
    found = audit(replace(panel, findings=(*faint, outside, named)), OPTIONS).findings
    pieces = {f.at: f.pieces for f in found if f.code is Code.FAINT_REGION}
    assert pieces == {middle: (1, 2, 3, 4), corner: (1,), away: ()}
    assert next(f for f in found if f.code is Code.POSSIBLE_LEAD).pieces == (4,)


def test_repeats_are_merged_into_the_gravest() -> None:
    at, near, far = (50.0, 200.0), (51.0, 201.0), (50.0, 230.0)
    faint = Finding(Code.FAINT_REGION, Severity.NOTE, "First.", at, (1,))
    grave = Finding(Code.FAINT_REGION, Severity.CHECK, "Second.", near, (2,))
    apart = Finding(Code.FAINT_REGION, Severity.NOTE, "Third.", far, (1,))
    other = Finding(Code.POSSIBLE_LEAD, Severity.NOTE, "Fourth.", at, (1,))
    panel = replace(panel_of(nets.two_by_two()), findings=(faint, grave, apart, other))
    found = audit(panel, OPTIONS).findings
    assert [f.message for f in found] == ["Second.", "Third.", "Fourth."]
    assert found[0].pieces == (1, 2)


def test_a_side_that_is_cut_off_is_reported_once_with_all_its_pieces() -> None:
    panel = panel_of(nets.two_by_two())
    beyond, left, right = (100.0, -8.0), (50.0, 0.0), (150.0, 0.0)
    lower = [Finding(Code.BORDER_CUT_OFF, Severity.WRONG, "Lower.", p) for p in (beyond, left)]
    upper = Finding(Code.BORDER_CUT_OFF, Severity.WRONG, "Upper.", (100.0, 300.0))
    more = Finding(Code.BORDER_CUT_OFF, Severity.WRONG, "Lower.", right)
    found = audit(replace(panel, findings=(*lower, upper, more)), OPTIONS).findings
    reported = {(f.message, f.at, f.pieces) for f in found}
    assert reported == {("Lower.", beyond, (3, 4)), ("Upper.", (100.0, 300.0), (1, 2))}


def test_the_order_is_fixed() -> None:
    panel = panel_of(nets.two_by_two())
    wrong = Finding(Code.BORDER_OPEN, Severity.WRONG, "w", (150.0, 20.0), (4,))
    whole = Finding(Code.LOW_RESOLUTION, Severity.CHECK, "whole")
    left = Finding(Code.POSSIBLE_LEAD, Severity.CHECK, "left", (20.0, 250.0), (1,))
    right = Finding(Code.POSSIBLE_LEAD, Severity.CHECK, "right", (60.0, 250.0), (1,))
    later = Finding(Code.FAINT_REGION, Severity.CHECK, "later", (60.0, 20.0), (3,))
    note = Finding(Code.NOT_LEVELLED, Severity.NOTE, "note")
    expected = [wrong, whole, left, right, later, note]
    mixed = (note, later, right, left, whole, wrong)
    assert list(audit(replace(panel, findings=mixed), OPTIONS).findings) == expected
    assert list(audit(replace(panel, findings=mixed[::-1]), OPTIONS).findings) == expected


def troubled() -> Draft:
    draft = nets.two_by_two().line((200, 150), (260, 150))
    draft.line((30, 30), (60, 60), confidence=0.3, gaps=((5.0, 12.0),), width_mm=7.0)
    return draft.ring((150, 60), 4).line((0, 150), (100, 300), width_mm=float("nan"))


def test_auditing_again_changes_nothing() -> None:
    panel = audited(troubled())
    assert len(panel.findings) >= 6
    assert audit(panel, OPTIONS) == panel


def test_findings_do_not_depend_on_the_order_of_the_net() -> None:
    first = audited(troubled())
    shuffled = cut_pieces(nets.shuffled(troubled().net(), 4), PieceOptions())
    second = audit(replace(shuffled, seen_from="inside"), OPTIONS)
    assert [f.message for f in first.findings] == [f.message for f in second.findings]


def test_every_message_is_one_sentence() -> None:
    for finding in audited(troubled()).findings:
        assert finding.message.endswith(".")
        assert finding.message[0].isupper()
        assert "nan" not in finding.message
        assert ". " not in finding.message
