"""The list of all that changed between two rubbings, with both numberings."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TypeAlias

from rubbing2pattern.comparing.found import Comparison, Fate, PieceFate, SideKind
from rubbing2pattern.documents.comparison.sentences import (
    amount_of,
    bow_text,
    direction_text,
    line_of,
    move_of,
    numbers_in,
    panels_sentence,
    piece_change_text,
    registration_sentence,
    spread_of,
)
from rubbing2pattern.documents.drawing import Drawing, Mark, Stroke, Text, wrapped
from rubbing2pattern.documents.drawing.sheets import LEADING, NOTE, RULE, Sheet
from rubbing2pattern.documents.wording import length_of
from rubbing2pattern.geometry.curves import Line, Point, as_point
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.trade.cautions import CAUTIONS
from rubbing2pattern.units import decimal

_HEIGHT_MM = 2.2
_IN_A_ROW = 5
"""Pieces side by side in the table of both numberings."""


Rows: TypeAlias = list[tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class _Row:
    """Cells and where they begin, as shares of the width; a single cell is a line of text."""

    cells: tuple[str, ...]
    shares: tuple[float, ...] = (0.0,)
    bold: bool = False
    ruled: bool = False


def list_pages(found: Comparison, options: DocumentOptions) -> Iterator[Drawing]:
    """Yield the pages of the list on A4 or Letter."""
    sheet = Sheet.of(f"Panel {found.before.name}: what changed", options)
    left, low, right, high = sheet.room(0)
    step = LEADING * _HEIGHT_MM
    marks: list[Mark] = []
    y = high
    for block in _blocks(found, options, right - left):
        # A heading does not stay alone at the foot of a page.
        if y - min(len(block), 4) * step < low and marks:
            yield sheet.drawing(tuple(marks))
            marks, y = [], high
        for row in block:
            if y - step < low:
                yield sheet.drawing(tuple(marks))
                marks, y = [], high
            y -= step
            marks += _row(row, (left, right), y)
        y -= step
    yield sheet.drawing(tuple(marks))


def _row(row: _Row, sides: tuple[float, float], y: float) -> Iterator[Mark]:
    left, right = sides
    for share, cell in zip(row.shares, row.cells, strict=True):
        if cell:
            at = (left + share * (right - left), y)
            yield Text(NOTE, at, cell, _HEIGHT_MM, bold=row.bold)
    if row.ruled:
        low = y - 0.35 * _HEIGHT_MM
        yield Stroke(RULE, Line((left, low), (right, low)))


def _blocks(found: Comparison, options: DocumentOptions, width_mm: float) -> Iterator[list[_Row]]:
    yield _texts([panels_sentence(found), registration_sentence(found, options)], width_mm)
    if not found.differs:
        yield _texts(["Nothing changed above the uncertainty of both rubbings."], width_mm)
    yield from _tables(found, options)
    yield _numbers(found, options)
    yield _texts([f"Note: {note}" for note in found.notes], width_mm)
    yield _texts(CAUTIONS, width_mm)


def _texts(texts: Sequence[str], width_mm: float) -> list[_Row]:
    return [_Row((line,)) for text in texts for line in wrapped(text, width_mm, _HEIGHT_MM)]


def _table(title: str, shares: tuple[float, ...], heads: tuple[str, ...], rows: Rows) -> list[_Row]:
    first = [_Row((title,), bold=True), _Row(heads, shares, bold=True, ruled=True)]
    return first + [_Row(row, shares, ruled=True) for row in rows]


def _tables(found: Comparison, options: DocumentOptions) -> Iterator[list[_Row]]:
    for title, shares, heads, rows in (
        (
            "Leads that moved, where most, across the lead",
            (0.0, 0.1, 0.2, 0.34, 0.54, 0.66),
            ("Before", "After", "By", "Which way", "±", "Where (before)"),
            _moved(found, options),
        ),
        (
            "Face widths that changed",
            (0.0, 0.1, 0.2, 0.36, 0.52, 0.68, 0.8),
            ("Before", "After", "Was", "Now", "Change", "±", "Length"),
            _widened(found, options),
        ),
        (
            "Leads that are lost or were added",
            (0.0, 0.1, 0.28, 0.42, 0.56),
            ("Came", "What", "Length", "Face width", "Where (its middle)"),
            _lone(found, options),
        ),
        (
            "Joints that moved, are lost or were added",
            (0.0, 0.1, 0.2, 0.4, 0.6),
            ("Before", "After", "What", "Which way", "Where"),
            _joints(found, options),
        ),
        (
            "Sag and bow of the border: from chord, arc or circle, where most (* it changed)",
            (0.0, 0.14, 0.26, 0.4, 0.54, 0.76, 0.88),
            ("Side", "From its", "Before", "After", "After, where", "Change", "±"),
            _sides(found, options),
        ),
    ):
        if rows:
            yield _table(title, shares, heads, rows)


def _place(at: Point, options: DocumentOptions) -> str:
    return f"x {length_of(at[0], options)}, y {length_of(at[1], options)}"


def _moved(found: Comparison, options: DocumentOptions) -> Rows:
    return [
        (
            pair.before,
            pair.after,
            amount_of(pair.most_mm, options),
            direction_text(move_of(pair)),
            spread_of(pair.uncertainty_mm, options),
            _place(pair.most_at, options),
        )
        for pair in found.moved
    ]


def _widened(found: Comparison, options: DocumentOptions) -> Rows:
    return [
        (
            pair.before,
            pair.after,
            amount_of(pair.width_before_mm, options),
            amount_of(pair.width_after_mm, options),
            amount_of(pair.width_change_mm, options),
            spread_of(pair.width_uncertainty_mm, options),
            length_of(pair.length_mm, options),
        )
        for pair in found.widened
    ]


def _lone(found: Comparison, options: DocumentOptions) -> Rows:
    return [
        (
            lead.came,
            lead.fate.value if lead.whole else f"{lead.fate.value} in part",
            length_of(lead.length_mm, options),
            amount_of(lead.face_width_mm, options),
            _place(as_point(lead.path[len(lead.path) // 2]), options),
        )
        for lead in found.lone_leads
    ]


def _joints(found: Comparison, options: DocumentOptions) -> Rows:
    rows: Rows = [
        (
            pair.before,
            pair.after,
            f"moved {amount_of(math.hypot(*pair.shift_mm), options)}",
            direction_text(pair.shift_mm),
            _place(pair.at, options),
        )
        for pair in found.joint_pairs
        if pair.moved
    ]
    for lone in found.lone_joints:
        names = (lone.joint, "") if lone.fate is Fate.LOST else ("", lone.joint)
        rows.append((*names, lone.fate.value, "", _place(lone.at, options)))
    return rows


def _sides(found: Comparison, options: DocumentOptions) -> Rows:
    rows: Rows = []
    for side in found.sides:
        rows.append(
            (
                side.name,
                line_of(side),
                bow_text(side, side.before.most_mm, options),
                bow_text(side, side.after.most_mm, options),
                _place(side.after.at, options),
                f"{amount_of(side.change_mm, options)}{' *' if side.changed else ''}",
                spread_of(side.uncertainty_mm, options),
            )
        )
        if side.kind is not SideKind.STRAIGHT:
            was, now = (length_of(bow.rise_mm, options) for bow in (side.before, side.after))
            what = "rise" if side.kind is SideKind.ARC else "radius"
            rows.append(("", what, was, now, "", "", ""))
    return rows


def _numbers(found: Comparison, options: DocumentOptions) -> list[_Row]:
    """Put both numberings side by side: what was redrawn first, then piece by piece."""
    rows = [_Row(("Both numberings (before > after)",), bold=True)]
    rows += [_Row((f"{piece_change_text(line).capitalize()}.",)) for line in found.redrawn]
    same = [line for line in found.pieces if line.fate is PieceFate.SAME]
    shares = tuple(k / _IN_A_ROW for k in range(_IN_A_ROW))
    cells = []
    for line in same:
        share = 100.0 * (line.area_after_mm2 / max(line.area_before_mm2, 1e-9) - 1.0)
        # Areas to the middle of the leads are rarely known better than to one in a hundred.
        grown = f" ({'+' if share > 0 else ''}{decimal(share, 0)} %)" if abs(share) >= 1.0 else ""
        cells.append(f"{numbers_in(line.before)} > {numbers_in(line.after)}{grown}")
    for k in range(0, len(cells), _IN_A_ROW):
        group = cells[k : k + _IN_A_ROW]
        rows.append(_Row(tuple(group), shares[: len(group)], ruled=True))
    return rows
