"""What is remembered of each rubbing of a collection: done with which input, or why not."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from rubbing2pattern.errors import InputUnreadable
from rubbing2pattern.glazing.folder import LIST_NAME, WORKBOOK_NAME
from rubbing2pattern.inputs.files import content_of, plain_file
from rubbing2pattern.output import RECORD_NAME, write_whole
from rubbing2pattern.texts import unfit_parts

MARKER = "batch.json"
"""The file that marks a folder of a collection."""
PANELS, STAMPS, PICTURES = "panels", "stamps", "pictures"
"""The folders in it: results, what is remembered of each, small pictures."""

SHEETS = (LIST_NAME, WORKBOOK_NAME)
"""Documents into which people write; their content may change."""

Count = Annotated[int, Field(ge=0)]
Amount = Annotated[float, Field(ge=0.0, allow_inf_nan=False)]


class State(StrEnum):
    """How a rubbing of a collection went."""

    DONE = "done"
    FAILED = "failed"


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class LeadSum(_Part):
    """The lead of one width and profile."""

    stock: str
    stock_mm: Amount
    profile: str
    length_mm: Amount
    sticks: Count
    lead_kg: Amount


class Figures(_Part):
    """The sums of one panel."""

    width_mm: Amount
    height_mm: Amount
    pieces: Count
    glass_mm2: Amount
    lead: tuple[LeadSum, ...]
    findings: dict[str, Count]

    @property
    def lead_mm(self) -> float:
        """Length of all lead."""
        return sum(part.length_mm for part in self.lead)


class Stamp(_Part):
    """What is remembered of one rubbing; the reason is empty when it is done."""

    format: Literal["rubbing2pattern batch row"] = "rubbing2pattern batch row"
    version: Literal[1] = 1
    key: str
    """a digest of all that the results depend on"""
    panel: str
    image: str
    state: State
    exit_code: int
    reason: str = ""
    files: dict[str, str] = {}
    """SHA-256 of each document by its name"""
    figures: Figures | None = None


def read_stamp(path: Path) -> Stamp | None:
    """Return what is remembered, or None when nothing is, or nothing that can be trusted."""
    try:
        stamp = Stamp.model_validate_json(content_of(path))
    except (InputUnreadable, ValidationError):
        return None
    return None if any(unfit_parts(stamp.model_dump(mode="json"))) else stamp


def write_stamp(path: Path, stamp: Stamp) -> None:
    """Remember a rubbing; the file appears whole or not at all."""
    text = json.dumps(stamp.model_dump(mode="json"), indent=1, ensure_ascii=False, sort_keys=True)
    write_whole(path, (text + "\n").encode(), overwrite=True)


def digests(folder: Path) -> dict[str, str]:
    """Return the SHA-256 of each file in a folder of results, by name."""
    return {p.name: _digest(p) for p in sorted(folder.iterdir()) if p.is_file()}


def untouched(folder: Path, files: Mapping[str, str]) -> bool:
    """Return whether a folder still holds the documents as they were written."""
    try:
        return all(
            (folder / name).is_file() if name in SHEETS else _digest(folder / name) == digest
            for name, digest in files.items()
        )
    except OSError:
        return False


def same_record(folder: Path, files: Mapping[str, str]) -> bool:
    """Return whether a folder's record is the one that was written."""
    try:
        return _digest(folder / RECORD_NAME) == files.get(RECORD_NAME)
    except OSError:
        return False


def _digest(path: Path) -> str:
    with plain_file(path) as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


@dataclass(frozen=True, slots=True)
class Outcome:
    """How one row of the list went.

    Attributes
    ----------
    number, name : of the row, and of its folder.
    stamp : what is remembered of it.
    kept : True when it was done before.
    """

    number: int
    name: str
    stamp: Stamp
    kept: bool = False
