"""The photographs of loose pieces, seen straight on, with each piece's outline and number."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import shapely
from PIL import Image
from shapely.geometry import Polygon

from rubbing2pattern.documents.drawing import (
    Drawing,
    Mark,
    Picture,
    Stroke,
    text_width_mm,
    wrapped,
)
from rubbing2pattern.documents.drawing.sheets import (
    DOUBT,
    FIGURE,
    HALO,
    LEADER,
    LEADING,
    NUMBER,
    RIM,
    Sheet,
    View,
    centred,
    outlines,
)
from rubbing2pattern.documents.matches.sentences import (
    group_sentences,
    is_doubtful,
    short_numbers_text,
    work_text,
)
from rubbing2pattern.documents.matches.thumbnails import Straight, file_of
from rubbing2pattern.geometry.curves import Line, Point, as_point
from rubbing2pattern.matching.loose import Match, Verdict
from rubbing2pattern.matching.result import LoosePhoto, Matching
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.reading import Bounds

_AROUND_MM = 12.0
_DOTS_PER_MM = 6.0
"""Of the photograph on the paper: about 150 to the inch."""
_QUALITY = 82
_NUMBER_MM, _SEVERAL_MM, _NAME_MM = 3.4, 2.4, 1.9
_SMALL_MM = 0.7 * _NAME_MM
_WIDEST_MM = 34.0
_LEAST_MM = 3.2
_BESIDE_MM, _WAYS = (1.5, 4.0, 8.0), 16
KEY = (
    "Large: number of the place in the panel, several where openings are alike; ? where it has "
    "none. Small: name of the loose piece and what is to be done, if anything. Dash-dotted line "
    "and red number with ?: look before use. Not to scale."
)
UNREAD_KEY = "Ring: it may be glass, but its outline could not be followed."
_RING_MM = 2.5
_BEYOND_MM = 60.0
"""Beside the photograph, where heading and key are: no label there while there is room on it."""


@dataclass(frozen=True, slots=True)
class PhotoView:
    """A photograph on its page: how it is reduced, and its colours as they are shown there."""

    photo: LoosePhoto
    sheet: Sheet
    notes: tuple[str, ...]
    view: View
    bounds: Bounds
    seen: Straight


def photo_view(photo: LoosePhoto, matching: Matching, options: DocumentOptions) -> PhotoView:
    """Lay a photograph straight, as large as its page takes it."""
    bounds = _bounds(photo)
    across = (bounds[2] - bounds[0]) > 1.15 * (bounds[3] - bounds[1])
    title = f"{matching.title}: loose pieces in {photo.name}"
    sheet = Sheet.of(title, options, across=across)
    ringed = [UNREAD_KEY] if photo.unread_mm else []
    notes = sheet.lines([KEY, *ringed, *group_sentences(matching)])
    view = View.within(bounds, sheet.room(len(notes)))
    seen = Straight.of(photo, bounds, _DOTS_PER_MM * view.share)
    return PhotoView(photo, sheet, notes, view, bounds, seen)


def photo_page(shown: PhotoView, matching: Matching, options: DocumentOptions) -> Drawing:
    """Draw a photograph reduced to one sheet with what was found about each piece."""
    view = shown.view
    shapes = [view.shape(piece.outline) for piece in shown.photo.pieces]
    marks: list[Mark] = []
    labels = []
    for piece, shape in zip(shown.photo.pieces, shapes, strict=True):
        match = matching.of(piece.id)
        rim = DOUBT if is_doubtful(match, matching) else RIM
        marks += [*outlines(HALO, shape), *outlines(rim, shape)]
        labels.append(_Label.of(match, shape, matching, options))
    for at in shown.photo.unread_mm:
        ring = shapely.Point(view.at(at)).buffer(_RING_MM)
        marks += [*outlines(HALO, ring), *outlines(DOUBT, ring)]
    # Labels beside small glass come last, for they keep clear of those that lie on glass.
    (left, low), (right, high) = view.places([shown.bounds[:2], shown.bounds[2:]])
    frame = shapely.box(left, low, right, high)
    taken: list[shapely.Geometry] = [*shapes, frame.buffer(_BEYOND_MM).difference(frame)]
    for label in sorted(labels, key=lambda each: each.small):
        marks += label.written(taken)
    jpeg = file_of(Image.fromarray(shown.seen.colours), "JPEG", _QUALITY)
    picture = Picture((float(left), float(low), float(right), float(high)), jpeg)
    return shown.sheet.drawing(marks, shown.notes, (picture,))


@dataclass(frozen=True, slots=True)
class _Label:
    """Number and name of a piece, to be written on it, or beside it where it is too small.

    Attributes
    ----------
    shape, at : the piece on the page, and the middle of the largest circle in it.
    small : whether that circle is too small for lettering.
    number, high_mm, number_layer : the number, its height and layer.
    lines, layer : name and what is to be done, line by line.
    """

    shape: Polygon
    at: Point
    small: bool
    number: str
    high_mm: float
    number_layer: str
    lines: tuple[str, ...]
    layer: str

    @classmethod
    def of(
        cls, match: Match, shape: Polygon, matching: Matching, options: DocumentOptions
    ) -> _Label:
        """Return the label of a piece."""
        circle = shapely.maximum_inscribed_circle(shape, tolerance=0.1)
        # Small glass must not vanish behind its number.
        high = min(_NUMBER_MM, max(_NAME_MM, 0.7 * circle.length))
        fits = match.verdict is Verdict.FITS and not match.pattern
        work = "" if fits else f" {work_text(match, matching, options)}"
        plain = match.verdict in (Verdict.FITS, Verdict.FRAGMENT)
        return cls(
            shape,
            as_point(circle.coords[0]),
            bool(circle.length < _LEAST_MM),
            short_numbers_text(match, matching),
            high if len(match.numbers) == 1 else min(high, _SEVERAL_MM),
            FIGURE if is_doubtful(match, matching) else NUMBER,
            wrapped(f"{match.piece.id}{work}", _WIDEST_MM, _SMALL_MM),
            NUMBER if plain else FIGURE,
        )

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height of number and lines together."""
        wide = max(text_width_mm(line, _SMALL_MM, bold=True) for line in self.lines)
        wide = max(wide, text_width_mm(self.number, self.high_mm, bold=True))
        return wide + 1.0, self.high_mm + len(self.lines) * LEADING * _SMALL_MM + 1.0

    def written(self, taken: list[shapely.Geometry]) -> Iterator[Mark]:
        """Yield its marks; `taken` gets what it covers."""
        (x, y), (wide, tall) = self.at, self.size_mm
        if self.small:
            at = free_place(self.shape, self.size_mm, taken)
            yield Stroke(LEADER, Line(at, self.at))
            x, y = at[0], at[1] + 0.5 * (tall - self.high_mm) - 1.3
        else:
            low = y + 0.5 * self.high_mm + 1.3 - tall
            taken.append(shapely.box(x - 0.5 * wide, low, x + 0.5 * wide, low + tall))
        yield centred(self.number_layer, (x, y + 0.8), self.number, self.high_mm, patch=True)
        for k, line in enumerate(self.lines):
            low = y - 0.5 * self.high_mm - 1.0 - k * LEADING * _SMALL_MM
            yield centred(self.layer, (x, low), line, _SMALL_MM, patch=True)


