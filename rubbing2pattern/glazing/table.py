"""The raw cells of a sheet that someone filled in: a workbook or separated values.

Nothing is computed: a formula is distinguished from a text and never evaluated.
"""

from __future__ import annotations

import csv
import io
import re
import warnings
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from openpyxl import load_workbook
from openpyxl.utils import get_column_letter

from rubbing2pattern.errors import InputUnreadable
from rubbing2pattern.texts import without_marks

PIECES = "pieces"
VANISHED = "vanished"
"""Names of the two sheets of the workbook that are read."""

LARGEST_BYTES = 50_000_000
"""Bytes of a sheet at most: a damaged or hostile one must not fill the memory."""
_LARGEST_UNPACKED_BYTES = 400_000_000
"""Bytes of a workbook unpacked at most, for the same reason."""
_LARGEST_CELLS_BYTES = 20_000_000
"""Bytes of its cells at most; a sheet of 1,000 pieces has half a million, and a million take 0.4 s.
"""
_MOST_ROWS = 20_000
"""Rows of a sheet at most; no panel has as many pieces."""
_MOST_COLUMNS = 200
"""Columns of a sheet at most."""
_SEPARATORS = (",", ";", "\t")
_NO_DRAWING = b"<wsDr/>"
"""Of a sheet with nothing drawn on it (ECMA-376, part 1, 20.5)."""
_OLD_OR_LOCKED = b"\xd0\xcf\x11\xe0"
"""How the container begins that holds .xls and workbooks under a password."""


