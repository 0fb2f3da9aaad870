"""The table of pieces: what the program measured, and what a person wrote."""

from __future__ import annotations

from collections.abc import Mapping

from rubbing2pattern.documents.formats.cells import area_cell, length_cell, separated
from rubbing2pattern.documents.formats.columns import Column, Quantity, headings
from rubbing2pattern.glazing.columns import MEASURED, NUMBER, RELATED, columns
from rubbing2pattern.glazing.entries import NOTHING_TYPED, Filled
from rubbing2pattern.model import Came, Panel, Piece
from rubbing2pattern.options.documents import DocumentOptions

_HOLDS = {
    NUMBER: "the piece's number",
    "rectangle_width": "longer side of the smallest rectangle around the glass as cut",
    "rectangle_height": "shorter side of that rectangle",
    "cut_area": "area of the glass as cut",
    "sight_area": "area seen between the leaves",
    "centre_area": "area to the middle of the leads",
    "area_uncertainty": "one standard deviation of the area to the middle of the leads",
    "cames": "the cames around it",
    "leads": "the stock widths around it",
    "neighbours": "the numbers of the pieces beside it",
    "findings": "what is doubtful about it, with the numbers of the marks on pattern and overlay",
    "state": "to be filled in: how the piece was found",
    "action": "to be filled in: what is to be done with it",
    "glass": "to be filled in: the name of the glass, as it is ordered",
    "thickness": "to be filled in: the thickness of the glass",
    "grain_deg": "to be filled in: the direction of the grain in the panel, anticlockwise from "
    "level",
    "decoration": "to be filled in: what is on the glass",
    "remark": "to be filled in: anything",
}
_LENGTHS = ("rectangle_width", "rectangle_height", "thickness")
PIECE_COLUMNS = tuple(
    Column(
        name,
        _HOLDS[name],
        Quantity.LENGTH if name in _LENGTHS else Quantity.AREA if name in MEASURED
        else Quantity.NONE,
    )
    for name in columns(picture=False)
)  # fmt: skip


def pieces_csv(panel: Panel, options: DocumentOptions, filled: Filled = NOTHING_TYPED) -> str:
    """List the pieces of glass, one a row, by number.

    Widths and areas are in the unit that ends the heading: mm and mm2, or inches with fractions
    and square inches. ``rectangle`` is the smallest one around the glass as cut, its longer side
    first; ``leads`` are the stock widths around the piece, ``findings`` their numbers and codes.
    The last columns are for a person to fill in; `filled` is what was written so far.
    """
    rows = piece_rows(panel, filled, options)
    return separated(
        headings(PIECE_COLUMNS, options.units),
        ([row[column.name] for column in PIECE_COLUMNS] for row in rows),
    )


def piece_rows(panel: Panel, filled: Filled, options: DocumentOptions) -> list[Mapping[str, str]]:
    """Return the cells of every piece by the name of the column, in order of the numbers."""
    cames = {came.id: came for came in panel.cames}
    return [
        {
            **_measured(piece, options),
            **_related(piece, panel, cames),
            **filled.of(piece.number).texts(options.units),
        }
        for piece in panel.pieces
    ]


def around(piece: Piece, cames: Mapping[str, Came]) -> tuple[list[str], list[int]]:
    """Return the stock widths around a piece, narrowest first, and the numbers beside it."""
    beside = [cames[name] for name in piece.cames]
    stocks = sorted({(came.stock_mm, came.stock) for came in beside})
    others = {number for came in beside for number in came.pieces} - {piece.number}
    return [stock for _, stock in stocks], sorted(others)


def _measured(piece: Piece, options: DocumentOptions) -> dict[str, str]:
    lengths = (piece.rectangle.width_mm, piece.rectangle.height_mm)
    areas = (
        piece.cut_area_mm2,
        piece.sight_area_mm2,
        piece.centre_area_mm2,
        piece.area_uncertainty_mm2,
    )
    cells = [length_cell(length, options) for length in lengths]
    cells += [area_cell(area, options) for area in areas]
    return {NUMBER: str(piece.number), **dict(zip(MEASURED, cells, strict=True))}


def _related(piece: Piece, panel: Panel, cames: Mapping[str, Came]) -> dict[str, str]:
    stocks, others = around(piece, cames)
    findings = [
        f"{finding.id} {finding.code.value}"
        for finding in panel.findings
        if piece.number in finding.pieces
    ]
    cells = (
        " ".join(piece.cames),
        "; ".join(stocks),
        " ".join(map(str, others)),
        "; ".join(findings),
    )
    return dict(zip(RELATED, cells, strict=True))
