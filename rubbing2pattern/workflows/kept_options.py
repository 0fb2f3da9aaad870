"""The options that a record was made with, read back and written anew.

The record keeps the thresholds of the reading (``options``) and the settings of the documents
(``settings``) apart: the first are the provenance of what was read, and stay as they were written;
the second change whenever documents are made anew. Records that have both under ``options``
are read as well. An option that this version does not know is not used; it stays where it is.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from pydantic import TypeAdapter, ValidationError

from rubbing2pattern.errors import InputUnreadable, RubbingError
from rubbing2pattern.options import Options
from rubbing2pattern.options.base import Part
from rubbing2pattern.options.former import GONE, RENAMED
from rubbing2pattern.workflows.provenance import PARTS, options_parts


@dataclass(frozen=True, slots=True)
class KeptOptions:
    """What a record says of its options.

    Attributes
    ----------
    options : those that this version knows; the others have their defaults.
    warnings : a sentence for each option that is not used, or is used under another name.
    """

    options: Options
    warnings: tuple[str, ...]


def options_of(provenance: Mapping[str, Any]) -> Options:
    """Return the options of a reading from its provenance, as `kept_options` does."""
    return kept_options(provenance).options


def kept_options(provenance: Mapping[str, Any]) -> KeptOptions:
    """Read the options of a record from its provenance.

    Rules:

    1. an option under a former name is used under its name of today, unless that is there as well;
    2. an option that this version does not know is not used;
    3. both give a warning, and both stay in the record.

    Raises
    ------
    InputUnreadable
        Options that are not a table, or a value that a known option does not take.
    """
    known, default = {}, Options().values()
    warnings = []
    for former, written in _written(provenance):
        name = RENAMED.get(former, former)
        if name not in default:
            warnings.append(_unused(former))  # rule 2
            continue
        if former != name:
            warnings.append(f"the record's option {former!r} is now called {name!r}")
        if former == name or name not in known:  # rule 1
            known[name] = written
    options = Options()
    for group in dict.fromkeys(name.split(".")[0] for name in known):
        options = _with_group(options, group, known)
    return KeptOptions(options, tuple(warnings))


def with_settings_now(provenance: Mapping[str, Any], options: Options) -> dict[str, Any]:
    """Return a provenance with the settings of the documents as they are now.

    What was read stays as it was written. Settings that this version does not know are carried
    along; those under a former name go on under the one of today.
    """
    settings = options.values(Part.DOCUMENTS)
    reading, documents = (PARTS[part] for part in (Part.READING, Part.DOCUMENTS))
    kept = {
        key: {
            name: written
            for name, written in _table(provenance, key).items()
            if RENAMED.get(name, name) not in settings
        }
        for key in (reading, documents)
    }
    now = options_parts(options)[documents]
    return {**provenance, reading: kept[reading], documents: kept[documents] | now}


def _written(provenance: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    for key in PARTS.values():
        yield from _table(provenance, key).items()


def _table(provenance: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    given = provenance.get(key, {})
    if not isinstance(given, Mapping):
        raise InputUnreadable(f"the {key} in the record's provenance must be a table")
    return given


def _unused(name: str) -> str:
    why = f": {GONE[name]}" if name in GONE else ""
    return (
        f"the record's option {name!r} is not in this version{why}; it is not used, and stays in "
        "the record"
    )


def _with_group(options: Options, group: str, known: Mapping[str, Any]) -> Options:
    """Return the options with all that is known of one group; its values may depend on another."""
    given = {name.split(".")[1]: known[name] for name in known if name.split(".")[0] == group}
    kind: TypeAdapter[Any] = TypeAdapter(type(getattr(options, group)))
    try:
        return replace(options, **{group: kind.validate_python(given)})
    except ValidationError as fault:
        first = fault.errors()[0]
        name = ".".join(str(step) for step in (group, *first["loc"]))
        raise InputUnreadable(
            f"the record's option {name!r} cannot be used: {first['msg']}"
        ) from fault
    except RubbingError as fault:
        raise InputUnreadable(f"the record's options of {group} cannot be used: {fault}") from fault
