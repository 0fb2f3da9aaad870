"""Numbers of windows and panels by the scheme of the Corpus Vitrearum.

A window is n or s with a number counted away from the east window, N or S at clerestory level; a
panel is its row, counted from the bottom, and its light, lettered from the left: ``n4 3b`` is the
third panel of the second light of window n4 (Corpus Vitrearum, Guidelines, 4th ed. 2016, IX). Roman
numbers, and I alone for the east window, are older use (from memory). Other names are allowed: a
workshop may number as it likes.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

_FORM = re.compile(
    r"(?:(?P<side>[nsNSwW])\s?(?P<number>[1-9][0-9]{0,2}|[IVXLC]{1,7})|(?P<east>I))"
    r"(?:\s+(?P<row>[1-9][0-9]?)(?P<light>[a-z]))?"
)
_ROMAN = {"I": 1, "V": 5, "X": 10, "L": 50, "C": 100}
_SIDES = "nsw"


@dataclass(frozen=True, slots=True)
class WindowNumber:
    """One number taken apart.

    Attributes
    ----------
    side : "n", "s" or "w"; "" for the east window.
    clerestory : whether the window is one of the upper ones.
    number : of the window, 1 for the east window.
    row, light : of the panel in the window; 0 and "" where only the window is named.
    """

    side: str
    clerestory: bool
    number: int
    row: int = 0
    light: str = ""

    @property
    def order(self) -> tuple[int, bool, int, int, str]:
        """What numbers are sorted by: east, north, south, west; lower windows first; row, light."""
        side = _SIDES.index(self.side) + 1 if self.side else 0
        return (side, self.clerestory, self.number, self.row, self.light)


def window_number(text: str) -> WindowNumber | None:
    """Take a number apart, or return None where it does not follow the scheme."""
    found = _FORM.fullmatch(text.strip())
    if found is None:
        return None
    row, light = int(found["row"] or 0), found["light"] or ""
    if found["east"]:
        return WindowNumber("", False, 1, row, light)
    number = int(found["number"]) if found["number"].isdigit() else _roman(found["number"])
    if number is None:
        return None
    side = found["side"]
    return WindowNumber(side.lower(), side.isupper(), number, row, light)


def in_order(name: str) -> tuple[int, tuple[int, bool, int, int, str], str]:
    """Return a key that sorts panels' names: by their numbers, others behind by their letters."""
    number = window_number(name)
    return (1, (0, False, 0, 0, ""), name) if number is None else (0, number.order, name)


def _roman(text: str) -> int | None:
    """Read a Roman number, or return None where it is not written as such numbers are."""
    values = [_ROMAN[letter] for letter in text]
    total = sum(
        -value if value < max(values[k + 1 :], default=0) else value
        for k, value in enumerate(values)
    )
    return total if _as_roman(total) == text else None


def _as_roman(number: int) -> str:
    parts = (
        (100, "C"), (90, "XC"), (50, "L"), (40, "XL"), (10, "X"),
        (9, "IX"), (5, "V"), (4, "IV"), (1, "I"),
    )  # fmt: skip
    text = ""
    for value, letters in parts:
        while number >= value:
            text, number = text + letters, number - value
    return text
