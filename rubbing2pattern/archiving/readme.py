"""The page for a reader in a hundred years, who has the package and not this program."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from textwrap import wrap

from rubbing2pattern.trade.cautions import KEEPING

_LINE_SIGNS = 88
"""As many as the longest line of the page has, so that a plain terminal shows it whole."""

_WHAT = {
    "panel.json": "the record: every joint, lead and piece with its figures, as JSON",
    "panel.schema.json": "what each field of the record is (JSON Schema)",
    "rubbing.tif": "the rubbing straight on, without loss; its scale stands in the file",
    "rubbing.png": "the same as the program keeps it",
    "pattern.svg": "the drawing at full size, Scalable Vector Graphics, 1 unit = 1 mm",
    "pattern.dxf": "the same for drafting programs, 1 unit = 1 mm",
    "pattern.pdf": "the same on one page at full size",
    "pieces.csv": "list of the pieces of glass",
    "pieces.xlsx": "the same as a workbook, with what a person wrote there",
    "cames.csv": "list of the leads between joints",
    "strips.csv": "the strips of lead to be cut",
    "lead.csv": "lead to be bought",
    "replacement.csv": "glass to be bought",
    "replacement.xlsx": "the same as a workbook",
    "kiln.csv": "what is to be fired",
    "templates.pdf": "shapes of glass to be cut, at full size",
    "templates.svg": "the same as Scalable Vector Graphics",
    "templates.dxf": "the same for drafting programs",
    "overlay.png": "the leads found, drawn over the rubbing",
    "report.html": "a report for people, in one file",
    "changes.csv": "what persons corrected, when and why",
}


def readme_text(panels: Mapping[str, Sequence[str]], notes: Sequence[str]) -> bytes:
    """Return the page as plain text.

    Parameters
    ----------
    panels : names of the files of each panel, by its folder.
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
    for folder, names in panels.items():
        lines += [f"data/{folder}/", ""]
        lines += [f"  {name:<22} {_what(name)}" for name in sorted(names)]
        lines.append("")
    if notes:
        lines += ["NOT IN THE PACKAGE", "", *[f"- {note}" for note in notes], ""]
    lines += [
        *wrap(KEEPING, _LINE_SIGNS),
        "",
    ]
    return "\n".join(lines).encode()


def _what(name: str) -> str:
    if name.startswith("original/"):
        return "the picture of the rubbing, untouched"
    if name.startswith("corrections-"):
        return "corrections as a person wrote them"
    if name.startswith("pattern-"):
        return "the drawing in tiles for a sheet of this size"
    return _WHAT.get(name, "as it lay in the folder of results")
