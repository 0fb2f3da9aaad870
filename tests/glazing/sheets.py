"""Sheets of pieces made, filled in and spoilt, for the tests of reading them back."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from openpyxl import Workbook, load_workbook

from rubbing2pattern.documents.document import files_of
from rubbing2pattern.documents.registry import DOCUMENTS
from rubbing2pattern.documents.source import Glazing, source_of
from rubbing2pattern.glazing.check import Checked, filled_from
from rubbing2pattern.glazing.columns import of_heading
from rubbing2pattern.glazing.entries import LATER, NOTHING_TYPED, TYPED, Filled
from rubbing2pattern.glazing.table import read_book
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.options.glass import GlassOptions
from tests import nets
from tests.correcting.making import panel_from

METRIC = DocumentOptions()
INCHES = DocumentOptions(units="in")
FOUR = panel_from(nets.two_by_two().net())
"""Four pieces of 100 by 150 mm: 1 and 2 above, 3 and 4 below."""
AREAS = {piece.number: piece.cut_area_mm2 for piece in FOUR.pieces}
OF_GLASS = [
    document
    for document in DOCUMENTS
    if document.name.startswith(("pieces.", "replacement.", "kiln.", "templates."))
]
HEADS = ("number", *(name for name in TYPED if name not in LATER))
"""A sheet from before: the later columns may be missing."""


def documents(
    filled: Filled = NOTHING_TYPED,
    options: DocumentOptions = METRIC,
    panel: Panel = FOUR,
    **glass: Any,
) -> dict[str, bytes]:
    glazing = Glazing(filled, GlassOptions(**glass))
    source = source_of(panel, None, {}, options, glazing=glazing)
    return files_of(OF_GLASS, replace(source, panel=panel))


def read(content: bytes, **how: Any) -> Checked:
    given: dict[str, Any] = {"options": GlassOptions()} | how
    return filled_from(read_book(content, "sheet"), "sheet", AREAS, **given)


def column_of(sheet: Any, name: str) -> int:
    """Return the number of a column by its name."""
    for cell in sheet[1]:
        meant = of_heading(str(cell.value))
        if meant is not None and meant[0] == name:
            return int(cell.column)
    raise LookupError(name)


def typed_into(content: bytes, cells: Mapping[int, Mapping[str, Any]]) -> bytes:
    """Fill in a workbook as a spreadsheet does: by piece and column.

    A text stays a text, as in a column that is formatted so; a `Formula` is one.
    """
    book = load_workbook(io.BytesIO(content))
    sheet = book["pieces"]
    rows = {sheet.cell(k, 1).value: k for k in range(2, sheet.max_row + 1)}
    for number, given in cells.items():
        for name, value in given.items():
            put(sheet, rows[number], column_of(sheet, name), value)
    return saved(book)


class Formula(str):
    """A text that goes into the workbook as a formula."""


def put(sheet: Any, row: int, column: int, value: Any) -> None:
    cell = sheet.cell(row, column)
    cell.value = value
    if isinstance(value, str) and not isinstance(value, Formula) and value:
        cell.data_type = "s"


def saved(book: Any) -> bytes:
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def small_book(*rows: tuple[Any, ...], heads: tuple[str, ...] = HEADS) -> bytes:
    """Make a workbook of a few rows by hand; every piece that no row names is left out."""
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = "pieces"
    for k, row in enumerate((heads, *rows), start=1):
        for c, value in enumerate(row, start=1):
            put(sheet, k, c, value)
    return saved(book)


def small_list(*rows: tuple[Any, ...], heads: tuple[str, ...] = HEADS, sep: str = ",") -> bytes:
    stream = io.StringIO()
    csv.writer(stream, delimiter=sep).writerows([heads, *rows])
    return stream.getvalue().encode()


def type_in_folder(folder: Path, cells: Mapping[int, Mapping[str, Any]]) -> None:
    path = folder / "pieces.xlsx"
    path.write_bytes(typed_into(path.read_bytes(), cells))
