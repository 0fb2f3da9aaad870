"""Why a TOML file that a person wrote cannot be read, and the line as it should be."""

from __future__ import annotations

import re
import sys
import tomllib
from collections.abc import Iterator
from typing import Any

_SHOWN = 200
"""Most letters of a line or a reason that a message shows."""
_QUOTES = "\"'\u201c\u201d\u201e\u2018\u2019"
"""Straight and typographic ones, which word processors put in."""
_MOST_PARTS = 40
"""Parts of a dotted key; none of the program's has two, and reading takes their square."""
_DEEP = re.compile(rf"(?<![^\s.=])(?:[^\s.=]++[ \t]*+\.[ \t]*+){{{_MOST_PARTS}}}")
_DIGITS = re.compile(r"[0-9_]+")
_AT_LINE = re.compile(r"\(at line (\d+), column \d+\)")
_ASSIGNMENT = re.compile(r"\s*([A-Za-z0-9_-]+)\s*([=:])\s*(.*?)\s*(#.*)?")
_HEADER = re.compile(r"\s*\[+\s*([A-Za-z0-9_-]+)\s*\]+")
_PLACE = re.compile(r"[\[(]?\s*(-?[0-9.]+)\s*[,; ]\s*(-?[0-9.]+)\s*[\])]?")
_COMMA_NUMBER = re.compile(r"-?[0-9]+,[0-9]+")
_DAY = re.compile(r"(\d{1,2})[./](\d{1,2})[./](\d{4})")
_YEAR_FIRST = re.compile(r"(\d{4})[./](\d{1,2})[./](\d{1,2})")


def toml_table(text: str) -> dict[str, Any]:
    """Read a file of TOML.

    Raises
    ------
    tomllib.TOMLDecodeError, RecursionError
        It is not TOML, a number in it has more digits than Python reads, or a key too many parts.
    """
    deep = _DEEP.search(text)
    if deep:
        line = text.count("\n", 0, deep.start()) + 1
        raise tomllib.TOMLDecodeError(
            f"a key has {_MOST_PARTS} parts or more (at line {line}, column 1)"
        )
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        raise
    except ValueError as fault:
        most = sys.get_int_max_str_digits()
        long = next((run for run in _DIGITS.finditer(text) if len(run[0]) >= most), None)
        line = text.count("\n", 0, long.start()) + 1 if long else 1
        raise tomllib.TOMLDecodeError(
            f"a number has more than {most} digits; write a shorter one (at line {line}, column 1)"
        ) from fault


def why_unreadable(
    fault: tomllib.TOMLDecodeError | RecursionError, text: str, places: frozenset[str] = frozenset()
) -> str:
    r"""Say at which line, table and key a file is not TOML, and how that line should be.

    Parameters
    ----------
    fault : as `tomllib` raised it.
    text : the file.
    places : keys whose value is a place ``[x, y]``.

    Examples
    --------
    >>> text = "[[set_width]]\ncame = C26"
    >>> try:
    ...     tomllib.loads(text)
    ... except tomllib.TOMLDecodeError as fault:
    ...     why_unreadable(fault, text)
    'line 2, set_width 1, came: a text needs quotation marks; write came = "C26"'
    """
    found = _AT_LINE.search(str(fault))
    lines = text.splitlines()
    number = int(found[1]) if found else 0
    if not 1 <= number <= len(lines):
        return f"not TOML: {str(fault)[:_SHOWN]}"
    line = lines[number - 1]
    assignment = _ASSIGNMENT.fullmatch(line) if len(line) <= _SHOWN else None
    if assignment is None:
        return f"line {number}: not TOML: {str(fault)[:_SHOWN]}"
    key, sign, value, _ = assignment.groups()
    where = ", ".join(filter(None, (_table(lines[: number - 1]), key)))
    for why, form in _forms(key, value, sign, places):
        right = f"{key} = {form}"
        if _readable(right):
            return f"line {number}, {where}: {why}; write {right}"
    return f"line {number}, {where}: not TOML: {str(fault)[:_SHOWN]}"


def _forms(key: str, value: str, sign: str, places: frozenset[str]) -> Iterator[tuple[str, str]]:
    """Yield what may be wrong with a value and how it would be right, the likeliest first."""
    if sign == ":":
        yield "the sign after a key is =", value
    place = _PLACE.fullmatch(value)
    if key in places and place:
        yield "a place needs brackets", f"[{place[1]}, {place[2]}]"
    if _COMMA_NUMBER.fullmatch(value):
        yield "a number needs a point, not a comma", value.replace(",", ".")
    for pattern, order in ((_DAY, (3, 2, 1)), (_YEAR_FIRST, (1, 2, 3))):
        date = pattern.fullmatch(value)
        if date:
            year, month, day = (int(date[k]) for k in order)
            yield "a date is year-month-day", f"{year}-{month:02}-{day:02}"
    bare = value.strip(_QUOTES)
    if bare and '"' not in bare and "\\" not in bare:
        yield "a text needs quotation marks", f'"{bare}"'


def _table(lines: list[str]) -> str:
    """Return the name and the index of the table that the next line belongs to; "" for the head."""
    names = [found[1] for line in lines if (found := _HEADER.match(line))]
    return f"{names[-1]} {names.count(names[-1])}" if names else ""


def _readable(line: str) -> bool:
    try:
        tomllib.loads(line)
    except tomllib.TOMLDecodeError:
        return False
    return True
