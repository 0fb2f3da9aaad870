"""The columns of the sheet of pieces: their names and their headings."""

from __future__ import annotations

import unicodedata
from typing import Final, get_args

from rubbing2pattern.glazing.entries import TYPED
from rubbing2pattern.units import Unit

NUMBER: Final = "number"
PICTURE: Final = "shape"
MEASURED: Final = (
    "rectangle_width",
    "rectangle_height",
    "cut_area",
    "sight_area",
    "centre_area",
    "area_uncertainty",
)
"""Columns whose heading ends in the unit, squared for an area."""
RELATED: Final = ("cames", "leads", "neighbours", "findings")
THICKNESS: Final = "thickness"


def heading(name: str, unit: Unit) -> str:
    """Return the heading of a column in the list."""
    if name == THICKNESS or name in MEASURED:
        return f"{name}_{unit}2" if "area" in name else f"{name}_{unit}"
    return name


def columns(*, picture: bool) -> tuple[str, ...]:
    """Return the names of all columns in order; a workbook has the picture of the shape as well."""
    shape = (PICTURE,) if picture else ()
    return (NUMBER, *shape, *MEASURED, *RELATED, *TYPED)


SHEET: Final = (NUMBER, PICTURE, *TYPED, "findings", "cut_area")
"""Columns of the sheet to fill in: what is filled in comes first. The area stays out of print; by
it a sheet is known that was made for another panel or before a correction."""
MEASURES: Final = (NUMBER, *MEASURED, *(name for name in RELATED if name != "findings"))
"""Columns of the sheet of measures beside it."""


def of_heading(text: str) -> tuple[str, Unit | None] | None:
    """Return which column a heading means and its unit, or None for an unknown heading.

    Upper and lower case, spaces and underscores, and mm² or mm2 are all the same.
    """
    plain = unicodedata.normalize("NFKC", text).casefold()
    key = "_".join(plain.replace("_", " ").replace(",", " ").split())
    if key == THICKNESS:
        return THICKNESS, None
    units: tuple[Unit, ...] = get_args(Unit)
    for name in columns(picture=True):
        for unit in units:
            if heading(name, unit) == key:
                return name, unit if name == THICKNESS or name in MEASURED else None
    return None
