"""The five kinds of reference from which scale and perspective are taken, read and checked.

A reference is data given by the user: nothing here looks at the picture. Pixel positions count as
everywhere: pixel centres at integers, (0, 0) the upper left one of the upright picture, columns
first. Positions in mm count x to the right and y upwards.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.inputs.files import text_of
from rubbing2pattern.texts import unfit
from rubbing2pattern.units import inch_form, parse_length, parse_sheet, refuse_long

Point = tuple[float, float]

REFERENCES = ("dpi", "ruler", "marks", "sheet", "targets")
"""The five kinds, by the names that a user gives them."""

LEAST_MARKS = 4
"""Marks or targets that settle a plane."""
TARGET_IDS = range(50)
"""The ids that OpenCV's dictionary DICT_4X4_50 has."""

_DPI_RANGE = (10.0, 20000.0)
"""Resolutions that scanners have; beyond, another number was meant."""
_LEAST_SHEET_MM = 60.0
"""Shortest side of a sheet: the smallest panel has more, and 24x36 without a unit means inches."""
_FILE_LIMIT_BYTES = 1_000_000
"""Bytes of a list of marks or targets at most."""
_MOST_MARKS = 200
"""Marks of a list at most: more make no plane surer, and each is weighed against all others."""
_SHOWN = 60
"""Letters of a wrong cell that a message shows."""
_RULER_FORM = '--ruler "577.8,2823.9 2038.3,2826.6 200mm"'
_MARK_COLUMNS = ("pixel_x", "pixel_y", "x_mm", "y_mm")
_POSITION_COLUMNS = ("id", "x_mm", "y_mm")
_DISTANCE_COLUMNS = ("id_a", "id_b", "distance_mm")


@dataclass(frozen=True, slots=True)
class Dpi:
    """A flat scan of known resolution."""

    dpi: float


@dataclass(frozen=True, slots=True)
class Ruler:
    """Two marks a measured distance apart; no perspective."""

    first_px: Point
    second_px: Point
    length_mm: float


@dataclass(frozen=True, slots=True)
class Mark:
    """One reference mark; `name` gives its place in its file."""

    name: str
    pixel: Point
    at_mm: Point


@dataclass(frozen=True, slots=True)
class Marks:
    """Four or more reference marks; `source` is the file's name without its folder."""

    source: str
    marks: tuple[Mark, ...]


@dataclass(frozen=True, slots=True)
class Sheet:
    """The whole sheet is visible; its sides in either order."""

    width_mm: float
    height_mm: float


@dataclass(frozen=True, slots=True)
class TargetPosition:
    """Where the centre of a printed target lies."""

    id: int
    x_mm: float
    y_mm: float


@dataclass(frozen=True, slots=True)
class TargetDistance:
    """How far apart the centres of two printed targets are."""

    id_a: int
    id_b: int
    distance_mm: float


@dataclass(frozen=True, slots=True)
class Targets:
    """Printed targets, known by their positions or by the distances between them."""

    source: str
    positions: tuple[TargetPosition, ...] = ()
    distances: tuple[TargetDistance, ...] = ()

    @property
    def ids(self) -> tuple[int, ...]:
        """All ids, ascending."""
        pairs = [i for d in self.distances for i in (d.id_a, d.id_b)]
        return tuple(sorted({p.id for p in self.positions}.union(pairs)))


Reference = Dpi | Ruler | Marks | Sheet | Targets


def refuse_several(names: Sequence[str]) -> None:
    """Refuse names of references given, unless there is exactly one.

    Raises
    ------
    UsageFault
        There is none, or more than one.
    """
    if len(names) != 1:
        found = " and ".join(f"--{name}" for name in names) if names else "none"
        raise UsageFault(
            "give exactly one reference for the scale: --dpi, --ruler, --marks, --sheet or "
            f"--targets; given: {found}"
        )


