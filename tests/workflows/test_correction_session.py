"""A session of corrections: edits with undo and redo, and files that give the same panel."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings, strategies as st

from rubbing2pattern.documents import write_documents
from rubbing2pattern.errors import UsageFault
from rubbing2pattern.inputs.corrections import corrections_from
from rubbing2pattern.inputs.edits import Edit, corrections_of, edit_of
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.record.panel import panel_of, record_from_text, record_of
from rubbing2pattern.workflows.corrected_panel import apply_corrections
from rubbing2pattern.workflows.correction_session import CorrectionSession
from rubbing2pattern.workflows.folders import KeptFolder
from tests.correcting.making import FOUR, OPTIONS, panel_from, text_of
from tests.nets import frame

WHO = ("A. Glazier", "2026-11-25")
CURVED = panel_from(
    frame(240, 200)
    .line((120, 0), (120, 70))
    .line((120, 130), (120, 200))
    .arc((120, 70), (120, 130), 180)
    .arc((120, 130), (120, 70), 180)
    .line((0, 60), (0, 140))
    .net()
)


def of_panel(panel: Panel) -> CorrectionSession:
    """Return a session on a panel that lies in no folder."""
    record = record_of(panel, {})
    return CorrectionSession(KeptFolder(Path("none"), record, panel, OPTIONS, None, {}), "none")


def made_in(place: Path) -> Path:
    place.mkdir()
    write_documents(place, FOUR, None, {"options": {}}, DocumentOptions())
    return place


def lead(y_mm: float, **more: Any) -> Edit:
    return edit_of("add_lead", {"from": [0, y_mm], "to": [100, y_mm], "width_mm": 6, **more})


def without_history(panel: Panel) -> str:
    return text_of(replace(panel, corrections=(), dismissed=()))


def alone(panel: Panel, *edits: Edit) -> Panel:
    """Return what edits make of a panel as a file of their own."""
    return apply_corrections(panel, corrections_of(edits, *WHO), options=OPTIONS).panel


def by_files(panel: Panel, texts: tuple[str, ...]) -> Panel:
    """Apply files one after the other, with the record read anew between them."""
    for text in texts:
        file = corrections_from(text.encode())
        done = apply_corrections(panel, file.corrections, options=OPTIONS, sha256=file.sha256)
        panel = panel_of(record_from_text(text_of(done.panel)))
    return panel


def assert_same_shape(a: Panel, b: Panel) -> None:
    """Hold that two panels have the same parts at the same places under the same names."""
    for one, other in zip(a.pieces, b.pieces, strict=True):
        assert one.number == other.number
        assert one.outline.symmetric_difference(other.outline).area < 0.02 * one.outline.length
    for mine, theirs in zip(a.cames, b.cames, strict=True):
        assert mine.id == theirs.id
        assert mine.face_width_mm == pytest.approx(theirs.face_width_mm, abs=0.003)
    assert [joint.id for joint in a.joints] == [joint.id for joint in b.joints]


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
    max_size=7,
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
        session.add(edit)
        assert_same_shape(session.panel, wanted)
        past.append(text_of(session.panel))
        future = []
    texts = session.files(*WHO)
    assert without_history(by_files(panel, texts)) == without_history(session.panel)
    return len(past) - 1, len(texts)


@settings(max_examples=10)
@given(STEPS)
def test_any_steps_in_straight_leads(steps: list[tuple[str, int, float, float]]) -> None:
    check_steps(FOUR, steps)


@settings(max_examples=10)
@given(STEPS)
def test_any_steps_in_curved_leads(steps: list[tuple[str, int, float, float]]) -> None:
    check_steps(CURVED, steps)
