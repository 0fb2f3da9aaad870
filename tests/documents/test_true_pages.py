"""What pages say of the columns of files, against the files and the readers.

`docs/documents.md` and the README of a package are made from the table of documents; tests of
pages and of the registry hold them to it. Here is what persons wrote: names in the running text,
tables of columns to fill in, forms of files that are read, and messages shown as examples.
"""

from __future__ import annotations

import io
import json
import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import fields, is_dataclass
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest
from openpyxl import load_workbook

from rubbing2pattern import model
from rubbing2pattern.documents.describe import FOLDERS
from rubbing2pattern.documents.document import Document
from rubbing2pattern.documents.registry import DOCUMENTS
from rubbing2pattern.errors import UsageFault
from rubbing2pattern.findings import Code, Severity
from rubbing2pattern.glazing.columns import of_heading
from rubbing2pattern.glazing.entries import TYPED, Action, Decoration, State
from rubbing2pattern.inputs.calipers import parse_calipers
from rubbing2pattern.inputs.collection_list import COLUMNS as COLLECTION, read_rows
from rubbing2pattern.inputs.correction_tables import Corrections, Table
from rubbing2pattern.inputs.reference import parse_reference
from rubbing2pattern.leading.strips import EndCut
from rubbing2pattern.matching.known import read_known
from rubbing2pattern.model import Corrected
from rubbing2pattern.options import Options
from rubbing2pattern.options.setting import with_settings
from rubbing2pattern.record.panel import record_of
from rubbing2pattern.units import Unit
from tests import panels
from tests.glazing.sheets import documents
from tests.running import ROOT

DOCS = ROOT / "docs"
PAGES = [ROOT / "README.md", *sorted(DOCS.glob("*.md"))]
UNITS: tuple[Unit, ...] = ("mm", "in")
NAMED = re.compile(r"`([a-z][a-z0-9_]*)`")
OF_A_UNIT = re.compile(r"\w_(?:mm|mm2|in|in2|kg|lb|deg|px|F|C)\Z")
OPTION = re.compile(r"(?<![\w/.-])([a-z]+\.[a-z][a-z0-9_]+)(?:=(\S*[^\s`.,;)\"]))?")
FORM = re.compile(r"`([a-z_]+(?:,[a-z_]+)+)`")
LIST = re.compile(r"(?<![\w/-])([a-z-]+\.csv)\b")
Found = Iterator[tuple[str, str]]


def on_pages(pattern: re.Pattern[str], pages: list[Path] = PAGES) -> Iterator[tuple[Any, str]]:
    """Yield what fits a pattern on any page, with its file and line."""
    for page in pages:
        for number, line in enumerate(page.read_text(encoding="utf-8").splitlines(), 1):
            for match in pattern.finditer(line):
                yield match, f"{page.relative_to(ROOT)}:{number}"


def table(page: str, heading: str) -> dict[str, str]:
    """Return the rows of the tables below a heading of a page: names, and the second cell."""
    part = (DOCS / page).read_text(encoding="utf-8").split(f"## {heading}\n")[1].split("\n## ")[0]
    rows = re.findall(r"^\| (`.+?) \| (.+?) \|", part, re.MULTILINE)
    return {name: said for cell, said in rows for name in re.findall(r"`([^`]+)`", cell)}


ALL_DOCUMENTS = [document for _, table in FOLDERS for document in table]


def headings(documents: Iterable[Document[Any]]) -> set[str]:
    """Return the headings of lists that the program writes, in both units and without them."""
    columns = [column for document in documents for column in document.columns]
    with_unit = {column.heading(unit) for unit in UNITS for column in columns}
    return with_unit | {column.name for column in columns}


def in_schemas() -> set[str]:
    """Return the names of all fields of the records that have a schema."""

    def names(part: Any) -> Iterator[str]:
        if isinstance(part, dict):
            yield from part.get("properties", {})
            for below in part.values():
                yield from names(below)
        elif isinstance(part, list):
            for below in part:
                yield from names(below)

    schemas = sorted(DOCS.glob("*.schema.json"))
    assert len(schemas) >= 3
    return {n for path in schemas for n in names(json.loads(path.read_text(encoding="utf-8")))}