def parse_reference(
    *,
    dpi: str | float | None = None,
    ruler: str | None = None,
    marks: str | Path | None = None,
    sheet: str | None = None,
    targets: str | Path | None = None,
) -> Reference:
    """Read the one reference that is given, written as on the command line.

    Raises
    ------
    UsageFault
        When none or several are given, or the one given is malformed.
    InputUnreadable
        When its file cannot be read.
    """
    given = {"dpi": dpi, "ruler": ruler, "marks": marks, "sheet": sheet, "targets": targets}
    names = [name for name, text in given.items() if text is not None]
    refuse_several(names)
    readers: dict[str, Callable[[str], Reference]] = {
        "dpi": parse_dpi,
        "ruler": parse_ruler,
        "marks": lambda text: read_marks(Path(text)),
        "sheet": _sheet,
        "targets": lambda text: read_targets(Path(text)),
    }
    return readers[names[0]](str(given[names[0]]))


def parse_dpi(text: str) -> Dpi:
    """Read a scanner's resolution in pixels per inch."""
    refuse_long(text, "resolution", "write it like --dpi 200")
    low, high = _DPI_RANGE
    dpi = _float(text)
    if dpi is None or not low <= dpi <= high:
        number = re.match(r"\s*([0-9]+)\s*[A-Za-z]", text)
        form = number[1] if number else "200"
        raise UsageFault(
            f"--dpi {text!r} is not a number of pixels per inch from {low:g} to {high:g}; "
            f"write it like --dpi {form}"
        )
    return Dpi(dpi)


def parse_ruler(text: str) -> Ruler:
    """Read ``"X,Y X,Y LENGTH"``: two places in pixels and the length between them."""
    refuse_long(text, "ruler", f"write {_RULER_FORM}")
    parts = text.split(maxsplit=2)
    if len(parts) != 3:
        raise UsageFault(
            f"--ruler {text!r} needs two places in pixels and the length between them; "
            f"write {_ruler_form(text)}"
        )
    first_px, second_px = (_place(part, text) for part in parts[:2])
    length_mm = parse_length(parts[2])
    if length_mm <= 0.0:
        raise UsageFault(f"--ruler {text!r}: the length must be greater than 0")
    if math.dist(first_px, second_px) < 1.0:
        raise UsageFault(f"--ruler {text!r}: the two places are the same")
    return Ruler(first_px, second_px, length_mm)


def _ruler_form(text: str) -> str:
    """Return the right form, with the four numbers of a wrong one where it has them."""
    numbers = re.findall(r"[0-9]+\.?[0-9]*", text)
    if len(numbers) not in (4, 5):
        return _RULER_FORM
    x, y, u, v = numbers[:4]
    length = "".join(re.findall(r"[0-9]+\.?[0-9]*\s*[a-z]*\s*$", text)) if numbers[4:] else ""
    return f'--ruler "{x},{y} {u},{v} {length.strip() or "200mm"}"'


def _place(part: str, text: str) -> Point:
    numbers = [_float(number) for number in part.split(",")]
    if len(numbers) != 2 or numbers[0] is None or numbers[1] is None:
        raise UsageFault(
            f"--ruler {text!r}: {part!r} is not a place in pixels; write {_RULER_FORM}"
        )
    return numbers[0], numbers[1]


def _sheet(text: str) -> Sheet:
    try:
        sheet = Sheet(*parse_sheet(text))
    except UsageFault as fault:
        raise UsageFault(f"--sheet: {fault}") from fault
    if min(sheet.width_mm, sheet.height_mm) < _LEAST_SHEET_MM:
        raise UsageFault(
            f"--sheet {text!r} is {sheet.width_mm:g} x {sheet.height_mm:g} mm, but each side must "
            f"be {_LEAST_SHEET_MM:g} mm or more; for inches write --sheet {inch_form(text)}"
        )
    return sheet


