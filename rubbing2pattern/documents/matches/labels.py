"""Labels to stick on loose glass: number, panel, side up, and what is to be done."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from rubbing2pattern.documents.drawing import (
    Drawing,
    Layer,
    Mark,
    Text,
    plain_text,
    text_width_mm,
    wrapped,
)
from rubbing2pattern.documents.matches.sentences import (
    is_doubtful,
    short_numbers_text,
    work_text,
)
from rubbing2pattern.matching.loose import Match
from rubbing2pattern.matching.result import Matching
from rubbing2pattern.options.documents import DocumentOptions

_LABEL = "label"
_LAYERS = (Layer(_LABEL, 0.15),)


@dataclass(frozen=True, slots=True)
class Stock:
    """A kind of labels as they are sold; lengths in mm.

    Attributes
    ----------
    page : width and height of a sheet, or of one label of a strip.
    columns, rows : labels on a sheet.
    first : left edge of the first column and upper edge of the first row, from the left and top.
    pitch : from label to label, across and down.
    size : width and height of a label.
    """

    page: tuple[float, float]
    columns: int
    rows: int
    first: tuple[float, float]
    pitch: tuple[float, float]
    size: tuple[float, float]


SHEETS = {
    "mm": Stock((210.0, 297.0), 3, 8, (0.0, 0.5), (70.0, 37.0), (70.0, 37.0)),
    "in": Stock((215.9, 279.4), 3, 10, (4.76, 12.7), (69.85, 25.4), (66.68, 25.4)),
}
"""Common sheets by the unit: 24 labels of 70 by 37 mm on A4, and 30 of 2 5/8 by 1 in on Letter. The
sizes are common practice, from memory; the sheets of several makers have them."""
STRIP = Stock((62.0, 29.0), 1, 1, (0.0, 0.0), (62.0, 29.0), (62.0, 29.0))
"""A label of a thermal printer, 62 by 29 mm, each a page of its own; from memory too."""
_EDGE_MM = 4.0
_NUMBER_MM, _LEAST_NUMBER_MM = 9.0, 3.0
_NAME_MM, _TEXT_MM, _GAP_MM = 3.0, 2.2, 0.8
_LEADING = 1.5


def label_pages(matching: Matching, stock: Stock, options: DocumentOptions) -> Iterator[Drawing]:
    """Yield sheets of labels, one for each loose piece, in the order of the loose pieces."""
    title = plain_text(f"{matching.title}: labels")
    width, height = stock.page
    every, count = matching.matches.matches, stock.columns * stock.rows
    for first in range(0, len(every), count):
        marks: list[Mark] = []
        for k, match in enumerate(every[first : first + count]):
            row, column = divmod(k, stock.columns)
            left = stock.first[0] + column * stock.pitch[0]
            top = height - stock.first[1] - row * stock.pitch[1]
            marks += _label(match, matching, (left, top), stock.size, options)
        yield Drawing(title, "", (0.0, 0.0, width, height), _LAYERS, tuple(marks))


def _label(
    match: Match,
    matching: Matching,
    corner: tuple[float, float],
    size: tuple[float, float],
    options: DocumentOptions,
) -> Iterator[Mark]:
    """Write a label below its upper left corner, within its edges."""
    left, right = corner[0] + _EDGE_MM, corner[0] + size[0] - _EDGE_MM
    wide = right - left
    name = match.piece.id
    name_mm = text_width_mm(name, _NAME_MM)
    number = short_numbers_text(match, matching)
    for_number = wide - name_mm - 3.0
    share = for_number / max(text_width_mm(number, 1.0, bold=True), 1e-9)
    number_mm = max(_LEAST_NUMBER_MM, min(_NUMBER_MM, share, 0.27 * size[1]))
    y = corner[1] - _EDGE_MM - number_mm
    low = corner[1] - size[1] + 0.5 * _EDGE_MM
    yield Text(_LABEL, (left, y), number, number_mm, bold=True)
    yield Text(_LABEL, (right - name_mm, y), name, _NAME_MM)
    texts = _texts(match, matching, options)
    lines = [line for text in texts for line in wrapped(text, wide, _TEXT_MM)]
    y -= _GAP_MM
    for line in lines[: int((y - low) / (_LEADING * _TEXT_MM))]:
        y -= _LEADING * _TEXT_MM
        yield Text(_LABEL, (left, y), plain_text(line), _TEXT_MM)


def _texts(match: Match, matching: Matching, options: DocumentOptions) -> Iterator[str]:
    home = None if match.placed is None else matching.home(match.placed.number)
    look = "; look first" if is_doubtful(match, matching) else ""
    yield f"{work_text(match, matching, options)}{look}"
    yield f"Up on the bench: {_side_up(match, matching)}"
    yield matching.title if home is None else f"Panel {home.panel.name}"


def _side_up(match: Match, matching: Matching) -> str:
    """Return the side of the glass that lies up in the photograph, where the label is stuck."""
    over = match.placed is not None and matching.lies_over(match.placed)
    if matching.up:
        other = {"inside": "outside", "outside": "inside"}[matching.up]
        return other if over else matching.up
    return "the other side than the rubbing shows" if over else "the side that the rubbing shows"
