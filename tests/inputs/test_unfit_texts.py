"""Texts from people with what no page shows: refused with file, field and cure, never printed."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from rubbing2pattern import RubbingError, correct_folder, redraw_folder
from rubbing2pattern.collection.stamps import Stamp, State, read_stamp, write_stamp
from rubbing2pattern.documents import write_documents
from rubbing2pattern.errors import InputUnreadable, OutputNotWritten, UsageFault
from rubbing2pattern.inputs.about import About, dublin_core, read_about
from rubbing2pattern.inputs.calipers import parse_calipers
from rubbing2pattern.inputs.collection_list import read_rows
from rubbing2pattern.inputs.corrections import corrections_from
from rubbing2pattern.inputs.reference import read_marks
from rubbing2pattern.matching.known import read_known
from rubbing2pattern.record.panel import record_from_text
from tests.correcting.making import HEAD
from tests.glazing.sheets import FOUR, documents, read, typed_into
from tests.running import run_here
from tests.workflows.written_on import COARSE, JOIN, PROVENANCE, RUBBING

BELL, OVERRIDE = "\\u0007", "\\u202e"
"""As TOML and JSON write them."""
RAW = ("\a", "\x1b", "\u202e")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    place = tmp_path / "n4 3b"
    place.mkdir()
    write_documents(place, FOUR, RUBBING, PROVENANCE, COARSE.documents, COARSE.paper)
    return place


def refused(reader: Callable[[], Any], *words: str) -> None:
    with pytest.raises(RubbingError) as caught:
        reader()
    said = str(caught.value)
    assert not any(sign in said for sign in RAW), ascii(said)
    for word in words:
        assert word in said, said


@pytest.mark.parametrize("name", About.model_fields)
def test_a_description_is_refused_by_its_field(tmp_path: Path, name: str) -> None:
    path = tmp_path / "about.toml"
    path.write_text(f'{name} = "a{BELL}b"\n', encoding="utf-8")
    refused(lambda: read_about(path), "about.toml", name, "character 2 is U+0007", "delete it")


def test_no_description_makes_metadata_that_no_reader_takes() -> None:
    with pytest.raises(ValueError, match="U\\+0007"):
        dublin_core(About(place="a\u0007b"), ["n4 3b"], ["inside"])


@pytest.mark.parametrize("escape", [BELL, OVERRIDE, "\\u001b[2J", "\\ufffe"])
@pytest.mark.parametrize(
    ("form", "where"),
    [
        ('by = "{}"\ndate = 2026-11-25\n[[join_pieces]]\npieces = [1, 2]', "line 1, by"),
        (HEAD + 'remark = "{}"\n[[join_pieces]]\npieces = [1, 2]', "line 3, remark"),
        (HEAD + '[[dismiss]]\nname = "F1"\nwhy = "{}"', "line 5, dismiss 1, why"),
    ],
)
def test_a_correction_is_refused_by_line_and_field(escape: str, form: str, where: str) -> None:
    text = form.format(f"a {escape}")
    refused(lambda: corrections_from(text.encode(), "c.toml"), "c.toml", where, "delete it")


def test_who_corrects_is_one_line() -> None:
    text = HEAD.replace("A. Glazier", "A.\\nGlazier") + "[[join_pieces]]\npieces = [1, 2]"
    refused(lambda: corrections_from(text.encode()), "by", "must be one line")


@pytest.mark.parametrize(
    "date", ["2026-11-25\\n", "2026-11-25\\nx = 1", "2026-11-25 # a", "2026-11", "2026-02-30"]
)
def test_a_date_is_a_day_and_nothing_else(date: str) -> None:
    text = f'by = "A. Glazier"\ndate = "{date}"\n[[join_pieces]]\npieces = [1, 2]'
    refused(lambda: corrections_from(text.encode()), "line 2, date", "is not a date")


def test_the_same_dismissed_a_thousand_times_is_refused() -> None:
    table = '[[dismiss]]\ncode = "free-end"\nat = [1, 2]\nwhy = "a strap"\n'
    other = table.replace("[1, 2]", "[5, 2]")
    assert len(corrections_from((HEAD + table + other).encode()).corrections.dismiss) == 2
    refused(
        lambda: corrections_from((HEAD + other + table * 1000).encode(), "c.toml"),
        "c.toml, line 11, dismiss 3: it dismisses the same as dismiss 2; delete this table",
    )


@pytest.mark.parametrize(
    ("command", "text"),
    [
        ("correct", f'{HEAD}"x{BELL}\\u001b[2J{OVERRIDE}" = 1\n'),
        ("correct", f'{HEAD}[[dismiss]]\n"x{OVERRIDE}" = 1\n'),
        ("correct", f"{HEAD}remark = x\u202ey\n"),
        ("archive", f'"x{BELL}\\u001b[2J{OVERRIDE}" = 1\n'),
    ],
)
def test_an_unknown_key_is_never_printed_raw(
    folder: Path, tmp_path: Path, command: str, text: str
) -> None:
    path = tmp_path / "said.toml"
    path.write_text(text, encoding="utf-8")
    words = {
        "correct": ["correct", folder, path],
        "archive": ["archive", folder, "--about", path, "-o", tmp_path / "bag"],
    }
    done = run_here(*words[command])
    assert done.returncode in (2, 3), done.stderr
    assert "said.toml" in done.stderr
    assert not any(sign in done.stderr + done.stdout for sign in RAW)


@pytest.mark.parametrize("word", ["--\x1b[2J", "\u202e"])
def test_what_is_typed_wrongly_is_never_printed_raw(word: str) -> None:
    done = run_here("trace", word)
    assert done.returncode != 0
    assert not any(sign in done.stderr for sign in RAW)


def test_lists_of_marks_widths_and_numbers_are_refused_by_line_and_column(tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    lines = [f"{k * 10},{k * k},{k * 100},{k * k},m\u202e{k}" for k in range(4)]
    path.write_text("\n".join(["pixel_x,pixel_y,x_mm,y_mm,name", *lines]), encoding="utf-8")
    refused(lambda: read_marks(path), "list.csv, line 2, column name", "U+202E")
    path.write_text("came,width_mm\nC1\a,6\n", encoding="utf-8")
    refused(lambda: parse_calipers([str(path)]), "list.csv, line 2, column came", "U+0007")
    path.write_text("piece,number,photo\nP1,6,\x1b.jpg\n", encoding="utf-8")
    refused(lambda: read_known(path), "list.csv, line 2, column photo", "U+001B")
    named = tmp_path / "a\a.csv"
    named.write_text("came,width_mm\nC1,6\n", encoding="utf-8")
    refused(lambda: parse_calipers([str(named)]), "name of the file", "another name")


def test_rows_of_a_collection_fail_alone_by_their_column(tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    path.write_text("file,dpi,note\na.png,200,fine\nb.png,200,x\u202e\n", encoding="utf-8")
    good, bad = read_rows(path)
    assert good.fault is None
    assert isinstance(bad.fault, UsageFault)
    assert "the column note: character 2 is U+202E" in str(bad.fault)


@pytest.mark.parametrize("number", [f"0x{'f' * 5000}", f"0b{'1' * 20_000}", "10_000_000_000"])
def test_a_huge_number_in_a_job_file_is_refused_by_its_key(tmp_path: Path, number: str) -> None:
    job = tmp_path / "a.toml"
    job.write_text(f'file = "a.png"\ndpi = {number}\n', encoding="utf-8")
    (row,) = read_rows(tmp_path)
    assert row.fault is not None
    assert str(row.fault) == f"{job}, dpi: the number is larger than 1000000000"


def test_what_is_remembered_of_a_row_is_not_trusted_with_such_a_text(tmp_path: Path) -> None:
    stamp = Stamp(key="", panel="n4", image="a.png", state=State.FAILED, exit_code=3, reason="x")
    write_stamp(tmp_path / "good.json", stamp)
    assert read_stamp(tmp_path / "good.json") == stamp
    write_stamp(tmp_path / "bad.json", stamp.model_copy(update={"reason": "x\x1b[2J"}))
    assert read_stamp(tmp_path / "bad.json") is None


@pytest.mark.parametrize("column", ["glass", "remark"])
def test_a_cell_of_the_sheet_is_refused_by_row_and_column(column: str) -> None:
    book = typed_into(documents()["pieces.xlsx"], {2: {column: "ruby\u202e"}})
    refused(lambda: read(book), "row 3", f"({column}): character 5 is U+202E", "delete it")


@pytest.mark.parametrize("sign", RAW)
def test_a_record_is_refused_by_the_field(folder: Path, sign: str) -> None:
    text = (folder / "panel.json").read_text(encoding="utf-8")
    for change, where in (
        (lambda d: d["scale"].update(statement=f"a{sign}"), "scale.statement"),
        (lambda d: d["provenance"].update(x=[{f"b{sign}": 1}]), "provenance.x.0.b"),
        (lambda d: d["cames"][2].update(stock=f"{sign}"), "cames.2.stock"),
    ):
        datum = json.loads(text)
        change(datum)
        changed = json.dumps(datum)
        refused(lambda t=changed: record_from_text(t, "panel.json"), "panel.json", where, "U+")


@pytest.mark.parametrize("name", ["", " ", "a\nb", "a\u200bb", "a\u202e"])
def test_a_record_has_a_name_that_a_panel_may_have(folder: Path, name: str) -> None:
    datum = json.loads((folder / "panel.json").read_text(encoding="utf-8"))
    datum["panel"]["name"] = name
    refused(lambda: record_from_text(json.dumps(datum), "panel.json"), "panel.name")


@pytest.mark.parametrize("file", ["../../x.toml", "/x.toml", "corrections-0.toml", "panel.json"])
def test_a_tampered_record_writes_nothing_outside_its_folder(folder: Path, file: str) -> None:
    """The file that it names is there, and has the checksum that it states."""
    correct_folder(folder, corrections_from(JOIN.encode()))
    outside = folder.parent / "x.toml"
    outside.write_bytes(JOIN.encode())
    path = folder / "panel.json"
    datum = json.loads(path.read_text(encoding="utf-8"))
    datum["corrections"][0]["file"] = file
    path.write_text(json.dumps(datum), encoding="utf-8")
    before = sorted(p.relative_to(folder.parent) for p in folder.parent.rglob("*"))
    with pytest.raises((InputUnreadable, OutputNotWritten), match=r"corrections\.0\.file"):
        redraw_folder(folder, mirrored=True)
    assert sorted(p.relative_to(folder.parent) for p in folder.parent.rglob("*")) == before
