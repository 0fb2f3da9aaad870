"""The condition drawing: every piece hatched by its state and lettered by its action, with a key.

It fills one office page, so it is not at true size. Hatches differ in direction and distance and
actions in their letter, so that a black and white copy says the same. The review page draws the
same hatches.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon, box

from rubbing2pattern.documents.drawing import (
    Anchor,
    Drawing,
    Layer,
    Mark,
    Stroke,
    Text,
    plain_text,
    text_width_mm,
)
from rubbing2pattern.documents.drawing.pattern import rings
from rubbing2pattern.documents.wording import count_of
from rubbing2pattern.geometry.curves import Line, Point
from rubbing2pattern.glazing.entries import Action, Entry, Filled, State
from rubbing2pattern.model import Panel, Piece
from rubbing2pattern.options.documents import DocumentOptions

HATCHES: Mapping[State, tuple[tuple[float, ...], float]] = {
    State.WHOLE: ((135.0,), 5.4),
    State.CRACKED: ((45.0,), 1.8),
    State.BROKEN: ((45.0, 135.0), 1.8),
    State.MISSING: ((0.0,), 0.9),
    State.FORMER_REPAIR: ((90.0,), 1.8),
}
"""Directions of a state's lines in degrees, and their distance on the paper."""
LETTERS: Mapping[Action, str] = {
    Action.KEEP: "K",
    Action.EDGE_BOND: "E",
    Action.COPPER_FOIL: "F",
    Action.MENDING_LEAD: "M",
    Action.PLATE: "P",
    Action.REPLACE: "R",
}

_GLASS, _HATCH, _NUMBER, _KEY = "glass", "condition", "piece number", "key"
_LAYERS = (Layer(_HATCH, 0.13), Layer(_GLASS, 0.25), Layer(_NUMBER, 0.18), Layer(_KEY, 0.18))
_PAGES_MM = {"mm": (210.0, 297.0), "in": (215.9, 279.4)}
"""A4, or Letter where documents are in inches."""
_MARGIN_MM = 12.0
_KEY_MM = 62.0
"""Height of the key below the panel."""
_LETTER_MM, _LEAST_MM, _SHARE = 2.6, 1.2, 0.95
"""Greatest and least height of numbers on the paper, and how much of the free circle they fill."""
_LINE_MM = 6.2
_SWATCH_MM = (11.0, 4.6)
_TITLE_MM, _TEXT_MM = 5.0, 2.6


def is_written(filled: Filled) -> bool:
    """Tell whether the state or the action of any piece is written."""
    return any(e.state is not None or e.action is not None for e in filled.entries.values())


def condition_drawing(panel: Panel, filled: Filled, options: DocumentOptions) -> Drawing:
    """Draw the condition of a panel's glass on one page.

    Parameters
    ----------
    panel : the panel, drawn as it was rubbed.
    filled : what a person wrote about its pieces.
    options : for the size of the page.
    """
    wide, high = _PAGES_MM[options.units]
    if panel.outer_width_mm > panel.outer_height_mm:
        wide, high = high, wide
    x_min, y_min, x_max, y_max = panel.outline.bounds
    room = (wide - 2 * _MARGIN_MM, high - 2 * _MARGIN_MM - _KEY_MM)
    reduction = max((x_max - x_min) / room[0], (y_max - y_min) / room[1], 0.1)
    onto = _Onto(
        reduction,
        0.5 * (wide - (x_max - x_min) / reduction) - x_min / reduction,
        _MARGIN_MM + _KEY_MM + 0.5 * (room[1] - (y_max - y_min) / reduction) - y_min / reduction,
    )
    marks: list[Mark] = []
    for piece in panel.pieces:
        marks += _piece(piece, filled.of(piece.number), onto)
    marks += _key(panel, filled, wide, reduction)
    title = plain_text(f"Panel {panel.name}: condition of the glass")
    return Drawing(title, "Condition drawing", (0.0, 0.0, wide, high), _LAYERS, tuple(marks))


class _Onto:
    """From the panel's millimetres to those of the page."""

    def __init__(self, reduction: float, right_mm: float, up_mm: float) -> None:
        self.reduction, self.right_mm, self.up_mm = reduction, right_mm, up_mm

    def shape(self, shape: Polygon | MultiPolygon) -> Polygon | MultiPolygon:
        return shapely.transform(
            shape, lambda p: p / self.reduction + np.array((self.right_mm, self.up_mm))
        )

    def at(self, place: Point) -> Point:
        k = self.reduction
        return place[0] / k + self.right_mm, place[1] / k + self.up_mm


