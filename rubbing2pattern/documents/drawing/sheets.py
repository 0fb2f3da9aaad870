"""Sheets that show a panel or a photograph with marks on it: paper, heading, view."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry import LineString, MultiPolygon, Polygon

from rubbing2pattern.documents.drawing import (
    Anchor,
    Drawing,
    Ink,
    Layer,
    LineType,
    Mark,
    Outline,
    Picture,
    Stroke,
    Text,
    plain_text,
    wrapped,
)
from rubbing2pattern.documents.overlay import BLUE, VERMILION
from rubbing2pattern.geometry.curves import Line, Point
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.reading import Bounds
from rubbing2pattern.units import parse_sheet

_GREY: Ink = (214, 214, 214)
_PALE: Ink = (255, 255, 255)
_TINT: Ink = (235, 243, 236)

LEAD, OPENING, FILLED, GLASS, FRAGMENT = "lead", "opening", "filled", "glass", "fragment"
MISSING, HALO, RIM, SHORT, BINDS = "missing", "halo", "rim", "short", "binds"
DOUBT, LEADER = "doubt", "leader"
NUMBER, FIGURE, GAP, NOTE, RULE = "number", "figure", "gap", "note", "rule"

LAYERS = (
    Layer(LEAD, 0.0, ink=_GREY),
    Layer(OPENING, 0.0, ink=_PALE),
    Layer(FILLED, 0.0, ink=_TINT),
    Layer(MISSING, 0.15),
    Layer(GLASS, 0.18),
    Layer(FRAGMENT, 0.3, LineType.DASHED),
    Layer(HALO, 0.9, ink=_PALE),
    Layer(RIM, 0.35),
    Layer(DOUBT, 0.5, LineType.DASH_DOT),
    Layer(LEADER, 0.2),
    Layer(SHORT, 0.25, ink=BLUE),
    Layer(BINDS, 0.9, ink=VERMILION),
    Layer(GAP, 0.15),
    Layer(FIGURE, 0.15, ink=VERMILION),
    Layer(NUMBER, 0.15),
    Layer(NOTE, 0.15),
    Layer(RULE, 0.15),
)
"""From the lowest up. All eyes can distinguish the colours; each kind of line has its own form."""

_COMB_MM, _COMB_STEP_MM = 1.6, 0.9
_HATCH_MM = 1.8
_HEAD_MM = 3.2
_NOTE_MM = 2.2
LEADING = 1.75
"""From line to line, by the height of capitals."""


@dataclass(frozen=True, slots=True)
class View:
    """A rectangle of the panel or of a photograph, reduced onto a page.

    Attributes
    ----------
    origin_mm : its lower left corner there.
    corner_mm : where that lies on the page.
    share : length on the page over true length, 1 at most.
    """

    origin_mm: Point
    corner_mm: Point
    share: float

    @classmethod
    def within(cls, bounds: Bounds, room: Bounds) -> View:
        """Lay bounds as large as there is room, not larger than true, in the middle at the top."""
        x_min, y_min, x_max, y_max = bounds
        left, low, right, high = room
        width, height = max(x_max - x_min, 1e-6), max(y_max - y_min, 1e-6)
        share = min((right - left) / width, (high - low) / height, 1.0)
        at = (0.5 * (left + right - share * width), high - share * height)
        return cls((x_min, y_min), at, share)

    def places(self, points: Array | Sequence[Point]) -> Array:
        """Map places (N, 2) in mm onto the page."""
        moved = (np.asarray(points, dtype=np.float64) - self.origin_mm) * self.share
        return np.asarray(moved + self.corner_mm)

    def at(self, point: Point) -> Point:
        """Map one place onto the page."""
        (x, y), *_ = self.places([point])
        return float(x), float(y)

    def shape(self, area: Polygon | MultiPolygon) -> Polygon | MultiPolygon:
        """Map a shape onto the page."""
        return shapely.transform(area, self.places)


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sheet of office paper.

    Attributes
    ----------
    size_mm : width and height.
    options : unit and margin.
    title : written at its head.
    """

    size_mm: tuple[float, float]
    options: DocumentOptions
    title: str

    @classmethod
    def of(cls, title: str, options: DocumentOptions, *, across: bool = False) -> Sheet:
        """Return a sheet of A4, or Letter with inches, upright or across."""
        width_mm, height_mm = parse_sheet("A4" if options.units == "mm" else "Letter")
        size_mm = (height_mm, width_mm) if across else (width_mm, height_mm)
        return cls(size_mm, options, plain_text(title))

    def room(self, notes: int) -> Bounds:
        """Return what is free between the heading and so many lines of notes."""
        edge = self.options.margin_mm + 2.0
        low = edge + notes * LEADING * _NOTE_MM + (2.0 if notes else 0.0)
        return edge, low, self.size_mm[0] - edge, self.size_mm[1] - edge - 2.4 * _HEAD_MM

    def lines(self, texts: Sequence[str]) -> tuple[str, ...]:
        """Break texts into lines of notes as wide as the sheet."""
        left, _, right, _ = self.room(0)
        return tuple(
            line for text in texts for line in wrapped(plain_text(text), right - left, _NOTE_MM)
        )

    def drawing(
        self,
        marks: Sequence[Mark],
        notes: Sequence[str] = (),
        pictures: Sequence[Picture] = (),
        layers: tuple[Layer, ...] = LAYERS,
    ) -> Drawing:
        """Return the page with its heading and notes; `layers` has NOTE and RULE too."""
        left, low, right, high = self.room(0)
        said: list[Mark] = [
            Text(NOTE, (left, high + 1.3 * _HEAD_MM), self.title, _HEAD_MM, bold=True),
            *(
                Text(NOTE, (left, low + (len(notes) - 1 - k) * LEADING * _NOTE_MM), line, _NOTE_MM)
                for k, line in enumerate(notes)
            ),
            Stroke(RULE, Line((left, high + 0.6 * _HEAD_MM), (right, high + 0.6 * _HEAD_MM))),
        ]
        page = (0.0, 0.0, *self.size_mm)
        return Drawing(self.title, "", page, layers, (*marks, *said), pictures=tuple(pictures))


