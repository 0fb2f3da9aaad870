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


def test_a_lost_piece_is_a_doubt_of_its_own_that_can_be_right_so() -> None:
    whole = panel_from(nets.brick_bond().net())
    outer = next(
        c
        for c in whole.cames
        if c.border and shapely.LineString(c.path).dwithin(shapely.Point(0, 90), 1)
    )
    out = edit_of("remove_lead", {"came": outer.id, "border": True})
    lost = doubt(made(whole, Cure("", (out,))), Code.BORDER_OPEN)
    (right,) = lost.cures
    assert [e.kind for e in right.edits] == ["dismiss"]
