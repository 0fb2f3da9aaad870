"""A session of corrections: edits with undo and redo, and files that give the same panel."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from rubbing2pattern import correct_folder
from rubbing2pattern.documents import write_documents
from rubbing2pattern.inputs.corrections import corrections_from
from rubbing2pattern.inputs.edits import Edit, edit_of
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.workflows.correction_session import CorrectionSession
from tests.correcting.making import FOUR, text_of
from tests.running import listing


def made_in(place: Path) -> Path:
    place.mkdir()
    write_documents(place, FOUR, None, {"options": {}}, DocumentOptions())
    return place


@pytest.fixture
def session(tmp_path: Path) -> CorrectionSession:
    return CorrectionSession.open(made_in(tmp_path / "n4 3b"))


def lead(y_mm: float, **more: Any) -> Edit:
    return edit_of("add_lead", {"from": [0, y_mm], "to": [100, y_mm], "width_mm": 6, **more})


def without_history(panel: Panel) -> str:
    return text_of(replace(panel, corrections=(), dismissed=()))


def test_the_files_of_a_session_give_its_panel(session: CorrectionSession, tmp_path: Path) -> None:
    said = session.add(lead(200.0)).said
    assert said == ("C15 added",)
    added = session.panel
    session.add(edit_of("move_joint", {"joint": "J5", "to": [103, 150]}))
    session.add(edit_of("move_joint", {"joint": "J5", "to": [104, 151]}))
    session.add(edit_of("split_piece", {"piece": 5, "from": [50, 150], "to": [50, 200]}))
    texts = session.files("A. Glazier", "2026-11-25", "two\nlines")
    other = made_in(tmp_path / "other")
    correct_folder(other, *(corrections_from(text.encode()) for text in texts))
    shown = without_history(session.panel)
    done = session.save("A. Glazier", "2026-11-25", "two\nlines")
    assert without_history(done.panel) == shown != without_history(added)
    assert listing(session.folder) == listing(other)
    assert session.base.corrections and not session.can_undo and not session.edits
