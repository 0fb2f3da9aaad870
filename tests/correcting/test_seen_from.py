"""The side on which the paper lay, stated afterwards."""

from __future__ import annotations

from dataclasses import replace

from rubbing2pattern.findings import Code
from rubbing2pattern.inputs.edits import edit_of
from rubbing2pattern.options import Options
from rubbing2pattern.stages.audit import audit
from tests.correcting.making import FOUR, corrected, refused
from tests.workflows.sessions import WHO, by_files, of_panel

UNSTATED = audit(replace(FOUR, seen_from="unstated"), Options().audit)
OUTSIDE = "[[seen_from]]\nside = 'outside'\n"


def test_a_side_that_was_not_stated() -> None:
    assert Code.SIDE_NOT_STATED in {f.code for f in UNSTATED.findings}
    done = corrected(UNSTATED, OUTSIDE)
    assert done.panel.seen_from == "outside"
    assert Code.SIDE_NOT_STATED not in {f.code for f in done.panel.findings}
    assert [p.number for p in done.panel.pieces] == [p.number for p in UNSTATED.pieces]
    assert done.applied.changes[0].did == "the panel is seen from outside"
    assert len(done.applied.findings_gone) == 1


def test_what_cannot_be_stated() -> None:
    refused(FOUR, "[[seen_from]]\nside = 'inside'\n", "seen_from 1", "inside already")
    refused(
        UNSTATED, OUTSIDE + "[[seen_from]]\nside = 'inside'\n", "changed already by seen_from 1"
    )
    refused(UNSTATED, OUTSIDE + OUTSIDE, "seen from outside already")


def test_the_last_statement_of_a_session_holds() -> None:
    session = of_panel(UNSTATED)
    inside, outside = (edit_of("seen_from", {"side": side}) for side in ("inside", "outside"))
    session.add(outside)
    session.add(inside)
    assert session.edits == (inside,)
    assert session.panel.seen_from == "inside"
    assert by_files(UNSTATED, session.files(*WHO)).seen_from == "inside"
    session.undo()
    assert session.panel.seen_from == "outside"


def test_a_statement_and_its_contrary_are_no_correction() -> None:
    session = of_panel(FOUR)
    session.add(edit_of("seen_from", {"side": "outside"}))
    session.add(edit_of("seen_from", {"side": "inside"}))
    assert session.edits == ()
