"""The panel in both states on one sheet: before dashed, after solid, what changed marked."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import shapely

from rubbing2pattern.comparing.found import Comparison, Fate, LeadPair
from rubbing2pattern.documents.comparison.sentences import (
    amount_of,
    bow_text,
    numbers_in,
    panels_sentence,
    registration_sentence,
)
from rubbing2pattern.documents.drawing import (
    Anchor,
    Drawing,
    Layer,
    LineType,
    Mark,
    Outline,
    Stroke,
    Text,
    text_width_mm,
)
from rubbing2pattern.documents.drawing.lettering import piece_number
from rubbing2pattern.documents.drawing.sheets import (
    NOTE,
    RULE,
    Sheet,
    View,
    centred,
    outlines,
)
from rubbing2pattern.documents.overlay import BLUE, VERMILION
from rubbing2pattern.geometry.curves import Cubic, Line, Point, as_point, points_at, running_length
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.reading import Bounds
from rubbing2pattern.units import parse_sheet

LEAD, OPENING, BEFORE, AFTER, MOVED = "lead", "opening", "before", "after", "moved"
LOST, ADDED, WIDTH, ARROW, NUMBER, FIGURE = "lost", "added", "width", "arrow", "number", "figure"

LAYERS = (
    Layer(LEAD, 0.0, ink=(226, 226, 226)),
    Layer(OPENING, 0.0, ink=(255, 255, 255)),
    Layer(NUMBER, 0.15),
    Layer(AFTER, 0.25),
    Layer(BEFORE, 0.35, LineType.DASHED),
    Layer(WIDTH, 0.35),
    Layer(MOVED, 0.7),
    Layer(LOST, 0.7, LineType.DASHED, ink=VERMILION),
    Layer(ADDED, 0.9, ink=BLUE),
    Layer(ARROW, 0.45),
    Layer(FIGURE, 0.15),
    Layer(NOTE, 0.15),
    Layer(RULE, 0.15),
)
"""From the lowest up; the form of a line shows its kind, in black and white too."""

FACTORS = (1, 2, 5, 10, 20, 50, 100)
"""By which arrows may be longer than the move on the drawing."""
_LONGEST_ARROW_MM = 14.0
_ARROW_HEAD_MM = 2.2
_AROUND_MM = 16.0
"""Room on the page for figures beside the border."""
_NUMBER_MM, _LEAST_MM, _FIGURE_MM, _SUB_MM = 4.0, 1.6, 2.2, 1.8
_TICK_MM, _TICK_STEP_MM = 1.3, 6.0
_CHORD_MM = 0.05


@dataclass(frozen=True, slots=True)
class _Page:
    """A comparison as it comes onto the page.

    Attributes
    ----------
    factor : arrows are so much longer than the move on the drawing.
    """

    found: Comparison
    view: View
    factor: int
    options: DocumentOptions

    def after(self, points: Array) -> Array:
        """Return places (N, 2) of the panel after on the page."""
        return self.view.places(self.found.motion.apply(points))


def comparison_page(found: Comparison, options: DocumentOptions) -> Drawing:
    """Draw both states, reduced to one sheet of A3 or Tabloid."""
    bounds = _bounds(found)
    across = (bounds[2] - bounds[0]) > 1.15 * (bounds[3] - bounds[1])
    width, height = parse_sheet("A3" if options.units == "mm" else "11x17in")
    size = (height, width) if across else (width, height)
    sheet = Sheet(size, options, f"Panel {found.before.name}: before and after")
    texts = [panels_sentence(found), registration_sentence(found, options), *found.notes]
    # The factor is in the key, and the room for the key decides the scale: any factor is as long.
    view = _view(bounds, sheet, len(sheet.lines([*texts, _key(found, FACTORS[-1])])))
    page = _Page(found, view, _factor(found, view), options)
    notes = sheet.lines([*texts, _key(found, page.factor)])
    marks = tuple(_marks(page))
    return sheet.drawing(marks, notes, layers=LAYERS)


def _bounds(found: Comparison) -> Bounds:
    both = [found.before.outline, found.motion.shape(found.after.outline)]
    x_min, y_min, x_max, y_max = (float(v) for v in shapely.total_bounds(both))
    return x_min, y_min, x_max, y_max


def _view(bounds: Bounds, sheet: Sheet, notes: int) -> View:
    left, low, right, high = sheet.room(notes)
    room = (left + _AROUND_MM, low + _AROUND_MM, right - _AROUND_MM, high - _AROUND_MM)
    return View.within(bounds, room)


def _factor(found: Comparison, view: View) -> int:
    """Return the greatest round factor with which no arrow gets too long."""
    most = max((pair.most_mm for pair in found.moved), default=0.0) * view.share
    fitting = [f for f in FACTORS if f * most <= _LONGEST_ARROW_MM]
    return max(fitting) if most > 0.0 and fitting else 1


def _key(found: Comparison, factor: int) -> str:
    parts = ["Grey: lead after. Thin solid line: lead line after. Dashed: lead line before."]
    if found.moved:
        length = "as long as" if factor == 1 else f"{factor} times as long as"
        parts.append(
            f"Bold solid: lead that moved; the arrow begins at its place before, points the way it "
            f"moved and is {length} the move on this drawing; the figure is the true move."
        )
    if any(lead.fate is Fate.LOST for lead in found.lone_leads):
        parts.append("Bold dashed with crosses, L: lead that is lost.")
    if any(lead.fate is Fate.ADDED for lead in found.lone_leads):
        parts.append("Bold solid with cross-strokes, A: lead that was added.")
    if found.widened:
        parts.append("W between two strokes: face width before > after.")
    parts.append(
        "Large numbers: pieces after, small ones below (was) before, where they differ. Beside the "
        "border: its sag or bow after (was before). Not to scale."
    )
    return " ".join(parts)


def _marks(page: _Page) -> Iterator[Mark]:
    yield from _ground(page)
    yield from _lines(page)
    labels = _Labels(page)
    numbers = list(_numbers(page))
    yield from numbers
    for mark in numbers:
        labels.keep(mark)
    arrows = [(pair, arrow) for pair in page.found.moved if (arrow := _Arrow.of(pair, page))]
    for _, arrow in arrows:
        labels.keep_line(arrow.tail, arrow.tip)
        yield from arrow.marks()
    yield from _bows(page, labels)
    for pair, arrow in arrows:
        figure = _bare(pair.most_mm, page)
        yield labels.beside(arrow.tip, f"{pair.before} {figure}", arrow.way)
    for pair in page.found.widened:
        yield from _width(pair, page, labels)
    for lead in page.found.lone_leads:
        letter = "L" if lead.fate is Fate.LOST else "A"
        at, way = _middle(lead.path, page)
        yield labels.beside(as_point(at), f"{letter} {lead.came}", _across(way))


def _bare(length_mm: float, page: _Page) -> str:
    return amount_of(length_mm, page.options).rsplit(" ", 1)[0]


def _across(way: Array) -> Array:
    return np.array((-way[1], way[0]))


def _middle(path: Array, page: _Page) -> tuple[Array, Array]:
    """Return the middle of a stretch on the page, and the way there."""
    k = len(path) // 2
    places = page.view.places(path[[k, max(0, k - 1), min(len(path) - 1, k + 1)]])
    step = places[2] - places[1]
    return places[0], step / max(float(np.hypot(*step)), 1e-9)


def _ground(page: _Page) -> Iterator[Mark]:
    found, view = page.found, page.view
    rim = [
        shapely.LineString(came.path).buffer(0.5 * came.face_width_mm, cap_style="square")
        for came in found.after.cames
        if came.border
    ]
    lead = found.motion.shape(shapely.union_all([found.after.outline, *rim]))
    yield from outlines(LEAD, view.shape(lead), filled=True)
    for piece in found.after.pieces:
        seen = found.motion.shape(piece.sight_outline)
        yield from outlines(OPENING, view.shape(seen), filled=True)


def _lines(page: _Page) -> Iterator[Mark]:
    """Yield the lead lines of both; before only where it does not run under after."""
    found = page.found
    moved = {pair.after for pair in found.pairs if pair.moved}
    added = {lead.came for lead in found.lone_leads if lead.fate is Fate.ADDED and lead.whole}
    for came in found.after.cames:
        path = page.after(came.curve.points(_CHORD_MM))
        if came.id in added:
            continue
        yield _stroke(MOVED if came.id in moved else AFTER, path)
    changed = {pair.before for pair in found.pairs if pair.moved}
    for came in found.before.cames:
        if came.id in changed:
            yield _stroke(BEFORE, page.view.places(came.curve.points(_CHORD_MM)))
    for lead in found.lone_leads:
        layer = LOST if lead.fate is Fate.LOST else ADDED
        path = page.view.places(lead.path)
        yield _stroke(layer, path)
        yield from _ticks(layer, path, crossed=lead.fate is Fate.LOST)


def _stroke(layer: str, path: Array) -> Mark:
    """Return a run of straight lines as one curve, so that its dashes run on."""
    control: list[Point] = [as_point(path[0])]
    for a, b in pairwise(path):
        control += [as_point(a + (b - a) / 3.0), as_point(b - (b - a) / 3.0), as_point(b)]
    return Stroke(layer, Cubic(tuple(control)))


def _ticks(layer: str, path: Array, *, crossed: bool) -> Iterator[Mark]:
    """Yield crosses or cross-strokes along a line."""
    along = running_length(path)
    count = max(1, round(float(along[-1]) / _TICK_STEP_MM))
    stations = (np.arange(count) + 0.5) * along[-1] / count
    places = points_at(path, along, stations)
    ahead = points_at(path, along, np.minimum(stations + 0.2, along[-1]))
    behind = points_at(path, along, np.maximum(stations - 0.2, 0.0))
    for at, step in zip(places, ahead - behind, strict=True):
        way = step / max(float(np.hypot(*step)), 1e-9)
        across = np.array((-way[1], way[0]))
        arms = [across + way, across - way] if crossed else [across]
        for arm in arms:
            arm = arm / np.hypot(*arm) * _TICK_MM
            # Drawn solid on either layer: too short for a gap of the dashes.
            yield Stroke(layer, Line(as_point(at - arm), as_point(at + arm)))


def _numbers(page: _Page) -> Iterator[Text]:
    found, view = page.found, page.view
    was = {n: line for line in found.pieces for n in line.after}
    lettering = replace(
        page.options,
        number_height_mm=min(20.0, max(2.0, _NUMBER_MM / view.share)),
        least_number_mm=min(2.0, max(0.5, _LEAST_MM / view.share)),
    )
    for piece in found.after.pieces:
        text = piece_number(piece, NUMBER, lettering)
        at = as_point(page.after(np.array([text.at]))[0])
        height = max(_LEAST_MM, text.height_mm * view.share)
        yield replace(text, at=at, height_mm=height, angle_deg=_turned(text.angle_deg, page))
        line = was[piece.number]
        if line.before != (piece.number,):
            said = f"was {numbers_in(line.before)}" if line.before else "new"
            low = 0.5 * height + 1.1 * _SUB_MM
            yield Text(NUMBER, (at[0], at[1] - low), said, _SUB_MM, Anchor.CENTRE)


def _turned(angle_deg: float, page: _Page) -> float:
    """Return the angle of lettering that lies along a piece; upright stays upright."""
    if not angle_deg:
        return 0.0
    motion = page.found.motion
    turned = (-angle_deg if motion.mirrored else angle_deg) + motion.placement.angle_deg
    return (turned + 90.0) % 180.0 - 90.0


@dataclass(frozen=True, slots=True)
class _Arrow:
    """From where a lead was off most, the way it went; `way` is a unit vector."""

    tail: Point
    tip: Point
    way: Array

    @classmethod
    def of(cls, pair: LeadPair, page: _Page) -> _Arrow | None:
        """Lay the arrow of a moved lead on the page; None where it has no length."""
        tail = np.array(page.view.at(pair.most_at))
        true = np.array(page.view.at(pair.most_to)) - tail
        length = float(np.hypot(*true))
        if length < 1e-6:
            return None
        return cls(as_point(tail), as_point(tail + page.factor * true), true / length)

    def marks(self) -> Iterator[Mark]:
        """Yield shaft and head."""
        head = min(_ARROW_HEAD_MM, 0.6 * math.dist(self.tail, self.tip))
        tip = np.array(self.tip)
        side, back = 0.35 * head * _across(self.way), tip - head * self.way
        yield Stroke(ARROW, Line(self.tail, as_point(back)))
        yield Outline(ARROW, (self.tip, as_point(back + side), as_point(back - side)), True)


def _width(pair: LeadPair, page: _Page, labels: _Labels) -> Iterator[Mark]:
    """Yield two strokes across a lead, a little apart, with its widths."""
    at, way = _middle(pair.path, page)
    across = _across(way)
    half = 0.5 * max(pair.width_before_mm, pair.width_after_mm) * page.view.share + 0.8
    for shift in (-0.8, 0.8):
        ends = (at + shift * way - half * across, at + shift * way + half * across)
        yield Stroke(WIDTH, Line(as_point(ends[0]), as_point(ends[1])))
    said = f"W {_bare(pair.width_before_mm, page)} > {_bare(pair.width_after_mm, page)}"
    yield labels.beside(as_point(at + half * across), said, across)


def _bows(page: _Page, labels: _Labels) -> Iterator[Mark]:
    """Yield sag and bow of each side that has any, outside the border."""
    found = page.found
    nothing = amount_of(0.0, page.options)
    x_min, y_min, x_max, y_max = found.before.outline.bounds
    middle, size = np.array((x_min + x_max, y_min + y_max)) / 2, (x_max - x_min, y_max - y_min)
    for side in found.sides:
        now, was = (bow_text(side, bow.most_mm, page.options) for bow in (side.after, side.before))
        if now == was == nothing and not side.changed:
            continue
        out = (np.array(side.after.at) - middle) / size
        upright = bool(abs(out[0]) > abs(out[1]))
        way = np.array((1.0, 0.0) if upright else (0.0, 1.0)) * math.copysign(
            1.0, float(out[0] if upright else out[1])
        )
        at = np.array(page.view.at(side.after.at))
        yield labels.outside(at, way, f"{side.name}: {now} (was {was})", upright=upright)


class _Labels:
    """Figures on the drawing, each where it lies on no other figure or number."""

    def __init__(self, page: _Page) -> None:
        self.page = page
        self.taken: list[shapely.Geometry] = []

    def keep(self, text: Text) -> None:
        """Keep a text free."""
        self.taken.append(self._box(text.at, text.text, text.height_mm, text.angle_deg))

    def keep_line(self, start: Point, end: Point) -> None:
        """Keep an arrow free."""
        self.taken.append(shapely.LineString([start, end]).buffer(0.5))

    def beside(self, at: Point, text: str, way: Array | None = None) -> Text:
        """Return a figure beside a place, the way given first, then all around and farther off."""
        width = 0.5 * text_width_mm(text, _FIGURE_MM, bold=True)
        first = 0.0 if way is None else math.atan2(way[1], way[0])
        places: list[Point] = []
        for far in (1.0, 1.8, 2.8, 4.0):
            for eighth in (0, 1, -1, 2, -2, 3, -3, 4):
                turn = first + eighth * math.pi / 4.0
                x = at[0] + math.cos(turn) * (width + 1.2) * far
                y = at[1] + math.sin(turn) * (0.5 * _FIGURE_MM + 1.4) * far
                places.append((x, y))
        free = (place for place in places if self._free(place, text))
        chosen = next(free, places[0])
        self.taken.append(self._box(chosen, text, _FIGURE_MM))
        return centred(FIGURE, chosen, text, _FIGURE_MM, patch=True)

    def outside(self, at: Array, way: Array, text: str, *, upright: bool) -> Text:
        """Return a figure outside the border at a place, or shifted along the border."""
        angle = 90.0 if upright else 0.0
        width = text_width_mm(text, _FIGURE_MM)
        places = [
            as_point(at + far * way + k * 0.3 * width * _across(way))
            for far in (6.0, 10.0)
            for k in (0, 1, -1, 2, -2, 3, -3)
        ]
        boxes = [self._box(place, text, _FIGURE_MM, angle) for place in places]
        free = (k for k, box in enumerate(boxes) if not self._hit(box))
        k = next(free, 0)
        self.taken.append(boxes[k])
        return Text(FIGURE, places[k], text, _FIGURE_MM, Anchor.CENTRE, angle, patch=True)

    def _hit(self, box: shapely.Geometry) -> bool:
        return any(box.intersects(other) for other in self.taken)

    def _free(self, at: Point, text: str) -> bool:
        return not self._hit(self._box(at, text, _FIGURE_MM))

    @staticmethod
    def _box(at: Point, text: str, height_mm: float, angle_deg: float = 0.0) -> shapely.Geometry:
        half = (0.5 * text_width_mm(text, height_mm, bold=True) + 0.4, 0.5 * height_mm + 0.4)
        if angle_deg:
            half = (half[1], half[0])
        return shapely.box(at[0] - half[0], at[1] - half[1], at[0] + half[0], at[1] + half[1])
