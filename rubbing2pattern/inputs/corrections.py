"""The file of corrections that a person writes, read and checked; a fault names line and field."""

from __future__ import annotations

import hashlib
import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Any, get_args

from pydantic import ValidationError

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.guide.topics import see
from rubbing2pattern.inputs.correction_tables import TABLES, Corrections
from rubbing2pattern.inputs.files import content_of, decoded
from rubbing2pattern.inputs.toml_forms import toml_table, why_unreadable
from rubbing2pattern.texts import (
    ID_NUMBER,
    LARGEST_ID,
    field_fault,
)

LARGEST_FILE_BYTES = 1_000_000
"""Bytes of a file of corrections at most: a wrong file must not fill the memory."""
_PLACES = frozenset({"at", "from", "to", "by"})
"""Fields that hold a place ``[x, y]``; `by` does so in `move_lead`."""
_ID_FORMS = {"came": "C12", "joint": "J5", "name": "F14", "finding": "F14"}


@dataclass(frozen=True, slots=True)
class CorrectionsFile:
    """A file of corrections as it was read.

    Attributes
    ----------
    corrections : what it says.
    content, sha256 : its bytes and their digest.
    name : for messages.
    """

    corrections: Corrections
    content: bytes
    sha256: str
    name: str


def read_corrections(path: Path | str) -> CorrectionsFile:
    """Read a file of corrections.

    Raises
    ------
    UsageFault
        The file cannot be read, is not TOML, or has a field that is missing, unknown or out of
        range. The message names line, table and field.
    """
    what = "a file of corrections"
    content = content_of(Path(path), LARGEST_FILE_BYTES, what, fault=UsageFault)
    return corrections_from(content, str(path))


def corrections_from(content: bytes, name: str = "the corrections") -> CorrectionsFile:
    """Read corrections from the bytes of a file; raises `UsageFault` as `read_corrections` does."""
    text = decoded(content, name, fault=UsageFault)
    try:
        datum = toml_table(text)
    except (tomllib.TOMLDecodeError, RecursionError) as fault:
        raise UsageFault(f"{name}, {why_unreadable(fault, text, _PLACES)}") from fault
    try:
        corrections = Corrections.model_validate(datum)
    except ValidationError as fault:
        raise UsageFault(f"{name}, {_first(fault, text)}") from fault
    if not any(True for _ in corrections.tables()):
        raise UsageFault(
            f"{name} holds no correction; write tables like [[add_lead]], {see('corrections')}"
        )
    _refuse_same(corrections, name, text)
    return CorrectionsFile(corrections, content, hashlib.sha256(content).hexdigest(), name)


def _refuse_same(corrections: Corrections, name: str, text: str) -> None:
    """Refuse tables that dismiss the same finding by code and place; the first two are named."""
    first: dict[tuple[Any, ...], int] = {}
    for k, table in enumerate(corrections.dismiss):
        what = (table.code, table.at, table.piece)
        if table.named is None and first.setdefault(what, k) != k:
            line, where = _where(["dismiss", str(k)], text)
            raise UsageFault(
                f"{name}, line {line}, {where}: it dismisses the same as dismiss "
                f"{first[what] + 1}; delete this table"
            )


def _first(fault: ValidationError, text: str) -> str:
    """Say where the first fault lies and what it is, and how many more there are."""
    faults = fault.errors(include_url=False)
    first = faults[0]
    what = field_fault(first["type"], first["msg"])
    what += _cure(first["type"], [str(step) for step in first["loc"]], first["input"])
    more = f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""
    steps = [str(step) for step in first["loc"]]
    line, where = _where(steps, text)
    return f"line {line}, {where}: {what}{more}" if where else f"{what}{more}"


def _cure(kind: str, steps: Sequence[str], given: Any) -> str:
    """Return the right form of what was given wrongly, or nothing."""
    if kind == "extra_forbidden":
        known = Corrections.model_fields
        if len(steps) > 1:
            fields = get_args(known[steps[0]].annotation)[0].model_fields
            known = {field.alias or name: field for name, field in fields.items()}
        near = get_close_matches(steps[-1], known, n=1, cutoff=0.4)
        ends = [name for name in known if name.endswith(f"_{steps[-1]}")]
        nearest = (ends or near or [""])[0]
        return f"; the nearest name is {nearest}" if nearest else ""
    letter = _ID_FORMS.get(steps[-1], "")[:1] if steps else ""
    if not letter:
        return ""
    # Python writes no integer of thousands of digits as text.
    text = str(given) if isinstance(given, str) or 0 < _whole(given) <= LARGEST_ID else ""
    form = rf"\s*{letter}?\s*({ID_NUMBER})\s*"
    number = re.fullmatch(form, text, re.IGNORECASE)
    form = f"{letter}{number[1]}" if number else _ID_FORMS[steps[-1]]
    return f'; write {steps[-1]} = "{form}"'


def _whole(given: Any) -> int:
    """Return a whole number as it is, and 0 for anything else."""
    return given if isinstance(given, int) else 0


def _where(steps: Sequence[str], text: str) -> tuple[int, str]:
    """Return the line and the words for the place of a fault."""
    if not steps:
        return 1, ""
    lines = text.splitlines()
    head, rest, first = steps[0], list(steps[1:]), 0
    if head in TABLES and rest:
        index = int(rest.pop(0)) + 1
        opens = re.compile(rf"\s*\[\[\s*{head}\s*\]\]")
        places = [k for k, line in enumerate(lines) if opens.match(line)]
        first = places[index - 1] if index <= len(places) else 0
        head = f"{head} {index}"
    key = rest[0] if rest else steps[0]
    names = re.compile(rf"\s*(?:\[+\s*)?[\"']?{re.escape(key)}\b")
    for k in range(first, len(lines)):
        if names.match(lines[k]):
            return k + 1, ", ".join([head, *_named(rest)])
        if k > first and rest and lines[k].lstrip().startswith("["):
            break
    return first + 1, ", ".join([head, *_named(rest)])


def _named(steps: Sequence[str]) -> list[str]:
    """Join a field with the number of its part: ``through 2``."""
    parts = [f"{int(step) + 1}" if step.isdigit() else step for step in steps]
    return [" ".join(parts)] if parts else []
