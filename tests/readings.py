"""Readings remembered: what these tests have read once they do not read again.

A reading is remembered by all that it depends on: the bytes and the name of the picture, the
reference, the name and the side of the panel, and every option. Whatever differs in one of them is
read anew, and so is what could not be read. Not for tests of the reading itself.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

from rubbing2pattern.inputs.reference import Reference
from rubbing2pattern.options import Options
from rubbing2pattern.workflows import match
from rubbing2pattern.workflows.match import LoosePhoto
from rubbing2pattern.workflows.pipeline import Reading, trace_rubbing
from rubbing2pattern.workflows.progress import Progress, Silent

_READ: dict[tuple[object, ...], Reading] = {}
_OUTLINED: dict[tuple[object, ...], LoosePhoto] = {}
_outlined = match._photo


def read_once(
    image: Path | str,
    reference: Reference,
    *,
    name: str = "panel",
    seen_from: str = "unstated",
    options: Options = Options(),
    progress: Progress = Silent(),
) -> Reading:
    """Return what `trace_rubbing` returns, which is called once for each content."""
    path = Path(image)
    if not path.is_file():
        return trace_rubbing(path, reference, name=name, seen_from=seen_from, options=options)
    key = (path.name, _digest(path), reference, name, seen_from, options)
    if key not in _READ:
        _READ[key] = trace_rubbing(
            path, reference, name=name, seen_from=seen_from, options=options, progress=progress
        )
    return _READ[key]


def outlined_once(place: Path, reference: Reference, before: int, options: Options) -> LoosePhoto:
    """Return the loose pieces of a photograph as `match_pieces` outlines them, once each."""
    if not place.is_file():
        return _outlined(place, reference, before, options)
    key = (place.name, _digest(place), reference, before, options)
    if key not in _OUTLINED:
        _OUTLINED[key] = _outlined(place, reference, before, options)
    return _OUTLINED[key]


def _digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()
