"""Single edits of a panel, and the one form in which a file of corrections is written."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, get_args

from pydantic import ValidationError

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.inputs.correction_tables import TABLES, Corrections, Table
from rubbing2pattern.texts import field_fault

_PLACE_DIGITS = 3
"""Decimal places of a place that was pointed at: a thousandth of a millimetre, as in the record."""


@dataclass(frozen=True, slots=True)
class Edit:
    """One table of a file of corrections, by itself.

    Attributes
    ----------
    kind : name of the table, as in ``add_lead``.
    table : what it says.
    """

    kind: str
    table: Table

    @property
    def given(self) -> dict[str, Any]:
        """Its fields as plain values, without those that say nothing."""
        return self.table.model_dump(mode="json", by_alias=True, exclude_defaults=True)


def edit_of(kind: str, given: Mapping[str, Any]) -> Edit:
    """Return an edit from plain values, as TOML or JSON gives them.

    Places are rounded to 0.001 mm.

    Raises
    ------
    UsageFault
        There is no such kind, or a field is missing, unknown or out of range.
    """
    if kind not in TABLES:
        raise UsageFault(f"there is no correction {kind!r}; there are {', '.join(TABLES)}")
    model: type[Table] = get_args(Corrections.model_fields[kind].annotation)[0]
    try:
        return Edit(kind, model.model_validate(_rounded(dict(given))))
    except ValidationError as fault:
        first = fault.errors(include_url=False)[0]
        steps = ", ".join(str(step) for step in first["loc"])
        said = field_fault(first["type"], first["msg"])
        raise UsageFault(f"{kind}{', ' if steps else ''}{steps}: {said}") from fault


def _rounded(given: Any) -> Any:
    """Round the numbers of places, which are lists."""
    if isinstance(given, dict):
        return {
            key: _rounded(part) if isinstance(part, list | tuple) else part
            for key, part in given.items()
        }
    if isinstance(given, list | tuple):
        return [_rounded(part) for part in given]
    return round(given, _PLACE_DIGITS) + 0.0 if isinstance(given, float) else given


def corrections_of(edits: Iterable[Edit], by: str, date: str, remark: str = "") -> Corrections:
    """Return the corrections that edits make together, each kind in the order of the edits.

    Raises
    ------
    UsageFault
        `by`, `date` or `remark` is not what a file of corrections takes.
    """
    tables: dict[str, list[Table]] = {}
    for edit in edits:
        tables.setdefault(edit.kind, []).append(edit.table)
    try:
        return Corrections.model_validate({"by": by, "date": date, "remark": remark, **tables})
    except ValidationError as fault:
        first = fault.errors(include_url=False)[0]
        said = field_fault(first["type"], first["msg"])
        raise UsageFault(f"{first['loc'][0]}: {said}") from fault


def edits_in(corrections: Corrections) -> tuple[Edit, ...]:
    """Return the edits of a file, in the order in which they are made."""
    return tuple(Edit(kind, table) for kind, _, table in corrections.tables())


def corrections_text(corrections: Corrections) -> str:
    """Write a file of corrections: the head, then the tables in the order in which they are made.

    Reading the text gives the same corrections, and they give the same text.
    """
    lines = [f"by = {_text(corrections.by)}", f"date = {corrections.date}"]
    if corrections.remark:
        lines.append(f"remark = {_text(corrections.remark)}")
    for edit in edits_in(corrections):
        lines += ["", *table_lines(edit)]
    return "\n".join([*lines, ""])


def table_lines(edit: Edit) -> list[str]:
    """Return the lines of one table of a file of corrections."""
    fields = (f"{name} = {_value(value)}" for name, value in edit.given.items())
    return [f"[[{edit.kind}]]", *fields]


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, list):
        return f"[{', '.join(map(_value, value))}]"
    return repr(value).removesuffix(".0")


def _text(text: str) -> str:
    """Write a basic string: its escapes are those of JSON, and DEL must be escaped as well."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
