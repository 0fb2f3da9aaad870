"""Lists as separated values: cells that no spreadsheet takes for a formula, lengths and areas."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.texts import harmless
from rubbing2pattern.units import decimal, in_inches, in_mass_unit, in_square_inches, inch_fraction


def separated(heads: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Write rows under their headings (RFC 4180); nothing else writes separated values."""
    stream = io.StringIO()
    writer = csv.writer(stream)
    writer.writerow(heads)
    writer.writerows(
        [harmless(cell) if isinstance(cell, str) else cell for cell in row] for row in rows
    )
    return stream.getvalue()


def length_cell(length_mm: float, options: DocumentOptions) -> str:
    """Write a length in the unit of the heading."""
    if options.units == "mm":
        return decimal(length_mm, 1)
    return inch_fraction(length_mm, options.fraction, whole=True)


def fine_cell(width_mm: float, options: DocumentOptions) -> str:
    """Write a width that a fraction of the rule is too coarse for."""
    return decimal(width_mm, 2) if options.units == "mm" else decimal(in_inches(width_mm), 3)


def area_cell(area_mm2: float, options: DocumentOptions) -> str:
    """Write an area in the unit of the heading, squared."""
    if options.units == "mm":
        return decimal(area_mm2, 1)
    return decimal(in_square_inches(area_mm2), 3)


def weight_cell(weight_kg: float, options: DocumentOptions) -> str:
    """Write a weight in kilograms, or in pounds where lengths are in inches."""
    return decimal(in_mass_unit(weight_kg, options.units), 2)


def yes_or_no(fact: bool) -> str:
    """Write whether something is so."""
    return "yes" if fact else "no"
