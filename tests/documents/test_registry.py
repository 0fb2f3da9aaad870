"""The table of documents against the files that are written."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable
from dataclasses import replace
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
from PIL import Image

from rubbing2pattern.collection.stamps import Figures, LeadSum, Outcome, Stamp, State
from rubbing2pattern.collection.totals import totals_of
from rubbing2pattern.documents import document_files, write_documents
from rubbing2pattern.documents.archive import ARCHIVE_DOCUMENTS
from rubbing2pattern.documents.collection import COLLECTION_DOCUMENTS, Collected
from rubbing2pattern.documents.comparison import COMPARISON_DOCUMENTS
from rubbing2pattern.documents.describe import FOLDERS
from rubbing2pattern.documents.document import Document, document_of, files_of, known_columns
from rubbing2pattern.documents.formats.raster import png_of
from rubbing2pattern.documents.kept_rubbing import KeptRubbing
from rubbing2pattern.documents.matches import MATCH_DOCUMENTS, match_documents
from rubbing2pattern.documents.registry import DOCUMENTS, OWN_NAMES
from rubbing2pattern.documents.source import Glazing
from rubbing2pattern.geometry.frame import Frame
from rubbing2pattern.glazing.entries import Action, Decoration, Entry, Filled
from rubbing2pattern.options import Options
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.options.paper import PaperOptions
from rubbing2pattern.output import write_files
from rubbing2pattern.units import Unit
from rubbing2pattern.workflows.archive import archive_folders, verify_bag
from rubbing2pattern.workflows.compare import compare_panels, write_comparison
from rubbing2pattern.workflows.printing import redraw_folder
from tests import panels
from tests.documents.matched import matching, with_pattern

PANEL = panels.two_by_two()
FILLED = Filled({1: Entry(action=Action.REPLACE, decoration=(Decoration.PAINTED,))})
COPIES = {
    "corrections-1.toml": b"by = 'A. Glazier'\n", "corrections-2.toml": b"",
    "uncorrected.json": b"{}",
}  # fmt: skip
ROWS = {
    "piece": len(PANEL.pieces),
    "came": len(PANEL.cames),
    "stock width": len({came.stock for came in PANEL.cames}),
    "piece to be replaced": 1,
    "firing": 1,
}
"""How many rows a list of the panel has, by what has a row of its own."""


def rows_of(content: bytes) -> list[list[str]]:
    return list(csv.reader(io.StringIO(content.decode())))


def files_in(unit: Unit) -> dict[str, bytes]:
    """Write every document of a panel: glass to replace, paint, a rubbing, corrections."""
    grey = np.full((460, 360), 255, dtype=np.uint8)
    png = png_of(Image.fromarray(grey), 1.0)
    rubbing = KeptRubbing(Frame(1.0, -30.0, 430.0, 360, 460), grey, png)
    options, glazing = DocumentOptions(units=unit), Glazing(FILLED)
    return document_files(
        PANEL, rubbing, provenance(unit), options, PaperOptions(), glazing, copies=COPIES
    )


def provenance(unit: Unit) -> dict[str, Any]:
    options = {"documents.units": "in"} if unit == "in" else {}
    return {"program": {"name": "rubbing2pattern", "version": "0"}, "options": options}


@pytest.fixture(scope="module", params=["mm", "in"])
def unit(request: pytest.FixtureRequest) -> Unit:
    found: Unit = request.param
    return found


@pytest.fixture(scope="module")
def files(unit: Unit) -> dict[str, bytes]:
    return files_in(unit)


@pytest.fixture(scope="module")
def package(files: dict[str, bytes], tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("package")
    (place / "n4 3b").mkdir()
    write_files(files, place / "n4 3b", place / "n4 3b")
    archive_folders([place / "n4 3b"], place / "bag")
    return place / "bag" / "data"


def test_every_row_is_written_and_every_file_has_a_row(files: dict[str, bytes]) -> None:
    for document in DOCUMENTS:
        assert any(fnmatchcase(name, document.name) for name in files), document.name
    for name in files:
        assert [d.name for d in DOCUMENTS if fnmatchcase(name, d.name)] != [], name
        assert any(fnmatchcase(name, own) for own in OWN_NAMES), name
    assert {*COPIES} <= {*files}


def test_what_is_not_due_is_not_written() -> None:
    files = document_files(PANEL, None, {}, DocumentOptions(), PaperOptions(papers=()))
    missing = {d.name for d in DOCUMENTS if not any(fnmatchcase(n, d.name) for n in files)}
    assert missing == {
        "pattern-*.pdf", "overlay.png", "rubbing.png", "replacement.xlsx", "replacement.csv",
        "kiln.csv", "templates.pdf", "templates.svg", "templates.dxf", "corrections-*.toml",
        "uncorrected.json",
        "condition.pdf", "condition.svg",
    }  # fmt: skip


def test_each_row_can_be_read_by_itself() -> None:
    """In the package and in the report rows come in another order, or alone."""
    for _, documents in FOLDERS:
        assert len({document.name for document in documents}) == len(documents)
        for document in documents:
            assert document.purpose, document.name
            assert not re.search(r"the same|above|below", document.purpose), document.name
            assert document.name.endswith(".csv") == bool(document.columns and document.each)


def check_list(document: Document[Any], content: bytes, unit: Unit) -> None:
    """Check that a list has the columns that the table gives, in every row."""
    heads, *rows = rows_of(content)
    assert heads == [column.heading(unit) for column in document.columns], document.name
    assert len({*heads}) == len(heads)
    assert {len(row) for row in rows} <= {len(heads)}, document.name


def test_lists_of_a_panel_are_what_the_table_says(files: dict[str, bytes], unit: Unit) -> None:
    for document in DOCUMENTS:
        if document.columns:
            check_list(document, files[document.name], unit)
            rows = rows_of(files[document.name])[1:]
            assert len(rows) == ROWS.get(document.each, len(rows)), document.name
    assert {*ROWS} <= {document.each for document in DOCUMENTS}


def test_lists_of_matches_and_comparisons_are_what_the_table_says(
    unit: Unit, tmp_path: Path
) -> None:
    options = DocumentOptions(units=unit)
    found = compare_panels(PANEL, PANEL)
    write_comparison(found, tmp_path / "out", options=Options(documents=options))
    files = {path.name: path.read_bytes() for path in (tmp_path / "out").iterdir()}
    files |= match_documents(with_pattern(matching()), options)
    for document in (*MATCH_DOCUMENTS, *COMPARISON_DOCUMENTS):
        assert any(fnmatchcase(name, document.name) for name in files), document.name
        if document.columns:
            check_list(document, files[document.name], unit)


def test_lists_of_a_collection_are_what_the_table_says(unit: Unit) -> None:
    lead = LeadSum(
        stock="5 mm", stock_mm=5.0, profile="flat", length_mm=900.0, sticks=1, lead_kg=0.5
    )
    sizes = {"width_mm": 300.0, "height_mm": 400.0, "pieces": 4, "glass_mm2": 1e5}
    figures = Figures(**sizes, lead=(lead,), findings={"check": 2})
    done = Stamp(
        key="", panel="n4 3b", image="a.png", state=State.DONE, exit_code=0, figures=figures
    )
    failed = Stamp(
        key="", panel="n4 3c", image="b.png", state=State.FAILED, exit_code=3, reason="no picture"
    )
    outcomes = (Outcome(1, "n4 3b", done), Outcome(2, "n4 3c", failed))
    collected = Collected(outcomes, totals_of(outcomes), DocumentOptions(units=unit))
    files = files_of(COLLECTION_DOCUMENTS, collected)
    assert [*files] == [document.name for document in COLLECTION_DOCUMENTS]
    for document in COLLECTION_DOCUMENTS:
        if document.columns:
            check_list(document, files[document.name], unit)
            assert len(rows_of(files[document.name])) == 3


def described_lists(readme: str) -> dict[str, list[str]]:
    """Read what a package says of its lists: the headings of each, by the file's name."""
    found: dict[str, list[str]] = {}
    section = readme.split("COLUMNS OF THE LISTS\n")[1].split("Lead is poisonous")[0]
    for part in section.split("\n\n"):
        name, *lines = part.strip("\n").split("\n")
        if ": a row for each" in name:
            found[name.split(":")[0]] = [
                line.split()[0] for line in lines if re.match(r"  \S", line)
            ]
    return found


