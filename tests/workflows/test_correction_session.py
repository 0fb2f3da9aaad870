"""A session of corrections: edits with undo and redo, and files that give the same panel."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import example, given, settings, strategies as st

from rubbing2pattern import correct_folder
from rubbing2pattern.errors import OutputNotWritten, UsageFault
from rubbing2pattern.inputs.corrections import corrections_from
from rubbing2pattern.inputs.edits import Edit, edit_of
from rubbing2pattern.model import Panel
from rubbing2pattern.workflows.correction_session import CorrectionSession
from tests.correcting.making import FOUR, text_of
from tests.running import listing
from tests.workflows.sessions import (
    CURVED,
    WHO,
    alone,
    assert_same_shape,
    by_files,
    lead,
    made_in,
    of_panel,
    without_history,
)


def an_edit(panel: Panel, kind: str, k: int, x: float, y: float) -> Edit:
    """Return an edit of some part of a panel, which need not be possible."""
    came, joint = panel.cames[k % len(panel.cames)], panel.joints[k % len(panel.joints)]
    piece = panel.pieces[k % len(panel.pieces)]
    west, south, east, north = piece.outline.bounds
    doubt = panel.findings[k % len(panel.findings)].id if panel.findings else "F1"
    level = south + (0.2 + 0.6 * x) * (north - south)
    fields: dict[str, dict[str, Any]] = {
        "add_lead": {"from": [west, level], "to": [east, level]}
        | ({"width_mm": 5} if k % 3 else {}),
        "split_piece": {"piece": piece.number, "from": [west, level], "to": [east, level]},
        "remove_lead": {"came": came.id},
        "move_lead": {"came": came.id, "by": [8 * x - 4, 8 * y - 4]},
        "move_joint": {"joint": joint.id, "to": [joint.x_mm + 6 * x - 3, joint.y_mm + 6 * y - 3]},
        "set_width": {"came": came.id, "width_mm": 4.0 + k % 5},
        "join_pieces": {"pieces": [*came.pieces, 1, 2][:2]},
        "renumber": {"piece": piece.number, "number": 30 + k},
        "dismiss": {"name": doubt, "why": "looked at"},
    }
    return edit_of(kind, fields[kind])


KINDS = (
    "add_lead", "split_piece", "remove_lead", "move_lead", "move_joint", "move_joint", "set_width",
    "set_width", "join_pieces", "renumber", "dismiss", "undo", "undo", "redo", "back",
)  # fmt: skip
STEPS = st.lists(
    st.tuples(st.sampled_from(KINDS), st.integers(0, 3), st.floats(0, 1), st.floats(0, 1)),
    min_size=2,
    max_size=5,
)


def check_steps(panel: Panel, steps: list[tuple[str, int, float, float]]) -> tuple[int, int]:
    """Take steps in a session and hold at each of them what a session promises."""
    session = of_panel(panel)
    past, future = [text_of(panel)], []
    for kind, k, x, y in steps:
        if kind in ("undo", "redo", "back"):
            going, coming = (past, future) if kind != "redo" else (future, past)
            if len(going) > (kind != "redo"):
                (session.redo if kind == "redo" else session.undo)()
                coming.append(going.pop())
            assert text_of(session.panel) == past[-1]
            continue
        before = session.panel
        edit = an_edit(before, kind, k, x, y)
        try:
            wanted = alone(before, edit)
        except UsageFault:
            with pytest.raises(UsageFault):
                session.add(edit)
            assert text_of(session.panel) == past[-1]
            continue
        count = len(session.edits)
        session.add(edit)
        if len(session.edits) >= count:  # else it took an earlier one back
            assert_same_shape(session.panel, wanted, before)
        past.append(text_of(session.panel))
        future = []
    texts = session.files(*WHO)
    assert without_history(by_files(panel, texts)) == without_history(session.panel)
    return len(past) - 1, len(texts)


HALVED = [
    ("split_piece", 3, 0.507, 0.638), ("move_joint", 4, 0.422, 0.891),
    ("split_piece", 2, 0.496, 0.748),
]  # fmt: skip
"""A piece is divided into two halves that are equal to a hundredth, of a joint moved before."""


@settings(max_examples=4)
@given(STEPS)
@example(HALVED)
def test_any_steps_in_straight_leads(steps: list[tuple[str, int, float, float]]) -> None:
    check_steps(FOUR, steps)


@settings(max_examples=4)
@given(STEPS)
def test_any_steps_in_curved_leads(steps: list[tuple[str, int, float, float]]) -> None:
    check_steps(CURVED, steps)


@pytest.fixture
def session(tmp_path: Path) -> CorrectionSession:
    return CorrectionSession.open(made_in(tmp_path / "n4 3b"))


def test_a_session_saves_what_the_command_makes(session: CorrectionSession, tmp_path: Path) -> None:
    assert session.add(lead(200.0)).said == ("C15 added (from C3 to C4)",)
    session.add(edit_of("move_joint", {"joint": "J5", "to": [103, 150]}))
    session.add(edit_of("set_width", {"came": "C1", "width_mm": 7.5}))
    texts = session.files(*WHO, "two\nlines")
    other = made_in(tmp_path / "other")
    for text in texts:
        correct_folder(other, corrections_from(text.encode()))
    shown = without_history(session.panel)
    done = session.save(*WHO, "two\nlines")
    assert without_history(done.panel) == without_history(session.panel) == shown
    assert len(texts) == 2 == len(session.base.corrections)
    assert listing(session.folder) == listing(other)
    assert not session.can_undo and not session.edits
    session.add(edit_of("remove_lead", {"came": "C4"}))
    assert session.files(*WHO) != texts


def test_a_preview_changes_nothing(session: CorrectionSession) -> None:
    answer = session.preview(lead(200.0), edit_of("set_width", {"came": "C1", "width_mm": 9}))
    assert session.panel is session.base and not session.edits and not session.can_undo
    assert (answer.pieces_new, answer.pieces_gone) == ((5,), ())
    assert {1, 2} == {*answer.pieces_changed} and "C15" in answer.cames_new
    added = session.add(lead(200.0), edit_of("set_width", {"came": "C1", "width_mm": 9}))
    assert added == answer
    undone = session.undo()
    assert (undone.pieces_new, undone.pieces_gone) == ((), (5,))
    assert undone.said[0] == "undone: C15 added (from C3 to C4)"
    with pytest.raises(UsageFault, match="nothing to undo"):
        session.undo()
    session.redo()
    with pytest.raises(UsageFault, match="nothing to redo"):
        session.redo()


def test_what_cannot_be_saved_leaves_the_folder(session: CorrectionSession) -> None:
    with pytest.raises(UsageFault, match="nothing to save"):
        session.save(*WHO)
    session.add(lead(200.0))
    before = listing(session.folder)
    with pytest.raises(UsageFault, match=r"date: .*2026-11-25"):
        session.save("A. Glazier", "25 November")
    with pytest.raises(UsageFault, match="by: "):
        session.save("", "2026-11-25")
    assert listing(session.folder) == before
    file = corrections_from(
        b'by = "B"\ndate = 2026-11-25\n[[set_width]]\ncame = "C1"\nwidth_mm = 4\n'
    )
    correct_folder(session.folder, file)
    before = listing(session.folder)
    with pytest.raises(OutputNotWritten, match="changed by another"):
        session.save(*WHO)
    assert listing(session.folder) == before and session.can_undo