def _piece(piece: Piece, entry: Entry, onto: _Onto) -> Iterator[Mark]:
    glass = onto.shape(piece.sight_outline)
    yield from rings(_GLASS, glass)
    if entry.state is not None:
        yield from _hatched(glass, entry.state)
    letter = f" {LETTERS[entry.action]}" if entry.action is not None else ""
    yield _label(f"{piece.number}{letter}", piece, onto, patch=bool(entry.state))


def _label(text: str, piece: Piece, onto: _Onto, *, patch: bool) -> Text:
    """Write number and action into the free circle of a piece, as large as fits."""
    free_mm = 2.0 * _SHARE * piece.label_radius_mm / onto.reduction
    fits_mm = free_mm / math.hypot(text_width_mm(text, 1.0, bold=True), 1.0)
    height_mm = min(_LETTER_MM, max(_LEAST_MM, fits_mm))
    at = onto.at(piece.label_at)
    return Text(_NUMBER, at, text, height_mm, Anchor.CENTRE, bold=True, patch=patch)


def _hatched(glass: Polygon | MultiPolygon, state: State) -> Iterator[Stroke]:
    """Yield the lines of a state inside a shape, (mm of the page)."""
    angles, step_mm = HATCHES[state]
    for angle in angles:
        for line in _lines(glass, angle, step_mm):
            yield Stroke(_HATCH, line)


def _lines(glass: Polygon | MultiPolygon, angle_deg: float, step_mm: float) -> Iterator[Line]:
    if glass.is_empty:
        return
    c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    x_min, y_min, x_max, y_max = glass.bounds
    middle = np.array(((x_min + x_max) / 2, (y_min + y_max) / 2))
    reach = math.hypot(x_max - x_min, y_max - y_min) / 2
    along, across = np.array((c, s)), np.array((-s, c))
    # Counted from the page's corner, so that the lines of neighbours run on.
    first = math.ceil((float(middle @ across) - reach) / step_mm)
    last = math.floor((float(middle @ across) + reach) / step_mm)
    start = float(middle @ along)
    rows = [
        np.array((start - reach, start + reach))[:, None] * along + n * step_mm * across
        for n in range(first, last + 1)
    ]
    cut = shapely.intersection(shapely.linestrings(rows), glass) if rows else ()
    for part in shapely.get_parts(cut):
        ends = shapely.get_coordinates(part)
        if len(ends) >= 2:
            (x1, y1), (x2, y2) = ends[0], ends[-1]
            yield Line((float(x1), float(y1)), (float(x2), float(y2)))


def _key(panel: Panel, filled: Filled, wide: float, reduction: float) -> Iterator[Mark]:
    """Write title and key: every state and action with how many pieces have it."""
    entries = [filled.of(piece.number) for piece in panel.pieces]
    states = Counter(entry.state for entry in entries)
    actions = Counter(entry.action for entry in entries)
    top = _MARGIN_MM + _KEY_MM - 9.0
    side = panel.side or "side not stated"
    head = plain_text(f"Panel {panel.name}: condition of the glass")
    yield Text(_KEY, (_MARGIN_MM, top), head, _fitted(head, wide), bold=True)
    said = f"{side}; reduced 1 : {reduction:.3g}; as written on the sheet of pieces"
    yield Text(_KEY, (_MARGIN_MM, top - 5.5), said, _TEXT_MM)
    top -= 15.0
    for row, state in enumerate((*State, None)):
        y = top - row * _LINE_MM
        swatch = box(_MARGIN_MM, y - 1.0, _MARGIN_MM + _SWATCH_MM[0], y - 1.0 + _SWATCH_MM[1])
        if state is not None:
            yield from rings(_KEY, swatch)
            yield from _hatched(swatch, state)
        word = "state not written" if state is None else state.value
        yield from _row(_MARGIN_MM + _SWATCH_MM[0] + 3.0, y, word, states[state])
    middle = wide / 2
    for row, action in enumerate((*Action, None)):
        y = top - row * _LINE_MM
        if action is not None:
            yield Text(_KEY, (middle + 3.0, y), LETTERS[action], 1.2 * _TEXT_MM, bold=True)
        word = "action not written" if action is None else action.value
        yield from _row(middle + 10.0, y, word, actions[action])


def _row(x: float, y: float, word: str, count: int) -> Iterator[Text]:
    yield Text(_KEY, (x, y), f"{word}: {count_of(count, 'piece')}", _TEXT_MM)


def _fitted(head: str, wide: float) -> float:
    """Return the height of the title, less for a long name."""
    room = wide - 2 * _MARGIN_MM
    return min(_TITLE_MM, _TITLE_MM * room / text_width_mm(head, _TITLE_MM, bold=True))
