"""Workbooks (.xlsx): texts that stay texts, and files that are the same byte for byte."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Callable
from copy import copy
from typing import Any

from openpyxl import Workbook
from openpyxl.drawing.image import Image
from openpyxl.drawing.spreadsheet_drawing import AnchorMarker, OneCellAnchor
from openpyxl.drawing.xdr import XDRPositiveSize2D
from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
from openpyxl.utils import get_column_letter
from openpyxl.writer.excel import ExcelWriter

from rubbing2pattern.texts import formula_like

_NO_TIME = (1980, 1, 1, 0, 0, 0)
"""The earliest time that a ZIP archive can hold."""
_THIN = Side(style="thin", color="999999")
RULED = Border(left=_THIN, right=_THIN, top=_THIN, bottom=_THIN)
HEAD_FILL = PatternFill("solid", fgColor="E2E2E2")
TYPED_FILL = PatternFill("solid", fgColor="FFF8DC")
"""Cells to fill in: pale, so that print in black and white stays clean."""
FIRST_ROW = 2
"""Of a table, under its headings."""
_EMU_PER_PX = 9525
"""English metric units in a pixel of 1/96 inch: 914400 in an inch (ECMA-376, part 1)."""
TEXT_FORMAT = "@"
FIGURE_FORMAT = {"mm": "0.0", "in": "0.000"}


def lettering(**how: Any) -> Font:
    """Return the lettering of all cells, bold, italic or larger as said."""
    return Font(**{"name": "Calibri", "size": 11, **how})


class Png(Image):
    """A picture of a sheet whose file and size are known: nothing needs to open it."""

    def __init__(self, content: bytes, width_px: int, height_px: int) -> None:
        self.content, self.format = content, "png"
        self.width, self.height = width_px, height_px

    def _data(self) -> bytes:
        return self.content


def put_picture(sheet: Any, row: int, column: int, picture: Png, inset_px: int) -> None:
    """Lay a picture onto a cell; row and column count from 1."""
    inset = inset_px * _EMU_PER_PX
    size = XDRPositiveSize2D(picture.width * _EMU_PER_PX, picture.height * _EMU_PER_PX)
    corner = AnchorMarker(col=column - 1, colOff=inset, row=row - 1, rowOff=inset)
    picture.anchor = OneCellAnchor(_from=corner, ext=size)
    sheet.add_image(picture)


def new_workbook(title: str) -> Workbook:
    """Return a workbook with no sheet, whose properties name no person and no day."""
    book = Workbook()
    book.remove(book.worksheets[0])
    book.properties.creator = "rubbing2pattern"
    book.properties.title = title
    return book


def put(
    sheet: Any, row: int, column: int, value: str | float | int, like: Any = None, **style: Any
) -> None:
    """Write a cell, in the style of the cell `like` or as said.

    A text is never a formula, whatever it begins with.
    """
    cell = sheet.cell(row, column)
    if like is not None:
        cell._style = copy(like._style)
        cell.quotePrefix = False
    if isinstance(value, str):
        cell.value = value or None
        if value:
            cell.data_type = "s"
            # Or a spreadsheet makes a formula of it as soon as someone edits the cell.
            if formula_like(value):
                cell.quotePrefix = True
    else:
        cell.value = value
    for name, given in style.items():
        setattr(cell, name, given)


def put_below(
    sheet: Any, row: int, column: int, value: str | float | int, style: Callable[[], dict[str, Any]]
) -> None:
    """Write a cell of a table under its headings; the first row has the style of each column.

    The others copy it, for making a style takes longer than all the rest of a cell.
    """
    if row == FIRST_ROW:
        put(sheet, row, column, value, **style())
    else:
        put(sheet, row, column, value, like=sheet.cell(FIRST_ROW, column))


def put_headings(sheet: Any, headings: list[str], widths: list[float]) -> None:
    """Write the first row, keep it in sight and on top of every printed page."""
    wrapped = Alignment(wrap_text=True, vertical="center", horizontal="center")
    for k, (text, width) in enumerate(zip(headings, widths, strict=True), start=1):
        put(sheet, 1, k, text, font=lettering(bold=True), alignment=wrapped, fill=HEAD_FILL,
            border=RULED)  # fmt: skip
        sheet.column_dimensions[get_column_letter(k)].width = width
    sheet.row_dimensions[1].height = 45
    sheet.freeze_panes = "B2"
    sheet.print_title_rows = "1:1"


def shown_heading(name: str) -> str:
    """Return the name of a column as a workbook shows it: spaces between words, mm²."""
    words = name.replace("_", " ")
    return words[:-1] + "²" if words.endswith(("mm2", "in2")) else words


def on_paper(sheet: Any, footer: str) -> None:
    """Set a sheet up for paper: A4 across, all columns on one page, page numbers."""
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.paperSize = 9  # A4 in ECMA-376, ST_PaperSize as a number
    sheet.page_setup.fitToWidth = 1
    sheet.page_setup.fitToHeight = 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    for side in ("left", "right", "top"):
        setattr(sheet.page_margins, side, 0.45)
    sheet.page_margins.bottom, sheet.page_margins.footer = 0.65, 0.3
    sheet.oddFooter.left.text = footer.replace("&", "&&")
    sheet.oddFooter.right.text = "&P / &N"


def workbook_bytes(book: Workbook) -> bytes:
    """Return a workbook as a file without a time of day."""
    stream = io.BytesIO()
    # As `book.save` writes it, but packed only once, below.
    ExcelWriter(book, zipfile.ZipFile(stream, "w")).save()
    packed = io.BytesIO()
    with (
        zipfile.ZipFile(stream) as given,
        zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as kept,
    ):
        for part in given.infolist():
            content = given.read(part)
            if part.filename == "docProps/core.xml":
                content = re.sub(
                    rb"<dcterms:(created|modified)\b.*?</dcterms:\1>", b"", content, flags=re.DOTALL
                )
            info = zipfile.ZipInfo(part.filename, _NO_TIME)
            info.external_attr = 0o600 << 16
            info.compress_type = zipfile.ZIP_DEFLATED
            kept.writestr(info, content)
    return packed.getvalue()
