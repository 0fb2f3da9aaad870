"""The list of a collection: one rubbing a row of a CSV file, or a folder with a job file for each.

A row that cannot be used does not stop the others: it keeps the error that says why.
"""

from __future__ import annotations

import csv
import io
import re
import shlex
import tomllib
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from rubbing2pattern.errors import InputUnreadable, RubbingError, UsageFault
from rubbing2pattern.inputs.calipers import parse_calipers
from rubbing2pattern.inputs.files import text_of
from rubbing2pattern.inputs.reference import REFERENCES, Reference, parse_reference
from rubbing2pattern.inputs.toml_forms import toml_table, why_unreadable
from rubbing2pattern.model import SIDES
from rubbing2pattern.options import Options
from rubbing2pattern.options.setting import with_settings
from rubbing2pattern.texts import name_fault, unfit
from rubbing2pattern.units import parse_length

COLUMNS = (
    "file", "panel", "seen_from", *REFERENCES, "heart", "clearance", "profile", "caliper", "set",
    "note",
)  # fmt: skip
"""What a row may hold; `note` is for people."""

_FILES = ("marks", "targets")
_LARGEST_BYTES = 50_000_000
"""Bytes of a list at most: a wrong file must not fill the memory."""
_LARGEST_JOB_BYTES = 1_000_000
"""Bytes of a job file at most, for the same reason."""
_MOST_ROWS = 100_000
"""Rows of a list at most; a larger collection is given in parts."""
_LONGEST_NAME = 80
"""Letters of a folder's name at most; paths have limits on some systems."""
_LARGEST_NUMBER = 10**9
"""Of a whole number in a job file; Python writes no number of thousands of digits as text."""
_SUFFIX = ".toml"


@dataclass(frozen=True, slots=True)
class Row:
    """One rubbing of a collection.

    Attributes
    ----------
    number : of the row, from 1.
    image : its picture.
    panel : the panel's name.
    name : of its folder of results; no two rows have the same.
    reference : what the scale is taken from; None in a row with a fault.
    seen_from : side on which the paper lay.
    options : thresholds of all stages.
    fault : why the row cannot be used, or None.
    """

    number: int
    image: Path
    panel: str
    name: str
    reference: Reference | None
    seen_from: str
    options: Options
    fault: RubbingError | None = None


@dataclass(frozen=True, slots=True)
class Common:
    """What holds for every row that does not say otherwise.

    Attributes
    ----------
    reference : or None, when every row has its own.
    seen_from : ``"inside"``, ``"outside"`` or ``"unstated"``.
    options : thresholds of all stages.
    """

    reference: Reference | None = None
    seen_from: str = "unstated"
    options: Options = field(default_factory=Options)


def read_rows(place: Path, common: Common = Common()) -> tuple[Row, ...]:
    """Read a list of rubbings, or a folder of job files in the order of their names.

    Files are found from the folder of the list or job file. Names of folders are taken from the
    panels: letters, figures and plain signs are kept, and a name that an earlier row has, capitals
    or not, gets a number.

    Raises
    ------
    InputUnreadable
        The list cannot be read, is not text, or is too long.
    UsageFault
        It has no rows, no column `file`, or columns of other names.
    """
    given = _job_files(place) if place.is_dir() else _lines(place)
    if not given:
        raise UsageFault(f"{place} lists no rubbing")
    taken: dict[str, int] = {}
    return tuple(
        _row(number, cells, home, common, taken)
        for number, (home, cells) in enumerate(given, start=1)
    )


def _lines(place: Path) -> list[tuple[Path, Mapping[str, str]]]:
    text = text_of(place, _LARGEST_BYTES, "a list", cure="save it as CSV UTF-8")
    reader = csv.DictReader(io.StringIO(text), strict=True, restkey="", restval="")
    try:
        heads = [head.strip().lower() for head in reader.fieldnames or ()]
        _check_heads(place, heads)
        reader.fieldnames = heads
        found: list[tuple[Path, Mapping[str, str]]] = []
        for cells in reader:
            if "" in cells:
                raise UsageFault(
                    f"line {reader.line_num} of {place} has more cells than there are columns"
                )
            kept = {head: text.strip() for head, text in cells.items() if text and text.strip()}
            if kept:
                found.append((place.parent, kept))
            if len(found) > _MOST_ROWS:
                raise InputUnreadable(f"{place} has more than {_MOST_ROWS} rows; give it in parts")
    except csv.Error as fault:
        raise InputUnreadable(
            f"line {reader.line_num} of {place} is not valid CSV: {fault}"
        ) from fault
    return found


def _check_heads(place: Path, heads: list[str]) -> None:
    if "file" not in heads:
        raise UsageFault(f"{place} has no column `file`; its first line names the columns")
    for k, head in enumerate(heads):
        if head not in COLUMNS:
            raise UsageFault(
                f"{place} has a column {head!r}, which is not one of {', '.join(COLUMNS)}; other "
                "options go into the column set, as tidy.gap_mm=12"
            )
        if head in heads[:k]:
            raise UsageFault(f"{place} has two columns {head}")


