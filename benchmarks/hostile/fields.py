"""Data with fields spoilt one at a time: nested tables and lists, and rows of cells."""

from __future__ import annotations

import copy
import csv
import io
import json
import math
from collections.abc import Iterator, Sequence
from random import Random
from typing import Any

from benchmarks.hostile.mutate import nasty_text, shown

Way = tuple[str | int, ...]

NUMBERS: tuple[Any, ...] = (
    0,
    -1,
    1,
    2**31,
    2**63,
    2**64 + 1,
    10**30,
    10**400,
    10**4400,
    -(10**18),
    0.0,
    -0.0,
    1e-320,
    1e-9,
    1e9,
    1e300,
    -1e300,
    math.nan,
    math.inf,
    -math.inf,
    0.1 + 0.2,
)
"""Numbers at which arithmetic ends or begins to lie."""
_DEEP = 600
"""Levels of nesting: more than Python's own limit of recursion leaves room for."""
_MANY = 3000
"""Times that an item is repeated."""


def ways(datum: Any, at: Way = ()) -> Iterator[Way]:
    """Give the way to every field of nested data, tables and lists among them."""
    if at:
        yield at
    if isinstance(datum, dict):
        for key, item in datum.items():
            yield from ways(item, (*at, key))
    elif isinstance(datum, list):
        for k, item in enumerate(datum):
            yield from ways(item, (*at, k))


def found(datum: Any, way: Way) -> Any:
    """Return the field at the end of a way."""
    for step in way:
        datum = datum[step]
    return datum


def nasty_value(chance: Random, now: Any) -> Any:
    """Return a value that does not belong where `now` stands."""
    number = isinstance(now, int | float) and not isinstance(now, bool)
    if number and chance.random() < 0.35:
        return chance.choice((now + 1, -now, now * 1000, now * 1.02, float(now), str(now), [now]))
    if isinstance(now, str) and chance.random() < 0.5:
        return nasty_text(chance, now)
    return chance.choice(
        (
            chance.choice(NUMBERS),
            chance.choice(NUMBERS),
            nasty_text(chance),
            None,
            True,
            [],
            {},
            [[]],
            {"a": {"a": {}}},
            [now, now],
            _deep(chance.choice((20, _DEEP))),
        )
    )


def _deep(levels: int) -> Any:
    nested: Any = []
    for _ in range(levels):
        nested = [nested]
    return nested


def field_spoilt(datum: Any, chance: Random) -> tuple[Any, str]:
    """Return nested data with one field spoilt, and which."""
    spoilt = copy.deepcopy(datum)
    every = list(ways(spoilt))
    # A record has thousands of coordinates: half of the time a field near the top is taken.
    near = [way for way in every if len(way) <= 2]
    way = chance.choice(near if chance.random() < 0.3 else every)
    *above, last = way
    holder, where = found(spoilt, tuple(above)), ".".join(map(str, way))
    match chance.choice(("value", "value", "value", "gone", "twin", "more", "other", "many")):
        case "gone":
            del holder[last]
            return spoilt, f"{where} taken out"
        case "twin" if isinstance(holder, list):
            holder.append(copy.deepcopy(holder[last]))
            return spoilt, f"{where} put in twice"
        case "many" if isinstance(holder, list):
            holder += [copy.deepcopy(holder[last]) for _ in range(_MANY)]
            return spoilt, f"{where} put in {_MANY} times"
        case "more" if isinstance(holder, dict):
            name, value = nasty_text(chance, str(last)), nasty_value(chance, 1)
            holder[name] = value
            return spoilt, f"{shown(name)} = {shown(value)} put in beside {where}"
        case "other":
            other = chance.choice(every)
            holder[last] = copy.deepcopy(found(datum, other))
            return spoilt, f"{where} became what {'.'.join(map(str, other))} was"
    holder[last] = value = nasty_value(chance, holder[last])
    return spoilt, f"{where} = {shown(value)}"