def test_what_a_package_says_of_its_lists_is_in_them(package: Path) -> None:
    described = described_lists((package / "README.txt").read_text(encoding="utf-8"))
    lists = {path.name: rows_of(path.read_bytes())[0] for path in package.rglob("*.csv")}
    assert described == lists
    assert set(lists) == {d.name for d in (*DOCUMENTS, *ARCHIVE_DOCUMENTS) if d.columns}


def test_an_older_folder_s_list_is_described_as_what_it_is(
    files: dict[str, bytes], unit: Unit, tmp_path: Path
) -> None:
    """``cames.csv`` was the name of the lead by width once; a package may hold both kinds."""
    for name in ("n4 3b", "n4 3c"):
        record = replace(PANEL, name=name)
        folder = tmp_path / name
        folder.mkdir()
        options = DocumentOptions(units=unit)
        write_documents(folder, record, None, provenance(unit), options)
    older = tmp_path / "n4 3b"
    (older / "lead-widths.csv").rename(older / "cames.csv")
    archive_folders([older, tmp_path / "n4 3c"], tmp_path / "bag")
    readme = (tmp_path / "bag" / "data" / "README.txt").read_text(encoding="utf-8")
    assert "cames.csv of data/n4 3b/: a row for each stock width\n  letter " in readme
    assert "cames.csv of data/n4 3c/: a row for each came\n  came " in readme
    assert re.search(r"n4 3b/\n\n  cames.csv +the lead by width", readme)
    assert re.search(r"n4 3c/\n\n  cames.csv +the cames: ends", readme)
    assert verify_bag(tmp_path / "bag").faults == ()


