"""The command `lists` on a folder, and that nothing anyone typed is ever lost."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from pathlib import Path

import pytest
from openpyxl import load_workbook

from rubbing2pattern import correct_folder, list_folder, write_reading
from rubbing2pattern.documents import write_documents
from rubbing2pattern.errors import InputUnreadable, UsageFault
from rubbing2pattern.glazing.entries import Action, Decoration, Entry, Filled, State, Vanished
from rubbing2pattern.glazing.folder import Known, held_in
from rubbing2pattern.inputs.corrections import corrections_from
from rubbing2pattern.model import Panel
from rubbing2pattern.options.glass import GlassOptions
from rubbing2pattern.record.panel import panel_of, read_record
from rubbing2pattern.workflows.pipeline import Reading
from tests import nets
from tests.correcting.making import HEAD, panel_from
from tests.glazing.sheets import FOUR, Formula, type_in_folder, typed_into
from tests.running import listing, refused, run_here as run
from tests.workflows.written_on import COARSE, JOIN, PROVENANCE, RUBBING, TYPED

SWAP = HEAD + "[[renumber]]\npiece = 1\nnumber = 2\n[[renumber]]\npiece = 2\nnumber = 1\n"
NEW = Entry(State.MISSING, Action.REPLACE, "ruby", "3 mm", (Decoration.PAINTED,), "=see photo")
FILLED = Filled({1: NEW, 4: Entry(State.CRACKED)})


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    place = tmp_path / "n4 3b"
    place.mkdir()
    write_documents(place, FOUR, RUBBING, PROVENANCE, COARSE.documents, COARSE.paper)
    (place / "notes.txt").write_text("mine")
    return place


def held(folder: Path, panel: Panel = FOUR) -> Filled:
    return held_in(folder, Known.of(panel), GlassOptions())


def trace_again(folder: Path, panel: Panel = FOUR) -> object:
    reading = Reading(panel, RUBBING, (), PROVENANCE)
    return write_reading(reading, folder, options=COARSE, overwrite=True, discard_corrections=True)


def correct(folder: Path, text: str) -> object:
    return correct_folder(folder, corrections_from(text.encode()))


def edit_list(folder: Path, old: str, new: str) -> None:
    path = folder / "pieces.csv"
    text = path.read_bytes().decode()
    assert old in text
    path.write_bytes(text.replace(old, new).encode())


def test_filled_in_and_given_back(folder: Path) -> None:
    type_in_folder(folder, TYPED)
    result = run("lists", folder, "--pieces", folder / "pieces.xlsx")
    assert result.returncode == 0, result.stderr
    for words in ("about 2 of them; 1 to be replaced", "ruby, 3 mm: 1 piece, 1 sheet", "firing 1"):
        assert words in result.stdout
    names = set(listing(folder))
    assert {"replacement.csv", "replacement.xlsx", "kiln.csv", "templates.pdf"} <= names
    assert (folder / "notes.txt").read_text() == "mine"
    assert held(folder) == FILLED
    assert b"'=see photo" in (folder / "pieces.csv").read_bytes()


def test_the_same_again_is_the_same_bytes(folder: Path) -> None:
    type_in_folder(folder, TYPED)
    list_folder(folder, folder / "pieces.xlsx")
    first = listing(folder)
    list_folder(folder, folder / "pieces.xlsx")
    assert listing(folder) == first
    list_folder(folder, folder / "pieces.csv")
    assert listing(folder) == first


def test_the_summary_for_programs(folder: Path, tmp_path: Path) -> None:
    copy = tmp_path / "back from the bench.xlsx"
    copy.write_bytes(typed_into((folder / "pieces.xlsx").read_bytes(), TYPED))
    result = run(
        "lists", folder, "--pieces", copy, "--json", "--glass-sheet", "90x140mm",
        "--set", "glass.waste_share=0.5",
    )  # fmt: skip
    summary = json.loads(result.stdout)
    assert summary["replaced"] == [1] and summary["written_about"] == [1, 4]
    assert summary["glass"][0]["fit_on_no_sheet"] == [1]
    assert summary["firings"][0]["temperature_f"] == 1175.0
    # The options of the lists are kept, so that a correction makes the same lists again.
    record = json.loads((folder / "panel.json").read_text())
    assert record["provenance"]["settings"]["glass.waste_share"] == 0.5
    assert record["provenance"]["settings"]["documents.overlay_px_per_mm"] == 2.0


def test_problems_are_all_reported_and_nothing_is_written(folder: Path) -> None:
    type_in_folder(folder, {1: {"state": "odd"}, 2: {"action": Formula("=B2")}})
    before = listing(folder)
    result = run("lists", folder, "--pieces", folder / "pieces.xlsx")
    assert result.returncode == 3
    assert result.stdout == ""
    assert "2 problems; nothing was written" in result.stderr
    assert "row 2, column C (state)" in result.stderr and "row 3, column D" in result.stderr
    assert listing(folder) == before


def test_a_sheet_or_folder_that_is_not_there(folder: Path, tmp_path: Path) -> None:
    refused(run("lists", folder, "--pieces", tmp_path / "none.xlsx"), 3, "cannot read")
    refused(run("lists", tmp_path / "none", "--pieces", folder / "pieces.xlsx"), 3, "panel.json")
    refused(run("lists", folder), 2, "--pieces")
    letter = tmp_path / "letter.xlsx"
    letter.write_bytes(b"PK dear vicar")
    before = listing(folder)
    refused(run("lists", folder, "--pieces", letter), 3, "not a readable workbook")
    assert listing(folder) == before


@pytest.mark.parametrize("setting", ["lead.margin_mm=3", "pieces.heart_mm=2", "paper.overlap_mm=9"])
def test_an_option_of_the_reading_is_refused(folder: Path, setting: str) -> None:
    with pytest.raises(
        UsageFault, match="not an option of the lists, which takes those of glass, templates, lead"
    ):
        list_folder(folder, folder / "pieces.xlsx", [setting])


def test_options_of_lead_and_documents_make_new_lists(folder: Path) -> None:
    type_in_folder(folder, TYPED)
    sticks = ["leading.stick_mm=1000", "leading.spare_share=0"]
    list_folder(folder, folder / "pieces.xlsx", [*sticks, "documents.units=in"])
    options = json.loads((folder / "panel.json").read_text())["provenance"]["settings"]
    assert options["leading.stick_mm"] == 1000.0 and options["documents.units"] == "in"
    assert "cut_length_in" in (folder / "strips.csv").read_text().splitlines()[0]
    assert "stick_length_in" in (folder / "lead.csv").read_text()
    assert held(folder) == FILLED
    # What is set stays set for the next time, and can be set back.
    list_folder(folder, folder / "pieces.csv", ["documents.units=mm"])
    assert "cut_length_mm" in (folder / "strips.csv").read_text().splitlines()[0]
    options = json.loads((folder / "panel.json").read_text())["provenance"]["settings"]
    assert options["leading.stick_mm"] == 1000.0 and "documents.units" not in options


@pytest.mark.parametrize("name", ["pieces.xlsx", "pieces.csv"])
def test_a_new_reading_carries_over_what_was_typed(folder: Path, name: str) -> None:
    """Typed into the workbook or into the list, and never given to `lists`."""
    if name == "pieces.xlsx":
        type_in_folder(folder, TYPED)
        expected = FILLED
    else:
        lines = (folder / name).read_text().splitlines()
        row = lines[2].rsplit(",", 7)[0]
        lines[2] = f"{row},cracked,keep,,,,,an old crack"
        (folder / name).write_text("\n".join(lines))
        expected = Filled({2: Entry(State.CRACKED, Action.KEEP, remark="an old crack")})
    trace_again(folder)
    assert held(folder) == expected
    correct(folder, HEAD + "[[split_piece]]\npiece = 3\nfrom = [0, 70]\nto = [100, 75]\n")
    sheet = load_workbook(folder / "pieces.xlsx")["pieces"]
    assert sheet.max_row == 6
    assert held(folder, panel_with(folder)) == expected


def panel_with(folder: Path) -> Panel:
    return panel_of(read_record(folder / "panel.json"))


def test_a_piece_that_is_joined_away_leaves_its_row(folder: Path) -> None:
    type_in_folder(folder, TYPED)
    done = correct(folder, JOIN)
    assert done.written_about_gone == (Vanished(4, Entry(State.CRACKED)),)  # type: ignore[attr-defined]
    panel = panel_with(folder)
    kept = Filled({1: NEW}, (Vanished(4, Entry(State.CRACKED)),))
    assert held(folder, panel) == kept
    # It stays through further corrections, readings and lists.
    trace_again(folder, replace(panel, corrections=()))
    list_folder(folder, folder / "pieces.csv")
    assert held(folder, panel) == kept


def test_a_correction_tells_of_the_row_that_lost_its_piece(folder: Path, tmp_path: Path) -> None:
    type_in_folder(folder, TYPED)
    (tmp_path / "join.toml").write_text(JOIN)
    result = run("correct", folder, tmp_path / "join.toml")
    assert "No longer in the panel, but with entries: piece 4." in result.stdout


def test_what_was_written_follows_a_new_number(folder: Path) -> None:
    type_in_folder(folder, TYPED)
    correct(folder, SWAP)
    assert held(folder, panel_with(folder)).entries == {2: NEW, 4: Entry(State.CRACKED)}


def test_a_new_reading_with_other_pieces(folder: Path) -> None:
    """Four pieces become two; that of number 1 is elsewhere now, and 4 is no more."""
    type_in_folder(folder, TYPED)
    two = panel_from(nets.grid((0, 200), (0, 20, 300)).net())
    carried = trace_again(folder, two)
    assert [row.number for row in carried.vanished] == [4]  # type: ignore[attr-defined]
    assert carried.moved == (1,)  # type: ignore[attr-defined]
    assert held(folder, two) == Filled({1: NEW}, (Vanished(4, Entry(State.CRACKED)),))


def test_a_sheet_with_problems_stops_a_reading_and_a_correction(folder: Path) -> None:
    type_in_folder(folder, {1: {"state": "odd"}})
    before = listing(folder)
    with pytest.raises(InputUnreadable, match="to be kept"):
        trace_again(folder)
    with pytest.raises(InputUnreadable, match=r"row 2.*'odd'"):
        correct(folder, JOIN)
    assert listing(folder) == before
    (folder / "pieces.xlsx").write_bytes(b"")
    with pytest.raises(InputUnreadable):
        trace_again(folder)


def test_a_word_is_taken_back_on_the_sheet_in_the_folder(folder: Path) -> None:
    type_in_folder(folder, TYPED)
    list_folder(folder, folder / "pieces.xlsx")
    type_in_folder(folder, {4: {"state": None}})
    done = list_folder(folder, folder / "pieces.xlsx")
    assert done.merged.filled == Filled({1: NEW})
    trace_again(folder)
    assert held(folder) == Filled({1: NEW})
    edit_list(folder, "missing,replace,ruby,3,,painted,'=see photo", ",,,,,,")
    list_folder(folder, folder / "pieces.csv")
    assert held(folder) == Filled()
    assert "replacement.csv" not in listing(folder), "a list of nothing would mislead"


def test_a_list_that_a_spreadsheet_saved_again_brings_back_nothing(folder: Path) -> None:
    """Other ends of lines and figures, nothing written: the workbook's word is gone."""
    type_in_folder(folder, TYPED)
    list_folder(folder, folder / "pieces.xlsx")
    text = (folder / "pieces.csv").read_text().replace("13536.0", "13536").replace(",", ";")
    (folder / "pieces.csv").write_text(text)
    type_in_folder(folder, {4: {"state": None}})
    trace_again(folder)
    assert held(folder) == Filled({1: NEW})
    # All empty: rather a list that was cut down than one in which all was taken back.
    lines = [line.rsplit(",", 7)[0] for line in (folder / "pieces.csv").read_text().splitlines()]
    (folder / "pieces.csv").write_text("\n".join(lines))
    trace_again(folder)
    assert held(folder) == Filled({1: NEW})