def read_marks(path: Path) -> Marks:
    """Read reference marks from a CSV file with the columns pixel_x, pixel_y, x_mm, y_mm.

    A column ``name`` is allowed; empty lines and lines that begin with # are skipped.

    Raises
    ------
    UsageFault
        Naming file, line and column of what is wrong, or the marks that are listed twice.
    InputUnreadable
        When the file cannot be read as text.
    """
    _, rows = table_rows(path, (_MARK_COLUMNS,), optional=("name",))
    marks = tuple(_mark(row, number) for number, row in enumerate(rows, start=1))
    if len(marks) < LEAST_MARKS:
        raise UsageFault(f"{path} has {len(marks)} marks, but four or more are needed")
    if len(marks) > _MOST_MARKS:
        raise UsageFault(
            f"{path} has {len(marks)} marks, but at most {_MOST_MARKS} are read; keep those that "
            "lie furthest apart"
        )
    _refuse_twins(path, marks)
    return Marks(path.name, marks)


def _mark(row: Row, number: int) -> Mark:
    own = row.texts.get("name", "").strip()
    pixel_x, pixel_y, x_mm, y_mm = (row.number(column) for column in _MARK_COLUMNS)
    name = f"mark {own or number} (line {row.line})"
    return Mark(name, (pixel_x, pixel_y), (x_mm, y_mm))


def _refuse_twins(path: Path, marks: Sequence[Mark]) -> None:
    first: dict[tuple[str, Point], Mark] = {}
    for mark in marks:
        for what, place in (("pixel", mark.pixel), ("position in mm", mark.at_mm)):
            twin = first.setdefault((what, place), mark)
            if twin is not mark:
                raise UsageFault(f"{path}: {twin.name} and {mark.name} have the same {what}")


def read_targets(path: Path) -> Targets:
    """Read printed targets from a CSV file: ``id,x_mm,y_mm`` or ``id_a,id_b,distance_mm``.

    Raises
    ------
    UsageFault
        Naming file, line and column of what is wrong, or too few targets.
    InputUnreadable
        When the file cannot be read as text.
    """
    columns, rows = table_rows(path, (_POSITION_COLUMNS, _DISTANCE_COLUMNS))
    if columns == _POSITION_COLUMNS:
        positions = tuple(
            TargetPosition(r.target("id"), r.number("x_mm"), r.number("y_mm")) for r in rows
        )
        targets = Targets(path.name, positions=positions)
        _refuse_same_positions(path, rows, positions)
    else:
        distances = tuple(_distance(row) for row in rows)
        targets = Targets(path.name, distances=distances)
        _refuse_too_few(path, targets)
    if len(targets.ids) < LEAST_MARKS:
        listed = ", ".join(map(str, targets.ids)) or "none"
        raise UsageFault(f"{path} names {len(targets.ids)} targets ({listed}), four are needed")
    return targets


def _distance(row: Row) -> TargetDistance:
    id_a, id_b, distance_mm = row.target("id_a"), row.target("id_b"), row.number("distance_mm")
    if id_a == id_b:
        raise UsageFault(f"{row.place}: the distance of target {id_a} from itself")
    if distance_mm <= 0.0:
        raise row.fault("distance_mm", "a distance must be greater than 0")
    return TargetDistance(id_a, id_b, distance_mm)


def _refuse_same_positions(
    path: Path, rows: Sequence[Row], positions: Sequence[TargetPosition]
) -> None:
    for i, (row, a) in enumerate(zip(rows, positions, strict=True)):
        for other, b in zip(rows[:i], positions[:i], strict=True):
            lines = f"{path}, lines {other.line} and {row.line}"
            if a.id == b.id:
                raise UsageFault(f"{lines}: target {a.id} is listed twice")
            if (a.x_mm, a.y_mm) == (b.x_mm, b.y_mm):
                raise UsageFault(f"{lines}: targets {b.id} and {a.id} have the same position")