def as_json(datum: Any) -> bytes:
    """Write data as JSON, with what JSON does not know, such as NaN, as Python writes it.

    Integers of any length are written, which Python refuses for its own sake.
    """
    return "".join(_json(datum)).encode("utf-8", "surrogatepass")


def _json(datum: Any) -> Iterator[str]:
    if isinstance(datum, dict):
        yield "{"
        for k, (key, item) in enumerate(datum.items()):
            yield f"{', ' if k else ''}{json.dumps(str(key), ensure_ascii=False)}: "
            yield from _json(item)
        yield "}"
    elif isinstance(datum, list):
        yield "["
        for k, item in enumerate(datum):
            yield ", " if k else ""
            yield from _json(item)
        yield "]"
    elif isinstance(datum, int) and not isinstance(datum, bool):
        yield digits(datum)
    else:
        yield json.dumps(datum, ensure_ascii=False, default=str)


def digits(number: int) -> str:
    """Write an integer of any length."""
    if abs(number) < 10**600:
        return str(number)
    return f"{'-' if number < 0 else ''}1{'0' * int(abs(number).bit_length() * math.log10(2))}"


def as_toml(datum: dict[str, Any]) -> bytes:
    """Write a table as TOML; a list of tables has headings of its own."""
    lines, below = [], []
    for key, item in datum.items():
        if isinstance(item, list) and item and all(isinstance(table, dict) for table in item):
            for table in item:
                below.append(f"\n[[{_name(key)}]]\n")
                below += [f"{_name(k)} = {_toml(v)}\n" for k, v in table.items()]
        else:
            lines.append(f"{_name(key)} = {_toml(item)}\n")
    return "".join(lines + below).encode("utf-8", "surrogatepass")


def _name(key: str) -> str:
    plain = key.isascii() and key.replace("_", "a").replace("-", "a").isalnum()
    return key if plain else json.dumps(key, ensure_ascii=False)


def _toml(datum: Any) -> str:
    if isinstance(datum, bool):
        return str(datum).lower()
    if isinstance(datum, int):
        return digits(datum)
    if isinstance(datum, float):
        return str(datum)
    if isinstance(datum, str):
        return json.dumps(datum, ensure_ascii=False)
    if isinstance(datum, list):
        return f"[{', '.join(map(_toml, datum))}]"
    if isinstance(datum, dict):
        return f"{{{', '.join(f'{_name(k)} = {_toml(v)}' for k, v in datum.items())}}}"
    return str(datum)


def as_csv(rows: Sequence[Sequence[str]], separator: str = ",") -> bytes:
    """Write rows of cells."""
    held = io.StringIO()
    csv.writer(held, delimiter=separator).writerows(rows)
    return held.getvalue().encode("utf-8", "surrogatepass")


def cell_spoilt(rows: Sequence[Sequence[str]], chance: Random) -> tuple[list[list[str]], str]:
    """Return rows with one cell, row or column spoilt, and which."""
    spoilt = [list(row) for row in rows]
    r = chance.randrange(len(spoilt))
    c = chance.randrange(len(spoilt[r]))
    match chance.choice(("cell",) * 6 + ("row", "twin", "column", "longer", "heads", "many")):
        case "row" if len(spoilt) > 1:
            del spoilt[r]
            return spoilt, f"row {r} taken out"
        case "twin":
            spoilt.insert(r, list(spoilt[r]))
            return spoilt, f"row {r} put in twice"
        case "column":
            for row in spoilt:
                del row[c]
            return spoilt, f"column {c} taken out"
        case "longer":
            spoilt[r].append(nasty_text(chance))
            return spoilt, f"row {r} with one cell more"
        case "heads":
            spoilt[0][c] = nasty_text(chance, spoilt[0][c])
            return spoilt, f"heading {c} = {shown(spoilt[0][c])}"
        case "many":
            spoilt += [list(spoilt[-1]) for _ in range(_MANY)]
            return spoilt, f"the last row put in {_MANY} times"
    spoilt[r][c] = nasty_text(chance, spoilt[r][c])
    return spoilt, f"cell {r}, {c} = {shown(spoilt[r][c])}"
