"""What a person types about one piece outside a sheet, read by the rules of the sheet."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.glazing.cell_meaning import Words
from rubbing2pattern.glazing.entries import NOTHING, TYPED, Entry
from rubbing2pattern.glazing.table import Kind, text_cell
from rubbing2pattern.options.glass import GlassOptions
from rubbing2pattern.units import Unit


def entry_from(
    cells: Mapping[str, str], number: int, options: GlassOptions, unit: Unit, before: Entry
) -> Entry:
    """Return the entry of a piece with some of its cells written anew.

    Parameters
    ----------
    cells : text by column of `TYPED`; an empty text empties the cell, a column that is not named
        keeps what `before` says.
    number : of the piece, for messages.
    options : range of the thickness.
    unit : of a bare thickness.
    before : what was written about it.

    Raises
    ------
    UsageFault
        An unknown column, or a cell that the sheet would refuse; every problem is named.
    """
    words, problems = Words(options), []
    fields: dict[str, Any] = {}
    for column, text in cells.items():
        if column not in TYPED:
            raise UsageFault(f"piece {number}: there is no column {column[:40]!r} to fill in")
        cell = text_cell(text)
        if cell.kind is Kind.EMPTY:
            fields[column] = getattr(NOTHING, column)
            continue
        try:
            fields[column] = words.read(column, cell, unit)
        except ValueError as fault:
            problems.append(f"piece {number}, {column}: {fault}")
    entry = replace(before, **fields)
    contradiction = words.contradiction(entry)
    if contradiction and not problems:
        problems.append(f"piece {number}, action: {contradiction}")
    if problems:
        raise UsageFault("; ".join(problems))
    return entry
