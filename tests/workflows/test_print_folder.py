"""A folder printed again: other paper, another printer, mirrored; all else stays."""

from __future__ import annotations

import json
from pathlib import Path

import pymupdf
import pytest

from rubbing2pattern import correct_folder, list_folder, redraw_folder
from rubbing2pattern.documents import write_documents
from rubbing2pattern.errors import InputUnreadable, UsageFault
from rubbing2pattern.inputs.corrections import corrections_from
from tests.glazing.sheets import FOUR, type_in_folder
from tests.running import listing, refused, run_here as run
from tests.workflows.written_on import COARSE, JOIN, PROVENANCE, RUBBING, TYPED

MM_PER_POINT = 25.4 / 72.0


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a folder that was corrected and written on, without tiles."""
    place = tmp_path / "n4 3b"
    place.mkdir()
    write_documents(place, FOUR, RUBBING, PROVENANCE, COARSE.documents, COARSE.paper)
    type_in_folder(place, {1: TYPED[1]})
    correct_folder(place, corrections_from(JOIN.encode()))
    list_folder(place, place / "pieces.xlsx")
    return place


def pages_mm(path: Path) -> list[tuple[int, int]]:
    with pymupdf.open(path) as book:  # type: ignore[no-untyped-call]
        sizes_pt = [(page.rect.width, page.rect.height) for page in book]
    return sorted({(round(w * MM_PER_POINT), round(h * MM_PER_POINT)) for w, h in sizes_pt})


def texts(path: Path) -> str:
    with pymupdf.open(path) as book:  # type: ignore[no-untyped-call]
        return " ".join(page.get_text() for page in book)


def without(record: bytes, *names: str) -> dict[str, object]:
    datum: dict[str, object] = json.loads(record)
    options = datum["provenance"]["settings"]  # type: ignore[index]
    for name in names:
        options.pop(name, None)
    return datum


def test_other_paper_and_a_printer_that_is_not_true(folder: Path) -> None:
    before = listing(folder)
    result = run("redraw", folder, "--paper", "Letter,A3", "--print-scale", "100.3mm,99.8mm")
    assert result.returncode == 0, result.stderr
    for words in ("3 pieces, 1 correction", "Letter, A3", "1.003 x 0.998, before 1 x 1"):
        assert words in result.stdout
    after = listing(folder)
    assert {"pattern-Letter.pdf", "pattern-A3.pdf"} == {*after} - {*before}
    for name, size in (("pattern-Letter.pdf", (216, 279)), ("pattern-A3.pdf", (297, 420))):
        assert {tuple(sorted(page)) for page in pages_mm(folder / name)} == {size}
        assert "1.003" in texts(folder / name) and "0.998" in texts(folder / name)
    # Whatever is not for the printer stays to the byte; the panel in the record as well.
    for_printer = ("pattern-", "templates.pdf")
    with_options = ("panel.json", "report.html")  # They say which options a folder was made with.
    same = [name for name in before if not name.startswith((*for_printer, *with_options))]
    assert {"pattern.pdf", "corrections-1.toml", "pieces.csv", "strips.csv"} <= {*same}
    assert [name for name in same if after[name] != before[name]] == []
    names = ("paper.papers", "paper.print_across", "paper.print_up")
    assert without(after["panel.json"], *names) == without(before["panel.json"], *names)
    assert after["templates.pdf"] != before["templates.pdf"], "templates are printed as well"


def test_mirrored_and_back_again(folder: Path) -> None:
    before = listing(folder)
    result = run("redraw", folder, "--mirrored", "--json")
    summary = json.loads(result.stdout)
    assert summary["mirrored"] is True and summary["papers"] == [] and summary["corrections"] == 1
    assert "MIRRORED" in texts(folder / "pattern.pdf")
    mirrored = listing(folder)
    for name in ("pieces.csv", "strips.csv", "overlay.png", "templates.svg"):
        assert mirrored[name] == before[name], f"{name} is never mirrored"
    # What is not given stays: other paper, still mirrored.
    run("redraw", folder, "--paper", "A4")
    assert "MIRRORED" in texts(folder / "pattern-A4.pdf")
    result = run("redraw", folder, "--as-rubbed", "--paper", "none")
    assert "as rubbed, before mirrored" in result.stdout
    assert listing(folder) == before


def test_what_was_typed_since_and_a_further_correction(folder: Path) -> None:
    """A print keeps what nobody gave to `lists` yet, and corrections go on after it."""
    type_in_folder(folder, {2: {"remark": "look again"}})
    redraw_folder(folder, papers="A4", mirrored=True)
    assert b"look again" in (folder / "pieces.csv").read_bytes()
    head = b'by = "B. Leader"\ndate = 2026-11-26\n'
    more = corrections_from(head + b"[[renumber]]\npiece = 2\nnumber = 9\n")
    correct_folder(folder, more)
    after = listing(folder)
    assert {"corrections-1.toml", "corrections-2.toml", "pattern-A4.pdf"} <= {*after}
    assert "MIRRORED" in texts(folder / "pattern-A4.pdf")


def test_settings_of_the_print_are_kept(folder: Path) -> None:
    redraw_folder(folder, papers="A4", settings=["paper.overlap_mm=20", "documents.units=in"])
    options = json.loads((folder / "panel.json").read_text())["provenance"]["settings"]
    assert options["paper.overlap_mm"] == 20.0 and options["documents.units"] == "in"
    assert "rectangle_width_in" in (folder / "pieces.csv").read_text()


def test_refusals_touch_nothing(folder: Path, tmp_path: Path) -> None:
    before = listing(folder)
    refused(run("redraw", folder), 2, "nothing to redraw")
    refused(run("redraw", folder, "--paper", "A5"), 2, "too small for tiles")
    refused(run("redraw", folder, "--print-scale", "2x2"), 2, "must lie from 0.95")
    refused(run("redraw", folder, "--set", "lead.margin_mm=3"), 2, "not an option of redrawing")
    refused(run("redraw", folder, "--set", "paper.overlap_mm=4"), 2, "paper.overlap_mm=4")
    refused(run("redraw", tmp_path / "none", "--paper", "A4"), 3, "panel.json")
    assert listing(folder) == before
    type_in_folder(folder, {1: {"state": "odd"}})
    before = listing(folder)
    with pytest.raises(InputUnreadable, match="'odd'"):
        redraw_folder(folder, papers="A4")
    with pytest.raises(UsageFault, match=r"paper\.papers"):
        redraw_folder(folder, settings=["paper.papers=B4"])
    assert listing(folder) == before


def test_the_former_name_of_the_command_works_and_warns(folder: Path) -> None:
    now = run("redraw", folder, "--paper", "A3", "--json")
    former = run("print", folder, "--paper", "A3", "--json")
    assert now.returncode == former.returncode == 0
    assert former.stdout == now.stdout
    assert now.stderr == ""
    assert "warning: the command print is called redraw now" in former.stderr
    assert "  print" not in run("--help").stdout
    assert run("help", "print").stdout == run("help", "redraw").stdout
    assert "--print-scale" in run("help", "print").stdout


def test_the_flags_of_all_commands(folder: Path) -> None:
    result = run("redraw", folder, "--units", "in", "--strict", "--quiet", "--json")
    summary = json.loads(result.stdout)
    findings = json.loads((folder / "panel.json").read_text(encoding="utf-8"))["findings"]
    assert result.returncode == (8 if findings else 0)
    assert summary["papers"] == []
    assert "rectangle_width_in" in (folder / "pieces.csv").read_text(encoding="utf-8")


def test_templates_follow_the_paper_last_asked_for(folder: Path) -> None:
    for paper, size in (("A3", [297, 420]), ("Letter", [216, 279])):
        assert run("redraw", folder, "--paper", paper).returncode == 0
        assert [sorted(page) for page in pages_mm(folder / "templates.pdf")] == [size]
