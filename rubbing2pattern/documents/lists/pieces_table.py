"""The table of pieces: what the program measured, and what a person wrote."""

from __future__ import annotations

from collections.abc import Mapping

from rubbing2pattern.documents.formats.cells import area_cell, length_cell
from rubbing2pattern.glazing.columns import MEASURED, NUMBER, TOLD
from rubbing2pattern.glazing.entries import Filled
from rubbing2pattern.model import Came, Panel, Piece
from rubbing2pattern.options.documents import DocumentOptions


def piece_rows(panel: Panel, filled: Filled, options: DocumentOptions) -> list[Mapping[str, str]]:
    """Return the cells of every piece by the name of the column, in order of the numbers."""
    cames = {came.id: came for came in panel.cames}
    return [
        {
            **_measured(piece, options),
            **_told(piece, panel, cames),
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


def _told(piece: Piece, panel: Panel, cames: Mapping[str, Came]) -> dict[str, str]:
    stocks, others = around(piece, cames)
    findings = [
        f"F{k} {finding.code.value}"
        for k, finding in enumerate(panel.findings, start=1)
        if piece.number in finding.pieces
    ]
    cells = (
        " ".join(piece.cames),
        "; ".join(stocks),
        " ".join(map(str, others)),
        "; ".join(findings),
    )
    return dict(zip(TOLD, cells, strict=True))
