"""Repeated edits of one thing are one table of one file, where that says the same."""

from __future__ import annotations

import re

import pytest

from rubbing2pattern.inputs.edits import Edit, edit_of
from tests.correcting.making import FOUR
from tests.workflows.sessions import (
    WHO,
    alone,
    assert_same_shape,
    by_files,
    lead,
    of_panel,
    without_history,
)

TO, BACK = [103, 152], [100, 150]


def joint(to: list[float], name: str = "J5") -> Edit:
    return edit_of("move_joint", {"joint": name, "to": to})


def width(width_mm: float, **which: object) -> Edit:
    return edit_of("set_width", {**(which or {"came": "C4"}), "width_mm": width_mm})


def remove(came: str) -> Edit:
    return edit_of("remove_lead", {"came": came})


def number(piece: int, new: int) -> Edit:
    return edit_of("renumber", {"piece": piece, "number": new})


UNMEASURED = edit_of("add_lead", {"from": [0, 200], "to": [100, 200]})
STRAP = edit_of("add_lead", {"from": [0, 200], "to": [60, 200], "width_mm": 6, "free_end": True})
SPLIT = edit_of("split_piece", {"piece": 1, "from": [0, 200], "to": [100, 200], "width_mm": 6})
AGAIN = edit_of("split_piece", {"piece": 5, "from": [0, 175], "to": [100, 175], "width_mm": 6})


@pytest.mark.parametrize(
    ("edits", "files"),
    [
        ((joint(TO), joint([104, 151])), ["move_joint"]),
        ((width(5), width(7)), ["set_width"]),
        ((width(5, at=[100, 220]), width(7)), ["set_width"]),
        ((lead(200), remove("C15")), []),
        ((lead(200), width(5, came="C15")), ["add_lead"]),
        ((UNMEASURED, width(5, came="C15")), ["add_lead"]),
        ((lead(200), edit_of("move_lead", {"came": "C15", "by": [0, 9]})), ["add_lead"]),
        ((STRAP, joint([63, 195], "J11")), ["add_lead"]),
        ((SPLIT, AGAIN), ["add_lead add_lead"]),
        ((joint(TO), remove("C4")), ["remove_lead move_joint"]),
        ((width(5), remove("C4")), ["remove_lead"]),
        ((number(1, 9), number(9, 7)), ["renumber"]),
        ((number(1, 9), number(9, 1)), []),
        # What one file cannot say begins the next.
        ((lead(200), joint(TO)), ["add_lead", "move_joint"]),
        ((lead(200), remove("C4")), ["add_lead", "remove_lead"]),
    ],
)
def test_two_edits(edits: tuple[Edit, ...], files: list[str]) -> None:
    session = of_panel(FOUR)
    for edit in edits:
        wanted = alone(session.panel, edit)
        seen = session.panel
        session.add(edit)
        assert_same_shape(session.panel, wanted, seen)
    texts = session.files(*WHO)
    tables = [re.findall(r"^\[\[(\w+)\]\]$", text, re.MULTILINE) for text in texts]
    assert [" ".join(kinds) for kinds in tables] == files
    assert without_history(by_files(FOUR, texts)) == without_history(session.panel)
    assert not session.can_redo and session.can_undo


def test_a_joint_moved_twice_is_where_it_was_put_last() -> None:
    session = of_panel(FOUR)
    session.add(joint(TO))
    session.add(edit_of("move_joint", {"at": [103, 151], "to": BACK}))
    (text,) = session.files(*WHO)
    assert text.endswith('[[move_joint]]\njoint = "J5"\nto = [100, 150]\n')
    assert session.edits == (joint(BACK),)


def test_a_new_finding_is_dismissed_in_the_file_that_makes_it() -> None:
    session = of_panel(FOUR)
    (found,) = session.add(UNMEASURED).findings_new
    answer = session.add(edit_of("dismiss", {"finding": found.id, "why": "of the usual width"}))
    assert answer.said == (f"{found.id} width-uncertain dismissed",)
    assert answer.findings_gone == (found,)
    (text,) = session.files(*WHO)
    assert 'code = "width-uncertain"\nat = [50, 200]\n' in text
    assert [d.why for d in by_files(FOUR, (text,)).dismissed] == ["of the usual width"]


def test_the_name_of_a_finding_means_the_panel_that_is_seen() -> None:
    session = of_panel(FOUR)
    (found,) = session.add(UNMEASURED).findings_new
    answer = session.add(edit_of("set_width", {"finding": found.id, "width_mm": 5}))
    assert answer.findings_gone == (found,)
    assert [edit.given["width_mm"] for edit in session.edits] == [5.0]
