"""Texts that do harm in a spreadsheet, and a reader that finds the cells it would run."""

from __future__ import annotations

import csv
import io
import re
from typing import Any

from openpyxl import load_workbook

FORMULAS = (
    '=HYPERLINK("look","look")',
    "+1+cmd|' /C calc'!A0",
    "-2+3+A1",
    "@SUM(1+1)",
    'a;=HYPERLINK("x";"y")',
    '"=1+1"',
    "\uff1d1+1",
)
"""One text for each way in which a cell comes to be run."""

_SEPARATORS = (",", ";", "\t")
"""What spreadsheets separate cells by, as their language is."""
_RUN = re.compile(r"[\s\"]*[=+\-@\uff1d\uff0b\uff0d\uff20]")
_NUMBER = re.compile(r"[-+]?[0-9]+(\.[0-9]+)?( [0-9]+/[0-9]+)?(e-?[0-9]+)?", re.IGNORECASE)


def live_cells(listed: str) -> list[str]:
    """Return the cells of separated values that a spreadsheet would run, by any separator."""
    cells = [
        cell
        for separator in _SEPARATORS
        for row in csv.reader(io.StringIO(listed, newline=""), delimiter=separator)
        for cell in row
    ]
    return [cell for cell in cells if _RUN.match(cell) and not _NUMBER.fullmatch(cell.strip())]


def live_cells_of_book(content: bytes) -> list[str]:
    """Return the cells of a workbook that are formulas, or that become one when edited."""
    book: Any = load_workbook(io.BytesIO(content))
    cells = [cell for sheet in book.worksheets for row in sheet.iter_rows() for cell in row]
    return [
        f"{cell.parent.title}!{cell.coordinate}: {cell.value}"
        for cell in cells
        if cell.data_type == "f"
        or (
            isinstance(cell.value, str)
            and _RUN.match(cell.value)
            and not _NUMBER.fullmatch(cell.value)
            and not cell.quotePrefix
        )
    ]
