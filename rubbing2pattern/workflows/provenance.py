"""Where a panel's record comes from: program, libraries, picture, reference, changed options.

No clock and no folder of any machine goes in, so the same input gives the same record.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass, replace
from enum import Enum
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

import numpy as np

from rubbing2pattern._version import __version__
from rubbing2pattern.errors import InputUnreadable, RubbingError
from rubbing2pattern.fitting.fitted_weights import FILE_NAME, fitted_weights
from rubbing2pattern.imaging.lead_network import SHA256, VERSION, WEIGHTS
from rubbing2pattern.inputs.reference import Reference
from rubbing2pattern.options import Options
from rubbing2pattern.reading import Photograph
from rubbing2pattern.trade.stock import StockWidth

LIBRARIES = (
    "ezdxf",
    "numpy",
    "opencv-python-headless",
    "pillow",
    "reportlab",
    "scikit-image",
    "scipy",
    "shapely",
)
"""The libraries on whose results the figures of a record depend."""


def provenance_of(photograph: Photograph, reference: Reference, options: Options) -> dict[str, Any]:
    """Gather what a later reader needs to judge or repeat the reading.

    Returns
    -------
    dict
        ``program``, ``libraries``, ``image``, ``reference`` and ``options``; plain values that
        JSON can hold. ``options`` has only those that differ from their defaults, as
        ``{"tidy.gap_mm": 12.0}``.
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
    """Return all that a reading depends on, with what is told of its picture."""
    fitted = fitted_weights()
    return {
        "program": {"name": "rubbing2pattern", "version": __version__},
        "libraries": {name: _version(name) for name in LIBRARIES},
        "lead_map": {"name": WEIGHTS, "version": VERSION, "sha256": SHA256},
        "fitted_weights": {"name": FILE_NAME, "version": fitted.version, "sha256": fitted.sha256},
        "image": plain(image),
        "reference": plain(reference),
        "options": {name: plain(given) for name, given in options.changed().items()},
    }


def options_of(provenance: Mapping[str, Any]) -> Options:
    """Return the options of a reading from its provenance; the inverse of what it says of them.

    Raises
    ------
    InputUnreadable
        An option that this version does not know, or a value that it does not take.
    """
    given = provenance.get("options", {})
    if not isinstance(given, Mapping):
        raise InputUnreadable("the record's provenance has options that are no table")
    options, known = Options(), Options().values()
    for name, written in given.items():
        if name not in known:
            raise InputUnreadable(f"the record was made with the option {name!r}, unknown here")
        group, option = name.split(".")
        try:
            datum = _as_option(written, known[name])
            changed = replace(getattr(options, group), **{option: datum})
        except (TypeError, ValueError, KeyError, RubbingError) as fault:
            raise InputUnreadable(
                f"the record's option {name!r} cannot be used: {fault}"
            ) from fault
        options = replace(options, **{group: changed})
    return options


def _as_option(written: Any, like: Any) -> Any:
    """Return a plain value as the kind of option that `like` is."""
    match like:
        case Enum():
            return type(like)(written)
        case (StockWidth(), *_):
            return tuple(StockWidth(str(w["name"]), float(w["width_mm"])) for w in written)
        case tuple():
            return tuple(written)
    return written


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


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "unknown"
