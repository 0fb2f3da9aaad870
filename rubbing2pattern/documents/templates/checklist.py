"""The list at the end of the templates: number, page, size and glass of each, to tick off."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from rubbing2pattern.documents.drawing import Mark, Outline, Stroke, Text, wrapped
from rubbing2pattern.documents.drawing.layers import PANEL_NOTE, SHEET_FRAME
from rubbing2pattern.documents.templates.surround import SheetStyle
from rubbing2pattern.documents.wording import size_of
from rubbing2pattern.geometry.curves import Line, Point
from rubbing2pattern.packing import Box

_TABS_MM = (0.0, 17.0, 32.0, 78.0)
"""Where number, page, size and glass begin."""
_TICK_MM = 12.0
"""Width of the column to tick off."""
_LEADING = 1.7
_MOST_LINES = 5
"""Of what was typed about a piece; the sheet of pieces has it whole."""
_HEADS = ("Piece", "Page", "Rectangle", "Glass")


@dataclass(frozen=True, slots=True)
class ListedTemplate:
    """One line of the list.

    Attributes
    ----------
    number : of the piece.
    box : the room its template takes; along the grain if it has one.
    words : glass and remark, on one line.
    grained : whether it has an arrow.
    """

    number: int
    box: Box
    words: str
    grained: bool


def list_marks(
    listed: Sequence[ListedTemplate],
    on_page: Mapping[int, int],
    size_mm: tuple[float, float],
    style: SheetStyle,
) -> Iterator[tuple[Mark, ...]]:
    """Yield the marks of each page of the list.

    Parameters
    ----------
    listed : the templates in order.
    on_page : number of the page by number of the piece.
    size_mm : width and height of a page.
    style : the sheet around it.
    """
    left, bottom, right, top = style.around_mm(size_mm[0])
    x_end, high = size_mm[0] - right, size_mm[1] - top
    height = style.options.letter_height_mm
    marks: list[Mark] = []
    y = high
    for one in listed:
        room = x_end - left - _TABS_MM[3] - _TICK_MM
        lines = wrapped(one.words, room, height)[:_MOST_LINES] or ("",)
        depth = (_LEADING * len(lines) + 0.9) * height
        if marks and y - depth < bottom:
            yield tuple(marks)
            marks = []
        if not marks:
            y = high - 2.4 * height
            marks += _row((left, y + 0.9 * height), _HEADS, height, bold=True)
            at = x_end - _TICK_MM, y + 0.9 * height
            marks.append(Text(PANEL_NOTE, at, "Cut", height, bold=True))
            marks.append(Stroke(SHEET_FRAME, Line((left, y), (x_end, y))))
        first = y - _LEADING * height
        cells = (str(one.number), str(on_page[one.number]), _size(one, style), "")
        marks += _row((left, first), cells, height)
        for k, line in enumerate(lines):
            at = left + _TABS_MM[3], first - k * _LEADING * height
            marks.append(Text(PANEL_NOTE, at, line, height))
        marks.append(_tick(x_end - _TICK_MM, first, 1.2 * height))
        y -= depth
        marks.append(Stroke(SHEET_FRAME, Line((left, y), (x_end, y))))
    if marks:
        yield tuple(marks)


def _size(one: ListedTemplate, style: SheetStyle) -> str:
    """Say the size: across by up the grain, or the longer side first."""
    sides = one.box.width_mm, one.box.height_mm
    if one.grained:
        return f"{size_of(*sides, style.options)}, grain up"
    return size_of(max(sides), min(sides), style.options)


def _row(at: Point, cells: Sequence[str], height: float, *, bold: bool = False) -> Iterator[Text]:
    for tab, cell in zip(_TABS_MM, cells, strict=True):
        if cell:
            yield Text(PANEL_NOTE, (at[0] + tab, at[1]), cell, height, bold=bold)


def _tick(x: float, y: float, side: float) -> Outline:
    low = y - 0.1 * side
    corners = ((x, low), (x + side, low), (x + side, low + side), (x, low + side))
    return Outline(SHEET_FRAME, corners)
