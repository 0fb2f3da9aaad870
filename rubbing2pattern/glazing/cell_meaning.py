"""Cells as the words and lengths that they mean."""

from __future__ import annotations

import re
import unicodedata
from difflib import get_close_matches
from enum import StrEnum
from typing import Any, TypeVar

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.glazing.entries import Action, Decoration, Entry, State
from rubbing2pattern.glazing.table import Cell, Kind
from rubbing2pattern.options.glass import GlassOptions
from rubbing2pattern.texts import checked
from rubbing2pattern.units import Unit, format_length, parse_length

W = TypeVar("W", bound=StrEnum)

_LISTS: dict[str, type[StrEnum]] = {"state": State, "action": Action, "decoration": Decoration}
_LONGEST = {"glass": 200, "remark": 2000}
_LONGEST_WORD = 200
"""Characters of a cell of any other column at most."""
_MOST_DEG = 360.0
"""Largest direction that is read; a whole turn."""


class Words:
    """Reads cells of the columns that a person fills in; raises `ValueError` saying what is wrong.

    Words are the same in upper and lower case, and with a hyphen or a space.
    """

    def __init__(self, options: GlassOptions) -> None:
        self.options = options

    def read(self, column: str, cell: Cell, unit: Unit) -> Any:
        """Return what a cell means in its column; bare numbers are in `unit`."""
        if cell.kind is Kind.FAULT:
            raise ValueError(f"holds {cell.kind.value}, {cell.text}: write the word itself")
        longest = _LONGEST.get(column, _LONGEST_WORD)
        if len(cell.text) > longest:
            raise ValueError(f"has {len(cell.text)} characters, but the limit is {longest}")
        match column:
            case "state" | "action":
                return _word(column, cell.text)
            case "decoration":
                return _decoration(cell.text)
            case "thickness":
                return self._thickness(cell, unit)
            case "grain_deg":
                return _grain(cell)
        if column == "glass" and cell.kind is Kind.DATE:
            raise ValueError("is a date: write the name of the glass as a text")
        return _text(column, cell.text)

    def contradiction(self, entry: Entry) -> str:
        """Say what cannot be true at once, or nothing."""
        if entry.state is State.MISSING and entry.action not in (None, Action.REPLACE):
            return (
                f"a piece that is {State.MISSING} can only be given {Action.REPLACE}, "
                f"not {entry.action}"
            )
        return ""

    def _thickness(self, cell: Cell, unit: Unit) -> str:
        text = cell.text
        if cell.kind is Kind.DATE:
            raise ValueError(
                "is a date: a spreadsheet reads 1/8 as a day; write 1/8 in, or a number"
            )
        if cell.kind is Kind.TRUTH:
            raise ValueError(f"{text!r} is not a thickness")
        if cell.kind is Kind.NUMBER:
            number = float(text)
            text = f"{number:.4f}".rstrip("0").rstrip(".") if abs(number) < 1e9 else text
        text = " ".join(text.split())
        if not re.search(r"[A-Za-z\"'\u2032\u2033\u2019\u201d\u201c]", text):
            text = f"{text} {unit}"
        try:
            thickness_mm = parse_length(text)
        except UsageFault as fault:
            raise ValueError(str(fault)) from fault
        least_mm, most_mm = self.options.least_thickness_mm, self.options.most_thickness_mm
        if not least_mm <= thickness_mm <= most_mm:
            raise ValueError(
                f"{text} is not a thickness of glass ({format_length(least_mm)} to "
                f"{format_length(most_mm)}); was another unit meant?"
            )
        return text


def _key(text: str) -> str:
    plain = unicodedata.normalize("NFKC", text).casefold()
    return " ".join(re.sub(r"[-\u2010-\u2014_]", " ", plain).split())


def _word(column: str, text: str) -> Any:
    words = {_key(word.value): word for word in _LISTS[column]}
    key = _key(text)
    if key in words:
        return words[key]
    allowed = ", ".join(word.value for word in words.values())
    message = f"{text[:40]!r} is not one of {allowed}"
    for other, kind in _LISTS.items():
        if other != column and key in {_key(word.value) for word in kind}:
            raise ValueError(f"{message}, but a word of {other}: did the columns change places?")
    near = get_close_matches(key, words, n=1, cutoff=0.7)
    raise ValueError(f"{message}; did you mean {words[near[0]].value}?" if near else message)


def _decoration(text: str) -> tuple[Decoration, ...]:
    parts = [p for p in re.split(r"[+,;/&\n]|\band\b", text) if p.strip()]
    found = {_word("decoration", part.strip()) for part in parts}
    if not found:
        _word("decoration", text)
    if Decoration.PLAIN in found and len(found) > 1:
        raise ValueError(f"{text[:60]!r}: plain glass has no other decoration")
    return tuple(part for part in Decoration if part in found)


def _grain(cell: Cell) -> float:
    bare = re.sub(r"\s*(°|deg\.?|degrees?)$", "", cell.text, flags=re.IGNORECASE)
    if cell.kind not in (Kind.NUMBER, Kind.TEXT) or not re.fullmatch(
        r"[-+]?[0-9]+(\.[0-9]+)?", bare
    ):
        raise ValueError(
            f"{cell.text[:40]!r} is not a direction: write degrees, 90 for upright, 0 for level"
        )
    degrees = round(float(bare), 2) + 0.0  # plus 0: no minus zero
    if abs(degrees) > _MOST_DEG:
        raise ValueError(
            f"{degrees:g} degrees are out of range: write {-_MOST_DEG:g} to {_MOST_DEG:g}; 90 is "
            "upright, 0 level"
        )
    return degrees


def _text(column: str, text: str) -> str:
    return checked(text if column == "remark" else " ".join(text.split()))