def outlines(
    layer: str, area: Polygon | MultiPolygon, *, filled: bool = False
) -> Iterator[Outline]:
    """Yield the rings of a shape that lies on the page; of a filled one the outer rings."""
    for part in shapely.get_parts(area):
        if not isinstance(part, Polygon):
            continue
        for ring in (part.exterior,) if filled else (part.exterior, *part.interiors):
            places = tuple((float(x), float(y)) for x, y in ring.coords[:-1])
            if places:
                yield Outline(layer, places, filled)


def hatched(layer: str, area: Polygon | MultiPolygon, step_mm: float = _HATCH_MM) -> Iterator[Mark]:
    """Yield lines at 45 degrees across a shape that lies on the page."""
    if area.is_empty:
        return
    x_min, y_min, x_max, y_max = area.bounds
    height = y_max - y_min
    stride = step_mm * math.sqrt(2.0)
    for k in range(math.floor((x_min - height) / stride), math.ceil(x_max / stride) + 1):
        line = LineString([(k * stride, y_min), (k * stride + height, y_max)])
        yield from _lines(layer, line.intersection(area))


def crossed(layer: str, area: Polygon | MultiPolygon) -> Iterator[Mark]:
    """Yield the diagonals of a shape that lies on the page."""
    if area.is_empty:
        return
    x_min, y_min, x_max, y_max = area.bounds
    for ends in (((x_min, y_min), (x_max, y_max)), ((x_min, y_max), (x_max, y_min))):
        yield from _lines(layer, LineString(ends).intersection(area))


def comb(layer: str, path: Array, inside: Polygon | MultiPolygon) -> Iterator[Mark]:
    """Yield short lines from an edge that lies on the page into a shape: where light would show."""
    line = LineString(path)
    count = max(1, round(line.length / _COMB_STEP_MM))
    for k in range(count + 1):
        at = line.interpolate(k / count, normalized=True)
        ahead = line.interpolate(min(k / count + 0.01, 1.0), normalized=True)
        behind = line.interpolate(max(k / count - 0.01, 0.0), normalized=True)
        way = np.array([ahead.x - behind.x, ahead.y - behind.y])
        length = float(np.hypot(*way))
        if length < 1e-9:
            continue
        across = np.array([-way[1], way[0]]) / length
        near = shapely.Point(at.x + 0.3 * across[0], at.y + 0.3 * across[1])
        side = 1.0 if inside.covers(near) else -1.0
        end = np.array([at.x, at.y]) + side * _COMB_MM * across
        yield Stroke(layer, Line((at.x, at.y), (float(end[0]), float(end[1]))))
    yield run(layer, path)


def run(layer: str, path: Array) -> Mark:
    """Return a run of straight lines on the page, drawn once there and back."""
    places = [(float(x), float(y)) for x, y in path]
    return Outline(layer, (*places, *places[-2:0:-1]))


def centred(layer: str, at: Point, text: str, height_mm: float, *, patch: bool = False) -> Text:
    """Return bold lettering with its middle at a place."""
    return Text(layer, at, text, height_mm, Anchor.CENTRE, bold=True, patch=patch)


def on_page(text: Text, view: View, least_mm: float) -> Text:
    """Return lettering of the panel as it comes onto the page, not smaller than a height."""
    return replace(text, at=view.at(text.at), height_mm=max(least_mm, text.height_mm * view.share))


def _lines(layer: str, cut: shapely.Geometry) -> Iterator[Mark]:
    for part in shapely.get_parts(cut):
        if isinstance(part, LineString) and part.length > 0.1:
            first, last = part.coords[0], part.coords[-1]
            yield Stroke(layer, Line((first[0], first[1]), (last[0], last[1])))