def _job_files(folder: Path) -> list[tuple[Path, Mapping[str, str]]]:
    try:
        places = sorted(p for p in folder.iterdir() if p.suffix == _SUFFIX and p.is_file())
    except OSError as fault:
        raise InputUnreadable(f"cannot read {folder}: {fault.strerror or fault}") from fault
    if len(places) > _MOST_ROWS:
        raise InputUnreadable(f"{folder} has more than {_MOST_ROWS} job files; give it in parts")
    return [(folder, _job(place)) for place in places]


def _job(place: Path) -> dict[str, str]:
    """Return the cells of a job file; one that cannot be read is a row that says so."""
    try:
        text = text_of(place, _LARGEST_JOB_BYTES, "a job file")
        table = toml_table(text)
    except (tomllib.TOMLDecodeError, RecursionError) as fault:
        return {"file": place.name, "": f"{place}, {why_unreadable(fault, text)}"}
    except RubbingError as fault:
        return {"file": place.name, "": f"{place} cannot be read: {fault}"}
    cells = {str(name).lower(): given for name, given in table.items()}
    if fault_text := _job_fault(place, cells):
        return {"file": place.name, "": fault_text}
    return {name: str(given).strip() for name, given in cells.items()}


def _job_fault(place: Path, cells: Mapping[str, object]) -> str:
    """Say what is wrong with the fields of a job file; nothing when they can be used."""
    for name, given in cells.items():
        if name not in COLUMNS or not isinstance(given, str | int | float):
            return f"{place}: {name} is not one of {', '.join(COLUMNS)} with a text or a number"
        if isinstance(given, int) and abs(given) > _LARGEST_NUMBER:
            return f"{place}, {name}: the number is larger than {_LARGEST_NUMBER}"
    return "" if "file" in cells else f"{place} names no file"


def _row(
    number: int, cells: Mapping[str, str], home: Path, common: Common, taken: dict[str, int]
) -> Row:
    """Read the cells of one row; `taken` holds the names that are given away, see `folder_name`."""
    image = home / cells.get("file", "")
    panel = cells.get("panel") or image.stem
    row = Row(number, image, panel, "", None, common.seen_from, common.options)
    try:
        row = _filled(row, cells, home, common)
    except RubbingError as fault:
        row = replace(row, fault=fault)
    return replace(row, name=folder_name(panel, taken))


def _filled(row: Row, cells: Mapping[str, str], home: Path, common: Common) -> Row:
    if "" in cells:
        raise InputUnreadable(cells[""])
    if not cells.get("file"):
        raise UsageFault("the row names no file")
    for column, text in cells.items():
        fault = unfit(text, lines=False)
        if fault:
            raise UsageFault(f"the column {column}: {fault}")
    if fault := name_fault(row.panel):
        raise UsageFault(fault)
    side = cells.get("seen_from", common.seen_from)
    if side not in SIDES:
        raise UsageFault(f"seen_from is {side!r}, but must be one of {', '.join(SIDES)}")
    own = {
        name: str(home / cells[name]) if name in _FILES else cells[name]
        for name in REFERENCES
        if name in cells
    }
    reference = common.reference if not own and common.reference else parse_reference(**own)
    options = _options(cells, home, common.options)
    return replace(row, reference=reference, seen_from=side, options=options)


def _options(cells: Mapping[str, str], home: Path, options: Options) -> Options:
    settings = [
        f"pieces.{name}_mm={parse_length(cells[name])!r}"
        for name in ("heart", "clearance")
        if name in cells
    ]
    settings += [f"measure.profile={cells['profile']}"] if "profile" in cells else []
    settings += _words(cells.get("set", ""), "set")
    options = with_settings(options, settings)
    if "caliper" not in cells:
        return options
    given = _words(cells["caliper"], "caliper")
    calipers = parse_calipers([text if "=" in text else str(home / text) for text in given])
    return replace(options, pieces=replace(options.pieces, calipers=calipers))


def _words(text: str, column: str) -> list[str]:
    """Split the text of one cell at blanks; quotes keep parts with blanks together."""
    try:
        return shlex.split(text)
    except ValueError as fault:
        raise UsageFault(f"the column {column} holds {text!r}: {fault}") from fault


def folder_name(panel: str, taken: dict[str, int]) -> str:
    """Return a name of a folder that any file system takes and that is not taken; now it is.

    Letters and figures of any script, blanks and ``-_.,()+`` are kept. `taken` holds the folded
    names that are given away, each with the highest number that was put behind it.
    """
    plain = unicodedata.normalize("NFC", panel)
    plain = "".join(c if c.isalnum() or c in " -_.,()+" else "_" for c in plain)
    plain = re.sub(r"\s+", " ", plain)[:_LONGEST_NAME].strip(" .") or "_"
    if re.fullmatch(r"(?i)(con|prn|aux|nul|com[0-9]|lpt[0-9])(\..*)?", plain):
        plain = f"_{plain}"
    folded = _folded(plain)
    name, count = plain, taken.get(folded, 1)
    while _folded(name) in taken:
        count += 1
        name = f"{plain} ({count})"
    taken[_folded(name)] = 1
    taken[folded] = count
    return name


def _folded(name: str) -> str:
    return unicodedata.normalize("NFKC", name).casefold()