def in_python() -> set[str]:
    """Return the names of the fields of the types of the model, for the page about Python."""
    types = [kind for kind in vars(model).values() if isinstance(kind, type)]
    return {f.name for kind in types if is_dataclass(kind) for f in fields(kind)}


def of_no_list() -> set[str]:
    """Return the names of fields of the record and of corrections, of options and of forms."""
    options = {name.split(".")[1] for name in Options().values()}
    kinds = (Corrections, *Table.__subclasses__())
    corrections = {name for kind in kinds for name in kind.model_fields}
    forms = {name for form in FORMS for name in form.split(",")}
    return in_schemas() | in_python() | options | corrections | forms | {*COLLECTION}


def test_every_name_with_a_unit_is_a_column_a_field_or_an_option() -> None:
    known = headings(ALL_DOCUMENTS) | of_no_list()
    wrong = [
        f"{where} names `{match[1]}`, which no file has"
        for match, where in on_pages(NAMED)
        if OF_A_UNIT.search(match[1]) and match[1] not in known
    ]
    assert not wrong, "\n".join(["", *wrong])


def test_a_column_on_a_page_is_one_of_the_lists_that_the_page_is_about() -> None:
    """A page is about the lists that send their readers to it and about those that it names."""
    anywhere, elsewhere = headings(ALL_DOCUMENTS), of_no_list()
    wrong, seen = [], 0
    for page in PAGES:
        said = page.read_text(encoding="utf-8")
        about = [d for d in ALL_DOCUMENTS if d.page == page.name or f"`{d.name}`" in said]
        here = headings(about)
        for match, where in on_pages(NAMED, [page]):
            seen += match[1] in here
            if match[1] in anywhere - here - elsewhere - {kind.value for kind in Corrected}:
                wrong.append(f"{where} names `{match[1]}`, a column of a list that it is not about")
    assert not wrong, "\n".join(["", *wrong])
    assert seen > 200


def test_the_cuts_of_an_end_are_those_on_the_page() -> None:
    assert [*table("lead-to-cut.md", "How an end is cut")] == ["cut", *EndCut]


def test_the_parts_of_the_record_are_those_on_the_page() -> None:
    record = record_of(panels.two_by_two(), {}).model_dump()
    form = {"format", "version", "units"}  # which are the same in every record
    assert {*table("figures.md", "The record")} == {*record} - form
    of_a_finding = {*table("figures.md", "Findings")} - {*Code} - {*Severity}
    assert of_a_finding == {*record["findings"][0]}


def test_every_option_on_a_page_is_one_and_takes_the_value_shown() -> None:
    groups = {name.split(".")[0] for name in Options().values()}
    files = {document.name for document in ALL_DOCUMENTS}
    wrong, seen = [], 0
    for match, where in on_pages(OPTION):
        name, value = match.groups()
        if name.split(".")[0] not in groups or name in files or name.endswith((".help", ".md")):
            continue
        seen += 1
        if name not in Options().values():
            wrong.append(f"{where} names the option {name}, which does not exist")
        elif value and not value.startswith(("VALUE", "…")):
            try:
                with_settings(Options(), [f"{name}={value}"])
            except UsageFault as fault:
                wrong.append(f"{where} shows {name}={value}: {fault}")
    assert not wrong, "\n".join(["", *wrong])
    assert seen > 20


def test_every_list_that_a_page_names_is_written_or_read() -> None:
    lists = {document.name for document in ALL_DOCUMENTS}
    lists |= {document.former for document in DOCUMENTS}
    given = {"marks.csv", "targets.csv", "drawer.csv", "calipers.csv", "known.csv"}
    named = {match[1]: where for match, where in on_pages(LIST)}
    assert {*named} <= lists | given, {n: w for n, w in named.items() if n not in lists | given}
    assert {name for name in lists if name.endswith(".csv")} <= {*named}


