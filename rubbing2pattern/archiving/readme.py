"""The page for a reader in a hundred years, who has the package and not this program."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from rubbing2pattern.trade.cautions import KEEPING

_COLUMNS = 100
"""Letters in a line, so that any program shows it whole."""


@dataclass(frozen=True, slots=True)
class Packed:
    """What the page says of a file.

    Attributes
    ----------
    name : in the folder of its panel.
    purpose : what it is for.
    each : of a list, what has a row of its own.
    columns : of a list, each heading with what the column holds.
    """

    name: str
    purpose: str
    each: str = ""
    columns: tuple[tuple[str, str], ...] = ()


def readme_text(panels: Mapping[str, Sequence[Packed]], notes: Sequence[str]) -> bytes:
    """Return the page as plain text.

    Parameters
    ----------
    panels : the files of each panel, by its folder.
    notes : sentences about what is missing.
    """
    lines = [
        "LEAD LAYOUT OF LEADED GLASS",
        "",
        "This package keeps where the leads of the panels below run, as read from paper rubbings.",
        "It needs no program but one that reads plain text; pictures are TIFF, PNG, SVG or PDF.",
        "",
        "The package is a bag by RFC 8493: the files are in data/, and manifest-sha512.txt has",
        "the SHA-512 sum of each, by which a change can be found. dublin-core.xml says what the",
        "package is about in the fifteen elements of ISO 15836-1.",
        "",
        "THE FRAME",
        "",
        "All lengths are millimetres. x runs to the right, y upwards; the origin is the lower left",
        "corner of the box around the middle of the outermost leads. The panel is seen from the",
        "side on which the paper lay; the record says from which (field seen_from). Angles count",
        "anticlockwise from x. A lead is its middle line with a face width; a piece of glass is",
        "the outline to the middle of its leads, as cut (between the hearts) and as seen.",
        "",
        "Curves in the record: a line has two ends; an arc its centre, radius, start and sweep in",
        "degrees; a chain of cubics its control points, four for the first piece and three for",
        "each further one (Bezier).",
        "",
        "Every figure was measured on paper; the record says how uncertain each is.",
        "",
    ]
    for folder, files in panels.items():
        lines += [f"data/{folder}/", ""]
        for packed in files:
            lines += _wrapped(packed.purpose, f"  {packed.name:<22} ", " " * 25)
        lines.append("")
    lines += [
        "COLUMNS OF THE LISTS",
        "",
        "The ending of a heading is its unit: mm, mm2 and kg, or in (inches), in2 and lb.",
        "",
        *_lists(panels),
    ]
    if notes:
        lines += ["NOT IN THE PACKAGE", "", *[f"- {note}" for note in notes], ""]
    lines += [
        *_wrapped(KEEPING, "", ""),
        "",
    ]
    return "\n".join(lines).encode()


def _lists(panels: Mapping[str, Sequence[Packed]]) -> Iterator[str]:
    """Yield what each list has in its columns, once where all panels have the same."""
    found: dict[Packed, list[str]] = {}
    for folder, files in panels.items():
        for packed in files:
            if packed.columns:
                found.setdefault(packed, []).append(f"data/{folder}/")
    names = Counter(packed.name for packed in found)
    for packed, folders in sorted(found.items(), key=lambda one: one[0].name):
        where = f" of {', '.join(folders)}" if names[packed.name] > 1 else ""
        yield from _wrapped(f"{packed.name}{where}: a row for each {packed.each}", "", "")
        for heading, holds in packed.columns:
            yield from _wrapped(holds, f"  {heading:<26} ", " " * 29)
        yield ""


def _wrapped(text: str, first: str, later: str) -> list[str]:
    return textwrap.wrap(
        text,
        _COLUMNS,
        initial_indent=first,
        subsequent_indent=later,
        break_long_words=False,
        break_on_hyphens=False,
    )
