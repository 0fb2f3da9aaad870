"""What every option is, for the page of options and for ``--set help``."""

from __future__ import annotations

import textwrap
from collections.abc import Collection, Iterator
from dataclasses import Field, fields
from enum import Enum
from typing import Any

from rubbing2pattern.options import Options
from rubbing2pattern.options.base import Part
from rubbing2pattern.trade.stock import StockWidth

_HEAD = """\
# Options

Every threshold of the program, by stage: what it changes, its default, the range it may take, and
the reason for the default. The unit is the ending of the name: `_mm`, `_mm2`, `_px`, `_deg`, `_mp`
(megapixels); a name without such an ending is a share, a ratio or a count.

An option is changed with `--set GROUP.NAME=VALUE`, as often as needed:

    rubbing2pattern trace rubbing.jpg --sheet A1 -o pattern --set tidy.gap_mm=12

or from Python, with `Options(tidy=TidyOptions(gap_mm=12.0))`. On the terminal, `--set help` lists
the options that a command takes, `--set tidy.help` those of one group. Options that differ from
their defaults are written into the record: those of the reading, and apart from them the settings
of the documents, which `redraw` and `lists` can change. Most rubbings need none of them changed.

This page is made from the program (`make docs`); do not edit it by hand.
"""
_PARTS = {
    Part.READING: "Part of the reading: it changes what the reading finds.",
    Part.DOCUMENTS: "A setting of the documents: it can be changed at any time, without a reading.",
}
_WIDTH = 96
"""Signs in a line on a terminal."""


def options_page() -> str:
    """Return the page in Markdown, one table for each group."""
    parts = [_HEAD]
    for held, datum in _groups():
        rows = [_row(item, getattr(datum, item.name)) for item in fields(datum)]
        parts.append(
            f"## {held.name}\n\n{_title(datum)} {_whom(held)}\n\n"
            "| option | what it changes | default | range | reason for the default |\n"
            "| --- | --- | --- | --- | --- |\n" + "\n".join(rows) + "\n"
        )
    return "\n".join(parts)


def options_text(names: Collection[str] = ()) -> str:
    """Return what the options of some groups are, for a terminal; of all groups by default."""
    lines: list[str] = []
    for held, datum in _groups():
        if names and held.name not in names:
            continue
        lines += ["", *_indented(f"{held.name}: {_title(datum)}", 0), *_indented(_whom(held), 2)]
        for item in fields(datum):
            limits = f"  [{_range(item)}]" if _range(item) else ""
            given = _written(getattr(datum, item.name))
            lines += ["", *_indented(f"{held.name}.{item.name}={given}{limits}", 2)]
            lines += _indented(item.metadata["meaning"], 6)
            lines += _indented(f"Why: {item.metadata['reason']}.", 6)
    return "\n".join(lines[1:])


def _groups() -> Iterator[tuple[Field[Any], Any]]:
    options = Options()
    for held in fields(options):
        yield held, getattr(options, held.name)


def _title(datum: Any) -> str:
    return (type(datum).__doc__ or "").strip().splitlines()[0]


def _whom(held: Field[Any]) -> str:
    return f"For {held.metadata['concerns']}. {_PARTS[held.metadata['part']]}"


def _indented(text: str, by: int) -> list[str]:
    return textwrap.wrap(text, _WIDTH, initial_indent=by * " ", subsequent_indent=by * " ")


def _row(item: Field[Any], default: Any) -> str:
    meaning, reason = (
        str(item.metadata[name]).replace("|", "\\|") for name in ("meaning", "reason")
    )
    return f"| `{item.name}` | {meaning} | {_written(default)} | {_range(item)} | {reason} |"


def _range(item: Field[Any]) -> str:
    low, high = item.metadata.get("low"), item.metadata.get("high")
    return "" if low is None else f"{low:g} to {high:g}"


def _written(default: Any) -> str:
    """Write a default as it is typed after ``--set``."""
    match default:
        case bool():
            return "yes" if default else "no"
        case Enum():
            return str(default.value)
        case float() | int():
            return f"{default:g}" if abs(default) < 1e6 else repr(default)
        case StockWidth():
            return default.name
        case tuple():
            return ", ".join(_written(part) for part in default)
        case None:
            return "none"
    return str(default)
