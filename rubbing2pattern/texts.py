"""Texts that people write: which characters they may hold, and how they are shown and listed."""

from __future__ import annotations

import calendar
import re
import unicodedata
from collections.abc import Iterator
from typing import Any

_OVERRIDES = "\u202a-\u202e\u2066-\u2069"
"""Unicode's controls of direction: what follows them is shown in another order than it is kept."""
_UNFIT = re.compile(
    rf"[\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff{_OVERRIDES}\ufdd0-\ufdef\ufffe\uffff]"
)
"""What XML 1.0 does not allow, or what no page shows; line ends and tabs are allowed."""
_LINE_ENDS = re.compile(r"[\t\n\u2028\u2029]")
_LONG_WORD = re.compile(r"(\S{200})\S{160,}(\S{40})")
"""A word of 400 letters or more."""
_LONG_NUMBER = re.compile(r"([0-9]{20})[0-9]{40,}")
"""Figures that say nothing in a message; its beginning shows which number is meant."""
_REPLACEMENT = "\ufffd"
_DATE = re.compile(r"[0-9]{4}(-(0[1-9]|1[0-2])(-(0[1-9]|[12][0-9]|3[01]))?)?")

_FIELD_FAULTS = {
    "extra_forbidden": "there is no such field",
    "missing": "is missing",
    "model_type": "must be a table",
    "dict_type": "must be a table",
    "list_type": "must be a list",
    "tuple_type": "must be a list",
    "string_type": "must be a text",
    "float_type": "must be a number",
    "int_type": "must be a whole number",
    "int_from_float": "must be a whole number",
    "bool_type": "must be true or false",
    "finite_number": "must be a finite number",
    "too_long": "has more items than it may have",
    "too_short": "has fewer items than it must have",
}
"""What is wrong with a field, by the kind of the fault."""

MOST_DIGITS = 6
"""Digits that the number of a piece may have, and the one in a name such as C12 or F14."""
LARGEST_ID = 10**MOST_DIGITS - 1
"""The largest such number."""
ID_NUMBER = rf"[1-9][0-9]{{0,{MOST_DIGITS - 1}}}"
"""Pattern of such a number."""

_SIGNS = "=+\\-@\uff1d\uff0b\uff0d\uff20"
"""Signs that begin a formula, and their full-width forms; for a pattern's set of characters."""
_BEGUN = rf"(?:[^\S\t\r\n]|\")*[{_SIGNS}]"
"""The beginning of a formula: spaces and quotation marks before it do not matter."""
_FORMULA = re.compile(rf"[\t\r\n]|{_BEGUN}")
_NUMBER = re.compile(r"[-+]?[0-9]+(\.[0-9]+)?( [0-9]+/[0-9]+)?")
_INNER = re.compile(rf"(?<=[;\t\r\n])(?={_BEGUN})")
"""Where a cell begins for a spreadsheet that separates cells by semicolons, tabs or ends of lines,
because it is set to another language than the list."""
_MARKED = re.compile(rf"(?:\A|(?<=[;\t\r\n]))'+(?={_BEGUN})")


def unfit(text: str, *, lines: bool = True) -> str:
    """Say which character a text may not hold, and the cure; nothing when the text is fit.

    A text is free of control characters, of controls of direction, and of what is no character.

    Parameters
    ----------
    text : what a person wrote.
    lines : whether it may have ends of lines and tabs.

    Examples
    --------
    >>> unfit("a\u0007b")
    'character 2 is U+0007 (control character), which no text may hold; delete it'
    >>> unfit("a window")
    ''
    """
    found = _UNFIT.search(text) or (None if lines else _LINE_ENDS.search(text))
    if found is None:
        return ""
    sign = found[0]
    name = unicodedata.name(sign, "control character").lower()
    where = f"character {found.start() + 1} is U+{ord(sign):04X} ({name})"
    if _UNFIT.match(sign):
        return f"{where}, which no text may hold; delete it"
    return f"{where}, but the text must be one line; write a space"


