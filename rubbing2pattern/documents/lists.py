"""The lists of glass and lead, as comma-separated values (RFC 4180, UTF-8)."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence

from rubbing2pattern.documents.widths import widths_used
from rubbing2pattern.model import Came, Panel, Piece, Profile
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.units import decimal, in_inches, in_square_inches, inch_fraction

_FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r")


def pieces_csv(panel: Panel, options: DocumentOptions) -> str:
    """List the pieces of glass, one a row, by number.

    Widths and areas are in the unit that ends the heading: mm and mm2, or inches with fractions
    and square inches. ``rectangle`` is the smallest one around the glass as cut, its longer side
    first; ``leads`` are the stock widths around the piece, ``findings`` their numbers and codes.
    """
    unit = options.units
    heads = (
        "number",
        f"rectangle_width_{unit}",
        f"rectangle_height_{unit}",
        f"cut_area_{unit}2",
        f"sight_area_{unit}2",
        f"centre_area_{unit}2",
        f"area_uncertainty_{unit}2",
        "cames",
        "leads",
        "neighbours",
        "findings",
    )
    cames = {came.id: came for came in panel.cames}
    return _written(heads, (_piece_row(p, panel, cames, options) for p in panel.pieces))


def cames_csv(panel: Panel, options: DocumentOptions) -> str:
    """List the lead by stock width, narrowest first: one row a width.

    ``letter`` is the one on the pattern. Lengths are those of the lead lines, from joint to joint,
    without any allowance for joints, stretching or waste. The lengths by profile add up to the
    length; the border's is part of it. ``measured_`` are face widths as the rubbing gives them,
    with decimals even in inches, because a fraction of the rule is too coarse to judge them by.
    """
    unit = options.units
    heads = (
        "letter",
        "stock",
        "cames",
        f"length_{unit}",
        f"border_length_{unit}",
        *(f"{profile.value}_length_{unit}" for profile in Profile),
        f"longest_came_{unit}",
        f"measured_least_{unit}",
        f"measured_mean_{unit}",
        f"measured_most_{unit}",
    )
    rows = []
    for use in widths_used(panel):
        by_profile = (
            sum(came.length_mm for came in use.cames if came.profile is profile)
            for profile in Profile
        )
        lengths = (use.length_mm, use.border_length_mm, *by_profile, use.longest_mm)
        rows.append(
            (
                use.letter,
                use.stock,
                len(use.cames),
                *(_length(length, options) for length in lengths),
                *(_fine(width, options) for width in use.measured_mm),
            )
        )
    return _written(heads, rows)


def _piece_row(
    piece: Piece, panel: Panel, cames: Mapping[str, Came], options: DocumentOptions
) -> tuple[object, ...]:
    around = [cames[name] for name in piece.cames]
    stocks = sorted({(came.stock_mm, came.stock) for came in around})
    others = {number for came in around for number in came.pieces} - {piece.number}
    areas = (
        piece.cut_area_mm2,
        piece.sight_area_mm2,
        piece.centre_area_mm2,
        piece.area_uncertainty_mm2,
    )
    findings = [
        f"F{k} {finding.code.value}"
        for k, finding in enumerate(panel.findings, start=1)
        if piece.number in finding.pieces
    ]
    return (
        piece.number,
        _length(piece.rectangle.width_mm, options),
        _length(piece.rectangle.height_mm, options),
        *(_area(area, options) for area in areas),
        " ".join(piece.cames),
        "; ".join(stock for _, stock in stocks),
        " ".join(str(number) for number in sorted(others)),
        "; ".join(findings),
    )


def _length(length_mm: float, options: DocumentOptions) -> str:
    if options.units == "mm":
        return decimal(length_mm, 1)
    return inch_fraction(length_mm, options.fraction, whole=True)


def _fine(width_mm: float, options: DocumentOptions) -> str:
    return decimal(width_mm, 2) if options.units == "mm" else decimal(in_inches(width_mm), 3)


def _area(area_mm2: float, options: DocumentOptions) -> str:
    if options.units == "mm":
        return decimal(area_mm2, 1)
    return decimal(in_square_inches(area_mm2), 3)


def _written(heads: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    stream = io.StringIO()
    writer = csv.writer(stream)
    writer.writerow(heads)
    writer.writerows([_harmless(cell) for cell in row] for row in rows)
    return stream.getvalue()


def _harmless(cell: object) -> object:
    """Keep a spreadsheet from taking a text for a formula."""
    text = isinstance(cell, str) and cell.startswith(_FORMULA_SIGNS) and not _number(cell)
    return f"'{cell}" if text else cell


def _number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