@pytest.mark.parametrize(
    "spoilt",
    [
        lambda content: content.replace(b",", b";"),
        lambda content: b"\xef\xbb\xbf" + content.replace(b"\r\n", b"\n"),
        lambda content: content.partition(b"\n")[0] + b"\n" + b"x" * 200_000,
    ],
)
def test_a_list_is_known_however_a_person_saved_it(spoilt: Callable[[bytes], bytes]) -> None:
    files = document_files(PANEL, None, {}, DocumentOptions())
    for name in ("cames.csv", "pieces.csv"):
        document = document_of(DOCUMENTS, name, spoilt(files[name]))
        assert document is not None and document.name == name
        heads = [head for head, _ in known_columns(document, spoilt(files[name]))]
        assert heads == rows_of(files[name])[0]
    assert document_of(DOCUMENTS, "notes.txt", b"mine") is None
    pieces = document_of(DOCUMENTS, "pieces.csv", b"\x00\xff")
    assert pieces is not None and known_columns(pieces, b"\x00\xff") == []


def test_an_older_folder_is_written_anew_with_both_lists(tmp_path: Path) -> None:
    folder = tmp_path / "n4 3b"
    folder.mkdir()
    write_documents(folder, PANEL, None, provenance("mm"), DocumentOptions())
    now = {path.name: path.read_bytes() for path in folder.iterdir()}
    (folder / "lead-widths.csv").rename(folder / "cames.csv")
    (folder / "notes.txt").write_text("mine")
    redraw_folder(folder, papers="A4")
    after = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert after.pop("notes.txt") == b"mine"
    assert {*after} == {*now}
    for name in ("cames.csv", "lead-widths.csv"):
        assert after[name] == now[name]


def test_the_report_lists_the_files_beside_it(files: dict[str, bytes]) -> None:
    page = ElementTree.fromstring(files["report.html"].decode().split("\n", 1)[1])
    (section,) = (s for s in page.iter("section") if s.get("id") == "files")
    rows = [["".join(cell.itertext()) for cell in row] for row in section.iter("tr")][1:]
    assert [name for name, _ in rows] == list(files)
    for name, purpose in rows:
        document = document_of(DOCUMENTS, name, files[name])
        assert document is not None
        assert purpose == document.purpose.replace("`", "")


ALL_DOCUMENTS = (
    *DOCUMENTS, *ARCHIVE_DOCUMENTS, *MATCH_DOCUMENTS, *COMPARISON_DOCUMENTS, *COLLECTION_DOCUMENTS
)  # fmt: skip


@pytest.mark.parametrize("document", ALL_DOCUMENTS, ids=lambda document: document.name)
def test_a_description_names_what_it_means(document: Document[Any]) -> None:
    """Out of its order "the same" means nothing: a list of files may be sorted otherwise."""
    for said in (document.purpose, *(column.holds for column in document.columns)):
        assert "the same" not in said, f"{document.name}: {said}"
    names = {other.name for other in ALL_DOCUMENTS} | {"rubbing.png"}
    for named in re.findall(r"`([\w-]+\.\w+)`", document.purpose):
        assert named in names, f"{document.name} names {named}, which there is not"