def checked(text: str, *, lines: bool = True) -> str:
    """Return a text that is fit, see `unfit`; raises `ValueError` with the fault of another."""
    fault = unfit(text, lines=lines)
    if fault:
        raise ValueError(fault)
    return text


def name_fault(name: str) -> str:
    """Say what is wrong with the name of a panel; nothing when it can have it."""
    if name.strip() and name.isprintable():
        return ""
    return f"a panel needs a name of printable characters, not {name!r}"


def unfit_parts(datum: Any, at: tuple[str | int, ...] = ()) -> Iterator[tuple[list[str], str]]:
    """Yield the way to every unfit text in nested tables and lists, and what is wrong with it.

    Keys are checked as values are. The steps of the way are names, and indices from 0.
    """
    if isinstance(datum, str):
        fault = unfit(datum)
        if fault:
            yield [printable(str(step)) for step in at], fault
    elif isinstance(datum, dict):
        for key, item in datum.items():
            fault = unfit(str(key))
            if fault:
                yield [printable(str(step)) for step in (*at, key)], f"in the name, {fault}"
            yield from unfit_parts(item, (*at, key))
    elif isinstance(datum, list | tuple):
        for k, item in enumerate(datum):
            if not isinstance(item, float):  # A record has a hundred thousand of them.
                yield from unfit_parts(item, (*at, k))


def printable(text: str, *, lines: bool = True) -> str:
    r"""Return a text with what would not be shown written out, for a message.

    Without `lines` this is also done with ends of lines and tabs.

    Examples
    --------
    >>> printable("a\u001b[2Jb")
    'a\\x1b[2Jb'
    """
    shown = _UNFIT.sub(_written_out, text)
    return shown if lines else _LINE_ENDS.sub(_written_out, shown)


def escaped(text: str) -> str:
    r"""Return a text with what no terminal should obey as ``\uXXXX``, as JSON reads it too.

    Examples
    --------
    >>> escaped('{"file": "a\u202eb"}')
    '{"file": "a\\u202eb"}'
    """
    return _UNFIT.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def _written_out(found: re.Match[str]) -> str:
    return ascii(found[0])[1:-1]


def shortened(text: str) -> str:
    """Return a message without the middle of very long numbers and words, such as paths."""
    plain = _LONG_NUMBER.sub(lambda found: f"{found[1]}... ({len(found[0])} digits)", text)
    return _LONG_WORD.sub(r"\1...\2", plain)


def replaced(text: str) -> str:
    """Return a text with U+FFFD for each character that no text may hold, as of a file's name."""
    return _UNFIT.sub(_REPLACEMENT, text)


def field_fault(kind: str, message: str) -> str:
    """Say in plain words what is wrong with a field.

    Parameters
    ----------
    kind, message : of an error of pydantic; a message that has no better words is returned.

    Examples
    --------
    >>> field_fault("model_type", "Input should be a valid dictionary or instance of CamePart")
    'must be a table'
    """
    return _FIELD_FAULTS.get(kind, message.removeprefix("Value error, "))


def is_date(text: str) -> bool:
    """Return whether a text is a year, a month or a day that there is (ISO 8601-1)."""
    if not _DATE.fullmatch(text):
        return False
    year, month, day = (int(part) for part in f"{text}-1-1".split("-")[:3])
    return year > 0 and day <= calendar.monthrange(year, month)[1]


def formula_like(text: str) -> bool:
    """Return whether a spreadsheet would take a text for a formula."""
    return _FORMULA.match(text) is not None and not _NUMBER.fullmatch(text)


def harmless(text: str) -> str:
    """Return a text with an apostrophe wherever a spreadsheet would find a formula in a list.

    Examples
    --------
    >>> harmless("=1+1")
    "'=1+1"
    >>> harmless("a;=1+1")
    "a;'=1+1"
    """
    inner = _INNER.sub("'", text)
    return f"'{inner}" if formula_like(text) else inner


def without_marks(text: str) -> str:
    """Take away the apostrophes that `harmless` put there."""
    return _MARKED.sub("", text)