SQUARE = ((0, 0), (100, 0), (0, 100), (100, 100))
FORMS: dict[str, tuple[Callable[[Path], object], list[tuple[object, ...]]]] = {
    "pixel_x,pixel_y,x_mm,y_mm": (
        lambda path: parse_reference(marks=str(path)),
        [(x, y, x / 4, y / 4) for x, y in SQUARE],
    ),
    "id,x_mm,y_mm": (
        lambda path: parse_reference(targets=str(path)),
        [(k + 1, x, y) for k, (x, y) in enumerate(SQUARE)],
    ),
    "id_a,id_b,distance_mm": (
        lambda path: parse_reference(targets=str(path)),
        [(a, b, 100) for a, b in combinations((1, 2, 3, 4), 2)],
    ),
    "x_mm,y_mm,width_mm": (lambda path: parse_calipers([str(path)]), [(10, 20, 6.1)]),
    "came,width_mm": (lambda path: parse_calipers([str(path)]), [("C12", 6.1)]),
    "piece,number": (read_known, [("P4", 17)]),
    "pixel_x,pixel_y,number": (read_known, [(40, 50, 17)]),
}
"""The forms of files that a person writes, each with what reads it and some lines of it."""


def test_every_form_of_a_file_on_a_page_has_a_reader() -> None:
    shown = {match[1]: where for match, where in on_pages(FORM)}
    assert {*shown} == {*FORMS}, shown


@pytest.mark.parametrize("form", FORMS)
def test_a_file_written_as_a_page_says_is_read(form: str, tmp_path: Path) -> None:
    read, rows = FORMS[form]
    path = tmp_path / "given.csv"
    lines = [form, *(",".join(map(str, row)) for row in rows)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert read(path)
    path.write_text("\n".join([form.replace("m", "n"), *lines[1:]]), encoding="utf-8")
    with pytest.raises(UsageFault):
        read(path)


def test_the_columns_of_a_list_of_rubbings_are_those_on_the_page(tmp_path: Path) -> None:
    assert sorted(table("batch.md", "The list")) == sorted(COLLECTION)
    path = tmp_path / "drawer.csv"
    (example,) = re.findall(r"`([^`]+=[^`]+)`", table("batch.md", "The list")["set"])
    path.write_text(f"file,dpi,set,note\na.png,150,{example},mine\n", encoding="utf-8")
    (row,) = read_rows(path)
    assert row.fault is None and len(row.options.changed()) == len(example.split())


def test_the_columns_to_fill_in_and_their_words_are_those_on_the_page() -> None:
    said = table("glass-lists.md", "The columns to fill in")
    meant = [of_heading(name) for name in said]
    assert list(dict.fromkeys(m[0] for m in meant if m)) == [*TYPED]
    assert all(meant)
    assert said["state"] == ", ".join(state.value for state in State)
    assert said["action"].split("; ")[0] == ", ".join(action.value for action in Action)
    assert said["decoration"].startswith(", ".join(part.value for part in Decoration))


def test_the_letters_of_columns_in_messages_are_those_of_the_sheet() -> None:
    sheet = load_workbook(io.BytesIO(documents()["pieces.xlsx"]))["pieces"]
    letters = {}
    for cell in sheet[1]:
        meant = of_heading(str(cell.value))
        if meant:
            letters[meant[0]] = cell.column_letter
    shown = [*on_pages(re.compile(r"column ([A-Z]+) \((\w+)\)"))]
    assert shown
    for match, where in shown:
        assert letters[match[2]] == match[1], where


def test_the_sheets_that_a_page_names_are_in_the_workbook() -> None:
    book = load_workbook(io.BytesIO(documents()["pieces.xlsx"]))
    named = {match[1] for match, _ in on_pages(re.compile(r"\bsheet `(\w+)`"))}
    assert {"pieces", "measures"} <= named <= {*book.sheetnames, "vanished"}
