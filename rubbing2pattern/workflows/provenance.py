"""Where a panel's record comes from: program, libraries, picture, reference, changed options.

No clock and no folder of any machine goes in, so the same input gives the same record.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from enum import Enum
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from pydantic import TypeAdapter, ValidationError

from rubbing2pattern._version import __version__
from rubbing2pattern.fitting.fitted_weights import FILE_NAME, fitted_weights
from rubbing2pattern.geometry.frame import Join
from rubbing2pattern.imaging.lead_network import SHA256, VERSION, WEIGHTS
from rubbing2pattern.inputs.reference import Dpi, Marks, Reference, Ruler, Sheet, Targets
from rubbing2pattern.options import Options
from rubbing2pattern.options.base import Part
from rubbing2pattern.reading import Photograph

T = TypeVar("T")

LIBRARIES = (
    "numpy",
    "opencv-python-headless",
    "pillow",
    "reportlab",
    "scikit-image",
    "scipy",
    "shapely",
)
"""The libraries on whose results the figures of a record depend."""
PARTS: Mapping[Part, str] = {Part.READING: "options", Part.DOCUMENTS: "settings"}
"""Under which name a record keeps the options of each part."""

_REFERENCES: Mapping[str, type[Reference]] = {
    kind.__name__: kind for kind in (Dpi, Ruler, Marks, Sheet, Targets)
}


def provenance_of(photograph: Photograph, reference: Reference, options: Options) -> dict[str, Any]:
    """Gather what a later reader needs to judge or repeat the reading.

    Returns
    -------
    dict
        ``program``, ``libraries``, ``lead_map``, ``fitted_weights``, ``image``, ``reference``,
        ``options`` and ``settings``; plain values that JSON can hold. ``options`` has what changes
        the reading, ``settings`` what changes the documents, both only what differs from the
        defaults, as ``{"tidy.gap_mm": 12.0}``.
    """
    height_px, width_px = photograph.grey.shape
    image = {
        "name": photograph.source,
        "sha256": photograph.sha256,
        "width_px": width_px,
        "height_px": height_px,
        "file_bits": photograph.file_bits,
        "grey_weights": photograph.grey_weights,
    }
    return made_with(reference, options, image)


def made_with(reference: Reference, options: Options, image: Mapping[str, Any]) -> dict[str, Any]:
    """Return all that a reading depends on, and the data of its picture."""
    fitted = fitted_weights()
    return {
        **program_now(),
        "lead_map": {"name": WEIGHTS, "version": VERSION, "sha256": SHA256},
        "fitted_weights": {"name": FILE_NAME, "version": fitted.version, "sha256": fitted.sha256},
        "image": plain(image),
        "reference": plain(reference),
        **options_parts(options),
    }


def program_now() -> dict[str, dict[str, str]]:
    """Return the program and the libraries on which the bytes of its documents depend."""
    return {
        "program": {"name": "rubbing2pattern", "version": __version__},
        "libraries": {name: _version(name) for name in LIBRARIES},
    }


def reference_of(provenance: Mapping[str, Any]) -> Reference | None:
    """Return the reference that a provenance tells of, or None where it tells of none."""
    return _told(provenance.get("reference"), _REFERENCES)


def join_of(provenance: Mapping[str, Any]) -> Join | None:
    """Return how two papers of the picture were joined, or None where a provenance tells of none.

    Its millimetres are the sheet's.
    """
    return _told(provenance.get("join"), {Join.__name__: Join})


def _told(part: Any, kinds: Mapping[str, type[T]]) -> T | None:
    """Return what `plain` wrote of one of some types, or None."""
    told = dict(part) if isinstance(part, Mapping) else {}
    kind = kinds.get(str(told.pop("type", "")))
    if kind is None:
        return None
    try:
        return TypeAdapter(kind).validate_python(told)
    except ValidationError:
        return None


def options_parts(options: Options) -> dict[str, dict[str, Any]]:
    """Return the options that differ from their defaults, by the part they belong to."""
    return {
        key: {name: plain(given) for name, given in options.changed(part).items()}
        for part, key in PARTS.items()
    }


def plain(datum: Any) -> Any:
    """Return a datum as values that JSON can hold; a path keeps only the name of its file."""
    match datum:
        case Enum():
            return datum.value
        case Path():
            return datum.name
        case np.ndarray() | np.generic():
            return datum.tolist()
        case Mapping():
            return {str(key): plain(item) for key, item in datum.items()}
        case tuple() | list():
            return [plain(item) for item in datum]
    if is_dataclass(datum) and not isinstance(datum, type):
        parts = {item.name: plain(getattr(datum, item.name)) for item in fields(datum)}
        return {"type": type(datum).__name__, **parts}
    return datum


@cache
def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "unknown"
