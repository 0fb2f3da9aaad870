"""The sheet of pieces on the page: what is typed there, and how it meets the sheets of the folder.

Rules:

1. A cell of the page is read as a cell of the sheet is.
2. What was written into the folder's sheets since the page was opened is kept.
3. Where both changed the same cell, and not to the same, nothing is written: a person decides.
4. What is written about a piece that is gone goes to the sheet of vanished pieces.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.glazing.entries import NOTHING, TYPED, Entry, Filled, Vanished
from rubbing2pattern.glazing.typed import entry_from
from rubbing2pattern.options.glass import GlassOptions
from rubbing2pattern.units import Unit


@dataclass(frozen=True, slots=True)
class Written:
    """What the page says about the pieces.

    Attributes
    ----------
    base : what the folder's sheets said when the page was opened, under the numbers of then.
    entries : what the page says, under the numbers of now.
    numbers : number now by the number of then, of the pieces that got another one.
    """

    base: Filled
    entries: Mapping[int, Entry]
    numbers: Mapping[int, int] = field(default_factory=dict)

    def typed(
        self, cells: Mapping[int, Mapping[str, str]], options: GlassOptions, unit: Unit
    ) -> Written:
        """Return the same with cells written anew (rule 1); raises `UsageFault`."""
        entries = dict(self.entries)
        for number, row in cells.items():
            entry = entry_from(row, number, options, unit, entries.get(number, NOTHING))
            entries[number] = entry
            if entry == NOTHING:
                del entries[number]
        return replace(self, entries=entries)

    def renumbered(self, numbers: Mapping[int, int]) -> Written:
        """Return the same after pieces got other numbers, new by old."""
        if not numbers:
            return self
        entries = {numbers.get(n, n): e for n, e in self.entries.items()}
        known = {*self.numbers, *(n for n in numbers if n not in self.numbers.values())}
        now = {n: numbers.get(self.numbers.get(n, n), self.numbers.get(n, n)) for n in known}
        return replace(self, entries=entries, numbers=now)

    @property
    def changed(self) -> bool:
        """Whether the page says anything else than the folder's sheets did."""
        return dict(self.entries) != {self._now(n): e for n, e in self.base.entries.items()}

    def _now(self, number: int) -> int:
        return self.numbers.get(number, number)

    def meeting(self, held: Filled) -> Written:
        """Return the same with what the folder's sheets say by now (rules 2 and 3).

        Raises
        ------
        UsageFault
            A cell was changed on the page and on a sheet, and not to the same.
        """
        entries, clashes = dict(self.entries), []
        for number in sorted({*held.entries, *self.base.entries}):
            was, there = self.base.of(number), held.of(number)
            if was == there:
                continue
            here = entries.get(self._now(number), NOTHING)
            merged, clash = _merged(was, there, here)
            clashes += [f"piece {number}, {c}" for c in clash]
            entries[self._now(number)] = merged
            if merged == NOTHING:
                del entries[self._now(number)]
        if clashes:
            raise UsageFault(
                "a sheet in the folder was filled in meanwhile and says otherwise than the page: "
                f"{'; '.join(clashes[:3])}; make both the same, then save again"
            )
        return replace(self, entries=entries)

    def filled(self, held: Filled, present: set[int]) -> Filled:
        """Return what is written into the folder, whose sheets hold `held` by now (rule 4)."""
        entries = {n: e for n, e in sorted(self.entries.items()) if n in present}
        before = {self._now(n): e for n, e in self.base.entries.items()}
        lost = [
            Vanished(n, e)
            for n, e in sorted(self.entries.items())
            if n not in present and before.get(n) != e
        ]
        return Filled(entries, held.vanished).with_vanished(lost)


def _merged(was: Entry, there: Entry, here: Entry) -> tuple[Entry, list[str]]:
    """Return the entry with every change of either side, and the columns where both differ."""
    fields = {name: getattr(here, name) for name in TYPED}
    clash = []
    for name in TYPED:
        old, theirs, mine = (getattr(entry, name) for entry in (was, there, here))
        if theirs != old and mine not in (old, theirs):
            clash.append(name)
        elif theirs != old:
            fields[name] = theirs
    return Entry(**fields), clash
