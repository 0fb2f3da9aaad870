"""Matched loose pieces as tables: ``matches.csv`` and ``matches.xlsx``."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import partial
from typing import Any

from openpyxl.styles import Alignment

from rubbing2pattern.documents.formats.cells import area_cell, fine_cell, separated
from rubbing2pattern.documents.formats.columns import Column, Quantity, headings
from rubbing2pattern.documents.formats.workbook import (
    RULED,
    Png,
    lettering,
    new_workbook,
    on_paper,
    put,
    put_below,
    put_headings,
    put_picture,
    shown_heading,
    workbook_bytes,
)
from rubbing2pattern.documents.matches.record import has_margin
from rubbing2pattern.documents.matches.sentences import group_sentences, how_sure, panel_sentence
from rubbing2pattern.documents.matches.thumbnails import Straight, file_of, thumbnail
from rubbing2pattern.matching.loose import Match
from rubbing2pattern.matching.result import Matching
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.trade.cautions import GROZING
from rubbing2pattern.units import decimal

MATCH_COLUMNS = (
    Column("photo", "the photograph that shows the loose piece"),
    Column("piece", "its name on the photograph"),
    Column("verdict", "what is to be done with it; in the last rows, that there is no glass for "
           "the number, or that a part of it is missing"),
    Column("numbers", "every number that it fits alike; of fragments, all that they fit together"),
    Column("lies_in", "the opening in which it is drawn"),
    Column("groze", "how far the glass reaches over the heart at the worst place",
           Quantity.LENGTH),
    Column("short", "how wide a gap would show beside the leaf", Quantity.LENGTH),
    Column("play", "how far it can be shifted where it has the least play", Quantity.LENGTH),
    Column("off", "mean distance of its edge from the cut line", Quantity.LENGTH),
    Column("margin", "how sure the match is: 5 is a hundred to one; empty for known numbers and "
           "fragments"),
    Column("second", "where it would go otherwise; empty when it would have no place"),
    Column("other_side", "yes where it lies turned over"),
    Column("known", "yes where a person gave the number"),
    Column("with", "the other fragments of its piece"),
    Column("nearest", "of a piece without a place, the numbers that it comes nearest to"),
    Column("nearest_large", "by how much it is too large there", Quantity.LENGTH),
    Column("nearest_small", "by how much it is too small there", Quantity.LENGTH),
    Column("nearest_over", "yes where it would have to be turned over"),
    Column("sure", "how sure the match is in a word: sure; likely, ten to one at least; or look, "
           "where the next is nearly as likely, the edge is unclear, or the pattern may be wrong"),
    Column("panel", "the panel of the opening in which it is drawn, or of the number without "
           "glass; with several panels each number has its panel's letter before it"),
    Column("pattern", "where it does not fit because the pattern may be wrong: findings of the "
           "panel, joints and leads by their names"),
)  # fmt: skip
_COLUMNS = tuple(column.name for column in MATCH_COLUMNS)
_LENGTHS = tuple(c.name for c in MATCH_COLUMNS if c.quantity is Quantity.LENGTH)
_FIGURES = (*_LENGTHS, "margin")
_WHOLE = ("lies_in", "second")
_WIDTHS = {"photo": 26.0, "verdict": 14.0, "numbers": 22.0, "with": 18.0, "what": 34.0}
_WIDTH = 10.0
_PICTURE = "picture"
_SIDE_PX, _INSET_PX, _ROW_POINTS = 56, 3, 46.5
NO_GLASS, PART_MISSING = "no glass", "part missing"


def matches_csv(matching: Matching, options: DocumentOptions) -> str:
    """List the loose pieces, one a row, then the numbers for which there is no glass."""
    rows = [[row.get(name, "") for name in _COLUMNS] for row in _rows(matching, options)]
    return separated(headings(MATCH_COLUMNS, options.units), rows)


def matches_xlsx(
    matching: Matching, seen: Mapping[str, Straight], options: DocumentOptions
) -> bytes:
    """Make the same as a workbook: loose pieces with their pictures, what has to be cut, and notes.

    Parameters
    ----------
    seen : each photograph straight on, by its name.
    """
    title = f"Loose pieces: {matching.title}"
    book = new_workbook(title)
    sheet = book.create_sheet("loose pieces")
    put_headings(
        sheet,
        [*map(shown_heading, headings(MATCH_COLUMNS, options.units)), _PICTURE],
        [*(_WIDTHS.get(name, _WIDTH) for name in _COLUMNS), _WIDTH],
    )
    rows = zip(matching.matches.matches, _piece_rows(matching, options), strict=True)
    for k, (match, row) in enumerate(rows, start=2):
        sheet.row_dimensions[k].height = _ROW_POINTS
        shown = seen.get(match.piece.photo)
        if shown is not None:
            png = file_of(thumbnail(match.piece, shown).resize((_SIDE_PX,) * 2), "PNG")
            picture = Png(png, _SIDE_PX, _SIDE_PX)
            put_picture(sheet, k, len(_COLUMNS) + 1, picture, _INSET_PX)
        for c, name in enumerate(_COLUMNS, start=1):
            _put(sheet, k, c, name, row.get(name, ""), options)
    on_paper(sheet, title)
    _to_cut(book.create_sheet("to cut"), matching, options)
    _notes(book.create_sheet("notes"), matching, options)
    return workbook_bytes(book)


def _rows(matching: Matching, options: DocumentOptions) -> Iterator[Mapping[str, str]]:
    yield from _piece_rows(matching, options)
    for number, what in _open(matching):
        home = matching.home(number)
        yield {"verdict": what, "numbers": home.label(number), "panel": home.panel.name}


def _piece_rows(matching: Matching, options: DocumentOptions) -> Iterator[dict[str, str]]:
    for match in matching.matches.matches:
        yield _cells(match, matching, options)


def _cells(match: Match, matching: Matching, options: DocumentOptions) -> dict[str, str]:
    cells = {
        "photo": match.piece.photo,
        "piece": match.piece.id,
        "verdict": match.verdict.value,
        "numbers": " ".join(map(matching.label, match.numbers)),
        "known": "yes" if match.known else "",
        "pattern": " ".join(match.pattern),
        "sure": how_sure(match, matching),
    }
    if match.nearest is not None:
        near = match.nearest
        cells |= {
            "nearest": " ".join(map(matching.label, near.numbers)),
            "nearest_large": fine_cell(near.large_mm, options),
            "nearest_small": fine_cell(near.small_mm, options),
            "nearest_over": "yes" if near.over else "",
        }
    if has_margin(match):
        cells["margin"] = decimal(match.margin, 1)
        cells["second"] = "" if match.second is None else matching.label(match.second)
    placed = match.placed
    if placed is not None:
        own = [a for a in matching.matches.assemblies if match.piece.id in a.pieces]
        cells |= {
            "lies_in": matching.label(placed.number),
            "panel": matching.home(placed.number).panel.name,
            "off": fine_cell(placed.rms_mm, options),
            "with": " ".join(name for a in own for name in a.pieces if name != match.piece.id),
        }
        if not own:
            cells |= {
                "groze": fine_cell(placed.groze_mm, options),
                "short": fine_cell(placed.short_mm, options),
                "play": fine_cell(placed.play_mm, options),
            }
        cells["other_side"] = "yes" if matching.lies_over(placed) else ""
    return cells


def _open(matching: Matching) -> list[tuple[int, str]]:
    """Return the numbers for which glass has to be cut, in order, and what of each."""
    found = [(number, NO_GLASS) for number in matching.matches.unfilled]
    found += [(number, PART_MISSING) for number in matching.parts_missing]
    return sorted(found)


def _to_cut(sheet: Any, matching: Matching, options: DocumentOptions) -> None:
    unit = options.units
    heads = ["number", "what", shown_heading(f"area_{unit}2")]
    put_headings(sheet, heads, [_WIDTH, _WIDTHS["what"], 14.0])
    pieces = {piece.number: piece for own in matching.panels for piece in own.panel.pieces}
    missing = {a.number: float(a.missing.area) for a in matching.matches.assemblies}
    for k, (number, what) in enumerate(_open(matching), start=2):
        whole = what == NO_GLASS
        said = "no glass was found for it" if whole else "a part beside the fragments"
        area_mm2 = pieces[number].cut_area_mm2 if whole else missing[number]
        name = number if len(matching.panels) == 1 else matching.label(number)
        put_below(sheet, k, 1, name, partial(_style, "second", options))
        put_below(sheet, k, 2, said, partial(_style, "what", options))
        area = float(area_cell(area_mm2, options))
        put_below(sheet, k, 3, area, partial(_style, "area", options))
    on_paper(sheet, f"Glass to cut: {matching.title}")


def _put(sheet: Any, row: int, column: int, name: str, text: str, options: DocumentOptions) -> None:
    value: str | float | int = text
    if text and name in _FIGURES:
        value = float(text)
    elif name in _WHOLE and text.isdecimal():
        value = int(text)
    put_below(sheet, row, column, value, partial(_style, name, options))


def _style(name: str, options: DocumentOptions) -> dict[str, Any]:
    across = "right" if name in (*_FIGURES, *_WHOLE, "area") else "left"
    style: dict[str, Any] = {
        "border": RULED,
        "alignment": Alignment(wrap_text=True, vertical="top", horizontal=across, indent=1),
    }
    if name in _LENGTHS:
        style["number_format"] = "0.00" if options.units == "mm" else "0.000"
    elif name in ("margin", "area"):
        style["number_format"] = "0.0"
    elif name in ("piece", "verdict"):
        style["font"] = lettering(bold=True)
    return style


def _notes(sheet: Any, matching: Matching, options: DocumentOptions) -> None:
    unit = "millimetres" if options.units == "mm" else "inches"
    lines = (
        panel_sentence(matching),
        *group_sentences(matching),
        f"groze, short, play and off are in {unit}. groze: how far the glass reaches over the "
        "heart at the worst place; short: how wide a gap would show beside the leaf; play: how far "
        "it can be shifted where it has the least; off: mean distance of its edge from the cut "
        "line.",
        "numbers: all openings that it fits alike; lies in: the one in which it is drawn.",
        "margin: how sure it is. 5 is a hundred to one; with less, lay the glass in and look. sure "
        "says the same in a word.",
        "pattern: the pattern may be wrong where the piece does not fit. Settle these findings, or "
        "look at these joints and leads, before you take anything off the glass.",
        "second: where it would go otherwise; nothing there means that it would have no place.",
        *(finding.sentence(options.units, matching.label) for finding in matching.findings),
        *GROZING,
    )
    sheet.column_dimensions["A"].width = 110.0
    for k, line in enumerate(lines, start=1):
        put(sheet, k, 1, line, alignment=Alignment(wrap_text=True, vertical="top"))
        sheet.row_dimensions[k].height = 16.0 * (1 + len(line) // 90)
    on_paper(sheet, matching.title)
