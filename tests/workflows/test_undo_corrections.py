"""Corrections tried without a trace, and taken back: the folder as it was, byte for byte."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from rubbing2pattern.documents import write_documents
from rubbing2pattern.glazing.entries import Entry, State
from rubbing2pattern.glazing.folder import Known, held_in
from rubbing2pattern.options.glass import GlassOptions
from rubbing2pattern.record.panel import panel_of, read_record
from tests.correcting.making import HEAD
from tests.glazing.sheets import FOUR, type_in_folder
from tests.running import listing, refused, run_here as run
from tests.workflows.written_on import COARSE, JOIN, PROVENANCE, RUBBING

SPLIT = HEAD + "[[split_piece]]\npiece = 1\nfrom = [0, 200]\nto = [100, 210]\nwidth_mm = 6\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    place = tmp_path / "n4 3b"
    place.mkdir()
    write_documents(place, FOUR, RUBBING, PROVENANCE, COARSE.documents, COARSE.paper)
    (place / "notes.txt").write_text("mine")
    return place


def correct(folder: Path, text: str, *more: object) -> str:
    file = folder.parent / "settled.toml"
    file.write_text(text)
    result = run("correct", folder, file, *more)
    assert result.returncode == 0, result.stderr
    return result.stdout


def undo(folder: Path, *more: str) -> str:
    result = run("correct", folder, "--undo", *more)
    assert result.returncode == 0, result.stderr
    return result.stdout


def test_files_are_taken_back_one_by_one(folder: Path) -> None:
    traced = listing(folder)
    correct(folder, SPLIT)
    once = listing(folder)
    correct(folder, JOIN)
    assert "as before corrections-2.toml of A. Glazier, 2026-11-25" in undo(folder)
    assert listing(folder) == once
    summary = json.loads(undo(folder, "--json"))
    assert (summary["undone"]["file"], summary["pieces"]) == ("corrections-1.toml", 4)
    assert listing(folder) == traced
    refused(run("correct", folder, "--undo"), 2, "holds no corrections that could be undone")
    assert listing(folder) == traced


def test_what_was_written_stays_with_its_piece(folder: Path) -> None:
    """Piece 4 goes and is back; something is written about it, and about the new piece 5."""
    type_in_folder(folder, {4: {"state": "cracked"}})
    before = listing(folder)
    correct(folder, JOIN)
    correct(folder, SPLIT)
    type_in_folder(folder, {2: {"state": "whole"}, 5: {"state": "missing"}})
    assert "No longer in the panel, but with entries: piece 5" in undo(folder)
    undo(folder)
    panel = panel_of(read_record(folder / "panel.json"))
    filled = held_in(folder, Known.of(panel), GlassOptions())
    assert filled.entries == {2: Entry(State.WHOLE), 4: Entry(State.CRACKED)}
    assert [row.number for row in filled.vanished] == [5]
    assert listing(folder)["panel.json"] == before["panel.json"]


def test_what_cannot_be_proved_is_not_taken_back(folder: Path) -> None:
    correct(folder, JOIN)
    record = folder / "uncorrected.json"
    text = record.read_text()
    wider = text.replace('"uncertainty_mm": 0.1', '"uncertainty_mm": 0.2', 1)
    for spoilt, code, words in (
        (wider, 3, "do not give the panel"),
        (text[:-20], 3, "uncorrected.json"),
        (None, 2, "keeps no uncorrected.json"),
    ):
        record.unlink() if spoilt is None else record.write_text(spoilt)
        assert spoilt != text
        before = listing(folder)
        refused(run("correct", folder, "--undo"), code, words)
        assert listing(folder) == before


def test_a_folder_of_an_earlier_version_is_undone_as_far_as_it_can(folder: Path) -> None:
    correct(folder, JOIN)
    (folder / "uncorrected.json").unlink()
    assert run("redraw", folder, "--as-rubbed").returncode == 0
    before = listing(folder)
    correct(folder, SPLIT)
    undo(folder)
    assert listing(folder) == before
    refused(run("correct", folder, "--undo"), 2, "keeps no uncorrected.json")


def test_a_dry_run_leaves_no_trace(folder: Path, tmp_path: Path) -> None:
    before = listing(folder)
    drawn = tmp_path / "look.png"
    said = correct(folder, SPLIT, "--dry-run", "-o", drawn)
    assert "split_piece 1: C15 added across piece 1 (from C3 to C4)" in said
    assert f"Nothing was changed. The overlay as it would be: {drawn}" in said
    summary = json.loads(correct(folder, SPLIT, "--dry-run", "--json"))
    assert summary["dry_run"] and summary["corrections"]["pieces_new"] == [5]
    assert summary["corrections"]["changes"][0]["meant"] == "from C3 to C4"
    assert listing(folder) == before
    correct(folder, SPLIT)
    assert listing(folder)["overlay.png"] == drawn.read_bytes()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((), "give a file of CORRECTIONS"),
        (("settled.toml", "--undo"), "give no CORRECTIONS"),
        (("--undo", "--dry-run"), "no --dry-run"),
        (("settled.toml", "-o", "look.png"), "-o goes with --dry-run"),
    ],
)
def test_options_that_do_not_go_together(
    arguments: tuple[str, ...], words: str, folder: Path
) -> None:
    before = listing(folder)
    refused(run("correct", folder, *arguments), 2, words)
    assert listing(folder) == before


def test_an_overlay_replaces_nothing_unasked(folder: Path, tmp_path: Path) -> None:
    file, drawn = tmp_path / "settled.toml", tmp_path / "look.png"
    file.write_text(SPLIT)
    drawn.write_text("mine")
    tried = ("correct", folder, file, "--dry-run", "-o")
    refused(run(*tried, drawn), 6, "exists already; replace it with --overwrite")
    assert drawn.read_text() == "mine"
    assert run(*tried, drawn, "--overwrite").returncode == 0
    assert drawn.read_bytes()[:4] == b"\x89PNG"
    refused(run(*tried, folder / "look.png"), 2, "lies in", "stays as it is")