class Kind(StrEnum):
    """What a cell holds."""

    EMPTY = "nothing"
    TEXT = "a text"
    NUMBER = "a number"
    FORMULA = "a formula"
    DATE = "a date"
    TRUTH = "true or false"
    FAULT = "an error of the spreadsheet"


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell: its kind, and what it shows as text, without spaces around."""

    kind: Kind
    text: str = ""


@dataclass(frozen=True, slots=True)
class Row:
    """A row by its number in the sheet, counted from 1."""

    number: int
    cells: tuple[Cell, ...]

    @property
    def empty(self) -> bool:
        """True when no cell holds anything."""
        return all(cell.kind is Kind.EMPTY for cell in self.cells)


@dataclass(frozen=True, slots=True)
class Table:
    """A sheet: its first row and the others, as far as they are filled.

    `merged` names the ranges of cells that were made one.
    """

    headings: tuple[Cell, ...]
    rows: tuple[Row, ...]
    merged: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Book:
    """A file: the sheet of pieces, and that of vanished pieces if it has one.

    `marks` are the workbook's own properties, in which the program keeps what it wrote.
    """

    pieces: Table
    vanished: Table | None = None
    marks: Mapping[str, str] = field(default_factory=dict)


def read_book(content: bytes, source: str) -> Book:
    """Read a filled-in sheet.

    Parameters
    ----------
    content : of a workbook (.xlsx), or of a file of separated values in UTF-8 whose separator is a
        comma, a semicolon or a tab.
    source : name of the file, for messages.

    Raises
    ------
    InputUnreadable
        It is neither, it is damaged or too large, or the workbook has no sheet of pieces.
    """
    if len(content) > LARGEST_BYTES:
        raise InputUnreadable(
            f"{source} has {len(content) / 1e6:.0f} MB, but no sheet of pieces is over "
            f"{LARGEST_BYTES / 1e6:.0f} MB"
        )
    if not content.strip():
        raise InputUnreadable(
            f"{source} is empty: give the sheet that lies beside the pattern, filled in"
        )
    if content.startswith(_OLD_OR_LOCKED):
        raise InputUnreadable(
            f"{source} has a password or the old format (.xls): save it as .xlsx without a password"
        )
    if content.startswith(b"PK"):
        return _workbook(content, source)
    return Book(_separated(content, source))


def column_letter(index: int) -> str:
    """Return A for 0, B for 1 ... as spreadsheets call their columns."""
    return str(get_column_letter(index + 1))


def _workbook(content: bytes, source: str) -> Book:
    damaged = f"{source} is not a readable workbook: save it as .xlsx once more"
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            parts = packed.infolist()
            unpacked = sum(part.file_size for part in parts)
            cells = sum(part.file_size for part in parts if part.filename.endswith(".xml"))
        if unpacked > _LARGEST_UNPACKED_BYTES:
            raise InputUnreadable(f"{source} unpacks to {unpacked / 1e6:.0f} MB: far too large")
        if cells > _LARGEST_CELLS_BYTES:
            raise InputUnreadable(
                f"{source} holds {cells / 1e6:.0f} MB of cells, but at most "
                f"{_LARGEST_CELLS_BYTES / 1e6:.0f} MB are read: delete the rows and columns that "
                "are not filled in, or save the sheet of pieces as CSV UTF-8"
            )
        with warnings.catch_warnings():
            # Of parts that the library leaves out, as other programs add them.
            warnings.simplefilter("ignore")
            book: Any = load_workbook(_undrawn(content), data_only=False, keep_links=False)
    except InputUnreadable:
        raise
    except Exception as fault:  # A damaged file makes the library raise nearly anything.
        raise InputUnreadable(damaged) from fault
    sheets = {str(sheet.title).strip().casefold(): sheet for sheet in book.worksheets}
    if PIECES not in sheets:
        names = ", ".join(sheet.title for sheet in book.worksheets[:5]) or "none"
        raise InputUnreadable(
            f"{source} has no sheet {PIECES!r}, only {names}: give the sheet that lies beside the "
            "pattern, filled in"
        )
    gone = sheets.get(VANISHED)
    return Book(
        _sheet(sheets[PIECES], source),
        None if gone is None else _sheet(gone, source),
        {str(mark.name): str(mark.value) for mark in book.custom_doc_props.props},
    )


def _undrawn(content: bytes) -> io.BytesIO:
    """Return a workbook without pictures: the library would open that of every piece."""
    bare = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as given, zipfile.ZipFile(bare, "w") as kept:
        for name in given.namelist():
            if not name.startswith("xl/media/"):
                drawn = name.startswith("xl/drawings/drawing")
                kept.writestr(name, _NO_DRAWING if drawn else given.read(name))
    return bare


def _sheet(sheet: Any, source: str) -> Table:
    if sheet.max_row > _MOST_ROWS or sheet.max_column > _MOST_COLUMNS:
        # Formats of whole columns reach to the end of a sheet; what is written counts.
        last = max((c.row for c in sheet._cells.values() if c.value is not None), default=1)
        width = max((c.column for c in sheet._cells.values() if c.value is not None), default=1)
    else:
        last, width = sheet.max_row, sheet.max_column
    _refuse_large(last, width, source)
    rows = sheet.iter_rows(min_row=1, max_row=last, max_col=width)
    cells = [tuple(_cell(cell) for cell in row) for row in rows]
    merged = tuple(sorted(str(area) for area in sheet.merged_cells.ranges))
    return _table(cells, merged)


def _refuse_large(rows: int, columns: int, source: str) -> None:
    if rows > _MOST_ROWS or columns > _MOST_COLUMNS:
        raise InputUnreadable(
            f"{source} has {rows} rows and {columns} columns, but at most {_MOST_ROWS} and "
            f"{_MOST_COLUMNS} are read"
        )


def _cell(cell: Any) -> Cell:
    """Return the content of a cell of a workbook."""
    given = cell.value
    match cell.data_type:
        case "f":
            return Cell(Kind.FORMULA)
        case "b":
            return Cell(Kind.TRUTH, "true" if given else "false")
        case "e":
            return Cell(Kind.FAULT, str(given))
        case "d":
            return Cell(Kind.DATE, str(given).removesuffix(" 00:00:00"))
        case "n" if given is not None:
            whole = isinstance(given, float) and given.is_integer() and abs(given) < 1e15
            return Cell(Kind.NUMBER, str(int(given)) if whole else str(given))
    return text_cell("" if given is None else str(given))


def text_cell(text: str) -> Cell:
    """Return the cell of a text."""
    plain = plain_text(text)
    return Cell(Kind.TEXT, plain) if plain else Cell(Kind.EMPTY)


def plain_text(text: str) -> str:
    """Bring a text to the form in which it is kept.

    Spaces around it go, ends of lines become one sign, and the apostrophes go that lists put before
    what a spreadsheet would take for a formula.
    """
    plain = re.sub(r"\r\n?|_x000D_\n?", "\n", text).strip()
    return without_marks(plain).strip()


def _separated(content: bytes, source: str) -> Table:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        raise InputUnreadable(
            f"{source} is neither a workbook (.xlsx) nor text in UTF-8: save it as .xlsx, or as "
            "CSV UTF-8"
        ) from fault
    if "\0" in text:
        raise InputUnreadable(f"{source} is neither a workbook (.xlsx) nor a text")
    first = text.partition("\n")[0]
    separator = max(_SEPARATORS, key=first.count)
    try:
        read = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
        cells: list[tuple[Cell, ...]] = []
        for row in read:
            _refuse_large(len(cells) + 1, len(row), source)
            cells.append(tuple(text_cell(part) for part in row))
    except csv.Error as fault:
        raise InputUnreadable(
            f"{source} cannot be read as separated values from row {len(cells) + 1} on: {fault}"
        ) from fault
    return _table(cells, ())


def _table(cells: Sequence[Sequence[Cell]], merged: Iterable[str]) -> Table:
    """Cut off empty rows and columns at the end."""
    rows = [Row(k, tuple(row)) for k, row in enumerate(cells, start=1)]
    while rows and rows[-1].empty:
        rows.pop()
    width = max((_width(row) for row in rows), default=0)
    filled = [Row(row.number, (*row.cells, *[Cell(Kind.EMPTY)] * width)[:width]) for row in rows]
    headings = filled[0].cells if filled else ()
    return Table(headings, tuple(filled[1:]), tuple(merged))


def _width(row: Row) -> int:
    return max((k for k, c in enumerate(row.cells, start=1) if c.kind is not Kind.EMPTY), default=0)
