"""What a person says about the panels in an archive package: who, where, when, what rights.

The words are those of Dublin Core (ISO 15836-1:2017, the fifteen elements; from memory).
"""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from html import escape
from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator

from rubbing2pattern.errors import InputUnreadable, UsageFault
from rubbing2pattern.inputs.files import text_of
from rubbing2pattern.inputs.toml_forms import toml_table, why_unreadable
from rubbing2pattern.texts import checked, field_fault, is_date

ELEMENTS = (
    "title",
    "creator",
    "subject",
    "description",
    "publisher",
    "contributor",
    "date",
    "type",
    "format",
    "identifier",
    "source",
    "language",
    "relation",
    "coverage",
    "rights",
)
_LARGEST = 1_000_000
"""Bytes of a file at most; a description in words is shorter."""


class About(BaseModel):
    """The description of all panels of a package; every field is optional."""

    model_config = ConfigDict(extra="forbid", frozen=True, str_max_length=5000)

    title: str = ""
    building: str = ""
    place: str = ""
    date: str = Field(default="", description="of the rubbing: 2026, 2026-11 or 2026-11-25")
    who: str = Field(default="", description="who took the rubbing")
    publisher: str = Field(default="", description="who keeps it")
    rights: str = ""
    condition: str = ""
    language: str = ""
    packed: str = Field(default="", description="date of packing; no clock is asked")

    @field_validator("*")
    @classmethod
    def _is_fit(cls, text: str) -> str:
        return checked(text)


NOTHING_SAID = About()


def read_about(path: Path) -> About:
    """Read the file in which a person says it (TOML).

    Raises
    ------
    InputUnreadable
        It cannot be opened or is not TOML in UTF-8.
    UsageFault
        It has an unknown field, or an invalid date.
    """
    content = text_of(path, _LARGEST, "a description")
    try:
        about = About.model_validate(toml_table(content))
    except (tomllib.TOMLDecodeError, RecursionError) as fault:
        raise InputUnreadable(f"{path}, {why_unreadable(fault, content)}") from fault
    except ValidationError as fault:
        first = fault.errors()[0]
        name = ".".join(str(step) for step in first["loc"])
        where = f"{path}, field {name[:60]!r}"
        what = field_fault(first["type"], first["msg"])
        known = ", ".join(About.model_fields)
        cure = "" if first["type"] == "value_error" else f"; the fields are {known}"
        raise UsageFault(f"{where}: {what}{cure}") from fault
    for name in ("date", "packed"):
        given = getattr(about, name)
        if given and not is_date(given):
            raise UsageFault(
                f"{path}, field {name}: {given[:40]!r} is not a date; write 2026, 2026-11 or "
                "2026-11-25"
            )
    return about


def dublin_core(about: About, names: Sequence[str], sides: Sequence[str]) -> bytes:
    """Return the metadata of a package as XML, elements in the order of the standard.

    Parameters
    ----------
    about : what a person said.
    names : of the panels, in order.
    sides : from which they are seen, in the same order.
    """
    said = {
        "title": [about.title or f"Lead layout of {', '.join(names)}"],
        "creator": [about.who],
        "subject": ["leaded glass", "stained glass", "rubbing of leads"],
        "description": [about.condition]
        + [f"{name}: seen from {side}" for name, side in zip(names, sides, strict=True)],
        "publisher": [about.publisher],
        "date": [about.date],
        "type": ["Image", "Dataset"],
        "format": ["image/tiff", "application/json", "image/svg+xml", "application/pdf"],
        "identifier": list(names),
        "source": [about.building],
        "language": [about.language],
        "coverage": [about.place],
        "rights": [about.rights],
    }
    lines = [
        f"  <dc:{element}>{escape(' '.join(value.split()), quote=False)}</dc:{element}>"
        for element in ELEMENTS
        for value in said.get(element, [])
        if value.strip()
    ]
    head = '<?xml version="1.0" encoding="UTF-8"?>\n<metadata'
    space = ' xmlns:dc="http://purl.org/dc/elements/1.1/">\n'
    return (head + space + "\n".join(lines) + "\n</metadata>\n").encode()
