"""The changes that are not saved yet, kept in a file beside the folder after every one of them."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from rubbing2pattern.errors import RubbingError
from rubbing2pattern.inputs.files import content_of, stands
from rubbing2pattern.output import write_whole
from rubbing2pattern.workflows.holding import beside

_FORMAT = "rubbing2pattern review draft"
_VERSION = 1
"""Version of the draft's format."""
_LARGEST_BYTES = 20_000_000
"""Bytes of a draft that is read at most; a thousand changes have some hundred thousand."""


@dataclass(frozen=True, slots=True)
class Made:
    """One change as the page sent it.

    Attributes
    ----------
    edits : of the net, each with its kind and fields; empty for a change of the sheet.
    cells : of the sheet of pieces, text by column by number.
    """

    edits: tuple[Mapping[str, Any], ...] = ()
    cells: Mapping[int, Mapping[str, str]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Draft:
    """What a review left that ended without saving; `digest` is of the record it was made on."""

    digest: str
    made: tuple[Made, ...]


def write_draft(folder: Path, digest: str, made: Sequence[Made]) -> None:
    """Keep the changes; without any the file goes.

    Raises
    ------
    OutputNotWritten
        The disk refuses it.
    """
    place = beside(folder, "draft")
    if not made:
        with suppress(OSError):
            place.unlink()
        return
    told = {
        "format": _FORMAT,
        "version": _VERSION,
        "digest": digest,
        "steps": [
            {"edits": list(m.edits), "cells": {str(n): dict(c) for n, c in m.cells.items()}}
            for m in made
        ],
    }
    write_whole(place, json.dumps(told, ensure_ascii=False).encode(), overwrite=True)


def read_draft(folder: Path) -> Draft | None:
    """Return what is left of an interrupted review; None for nothing that can be read."""
    place = beside(folder, "draft")
    if not stands(place):
        return None
    try:
        told = json.loads(content_of(place, _LARGEST_BYTES, "a draft"))
        if (told["format"], told["version"]) != (_FORMAT, _VERSION):
            return None
        made = tuple(_made(step) for step in told["steps"])
        return Draft(str(told["digest"]), made) if made else None
    except (RubbingError, ValueError, KeyError, TypeError, AttributeError):
        return None


def _made(step: Mapping[str, Any]) -> Made:
    cells = {int(n): {str(c): str(t) for c, t in row.items()} for n, row in step["cells"].items()}
    return Made(tuple(dict(edit) for edit in step["edits"]), cells)
