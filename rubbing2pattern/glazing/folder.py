"""The sheets that lie in a folder of results, and which of them a person wrote on."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from rubbing2pattern.errors import InputUnreadable
from rubbing2pattern.glazing.carry import fingerprint, merged
from rubbing2pattern.glazing.check import Checked, filled_from
from rubbing2pattern.glazing.entries import Filled
from rubbing2pattern.glazing.table import LARGEST_BYTES, read_book
from rubbing2pattern.inputs.files import content_of
from rubbing2pattern.model import Panel
from rubbing2pattern.options.glass import GlassOptions

WORKBOOK_NAME: Final = "pieces.xlsx"
LIST_NAME: Final = "pieces.csv"
ENTRIES_MARK: Final = "rubbing2pattern entries"
"""Property of the workbook: fingerprint of the entries with which it and the list were written."""


@dataclass(frozen=True, slots=True)
class Known:
    """What is known about the panel to which a sheet belongs."""

    areas_mm2: Mapping[int, float]
    gone: Collection[int]

    @classmethod
    def of(cls, panel: Panel) -> Known:
        """Gather it from a panel."""
        areas = {piece.number: piece.cut_area_mm2 for piece in panel.pieces}
        gone = {n for done in panel.corrections for n in done.pieces_gone} - {*areas}
        return cls(areas, gone)


def read_sheet(path: Path, known: Known, options: GlassOptions) -> Checked:
    """Read and check one filled-in sheet, see `filled_from`."""
    book = read_book(content_of(path, LARGEST_BYTES, "a sheet of pieces"), str(path))
    return filled_from(book, str(path), known.areas_mm2, gone=known.gone, options=options)


def held_in(
    folder: Path, known: Known, options: GlassOptions, *, but: Path | None = None
) -> Filled:
    """Return what is written on the sheets of a folder.

    Rules:

    1. The list (``pieces.csv``) counts only if it says something, and not what the program wrote.
    2. The workbook (``pieces.xlsx``) counts unless the list alone was written on.
    3. Entries on both are merged; where they differ, nothing shows which is right.
    4. What the workbook keeps of vanished pieces always counts.

    Parameters
    ----------
    folder : of results; one that is not there holds nothing.
    known : the panel in it.
    but : a sheet that is given anyway, and left out here.

    Raises
    ------
    InputUnreadable
        A sheet that cannot be read or has problems, or both were written on and differ.
    """
    workbook, listed = folder / WORKBOOK_NAME, folder / LIST_NAME
    in_book, marks = _checked(workbook, known, options) if workbook.is_file() else (None, {})
    in_list = None
    if listed.is_file():
        found, _ = _checked(listed, known, options)
        as_written = marks.get(ENTRIES_MARK) == fingerprint(found)
        in_list = None if as_written or not found.entries else found  # rule 1
    vanished = () if in_book is None else in_book.vanished
    if in_book is not None and marks.get(ENTRIES_MARK) == fingerprint(in_book):
        untouched = in_list is not None or _same(but, listed)
        in_book = None if untouched else in_book  # rule 2
    if _same(but, workbook):
        in_book = None
    if _same(but, listed):
        in_list = None
    if in_book is None or in_list is None:
        one_of_them = in_book or in_list or Filled()
        return Filled(one_of_them.entries).with_vanished(vanished)
    both = merged(in_book, in_list)
    if both.changed:  # rule 3
        number, column, other, one = both.changed[0]
        raise InputUnreadable(
            f"{workbook} and {listed.name} were both filled in and differ: piece {number}, "
            f"{column}: {one[:40]!r} and {other[:40]!r}; choose one with lists --pieces"
        )
    return both.filled.with_vanished(vanished)  # rule 4


def _checked(path: Path, known: Known, options: GlassOptions) -> tuple[Filled, Mapping[str, str]]:
    where = f"{path} (its filled columns are to be kept)"
    book = read_book(content_of(path, LARGEST_BYTES, "a sheet of pieces"), where)
    checked = filled_from(
        book, where, known.areas_mm2, gone=known.gone, options=options, blank_list=True
    )
    return checked.filled, book.marks


def _same(one: Path | None, other: Path) -> bool:
    return one is not None and one.exists() and other.exists() and one.samefile(other)