def test_an_older_copy_does_not_undo_what_was_written_since(folder: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy.xlsx"
    copy.write_bytes(typed_into((folder / "pieces.xlsx").read_bytes(), {4: {"state": "broken"}}))
    type_in_folder(folder, TYPED)
    done = list_folder(folder, copy)
    assert done.merged.filled == Filled({1: NEW, 4: Entry(State.BROKEN)})
    assert done.merged.changed == ((4, "state", "cracked", "broken"),)
    assert (1, "glass") in done.merged.kept


def test_workbook_and_list_both_written_on(folder: Path) -> None:
    type_in_folder(folder, TYPED)
    list_folder(folder, folder / "pieces.xlsx")
    type_in_folder(folder, {2: {"remark": "from the workbook"}, 4: {"remark": "one"}})
    lines = (folder / "pieces.csv").read_text().splitlines()
    lines[3] = f"{lines[3]}from the list"
    lines[4] = f"{lines[4]}one"
    (folder / "pieces.csv").write_text("\n".join(lines))
    trace_again(folder)
    found = held(folder).entries
    assert found[2].remark == "from the workbook"
    assert found[3].remark == "from the list"
    type_in_folder(folder, {4: {"remark": "this"}})
    edit_list(folder, "cracked,,,,,,one", "cracked,,,,,,that")
    before = listing(folder)
    with pytest.raises(InputUnreadable, match="both filled in and differ: piece 4, remark"):
        trace_again(folder)
    assert listing(folder) == before
    list_folder(folder, folder / "pieces.csv")
    assert held(folder).entries[4].remark == "that"


def test_an_old_copy_that_knows_a_piece_joined_away(folder: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy.xlsx"
    copy.write_bytes(typed_into((folder / "pieces.xlsx").read_bytes(), TYPED))
    correct(folder, JOIN)
    done = list_folder(folder, copy)
    assert done.vanished == (Vanished(4, Entry(State.CRACKED)),)
    assert done.doubts and "piece 3" in done.doubts[0], "3 has grown since the copy was made"
    book = load_workbook(io.BytesIO((folder / "pieces.xlsx").read_bytes()))
    assert book["vanished"].cell(2, 1).value == 4


def test_a_folder_from_before_has_no_workbook(folder: Path) -> None:
    (folder / "pieces.xlsx").unlink()
    (folder / "pieces.csv").write_text("number,rectangle_width_mm\n1,2.0\n")
    trace_again(folder)
    assert held(folder) == Filled()


def test_a_sheet_of_glass_in_another_unit_gets_the_form_back(folder: Path) -> None:
    result = run("lists", folder, "--pieces", folder / "pieces.xlsx", "--glass-sheet", "24x36")
    refused(result, 2, "--glass-sheet '24x36' is 24 x 36 mm", "write --glass-sheet 24x36in")
    result = run("lists", folder, "--pieces", folder / "pieces.xlsx", "--glass-sheet", "24, 36 in")
    refused(result, 2, "--glass-sheet: cannot read", "write it as 24x36in")


def test_the_flags_of_all_commands(folder: Path) -> None:
    type_in_folder(folder, TYPED)
    sheet = folder / "pieces.xlsx"
    result = run("lists", folder, "--pieces", sheet, "--units", "in", "--strict", "--quiet")
    findings = json.loads((folder / "panel.json").read_text(encoding="utf-8"))["findings"]
    assert result.returncode == (8 if findings else 0)
    assert "blank_width_in" in (folder / "replacement.csv").read_text(encoding="utf-8")
