"""One neutral drawing: layers with trade names and a few kinds of marks, in mm, y upwards.

The drawing does not depend on any format; `dxf`, `svg` and `pdf` write it out. It keeps the panel's
frame, so a coordinate read off any of them is the coordinate in the record.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from enum import StrEnum

from rubbing2pattern.geometry.curves import Arc, Cubic, Curve, Point
from rubbing2pattern.geometry.frame import Placement
from rubbing2pattern.reading import Bounds


class LineType(StrEnum):
    """How a line is broken; `DASHES_MM` has the lengths."""

    SOLID = "solid"
    DASH_DOT = "dash-dot"
    DASHED = "dashed"


DASHES_MM: dict[LineType, tuple[float, ...]] = {
    LineType.SOLID: (),
    LineType.DASH_DOT: (6.0, 1.2, 0.3, 1.2),
    LineType.DASHED: (2.4, 1.2),
}
"""Lengths of mark, gap, mark, gap ..."""


Ink = tuple[int, int, int]
"""Red, green, blue, 0 .. 255 each."""
BLACK: Ink = (0, 0, 0)


@dataclass(frozen=True, slots=True)
class Layer:
    """What belongs together under one trade name.

    Attributes
    ----------
    name : the trade's word.
    weight_mm : width of its lines.
    line_type : how its lines are broken.
    shown : False when the layer is there for cutters and further drawing, but is not printed.
    cut : True when its marks end at the drawing's window; only pages of a PDF have one.
    ink : colour of its marks in SVG, PDF and pictures.
    """

    name: str
    weight_mm: float
    line_type: LineType = LineType.SOLID
    shown: bool = True
    cut: bool = False
    ink: Ink = BLACK


class Anchor(StrEnum):
    """Which point of a text lies at its place; LEFT and RIGHT lie on the baseline."""

    LEFT = "left"
    CENTRE = "centre"
    RIGHT = "right"


@dataclass(frozen=True, slots=True)
class Stroke:
    """A line, arc, circle or chain of cubic curves."""

    layer: str
    curve: Curve


@dataclass(frozen=True, slots=True)
class Outline:
    """A closed polygon; the last point is joined to the first and not repeated."""

    layer: str
    points: tuple[Point, ...]
    filled: bool = False


@dataclass(frozen=True, slots=True)
class Text:
    """Lettering.

    Attributes
    ----------
    at : place of the anchor; the middle of the text both ways for `Anchor.CENTRE`.
    height_mm : height of capitals and figures.
    angle_deg : direction of writing, anticlockwise from the x axis.
    patch : True to clear the paper under the text (`patch_mm`), where a format can.
    """

    layer: str
    at: Point
    text: str
    height_mm: float
    anchor: Anchor = Anchor.LEFT
    angle_deg: float = 0.0
    bold: bool = False
    patch: bool = False

    @property
    def patch_mm(self) -> Bounds:
        """x_min, y_min, x_max, y_max of the patch, along the writing, seen from `at`."""
        width, h = text_width_mm(self.text, self.height_mm, bold=self.bold), self.height_mm
        pad = 0.15 * h
        low = -0.5 * h if self.anchor is Anchor.CENTRE else 0.0
        start = {Anchor.LEFT: 0.0, Anchor.CENTRE: -0.5 * width, Anchor.RIGHT: -width}[self.anchor]
        return start - pad, low - pad, start + width + pad, low + h + pad


Mark = Stroke | Outline | Text

_ARC_RISE_MM = 0.2
"""Of chords over arcs when a mark's bounds are taken."""


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture below all marks of a page; only PDF and pictures show it.

    Attributes
    ----------
    bounds_mm : x_min, y_min, x_max, y_max of its edges.
    jpeg : the file.
    """

    bounds_mm: Bounds
    jpeg: bytes


@dataclass(frozen=True, slots=True)
class Drawing:
    """A sheet at true size.

    Attributes
    ----------
    title, subject : for the properties of a file.
    page_mm : x_min, y_min, x_max, y_max of the paper.
    layers : in the order in which they are drawn.
    marks : in the order in which they are drawn within their layer.
    window_mm : x_min, y_min, x_max, y_max of what is shown of layers that are cut.
    pictures : lie below all marks.
    """

    title: str
    subject: str
    page_mm: Bounds
    layers: tuple[Layer, ...]
    marks: tuple[Mark, ...]
    window_mm: Bounds | None = None
    pictures: tuple[Picture, ...] = ()

    @property
    def width_mm(self) -> float:
        """Width of the paper."""
        return self.page_mm[2] - self.page_mm[0]

    @property
    def height_mm(self) -> float:
        """Height of the paper."""
        return self.page_mm[3] - self.page_mm[1]

    def on(self, layer: str) -> tuple[Mark, ...]:
        """Return the marks of one layer."""
        return tuple(mark for mark in self.marks if mark.layer == layer)


def circle(layer: str, centre: Point, radius_mm: float) -> Stroke:
    """Return a full circle."""
    return Stroke(layer, Arc(centre, radius_mm, 0.0, 360.0))


def is_circle(curve: Curve) -> bool:
    """Return whether an arc closes on itself."""
    return isinstance(curve, Arc) and abs(abs(curve.sweep_deg) - 360.0) < 1e-6


def moved(mark: Mark, dx_mm: float, dy_mm: float) -> Mark:
    """Return a mark shifted by (dx, dy)."""
    match mark:
        case Stroke():
            return replace(mark, curve=mark.curve.placed(Placement(0.0, dx_mm, dy_mm)))
        case Outline():
            return replace(mark, points=tuple((x + dx_mm, y + dy_mm) for x, y in mark.points))
    return replace(mark, at=(mark.at[0] + dx_mm, mark.at[1] + dy_mm))


def bounds_of(mark: Mark) -> Bounds:
    """Return x_min, y_min, x_max, y_max that a mark stays within; a text with its patch."""
    match mark:
        case Stroke(_, Cubic() as chain):
            points: Iterable[Point] = chain.control  # A cubic curve stays among its handles.
        case Stroke(_, Arc() as arc):
            reach = arc.radius_mm
            (x, y), near = arc.centre, arc.points(_ARC_RISE_MM)
            x_min, y_min = near.min(axis=0) - _ARC_RISE_MM
            x_max, y_max = near.max(axis=0) + _ARC_RISE_MM
            return (
                max(float(x_min), x - reach), max(float(y_min), y - reach),
                min(float(x_max), x + reach), min(float(y_max), y + reach),
            )  # fmt: skip
        case Stroke():
            points = (mark.curve.start, mark.curve.end)
        case Outline():
            points = mark.points
        case Text():
            left, low, right, high = mark.patch_mm
            c, s = math.cos(math.radians(mark.angle_deg)), math.sin(math.radians(mark.angle_deg))
            corners = ((left, low), (right, low), (right, high), (left, high))
            points = [(mark.at[0] + c * u - s * v, mark.at[1] + s * u + c * v) for u, v in corners]
    xs, ys = zip(*points, strict=True)
    return min(xs), min(ys), max(xs), max(ys)


def plain_text(text: str) -> str:
    """Return a text on one line without control characters, for names that come from outside."""
    if text.isprintable():
        # Nearly every text: no character in it is a control or a space but " ".
        return " ".join(text.split())
    spaced = "".join(" " if c.isspace() else c for c in text)
    return " ".join("".join(c for c in spaced if unicodedata.category(c)[0] != "C").split())


_NARROW = frozenset("iljtfrI.,:;'|!()[]/ -")
_WIDE = frozenset("mwMW%@—ODQGCHNU")
_WIDEST = 1.15
"""Width of a wide letter, of the height of capitals."""


def text_width_mm(text: str, height_mm: float, *, bold: bool = False) -> float:
    """Estimate the width of lettering, on the safe side for common sans-serif types.

    Parameters
    ----------
    text : one line.
    height_mm : height of capitals.
    """
    shares = sum(0.48 if c in _NARROW else _WIDEST if c in _WIDE else 0.86 for c in text)
    return height_mm * shares * (1.06 if bold else 1.0)


def wrapped(text: str, width_mm: float, height_mm: float) -> tuple[str, ...]:
    """Break a text into lines no wider than `width_mm`; a longer word is broken within."""
    lines: list[str] = []
    for word in _words(text.split(), width_mm, height_mm):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width_mm(longer, height_mm) <= width_mm:
            lines[-1] = longer
        else:
            lines.append(word)
    return tuple(lines)


def _words(words: Iterable[str], width_mm: float, height_mm: float) -> Iterator[str]:
    """Yield the words, those that are too long in parts of one letter or more that fit."""
    for word in words:
        if height_mm * _WIDEST * len(word) <= width_mm:
            # Nearly every word: its letters need no measuring.
            yield word
            continue
        first, share = 0, 0.0
        for k, letter in enumerate(word):
            of_letter = text_width_mm(letter, 1.0)
            share += of_letter
            if k > first and height_mm * share > width_mm:
                yield word[first:k]
                first, share = k, of_letter
        yield word[first:]
