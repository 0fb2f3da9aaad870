"""Widths measured with callipers on the lead itself, read and checked."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.inputs.files import content_of, stands
from rubbing2pattern.inputs.reference import Row, table_rows
from rubbing2pattern.units import parse_length

_BY_PLACE = ("x_mm", "y_mm", "width_mm")
_BY_NAME = ("came", "width_mm")
_WIDTH_RANGE_MM = (1.5, 40.0)
"""Widths that a lead can have; beyond, another unit was meant."""
FORM = 'write --caliper FILE.csv or --caliper "C12=6.1mm"'


@dataclass(frozen=True, slots=True)
class Caliper:
    """One width measured on the lead.

    Attributes
    ----------
    row : where it was given, for messages.
    width_mm : face width.
    came : id of the came, "" when a place is given.
    at_mm : place in the panel's frame, None when a came is named.
    """

    row: str
    width_mm: float
    came: str = ""
    at_mm: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Calipers:
    """The widths of one file, with its name and sha256; both are "" for a width given alone."""

    source: str
    sha256: str
    widths: tuple[Caliper, ...]


def parse_calipers(given: Iterable[str]) -> tuple[Calipers, ...]:
    """Read what is given: names of CSV files, or single widths like ``C12=6.1mm``.

    A file has the columns ``x_mm,y_mm,width_mm`` (places in the panel's frame) or
    ``came,width_mm``. A width is in mm unless it has its own unit.

    Raises
    ------
    UsageFault
        Naming the row and column of what is wrong.
    InputUnreadable
        When a file cannot be read.
    """
    return tuple(_calipers(text) for text in given)


def _calipers(text: str) -> Calipers:
    came, sign, width = (part.strip() for part in text.partition("="))
    if not sign or stands(Path(text)):
        path = Path(text)
        _refuse_half(text, path)
        widths = tuple(_file(path))
        return Calipers(path.name, hashlib.sha256(content_of(path)).hexdigest(), widths)
    if not came or not width:
        raise UsageFault(
            f"--caliper {text!r} gives no {'width' if came else 'came'}; "
            f"{_form(came or 'C12', width or '6.1mm')}"
        )
    try:
        alone = Caliper(f"--caliper {text!r}", _width_mm(width), came)
    except UsageFault as fault:
        raise UsageFault(f"--caliper {text!r}: {fault}") from fault
    return Calipers("", "", (alone,))


def _refuse_half(text: str, path: Path) -> None:
    """Refuse a came or a width alone, which would else be taken for the name of a file."""
    if stands(path):
        return
    said = re.fullmatch(r"(?P<came>C[1-9][0-9]*)?(?P<sign>[\s:,;]*)(?P<width>.*)", text.strip())
    came, width = (said["came"] or "", said["width"]) if said else ("", "")
    if came and not width:
        raise UsageFault(f"--caliper {text!r} gives no width; {_form(came, '6.1mm')}")
    if width and _is_length(width):
        lacks = "has no sign = between came and width" if came else "gives no came"
        raise UsageFault(f"--caliper {text!r} {lacks}; {_form(came or 'C12', width)}")


def _form(came: str, width: str) -> str:
    """Return how to write it, with what was given."""
    return f'write --caliper "{came}={width}", or --caliper FILE.csv'


def _is_length(text: str) -> bool:
    try:
        parse_length(text)
    except UsageFault:
        return False
    return True


def _file(path: Path) -> list[Caliper]:
    columns, rows = table_rows(path, (_BY_PLACE, _BY_NAME))
    if not rows:
        raise UsageFault(f"{path} holds no width below its header; {FORM}")
    return [_by_place(row) if columns == _BY_PLACE else _by_name(row) for row in rows]


def _by_place(row: Row) -> Caliper:
    at_mm = (row.number("x_mm"), row.number("y_mm"))
    return Caliper(_place(row), _width_of(row), at_mm=at_mm)


def _by_name(row: Row) -> Caliper:
    came = row.texts["came"].strip()
    if not came:
        raise row.fault(
            "came", "no came is named; the record and the pattern (--ids came) give the ids"
        )
    return Caliper(_place(row), _width_of(row), came)


def _place(row: Row) -> str:
    return f"{row.path.name}, line {row.line}"


def _width_of(row: Row) -> float:
    try:
        return _width_mm(row.texts["width_mm"])
    except UsageFault as fault:
        raise row.fault("width_mm", str(fault)) from fault


def _width_mm(text: str) -> float:
    width_mm = parse_length(text)
    low_mm, high_mm = _WIDTH_RANGE_MM
    if not low_mm <= width_mm <= high_mm:
        raise UsageFault(
            f"the face width is {width_mm:g} mm, but must lie from {low_mm:g} to {high_mm:g} mm"
        )
    return width_mm
