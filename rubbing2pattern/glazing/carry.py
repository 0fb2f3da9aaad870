"""What someone typed is never lost: carried over to a new panel, and several sheets made one."""

from __future__ import annotations

import hashlib
from collections.abc import Container, Iterable, Mapping
from dataclasses import dataclass, field

from rubbing2pattern.glazing.entries import TYPED, Filled, Vanished


@dataclass(frozen=True, slots=True)
class Carried:
    """What became of the filled columns.

    Attributes
    ----------
    filled : under the numbers that hold now.
    vanished : rows whose piece no longer exists and that went to the second sheet this time.
    moved : numbers whose piece moved, so that the entry may belong to another piece.
    """

    filled: Filled = field(default_factory=Filled)
    vanished: tuple[Vanished, ...] = ()
    moved: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Merged:
    """Two sheets made one.

    Attributes
    ----------
    kept : (number, column) that the newer left empty and the older filled.
    changed : (number, column, old, new) where they differ and the newer holds.
    """

    filled: Filled
    kept: tuple[tuple[int, str], ...] = ()
    changed: tuple[tuple[int, str, str, str], ...] = ()


def carried_over(filled: Filled, numbers: Mapping[int, int], moved: Iterable[int] = ()) -> Carried:
    """Give every entry the number that its piece has now.

    Parameters
    ----------
    filled : under the old numbers.
    numbers : new number by old one; a piece that is not there has vanished.
    moved : new numbers whose piece is not where it was.
    """
    entries = {numbers[n]: e for n, e in sorted(filled.entries.items()) if n in numbers}
    lost = tuple(Vanished(n, e) for n, e in sorted(filled.entries.items()) if n not in numbers)
    kept = Filled(dict(sorted(entries.items())), filled.vanished).with_vanished(lost)
    return Carried(kept, lost, tuple(sorted({*moved} & {*entries})))


def carried_back(filled: Filled, numbers: Mapping[int, int], before: Container[int]) -> Carried:
    """Give every entry the number that its piece had, and pieces that are back theirs again.

    Parameters
    ----------
    filled : under the numbers that hold now.
    numbers : new number by old one, as for `carried_over`.
    before : all numbers that there were.
    """
    back = carried_over(filled, {now: old for old, now in numbers.items()})
    entries, vanished = dict(back.filled.entries), []
    for row in back.filled.vanished:
        if row.number in before and row.number not in numbers and row.number not in entries:
            entries[row.number] = row.entry
        else:
            vanished.append(row)
    kept = Filled(dict(sorted(entries.items())), tuple(vanished))
    return Carried(kept, back.vanished, back.moved)


def merged(newer: Filled, older: Filled) -> Merged:
    """Make one of two sheets: the newer holds, and what it leaves empty is taken from the older."""
    entries, kept, changed = {}, [], []
    for number in sorted({*newer.entries, *older.entries}):
        new, old = newer.of(number), older.of(number)
        entries[number] = new.completed(old)
        mine, theirs = new.texts("mm"), old.texts("mm")
        kept += [(number, c) for c in TYPED if theirs[c] and not mine[c]]
        changed += [(number, c, theirs[c], mine[c]) for c in new.differing(old)]
    filled = Filled(entries, newer.vanished).with_vanished(older.vanished)
    return Merged(filled, tuple(kept), tuple(changed))


def fingerprint(filled: Filled) -> str:
    """Return a mark by which the same entries are known again, hexadecimal."""
    digest = hashlib.sha256()
    for number, entry in sorted(filled.entries.items()):
        digest.update(repr((number, *entry.texts("mm").values())).encode())
    return digest.hexdigest()
