"""A sheet that someone filled in, checked cell by cell: all its problems are reported together."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from rubbing2pattern.errors import InputUnreadable
from rubbing2pattern.glazing.cell_meaning import Words
from rubbing2pattern.glazing.columns import MEASURED, NUMBER, THICKNESS, heading, of_heading
from rubbing2pattern.glazing.entries import LATER, NOTHING, TYPED, Entry, Filled, Vanished
from rubbing2pattern.glazing.table import Book, Cell, Kind, Row, Table, column_letter
from rubbing2pattern.options.glass import GlassOptions
from rubbing2pattern.texts import LARGEST_ID
from rubbing2pattern.units import MM2_PER_SQUARE_INCH, Unit

_AREA = "cut_area"
_SAME_AREA_SHARE = 0.01
"""Share by which an area on a sheet may differ: sheets round, in mm² or square inches."""
_SAME_AREA_MM2 = 1.0
"""The same for small pieces."""


@dataclass(frozen=True, slots=True)
class Checked:
    """What a sheet says, and what is odd about it though it can be used."""

    filled: Filled
    doubts: tuple[str, ...] = ()


def filled_from(
    book: Book,
    source: str,
    areas_mm2: Mapping[int, float],
    *,
    options: GlassOptions,
    gone: Collection[int] = (),
    blank_list: bool = False,
) -> Checked:
    """Check a filled-in sheet and return what it says.

    Rules:

    1. Cells that were made one are refused.
    2. Every heading of row 1 is one of the sheet's, none twice; the number and all columns to fill
       in are there but `LATER` ones. The order of the columns does not matter.
    3. No row between others is empty, each has the number of a piece, none twice.
    4. A formula is refused in every cell.
    5. State, action and decoration are words of their lists, the thickness is a length in range.
    6. A missing piece can only be replaced.
    7. A number that corrections removed is reported as vanished; any other unknown one is refused.
    8. A cut area that is not the piece's is a doubt: rows and numbers may have been mixed up.

    Parameters
    ----------
    book, source : the sheet, and the name of its file for messages.
    areas_mm2 : cut area of every piece of the panel, by number.
    options : how many problems are reported, and the range of the thickness.
    gone : numbers that corrections took away.
    blank_list : take a list without any column to fill in for one in which nothing is written.

    Raises
    ------
    InputUnreadable
        With all problems, one a line, by row and column.
    """
    check = _Check(book.pieces, areas_mm2, gone, options)
    if blank_list and not check.has(TYPED) and check.has((NUMBER,)):
        return Checked(Filled())
    if check.headings():
        check.check_rows()
    filled = Filled(check.entries, ())
    problems = check.problems
    if book.vanished is not None and book.vanished.headings:
        lost = _Check(book.vanished, None, (), options, sheet="sheet vanished, ")
        if lost.headings():
            lost.check_rows()
        check.lost += lost.lost
        problems += lost.problems
    _refuse(problems, source, options.most_faults)
    return Checked(filled.with_vanished(check.lost), tuple(check.doubts))


def _refuse(problems: list[str], source: str, most: int) -> None:
    if not problems:
        return
    shown = [f"  {problem}" for problem in problems[:most]]
    if len(problems) > most:
        shown.append(f"  and {len(problems) - most} more")
    count = "a problem" if len(problems) == 1 else f"{len(problems)} problems"
    raise InputUnreadable("\n".join([f"{source} has {count}; nothing was written:", *shown]))


class _Check:
    """One sheet under check; it gathers entries, problems and doubts.

    Without `areas_mm2` it is the sheet of vanished pieces, on which any number is allowed, also
    more than once.
    """

    def __init__(
        self,
        table: Table,
        areas_mm2: Mapping[int, float] | None,
        gone: Collection[int],
        options: GlassOptions,
        sheet: str = "",
    ) -> None:
        self.table, self.areas_mm2, self.gone, self.sheet = table, areas_mm2, gone, sheet
        self.words = Words(options)
        self.entries: dict[int, Entry] = {}
        self.lost: list[Vanished] = []
        self.problems: list[str] = []
        self.doubts: list[str] = []
        self.seen: dict[int, int] = {}
        self.at: dict[str, int] = {}
        self.units: dict[str, Unit] = {}

    def has(self, names: Collection[str]) -> bool:
        """Return whether any of these columns is there."""
        found = (of_heading(cell.text) for cell in self.table.headings)
        return any(meant is not None and meant[0] in names for meant in found)

    def headings(self) -> bool:
        """Find the columns; return whether the rows can be read by them (rules 1 and 2)."""
        for area in self.table.merged:  # rule 1
            self._problem(f"cells {area} are merged: split them, every piece has cells of its own")
        for k, cell in enumerate(self.table.headings):
            self._heading(k, cell)
        for name in (NUMBER, *TYPED):
            if name not in self.at and name not in LATER:
                shown = heading(name, "mm") if name == THICKNESS else name
                self._problem(f"row 1 has no column {shown!r}: put it back, it may be empty")
        return not self.problems

    def _heading(self, k: int, cell: Cell) -> None:
        where = f"row 1, column {column_letter(k)}"
        if cell.kind is Kind.EMPTY:
            used = [row.number for row in self.table.rows if row.cells[k].kind is not Kind.EMPTY]
            if used:
                self._problem(f"{where}: no heading, but row {used[0]} has something in it")
            return
        meant = of_heading(cell.text) if cell.kind is Kind.TEXT else None
        if meant is None:
            said = repr(cell.text[:40]) if cell.text else cell.kind.value
            self._problem(
                f"{where}: {said} is not a heading of this sheet; move its cells to remark"
            )
            return
        name, unit = meant
        if name in self.at:
            self._problem(f"{where}: {name!r} is in column {column_letter(self.at[name])} too")
            return
        self.at[name] = k
        if unit is not None:
            self.units[name] = unit

    def check_rows(self) -> None:
        """Check row by row (rules 3 to 8)."""
        for row in self.table.rows:
            if row.empty:  # rule 3
                self._problem(f"row {row.number} is empty, with others below it: delete it")
                continue
            before = len(self.problems)
            self._formulas(row)
            number = self._number(row)
            entry = self._entry(row)
            if number is None or len(self.problems) > before:
                continue
            if self.areas_mm2 is None or number in self.gone:  # rule 7
                if entry != NOTHING:
                    self.lost.append(Vanished(number, entry))
                continue
            self._area(row, number)
            if entry != NOTHING:
                self.entries[number] = entry

    def _formulas(self, row: Row) -> None:
        for name, k in self.at.items():
            if row.cells[k].kind is Kind.FORMULA:  # rule 4
                self._at(row, name, "holds a formula: write the word or number itself")

    def _number(self, row: Row) -> int | None:
        cell = row.cells[self.at[NUMBER]]
        if cell.kind is Kind.FORMULA:
            return None
        if cell.kind is Kind.EMPTY:
            self._at(row, NUMBER, "is empty: every row has the number of its piece")
            return None
        plain = cell.text.isascii() and cell.text.isdigit() and len(cell.text) <= 6
        if not plain or not 1 <= int(cell.text) <= LARGEST_ID:
            self._at(row, NUMBER, f"{cell.text[:40]!r} is not a piece number")
            return None
        number = int(cell.text)
        if self.areas_mm2 is None:
            return number
        if number in self.seen:
            self._at(row, NUMBER, f"piece {number} is in row {self.seen[number]} already")
            return None
        self.seen[number] = row.number
        if number not in self.areas_mm2 and number not in self.gone:  # rule 7
            self._at(row, NUMBER, f"the panel has no piece {number}")
            return None
        return number

    def _entry(self, row: Row) -> Entry:
        """Read the filled columns (rules 5 and 6)."""
        unit = self.units.get(THICKNESS, "mm")
        found = {}
        for name in (name for name in TYPED if name in self.at):
            cell = row.cells[self.at[name]]
            if cell.kind in (Kind.EMPTY, Kind.FORMULA):
                continue
            try:
                found[name] = self.words.read(name, cell, unit)
            except ValueError as fault:
                self._at(row, name, str(fault))
        entry = Entry(**found)
        contradiction = self.words.contradiction(entry)
        if contradiction:
            self._at(row, "action", contradiction)
        return entry

    def _area(self, row: Row, number: int) -> None:
        assert self.areas_mm2 is not None
        for name in MEASURED:
            k = self.at.get(name)
            if k is None or "area" not in name or row.cells[k].kind is Kind.EMPTY:
                continue
            unit = self.units[name]
            try:
                area = float(row.cells[k].text.replace(",", "."))
            except ValueError:
                said = row.cells[k].text[:40]
                self._at(row, name, f"{said!r} is not a number: leave this column as it was")
                continue
            area_mm2 = area * (MM2_PER_SQUARE_INCH if unit == "in" else 1.0)
            is_mm2 = self.areas_mm2[number]
            if name == _AREA and not abs(area_mm2 - is_mm2) <= max(
                _SAME_AREA_MM2, _SAME_AREA_SHARE * is_mm2
            ):  # rule 8
                self.doubts.append(
                    f"row {row.number}: the cut area is not that of piece {number}; was the sheet "
                    "made before a correction, or were numbers and rows mixed up?"
                )

    def _at(self, row: Row, name: str, what: str) -> None:
        letter = column_letter(self.at[name])
        self._problem(f"row {row.number}, column {letter} ({name}): {what}")

    def _problem(self, what: str) -> None:
        self.problems.append(f"{self.sheet}{what}")
