"""The page that lists every option with its default, its range and the reason for the default."""

from __future__ import annotations

from dataclasses import Field, fields
from enum import Enum
from typing import Any

from rubbing2pattern.options import Options
from rubbing2pattern.trade.stock import StockWidth

_HEAD = """\
# Options

Every threshold of the program, by stage, with its default, the range it may take and the reason for
the default. The unit is the ending of the name: `_mm`, `_mm2`, `_px`, `_deg`, `_mp` (megapixels);
a name without such an ending is a share, a ratio or a count.

An option is changed with `--set GROUP.NAME=VALUE`, as often as needed:

    rubbing2pattern trace rubbing.jpg --sheet A1 -o pattern --set tidy.gap_mm=12

or from Python, with `Options(tidy=TidyOptions(gap_mm=12.0))`. Options that differ from their
defaults are written into the record. Most rubbings need none of them changed.

This page is made from the program (`make docs`); do not edit it by hand.
"""


def options_page() -> str:
    """Return the page in Markdown, one table for each group."""
    options = Options()
    parts = [_HEAD]
    for group in fields(options):
        datum = getattr(options, group.name)
        title = (type(datum).__doc__ or "").strip().splitlines()[0]
        rows = [_row(item, getattr(datum, item.name)) for item in fields(datum)]
        parts.append(
            f"## {group.name}\n\n{title}\n\n"
            "| option | default | range | reason for the default |\n"
            "| --- | --- | --- | --- |\n" + "\n".join(rows) + "\n"
        )
    return "\n".join(parts)


def _row(item: Field[Any], default: Any) -> str:
    low, high = item.metadata.get("low"), item.metadata.get("high")
    limits = "" if low is None else f"{low:g} to {high:g}"
    reason = str(item.metadata.get("reason", "")).replace("|", "\\|")
    return f"| `{item.name}` | {_written(default)} | {limits} | {reason} |"


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