def _refuse_too_few(path: Path, targets: Targets) -> None:
    # A plane figure of n points is rigid from 2 n - 3 distances on (Laman 1970).
    pairs = {frozenset((d.id_a, d.id_b)) for d in targets.distances}
    least = 2 * len(targets.ids) - 3
    if len(targets.ids) >= LEAST_MARKS and len(pairs) < least:
        raise UsageFault(
            f"{path}: {len(pairs)} distances between {len(targets.ids)} targets; at least {least} "
            "are needed, and all of them are better"
        )


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a CSV file: its fields by column, and how to complain of one."""

    path: Path
    line: int
    texts: dict[str, str]

    @property
    def place(self) -> str:
        """File and line."""
        return f"{self.path}, line {self.line}"

    def fault(self, column: str, why: str) -> UsageFault:
        """Return the error that names file, line, column and the text found there."""
        said = self.texts[column][:_SHOWN]
        return UsageFault(f"{self.place}, column {column}: {said!r}: {why}")

    def number(self, column: str) -> float:
        """Return a finite number, or raise `UsageFault`."""
        number = _float(self.texts[column])
        if number is None:
            raise self.fault(column, "not a number; write it with a decimal point")
        return number

    def target(self, column: str) -> int:
        """Return the id of a printed target, or raise `UsageFault`."""
        said = self.texts[column].strip()
        text = said.lstrip("0") or said[-1:]
        if text not in {str(number) for number in TARGET_IDS}:
            raise self.fault(column, f"a target's id is a whole number from 0 to {TARGET_IDS[-1]}")
        return int(text)


def table_rows(
    path: Path, kinds: Sequence[tuple[str, ...]], optional: tuple[str, ...] = ()
) -> tuple[tuple[str, ...], list[Row]]:
    """Return the kind of columns found in a CSV file and the lines below its header.

    Raises
    ------
    UsageFault
        Naming the line whose header or number of fields is wrong.
    InputUnreadable
        When the file cannot be read as text.
    """
    _refuse_unfit_name(path)
    lines = _lines(path)
    line, head = next(lines, (0, []))
    names = tuple(name.strip().lower() for name in head)
    known = [kind for kind in kinds if set(kind) <= set(names) <= set(kind + optional)]
    if not known or len(set(names)) < len(names):
        wanted = " or ".join(",".join(kind) for kind in kinds)
        found = repr(",".join(head)[:80]) if head else "nothing"
        hint = "; the separator is a comma" if ";" in found or "\\t" in found else ""
        raise UsageFault(
            f"{path}, line {line or 1}: the header must be {wanted}; found {found}{hint}"
        )
    rows = []
    for line, fields in lines:
        if len(fields) != len(names):
            raise UsageFault(f"{path}, line {line}: {len(fields)} fields instead of {len(names)}")
        row = Row(path, line, dict(zip(names, fields, strict=True)))
        for column, text in row.texts.items():
            fault = unfit(text, lines=False)
            if fault:
                raise row.fault(column, fault)
        rows.append(row)
    return known[0], rows


def _refuse_unfit_name(path: Path) -> None:
    """Refuse a file whose name, which the record keeps, holds what no text may hold."""
    fault = unfit(path.name, lines=False)
    if fault:
        raise UsageFault(f"{path}: in the name of the file, {fault}, or give it another name")


def _lines(path: Path) -> Iterator[tuple[int, list[str]]]:
    """Give the number and fields of every line that says something."""
    text = text_of(path, _FILE_LIMIT_BYTES, "a list of marks", cure="save it as CSV UTF-8")
    reader = csv.reader(io.StringIO(text), strict=True)
    try:
        for fields in reader:
            if any(field.strip() for field in fields) and not fields[0].lstrip().startswith("#"):
                yield reader.line_num, fields
    except csv.Error as fault:
        raise UsageFault(f"{path}, line {reader.line_num}: {fault}") from fault


def _float(text: str) -> float | None:
    """Read a finite number; None when it is not one. Underscores are refused."""
    try:
        number = float(text) if "_" not in text else math.nan
    except ValueError:
        return None
    return number if math.isfinite(number) and abs(number) < 1e9 else None
