"""The list of matched loose pieces to work from, with a box to tick off."""

from __future__ import annotations

from collections.abc import Iterator

from rubbing2pattern.documents.drawing import Drawing, Mark, Outline, Stroke, Text, wrapped
from rubbing2pattern.documents.drawing.sheets import LEADING, NOTE, RULE, Sheet
from rubbing2pattern.documents.matches.record import has_margin
from rubbing2pattern.documents.matches.sentences import (
    numbers_text,
    panel_sentence,
    work_text,
)
from rubbing2pattern.documents.wording import count_of, length_of
from rubbing2pattern.geometry.curves import Line
from rubbing2pattern.matching.loose import Match
from rubbing2pattern.matching.result import Matching
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.trade.cautions import GROZING
from rubbing2pattern.units import Unit, decimal

_HEIGHT_MM = 2.2
_SHARES = (0.0, 0.05, 0.13, 0.38, 0.72, 0.84)
"""Where the columns begin, of the width of the sheet."""
_HEADS = ("", "Loose", "Number", "To do", "Play", "Margin")
Row = tuple[str, ...]


def list_pages(matching: Matching, options: DocumentOptions) -> Iterator[Drawing]:
    """Yield the pages of the list: loose pieces by number, then what has no place or no glass."""
    sheet = Sheet.of(f"{matching.title}: list of loose pieces", options)
    left, low, right, high = sheet.room(0)
    step = LEADING * _HEIGHT_MM
    marks: list[Mark] = []
    y = high
    for row in _lines(matching, options, right - left):
        if y - step < low and marks:
            yield sheet.drawing(tuple(marks))
            marks, y = [], high
        if not marks and len(row) > 1:
            y -= step
            marks += _row(_HEADS, (left, right), y, bold=True)
        y -= step
        marks += _row(row, (left, right), y)
    yield sheet.drawing(tuple(marks))


def _row(cells: Row, sides: tuple[float, float], y: float, *, bold: bool = False) -> Iterator[Mark]:
    left, right = sides
    if len(cells) == 1:
        yield Text(NOTE, (left, y), cells[0], _HEIGHT_MM)
        return
    for share, cell in zip(_SHARES, cells, strict=True):
        if cell:
            yield Text(NOTE, (left + share * (right - left), y), cell, _HEIGHT_MM, bold=bold)
    if not bold:
        side = _HEIGHT_MM
        box = ((left, y), (left + side, y), (left + side, y + side), (left, y + side))
        yield Outline(RULE, box)
    low = y - 0.35 * _HEIGHT_MM
    yield Stroke(RULE, Line((left, low), (right, low)))


def _lines(matching: Matching, options: DocumentOptions, width_mm: float) -> Iterator[Row]:
    found = sorted(matching.matches.matches, key=_order)
    for match in found:
        yield from _cells(match, matching, options, width_mm)
    for text in _notes(matching, options.units):
        yield ("",)
        for line in wrapped(text, width_mm, _HEIGHT_MM):
            yield (line,)


def _order(match: Match) -> tuple[bool, int, int]:
    number = match.placed.number if match.placed is not None else 0
    return match.placed is None, number, int(match.piece.id[1:])


def _cells(
    match: Match, matching: Matching, options: DocumentOptions, width_mm: float
) -> Iterator[Row]:
    """Yield the line of a loose piece; what it fits or needs goes on in a second one."""
    placed = match.placed
    margin = ""
    if has_margin(match):
        second = "none" if match.second is None else matching.label(match.second)
        margin = f"{decimal(match.margin, 1)}, then {second}"
    elif match.known:
        margin = "as you say"
    play = "" if placed is None or not has_margin(match) else length_of(placed.play_mm, options)
    numbers = numbers_text(match.numbers, matching) if match.numbers else ""
    columns = [
        wrapped(text, (_SHARES[k + 1] - _SHARES[k]) * width_mm - 2.0, _HEIGHT_MM)
        for k, text in ((2, numbers), (3, work_text(match, options)))
    ]
    first = [lines[0] if lines else "" for lines in columns]
    yield ("", match.piece.id, *first, play, margin)
    for rest in range(1, max(map(len, columns))):
        more = [lines[rest] if rest < len(lines) else "" for lines in columns]
        yield ("  ".join(["     ", *filter(None, more)]),)


def _notes(matching: Matching, units: Unit) -> Iterator[str]:
    matches = matching.matches
    yield panel_sentence(matching)
    if matches.unfilled:
        unread = matching.unread
        then = (
            f"look first where glass could not be read, at {count_of(unread, 'place')}."
            if unread
            else "that is still to be cut."
        )
        yield f"No glass was found for {matching.labels(matches.unfilled)}: {then}"
    if matching.parts_missing:
        broken = matching.labels(matching.parts_missing)
        yield f"Parts are missing beside the fragments of {broken}."
    yield from (f"Look: {finding.sentence(units, matching.label)}" for finding in matches.findings)
    for photo in matching.photos:
        yield from (f"Look, {photo.name}: {f.sentence(units)}" for f in photo.findings)
    yield from GROZING
