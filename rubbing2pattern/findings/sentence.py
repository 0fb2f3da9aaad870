"""The sentence of a finding: its parts with ids and figures, in the units asked for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from string import Formatter
from typing import TypeAlias

from rubbing2pattern.units import (
    MM_PER_INCH,
    Unit,
    decimal,
    format_length,
    in_inches,
    in_square_inches,
)

Value: TypeAlias = "float | str | Sequence[str] | Sequence[int]"

_ONE_OF = {"came": "cames", "joint": "joints", "piece": "pieces"}
_MOST_NAMED = 4
"""So many of a list are named in one sentence; the others are counted."""
_FROM_CM2 = 100
"""Square centimetres from which an area is no longer written in mm²."""
_MM2_PER_CM2 = 100.0
"""By the definition of both units."""
_FINER_IN_INCHES = 2
"""Decimal places more in inches than in millimetres show at least as much."""


def sentence(
    parts: Sequence[str],
    lists: Mapping[str, Sequence[str] | Sequence[int]],
    figures: Mapping[str, float | str],
    units: Unit,
) -> str:
    """Return a sentence of its parts; parts after the first that lack a value are left out.

    Parameters
    ----------
    parts : templates of `str.format`. After the colon of ``{name:…}`` come, for a figure, its
        decimal places in mm, in per cent and so on, with ``+`` before them where its sign counts;
        for a list its words when it has one member, and several: ``{cames:measures|measure}``, or
        none, one, and several; or ``or`` to end it so. ``{came}`` is the first of ``cames``,
        ``{other_came}`` the second.
    lists : ids of cames and joints, numbers of pieces.
    figures : numbers, whose names end in their unit, and names of other things.
    units : of the lengths.

    Raises
    ------
    KeyError
        When the first part lacks a value.
    """
    shown = {name: _Shown(name, value, units) for name, value in {**lists, **figures}.items()}
    for one, several in _ONE_OF.items():
        for name, own in zip((one, f"other_{one}"), lists[several], strict=False):
            shown[name] = _Shown(name, str(own), units)
    first, *others = parts
    fitting = (part for part in others if fields_of(part) <= shown.keys())
    return "".join(part.format_map(shown) for part in (first, *fitting))


def fields_of(part: str) -> set[str]:
    """Return the names of the values that a part of a sentence needs."""
    return {name for _, name, _, _ in Formatter().parse(part) if name}


@dataclass(frozen=True, slots=True)
class _Shown:
    """A value that is written as the end of its name asks."""

    name: str
    value: Value
    units: Unit

    def __format__(self, spec: str) -> str:
        match self.value:
            case str():
                return self.value
            case int() | float():
                return _figure(self.name, self.value, spec, self.units)
        return _list([str(own) for own in self.value], spec)


def _list(members: Sequence[str], spec: str) -> str:
    if "|" in spec:
        words = spec.split("|")
        return words[max(0, min(len(members), 2) + len(words) - 3)]
    shown, more = members[:_MOST_NAMED], len(members) - _MOST_NAMED
    if more > 0:
        return f"{', '.join(shown)} and {more} more"
    return f" {spec or 'and'} ".join(filter(None, (", ".join(shown[:-1]), *shown[-1:])))


def _figure(name: str, value: float, spec: str, units: Unit) -> str:
    if not spec:
        return f"{value:g}"
    sign = "+" if spec.startswith("+") and value > 0.0 else ""
    return sign + _unsigned(name, value, int(spec), units)


def _unsigned(name: str, value: float, places: int, units: Unit) -> str:
    finer = places + _FINER_IN_INCHES
    if name.endswith("_px_per_mm"):
        if units == "mm":
            return f"{decimal(value, places)} pixels per millimetre"
        return f"{decimal(value * MM_PER_INCH, 0)} pixels per inch"
    if name.endswith("_mm"):
        # Widths and doubts are too fine for the fractions of a rule.
        if units == "in" and places:
            return f"{decimal(in_inches(value), finer)} in"
        return format_length(value, units, decimals=places)
    if name.endswith("_mm2"):
        if units == "in":
            return f"{decimal(in_square_inches(value), finer)} sq in"
        if value >= _FROM_CM2 * _MM2_PER_CM2:
            return f"{decimal(value / _MM2_PER_CM2, places)} cm²"
        return f"{decimal(value, places)} mm²"
    if name.endswith("_share"):
        return f"{decimal(100.0 * value, places)} %"
    return decimal(value, places) + ("°" if name.endswith("_deg") else "")