def free_place(shape: Polygon, size: tuple[float, float], taken: list[shapely.Geometry]) -> Point:
    """Return the middle of a box beside a shape, where it hides least; `taken` gets the box.

    Rule: boxes lie in sixteen directions at three distances around the shape; of those that hide
    equally little the nearest is taken.
    """
    x_min, y_min, x_max, y_max = shape.bounds
    middle = (0.5 * (x_min + x_max), 0.5 * (y_min + y_max))
    boxes = []
    for far in _BESIDE_MM:
        for k in range(_WAYS):
            c, s = math.cos(2.0 * math.pi * k / _WAYS), math.sin(2.0 * math.pi * k / _WAYS)
            x = middle[0] + c * (0.5 * (x_max - x_min + size[0]) + far)
            y = middle[1] + s * (0.5 * (y_max - y_min + size[1]) + far)
            half = (0.5 * size[0], 0.5 * size[1])
            boxes.append(shapely.box(x - half[0], y - half[1], x + half[0], y + half[1]))
    tree = shapely.STRtree(taken)
    hidden = [
        sum(box.intersection(taken[k]).area for k in tree.query(box, predicate="intersects"))
        for box in boxes
    ]
    best = boxes[min(range(len(boxes)), key=lambda k: (round(hidden[k], 3), k))]
    taken.append(best)
    return float(best.centroid.x), float(best.centroid.y)


def _bounds(photo: LoosePhoto) -> Bounds:
    """Return what is shown: all pieces with some room around them, within the picture.

    Room is also shown around what may be glass.
    """
    if not photo.pieces:
        return photo.rubbing.bounds_mm
    unread = [shapely.Point(at) for at in photo.unread_mm]
    low = shapely.total_bounds([*(piece.outline for piece in photo.pieces), *unread])
    x_min, y_min, x_max, y_max = (float(side) for side in low)
    left, bottom, right, top = photo.rubbing.bounds_mm
    return (
        max(x_min - _AROUND_MM, min(left, x_min)),
        max(y_min - _AROUND_MM, min(bottom, y_min)),
        min(x_max + _AROUND_MM, max(right, x_max)),
        min(y_max + _AROUND_MM, max(top, y_max)),
    )
