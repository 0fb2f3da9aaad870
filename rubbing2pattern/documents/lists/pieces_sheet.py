"""The sheet of pieces: a workbook to fill in at the panel, which is read back afterwards."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from functools import partial
from typing import Any

from openpyxl.packaging.custom import StringProperty
from openpyxl.styles import Alignment
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation

from rubbing2pattern.documents.formats.workbook import (
    FIGURE_FORMAT,
    FIRST_ROW,
    RULED,
    TEXT_FORMAT,
    TYPED_FILL,
    Png,
    lettering,
    new_workbook,
    on_paper,
    put,
    put_below,
    put_headings,
    put_picture,
    shown_heading,
    workbook_bytes,
)
from rubbing2pattern.documents.lists.pieces_table import piece_rows
from rubbing2pattern.documents.lists.shape_picture import HEIGHT_PX, WIDTH_PX, shape_png
from rubbing2pattern.glazing.carry import fingerprint
from rubbing2pattern.glazing.columns import MEASURED, MEASURES, NUMBER, PICTURE, SHEET, heading
from rubbing2pattern.glazing.entries import DECORATIONS, TYPED, Action, Filled, State
from rubbing2pattern.glazing.folder import ENTRIES_MARK
from rubbing2pattern.glazing.table import PIECES, VANISHED
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.trade.cautions import CAUTIONS

_NOTES, _SIZES = "notes", "measures"
_LINE_POINTS, _LINE_CHARACTERS = 16.0, 90
_ROW_POINTS = 50.0
_INSET_PX = 3
_WIDTHS = {
    NUMBER: 8.0, PICTURE: 12.5, "cames": 16.0, "leads": 13.0, "neighbours": 14.0, "findings": 20.0,
    "state": 14.0, "action": 13.0, "glass": 20.0, "thickness": 11.0, "grain_deg": 8.0,
    "decoration": 19.0, "remark": 30.0,
}  # fmt: skip
_WIDTH = 11.0
_CHOICES = {
    "state": tuple(word.value for word in State),
    "action": tuple(word.value for word in Action),
    "decoration": DECORATIONS,
}


def pieces_xlsx(panel: Panel, filled: Filled, options: DocumentOptions) -> bytes:
    """Make the workbook: pieces to fill in, measures, what was written of vanished ones, notes.

    Parameters
    ----------
    panel : as the record gives it back.
    filled : what a person wrote so far; its fingerprint goes into the workbook, by which it is
        known later which sheet someone wrote on.
    options : unit.
    """
    book = new_workbook(f"Pieces of {panel.name}")
    _pieces(book.create_sheet(PIECES), panel, filled, options)
    _measures(book.create_sheet(_SIZES), panel, filled, options)
    if filled.vanished:
        _vanished(book.create_sheet(VANISHED), filled, options)
    _notes(book.create_sheet(_NOTES), panel, options)
    marks: Any = book
    marks.custom_doc_props.append(StringProperty(name=ENTRIES_MARK, value=fingerprint(filled)))
    return workbook_bytes(book)


def _pieces(sheet: Any, panel: Panel, filled: Filled, options: DocumentOptions) -> None:
    names = SHEET
    headings = [shown_heading(heading(name, options.units)) for name in names]
    put_headings(sheet, headings, [_WIDTHS.get(name, _WIDTH) for name in names])
    rows = piece_rows(panel, filled, options)
    for k, (piece, cells) in enumerate(zip(panel.pieces, rows, strict=True), start=FIRST_ROW):
        sheet.row_dimensions[k].height = _ROW_POINTS
        _row(sheet, k, names, cells, options)
        picture = Png(shape_png(piece), WIDTH_PX, HEIGHT_PX)
        put_picture(sheet, k, names.index(PICTURE) + 1, picture, _INSET_PX)
    _lists(sheet, names, len(panel.pieces) + 1)
    on_paper(sheet, ", ".join(filter(None, (panel.name, panel.side))))
    last = get_column_letter(names.index("findings") + 1)
    sheet.print_area = f"A1:{last}{len(panel.pieces) + 1}"


def _measures(sheet: Any, panel: Panel, filled: Filled, options: DocumentOptions) -> None:
    """List sizes, areas and neighbours, for the desk."""
    headings = [shown_heading(heading(name, options.units)) for name in MEASURES]
    put_headings(sheet, headings, [_WIDTHS.get(name, _WIDTH) for name in MEASURES])
    for k, cells in enumerate(piece_rows(panel, filled, options), start=FIRST_ROW):
        _row(sheet, k, MEASURES, cells, options)
    on_paper(sheet, ", ".join(filter(None, (panel.name, "sizes and areas"))))


def _row(
    sheet: Any, row: int, names: Sequence[str], cells: Mapping[str, str], options: DocumentOptions
) -> None:
    """Write the cells of a piece: figures as numbers, lengths in inches and all words as texts."""
    for k, name in enumerate(names, start=1):
        text = cells.get(name, "")
        figure = name in MEASURED and (options.units == "mm" or "area" in name)
        value = int(text) if name == NUMBER else float(text) if figure else text
        put_below(sheet, row, k, value, partial(_style, name, options))


def _style(name: str, options: DocumentOptions) -> dict[str, Any]:
    across = "right" if name in MEASURED else "center" if name == NUMBER else "left"
    style: dict[str, Any] = {
        "border": RULED,
        "alignment": Alignment(
            wrap_text=True, vertical="center", horizontal=across, indent=0 if name == NUMBER else 1
        ),
    }
    if name == NUMBER:
        style["font"] = lettering(bold=True, size=14)
    elif name in MEASURED:
        style["number_format"] = FIGURE_FORMAT[options.units]
    elif name in TYPED:
        # As text, so that no spreadsheet makes a day of 1/8 or a formula of a dash.
        style |= {"number_format": TEXT_FORMAT, "fill": TYPED_FILL}
    return style


def _lists(sheet: Any, names: Sequence[str], last_row: int) -> None:
    """Give the columns of words their drop-down lists."""
    for name, words in _CHOICES.items():
        rule = DataValidation(type="list", formula1=f'"{",".join(words)}"', allow_blank=True)
        rule.errorTitle, rule.error = name, "Choose a word of the list, or leave the cell empty."
        rule.showErrorMessage = True
        letter = get_column_letter(names.index(name) + 1)
        rule.add(f"{letter}{FIRST_ROW}:{letter}{max(last_row, FIRST_ROW)}")
        sheet.add_data_validation(rule)


def _vanished(sheet: Any, filled: Filled, options: DocumentOptions) -> None:
    """List what was written about pieces that no longer exist, under the number they had."""
    names = (NUMBER, *TYPED)
    headings = [shown_heading(heading(name, options.units)) for name in names]
    put_headings(sheet, headings, [_WIDTHS.get(name, _WIDTH) for name in names])
    for k, gone in enumerate(filled.vanished, start=FIRST_ROW):
        _row(
            sheet, k, names, {NUMBER: str(gone.number), **gone.entry.texts(options.units)}, options
        )
    on_paper(sheet, "written about pieces that no longer exist")


def _notes(sheet: Any, panel: Panel, options: DocumentOptions) -> None:
    unit = "millimetres" if options.units == "mm" else "inches"
    lines = (
        f"Panel {panel.name}: {len(panel.pieces)} pieces of glass. Measures are in {unit}.",
        f"Fill in the pale columns of the sheet '{PIECES}'; leave empty what you do not know. The "
        "rows may be sorted. Other columns are the program's and are written anew.",
        *(f"{name}: {', '.join(words)}." for name, words in _CHOICES.items()),
        "glass: as you order it; the lists put pieces of the same name together.",
        f"thickness: a number in {options.units}, or a length as in 3 mm and 1/8 in.",
        "grain deg: direction of the grain in degrees as the panel hangs: 90 is upright, 0 level, "
        "45 from lower left to upper right; empty for that of all glass.",
        "Then: rubbing2pattern lists FOLDER --pieces pieces.xlsx. It checks every cell and writes "
        "the lists of glass and of the kiln, and templates of all pieces to replace.",
        f"The sheet '{_SIZES}' has sizes, areas and neighbours; nothing on it is read back.",
        f"A sheet '{VANISHED}' keeps what was written about pieces that no longer exist.",
        *CAUTIONS,
    )
    sheet.column_dimensions["A"].width = 110.0
    for k, line in enumerate(lines, start=1):
        put(sheet, k, 1, line, alignment=Alignment(wrap_text=True, vertical="top"))
        # Some spreadsheets do not make room for wrapped lines.
        sheet.row_dimensions[k].height = _LINE_POINTS * math.ceil(len(line) / _LINE_CHARACTERS)
    on_paper(sheet, panel.name)
