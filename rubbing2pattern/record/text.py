"""Records as JSON: written line by line, read with every fault named."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from rubbing2pattern.errors import InputUnreadable
from rubbing2pattern.texts import field_fault, unfit_parts

M = TypeVar("M", bound=BaseModel)

_SHOWN = 60
"""Letters of an unknown name that a message shows."""


def json_text(record: BaseModel) -> str:
    """Write a record as JSON, one line for each item of its lists."""
    parts = []
    for name, datum in record.model_dump(mode="json").items():
        if isinstance(datum, list) and datum:
            lines = ",\n".join(f"  {_json(item)}" for item in datum)
            parts.append(f" {_json(name)}: [\n{lines}\n ]")
        else:
            parts.append(f" {_json(name)}: {_json(datum)}")
    return "{\n" + ",\n".join(parts) + "\n}\n"


def record_read(
    text: str | bytes, source: str, model: type[M], kind: tuple[str, int], what: str
) -> M:
    """Read a record.

    Parameters
    ----------
    text : JSON.
    source : name of the file, for messages.
    model : its fields.
    kind : its format and version.
    what : the record's name for messages, "panel record".

    Raises
    ------
    InputUnreadable
        No JSON, another format or version, a field that is missing, unknown or out of range, or a
        text with a character that no text may hold. The message names the field.
    """
    try:
        datum = json.loads(text, object_pairs_hook=_table)
    except UnicodeDecodeError as fault:
        raise InputUnreadable(
            f"{source} is not a {what}: byte {fault.start + 1} is no text in UTF-8"
        ) from fault
    except (ValueError, RecursionError) as fault:
        raise InputUnreadable(f"{source} is not valid JSON: {fault}") from fault
    found = (datum.get("format"), datum.get("version")) if isinstance(datum, dict) else (None, None)
    if found[0] != kind[0]:
        raise InputUnreadable(
            f"{source} is not a {what}: its format is {found[0]!r}, not {kind[0]!r}"
        )
    if found[1] != kind[1] or isinstance(found[1], bool):
        raise InputUnreadable(
            f"{source} is a {what} of version {found[1]!r}, but this program reads version "
            f"{kind[1]}: read it with the program that wrote it, or a later one"
        )
    for way, fault_text in unfit_parts(datum):
        raise InputUnreadable(f"{source} is a damaged {what}: {_way(way)}: {fault_text}")
    try:
        return model.model_validate(datum)
    except ValidationError as fault:
        raise InputUnreadable(f"{source} is a damaged {what}: {_first(fault)}") from fault


def schema_of(model: type[BaseModel]) -> str:
    """Return the JSON Schema of a record as a page."""
    schema = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **model.model_json_schema(),
    }
    return json.dumps(schema, indent=1, ensure_ascii=False) + "\n"


def _json(datum: Any) -> str:
    return json.dumps(datum, ensure_ascii=False, allow_nan=False)


def plain_values(provenance: Mapping[str, Any]) -> dict[str, Any]:
    """Return the provenance as JSON values; drop bytes of a file name that are not text."""
    text = _json(dict(provenance))
    datum: dict[str, Any] = json.loads(re.sub("[\ud800-\udfff]", "\ufffd", text))
    return datum


def _table(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Make a table of JSON; of a name that is listed twice nobody knows which value is meant."""
    table = dict(pairs)
    if len(table) < len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for k, name in enumerate(names) if name in names[:k])
        raise ValueError(f"{twice[:_SHOWN]!r} is listed twice")
    return table


def _way(steps: Iterable[str]) -> str:
    """Write the way to a field; a name that is no name of a field may be of any length."""
    return ".".join(s if len(s) <= _SHOWN else f"{s[:_SHOWN]}..." for s in steps)


def _first(fault: ValidationError) -> str:
    """Say where the first fault lies and what it is, and how many more there are."""
    faults = fault.errors(include_url=False)
    where = _way(str(step) for step in faults[0]["loc"] if step not in ("line", "arc", "cubic"))
    what = field_fault(faults[0]["type"], faults[0]["msg"])
    more = f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""
    return f"{where}: {what}{more}" if where else f"{what}{more}"
