"""What is written in a template beside its number: the panel's name always, the rest with room."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import shapely
from shapely.geometry import MultiPolygon, Polygon

from rubbing2pattern.documents.drawing import Anchor, Text, plain_text, text_width_mm, wrapped
from rubbing2pattern.documents.drawing.layers import PANEL_NOTE
from rubbing2pattern.documents.drawing.lettering import text_box
from rubbing2pattern.geometry.curves import Point
from rubbing2pattern.model import Piece

FOOT = 0.2
"""Of a number's height, from its baseline to the line under it."""
_WORDS_MM = (2.6, 2.1, 1.7)
"""Heights tried for the words under a number; 1.7 mm is print of 7 point."""
_NAME_MM = (2.6, 2.1, 1.7, 1.3, 1.0, 0.8)
"""Heights tried for the panel's name; 0.8 mm is print of 3 point, read with a magnifier."""
_MOST_NAME_LINES = 3
_MOST_LETTERS = 40
"""Of a name that runs over the cut line; the foot of the page has all of it."""
_CLEAR = 1.2
"""Room around a line, times its own height."""
_LEADING = 1.6
"""From line to line, times the height of capitals."""


def written_in(piece: Piece, number: Text, name: str, words: Sequence[str]) -> tuple[Text, ...]:
    """Write the panel's name and further words into a template.

    Rules:

    1. The name is written under the number, or over it, whole and between the leaves, as large as
       that allows, in up to three lines.
    2. Where that leaves no room, it may reach to the cut line; where even that is too small, it is
       written under the number in the smallest letters and runs over the line: part of it stays on
       the cut-out.
    3. Other words are written under number and name, as many lines as fit, then as large as
       possible; a line that does not fit makes room for the next.

    Parameters
    ----------
    piece : its outlines.
    number : as it is written in the piece.
    name : of the panel.
    words : in the order in which they matter.
    """
    inside = piece.cut_outline if piece.sight_outline.is_empty else piece.sight_outline
    named, below_mm = _name_lines(number, plain_text(name) or "panel", piece, inside)
    texts = [text for text in map(plain_text, words) if text]
    heights = [h for h in _WORDS_MM if h <= 0.5 * number.height_mm]
    tries = [tuple(_lines_under(number, below_mm, texts, inside, height)) for height in heights]
    return (*named, *max(tries, key=len, default=()))


def _name_lines(
    number: Text, name: str, piece: Piece, inside: Polygon | MultiPolygon
) -> tuple[tuple[Text, ...], float]:
    """Return the lines of the name, and how far below the number's middle they end."""
    foot_mm = (0.5 + FOOT) * number.height_mm
    for room in (inside, piece.cut_outline):
        for height in _NAME_MM:
            for lines in _broken(name, height):
                depth = _LEADING * height * len(lines)
                for top, below in ((foot_mm, foot_mm + depth), (-foot_mm - depth, foot_mm)):
                    texts = tuple(_stack(number, lines, height, top))
                    if all(room.contains(_box(text)) for text in texts):
                        return texts, below
    height = _NAME_MM[-1]
    short = name if len(name) <= _MOST_LETTERS else f"{name[:_MOST_LETTERS]}…"
    lines = [*_broken(short, height)][-1]
    below = foot_mm + _LEADING * height * len(lines)
    return tuple(_stack(number, lines, height, foot_mm)), below


def _broken(name: str, height: float) -> Iterator[tuple[str, ...]]:
    """Yield the name in one line, in two, in three."""
    whole = text_width_mm(name, height)
    seen: set[tuple[str, ...]] = set()
    for count in range(1, _MOST_NAME_LINES + 1):
        longest = max(text_width_mm(word, height) for word in name.split())
        lines = wrapped(name, max(1.1 * whole / count, longest + height), height)
        if len(lines) <= _MOST_NAME_LINES and lines not in seen:
            seen.add(lines)
            yield lines


def _stack(number: Text, lines: Sequence[str], height: float, top_mm: float) -> Iterator[Text]:
    """Yield lines below one another, the first so far below the number's middle."""
    for k, line in enumerate(lines):
        yield _line(number, line, height, top_mm + (0.5 + k) * _LEADING * height)


def _lines_under(
    number: Text, below_mm: float, texts: Sequence[str], room: shapely.Geometry, height: float
) -> Iterator[Text]:
    down = below_mm + 0.5 * _LEADING * height
    for text in texts:
        line = _line(number, text, height, down)
        if room.contains(_box(line)):
            yield line
            down += _LEADING * height


def _line(number: Text, text: str, height: float, down_mm: float) -> Text:
    turn = math.radians(number.angle_deg)
    at: Point = (
        number.at[0] + down_mm * math.sin(turn),
        number.at[1] - down_mm * math.cos(turn),
    )
    return Text(PANEL_NOTE, at, text, height, Anchor.CENTRE, number.angle_deg)


def _box(line: Text) -> Polygon:
    return text_box(line.text, line.at, _CLEAR * line.height_mm, line.angle_deg)
