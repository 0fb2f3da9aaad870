"""The review of a folder: every change as one step, saved as the command line would write it."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path

import jsonschema
import pytest

from rubbing2pattern.errors import OutputNotWritten
from rubbing2pattern.reviewing.bodies import schema
from rubbing2pattern.workflows.holding import beside, held
from tests.reviewing.served import Visitor, results, visited
from tests.running import listing, refused, run_here as run

WHO = {"by": "A. Glazier", "date": "2026-11-25"}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return results(tmp_path / "n4 3b")


@pytest.fixture
def visitor(folder: Path) -> Iterator[Visitor]:
    with visited(folder) as visitor:
        yield visitor


def invented(visitor: Visitor) -> dict[str, str]:
    """Return the edit that takes out the lead that is none."""
    lines = {came.id: came.line for came in visitor.desk.net().cames}
    (name,) = [n for n, line in lines.items() if line[1] == line[3] == 146.0]
    return {"kind": "remove_lead", "came": name}


def test_what_is_saved_is_what_the_command_line_writes(
    visitor: Visitor, folder: Path, tmp_path: Path
) -> None:
    other = shutil.copytree(folder, tmp_path / "other")
    before = listing(folder)
    said = visitor.send("/edits", edits=[invented(visitor)]).json
    assert said["session"]["step"] == 1 and said["session"]["can_undo"]
    assert listing(folder) == before
    assert visitor.send("/pieces/1,2", "PUT", cells={"state": "cracked", "action": "plate"})
    saved = visitor.send("/save", **WHO)
    assert saved.status == 200, saved.body
    assert saved.json["files"] == ["corrections-1.toml"]
    assert saved.json["session"]["step"] == 0
    assert run("correct", other, folder / "corrections-1.toml").returncode == 0
    sheet = (other / "pieces.csv").read_text("utf-8-sig").splitlines()
    heads = sheet[0].split(",")
    for row in (1, 2):
        cells = sheet[row].split(",")
        cells[heads.index("state")], cells[heads.index("action")] = "cracked", "plate"
        sheet[row] = ",".join(cells)
    typed = tmp_path / "typed.csv"
    typed.write_text("\n".join(sheet), "utf-8")
    assert run("lists", other, "--pieces", typed).returncode == 0
    assert listing(folder) == listing(other)
    assert not beside(folder, "draft").exists()


def test_a_preview_changes_nothing_and_says_what_would_change(visitor: Visitor) -> None:
    before = visitor.get("/net")
    told = visitor.send("/preview", edits=[invented(visitor)]).json
    assert told["gone"]["cames"] and told["gone"]["pieces"] and told["areas"]
    assert told["findings_gone"] and told["said"]
    assert visitor.get("/net") == before and visitor.desk.where().step == 0


def test_who_settled_it_is_who_saved_last(visitor: Visitor) -> None:
    assert visitor.send("/edits", edits=[invented(visitor)]).json["session"]["by"] == ""
    assert visitor.send("/save", **WHO).json["session"]["by"] == WHO["by"]


def test_undo_and_redo_lead_through_all_states(visitor: Visitor) -> None:
    """Edits of the net and cells of the sheet are one row of steps."""
    states = [state(visitor)]
    for path, method, sent in (
        ("/edits", "POST", {"edits": [invented(visitor)]}),
        ("/pieces/1", "PUT", {"cells": {"state": "whole", "remark": "<b>“bubbles”</b>"}}),
        ("/edits", "POST", {"edits": [{"kind": "renumber", "piece": 1, "number": 40}]}),
        ("/pieces/40", "PUT", {"cells": {"state": ""}}),
        ("/edits", "POST", {"edits": [OUTSIDE]}),
    ):
        answer = visitor.send(path, method, **sent)
        assert answer.status == 200, answer.body
        states.append(state(visitor))
    assert states[3][2] == {"40": {"state": "whole", "remark": "<b>“bubbles”</b>"}}
    for known in states[-2::-1]:
        assert visitor.send("/undo").status == 200
        assert state(visitor) == known
    assert visitor.send("/undo").status == 422
    for known in states[1:]:
        assert visitor.send("/redo").status == 200
        assert state(visitor) == known
    assert visitor.send("/redo").status == 422


OUTSIDE = {"kind": "add_lead", "from": [0, 220], "to": [-20, 220], "free_end": True}
"""A lead that gives findings: they are gone, not settled, when it is taken back."""


def state(visitor: Visitor) -> tuple[object, object, object]:
    net = visitor.get("/net")
    parts = {kind: sorted(map(str, net[kind])) for kind in net}
    return parts, visitor.get("/findings"), visitor.get("/pieces")["entries"]


def test_a_refusal_changes_nothing_and_says_why(visitor: Visitor) -> None:
    before = state(visitor)
    for path, method, sent, words in (
        ("/edits", "POST", {"edits": [{"kind": "remove_lead", "came": "C999"}]}, "C999"),
        ("/edits", "POST", {"edits": [{"kind": "paint"}]}, "paint"),
        ("/edits", "POST", {"edits": [{"came": "C1"}]}, "kind"),
        ("/pieces/1", "PUT", {"cells": {"state": "craked"}}, "cracked"),
        ("/pieces/1", "PUT", {"cells": {"state": "missing", "action": "keep"}}, "missing"),
        ("/pieces/1", "PUT", {"cells": {"cut_area": "3"}}, "cut_area"),
        ("/pieces/999", "PUT", {"cells": {"state": "whole"}}, "999"),
        ("/save", "POST", WHO, "nothing to save"),
    ):
        answer = visitor.send(path, method, **sent)
        assert answer.status == 422 and words in answer.json["refused"], answer.body
    assert state(visitor) == before and visitor.desk.where().step == 0


def test_a_write_on_another_state_is_refused(visitor: Visitor) -> None:
    """A second tab, or a folder that was saved meanwhile."""
    now = visitor.desk.where()
    assert visitor.send("/edits", edits=[invented(visitor)], step=now.step + 1).status == 409
    assert visitor.send("/undo", digest="0" * 64).status == 409
    assert visitor.desk.where().step == 0


def test_what_was_not_saved_is_offered_again(folder: Path) -> None:
    with visited(folder) as visitor:
        visitor.send("/edits", edits=[invented(visitor)])
        visitor.send("/pieces/1", "PUT", cells={"state": "broken"})
        left = state(visitor)
    with visited(folder) as visitor:
        assert visitor.get("/session")["draft"] == {"steps": 2, "same": True}
        assert visitor.send("/undo").status == 422
        assert visitor.send("/draft", take=True).json["session"]["draft"] is None
        assert state(visitor) == left
    with visited(folder) as visitor:
        assert visitor.send("/draft", take=False).status == 200
    with visited(folder) as visitor:
        assert visitor.get("/session")["draft"] is None


def test_a_draft_of_an_older_record_gives_what_still_fits(folder: Path, tmp_path: Path) -> None:
    with visited(folder) as visitor:
        gone = invented(visitor)
        visitor.send("/edits", edits=[gone])
        visitor.send("/pieces/1", "PUT", cells={"state": "broken"})
    fix = tmp_path / "fix.toml"
    fix.write_text(f'by = "B"\ndate = 2026-11-24\n[[remove_lead]]\ncame = "{gone["came"]}"\n')
    assert run("correct", folder, fix).returncode == 0
    with visited(folder) as visitor:
        assert visitor.get("/session")["draft"] == {"steps": 2, "same": False}
        said = visitor.send("/draft", take=True).json
        assert any(s.startswith("not made: ") for s in said["change"]["said"])
        assert said["entries"] == {"1": {"state": "broken"}}


@pytest.mark.parametrize("text", ["", "{", '{"format": "x"}', '{"format": [], "steps": 3}'])
def test_a_spoilt_draft_is_no_draft(folder: Path, text: str) -> None:
    beside(folder, "draft").write_text(text)
    with visited(folder) as visitor:
        assert visitor.get("/session")["draft"] is None


def test_a_folder_under_review_is_held(visitor: Visitor, folder: Path, tmp_path: Path) -> None:
    """The process that serves the page may write; another is told who holds the folder."""
    with (
        pytest.raises(OutputNotWritten, match="cannot be used"),
        visited(folder, port=visitor.port),
    ):
        pass
    assert beside(folder, "lock").exists() and beside(folder, "held").exists()
    assert visitor.host in beside(folder, "held").read_text()


def test_a_sheet_filled_in_meanwhile_is_kept(visitor: Visitor, folder: Path) -> None:
    typed = folder.parent / "typed.csv"
    text = (folder / "pieces.csv").read_text("utf-8-sig").splitlines()
    heads = text[0].split(",")
    cells = text[2].split(",")
    cells[heads.index("glass")] = "streaky blue"
    typed.write_text("\n".join([*text[:2], ",".join(cells), *text[3:]]), "utf-8")
    visitor.send("/pieces/1", "PUT", cells={"state": "broken"})
    assert run("lists", folder, "--pieces", typed).returncode == 0
    assert visitor.send("/save", **WHO).status == 200
    entries = visitor.get("/pieces")["entries"]
    assert entries == {"1": {"state": "broken"}, "2": {"glass": "streaky blue"}}


def test_the_same_cell_changed_on_both_sides_is_refused(visitor: Visitor, folder: Path) -> None:
    text = (folder / "pieces.csv").read_text("utf-8-sig").splitlines()
    heads = text[0].split(",")
    cells = text[1].split(",")
    cells[heads.index("state")] = "whole"
    typed = folder.parent / "typed.csv"
    typed.write_text("\n".join([text[0], ",".join(cells), *text[2:]]), "utf-8")
    visitor.send("/pieces/1", "PUT", cells={"state": "broken"})
    assert run("lists", folder, "--pieces", typed).returncode == 0
    before = listing(folder)
    answer = visitor.send("/save", **WHO)
    assert answer.status == 422 and "piece 1, state" in answer.json["refused"]
    assert listing(folder) == before


def test_every_answer_is_as_the_schema_says(visitor: Visitor) -> None:
    """JSON Schema, draft 2020-12; the schema is served with the page."""
    told = visitor.get("/schema")
    assert told == json.loads(json.dumps(schema()))
    edits = {"edits": [invented(visitor)]}
    cells = {"cells": {"glass": "clear"}}
    for request, sent in (
        ("GET /session", None), ("GET /net", None), ("GET /findings", None), ("GET /pieces", None),
        ("POST /preview", edits), ("POST /edits", edits), ("POST /undo", {}), ("POST /redo", {}),
        ("PUT /pieces/1", cells), ("POST /save", WHO),
    ):  # fmt: skip
        method, path = request.split()
        answer = visitor.get(path) if sent is None else visitor.send(path, method, **sent).json
        named = request.replace("/1", "/{n}")
        jsonschema.Draft202012Validator(told[named]["answer"]).validate(answer)


def test_the_lead_that_the_rubbing_shows_is_found(visitor: Visitor) -> None:
    at = visitor.get("/ridge?x=150.0&y=152.0&reach=6")["at"]
    assert at is not None and abs(at[1] - 150.0) < 1.0
    assert visitor.get("/ridge?x=150.0&y=75.0&reach=6")["at"] is None
    for query in ("", "?x=1&y=2", "?x=nan&y=0&reach=1", "?x=1&y=1&reach=-1", "?x=a&y=1&reach=1"):
        assert visitor.ask("GET", f"/ridge{query}").status == 404


def test_quitting_ends_the_server(folder: Path) -> None:
    with visited(folder) as visitor:
        assert visitor.send("/quit").status == 204
    assert not beside(folder, "lock").exists() and not beside(folder, "held").exists()
    with held(folder, "someone"):
        pass


def test_the_command_needs_its_extra(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("rubbing2pattern.cli.review.find_spec", lambda name: None)
    refused(run("review", folder), 2, "starlette", "[review]")


def test_a_folder_that_is_none_is_refused(tmp_path: Path) -> None:
    refused(run("review", tmp_path / "none", "--no-browser"), 3, "panel.json")
