"""One template: a piece at true size with its number, its words and an arrow for the grain.

It is drawn in the panel's frame, where number and outlines are known, and then turned and moved as
a whole, so its parts stay together.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import shapely
from shapely.affinity import rotate
from shapely.geometry import MultiPolygon, Polygon

from rubbing2pattern.documents.drawing import (
    Layer,
    LineType,
    Mark,
    Outline,
    Stroke,
    Text,
    text_width_mm,
)
from rubbing2pattern.documents.drawing.layers import (
    CHECK_LENGTH,
    CUT_OUTLINE,
    PANEL_NOTE,
    PIECE_NUMBER,
    SHEET_FRAME,
    SIGHT_OUTLINE,
)
from rubbing2pattern.documents.drawing.lettering import piece_number, text_box
from rubbing2pattern.documents.drawing.pattern import rings
from rubbing2pattern.documents.templates.words import FOOT, written_in
from rubbing2pattern.geometry.curves import Line, Point
from rubbing2pattern.geometry.frame import Array, Placement
from rubbing2pattern.model import Piece
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.packing import Box, upright

GRAIN = "grain"

CUT_SAMPLE = "legend cut line"
SIGHT_SAMPLE = "legend sight line"

TEMPLATE_LAYERS = (
    Layer(SHEET_FRAME, 0.18),
    Layer(SIGHT_SAMPLE, 0.13, LineType.DASHED),
    Layer(CUT_SAMPLE, 0.25),
    Layer(SIGHT_OUTLINE, 0.13, LineType.DASHED),
    Layer(CUT_OUTLINE, 0.25),
    Layer(GRAIN, 0.25),
    Layer(PIECE_NUMBER, 0.18),
    Layer(CHECK_LENGTH, 0.25),
    Layer(PANEL_NOTE, 0.18),
)
"""Layers of a sheet of templates; a cutter follows the cut outline alone, so no sample is on it."""

_HEAD_MM = (3.2, 1.1)
"""Length of an arrow's head and half its width."""
_LEAST_ARROW_MM = 5.0
_HAIR_MM = 1e-4
"""Far more than the rounding of lengths in a panel, far less than what an arrow shows."""
_CLEAR_MM = 1.0
"""Between an arrow and words or outlines."""


@dataclass(frozen=True, slots=True)
class Template:
    """A template with the lower left corner of its box at the origin.

    Attributes
    ----------
    number : of the piece.
    marks : outlines, number, words, arrow.
    box : the room it takes.
    """

    number: int
    marks: tuple[Mark, ...]
    box: Box


def template_of(
    piece: Piece,
    name: str,
    words: Sequence[str],
    grain_deg: float | None,
    arrow_mm: float,
    options: DocumentOptions,
) -> Template:
    """Draw the template of one piece, turned as `packing.upright` says.

    Parameters
    ----------
    piece : with a cut outline that is not empty.
    name : of the panel; every template carries it, so that a cut-out is never laid on another.
    words : lines for under the number; those that find no room in the piece are left out.
    grain_deg : direction of the grain in the panel, anticlockwise from the x axis, or None.
    arrow_mm : longest arrow.
    options : lettering.
    """
    turn_deg, box = upright(piece.cut_outline, grain_deg)
    number = piece_number(piece, PIECE_NUMBER, options)
    lines = written_in(piece, number, name, words)
    marks: list[Mark] = [
        *rings(CUT_OUTLINE, piece.cut_outline),
        *rings(SIGHT_OUTLINE, piece.sight_outline),
        number,
        _foot(number),
        *lines,
    ]
    if grain_deg is not None:
        marks += _arrow(piece, (number, *lines), grain_deg, arrow_mm)
    x, y, _, _ = rotate(piece.cut_outline, turn_deg, origin=(0.0, 0.0)).bounds
    placement = Placement(turn_deg, -x, -y)
    return Template(piece.number, tuple(placed(mark, placement) for mark in marks), box)


def quarter_turned(template: Template) -> tuple[Mark, ...]:
    """Return the marks of a template turned by a quarter, so that its number can still be read."""
    number = next(m for m in template.marks if isinstance(m, Text) and m.layer == PIECE_NUMBER)
    clockwise = number.angle_deg > 0.0
    width, height = template.box.width_mm, template.box.height_mm
    turn = Placement(-90.0, 0.0, width) if clockwise else Placement(90.0, height, 0.0)
    return tuple(placed(mark, turn) for mark in template.marks)


def placed(mark: Mark, placement: Placement) -> Mark:
    """Return a mark after a rigid motion."""
    match mark:
        case Stroke():
            return replace(mark, curve=mark.curve.placed(placement))
        case Outline():
            return replace(mark, points=_points(mark.points, placement))
    angle_deg = (mark.angle_deg + placement.angle_deg + 180.0) % 360.0 - 180.0
    return replace(mark, at=_points((mark.at,), placement)[0], angle_deg=angle_deg)


def arrow(tail: Point, tip: Point) -> tuple[Mark, ...]:
    """Return an arrow for the grain from tail to tip."""
    length = math.dist(tail, tip)
    along = (tip[0] - tail[0]) / length, (tip[1] - tail[1]) / length
    long, half = _HEAD_MM
    back = tip[0] - long * along[0], tip[1] - long * along[1]
    head = (
        tip,
        (back[0] - half * along[1], back[1] + half * along[0]),
        (back[0] + half * along[1], back[1] - half * along[0]),
    )
    return Stroke(GRAIN, Line(tail, back)), Outline(GRAIN, head, filled=True)


def _points(points: Sequence[Point], placement: Placement) -> tuple[Point, ...]:
    return tuple((float(x), float(y)) for x, y in placement.apply(points))


def _inside(piece: Piece) -> Polygon | MultiPolygon:
    """Return where words may be written: what is seen, or the glass where nothing is seen."""
    return piece.cut_outline if piece.sight_outline.is_empty else piece.sight_outline


def _foot(number: Text) -> Stroke:
    """Return the line under a number: a turned 6 must not be taken for a 9."""
    turn = math.radians(number.angle_deg)
    half = 0.42 * text_width_mm(number.text, number.height_mm, bold=True)
    down = 0.5 * number.height_mm + FOOT * number.height_mm
    x, y = number.at[0] + down * math.sin(turn), number.at[1] - down * math.cos(turn)
    dx, dy = half * math.cos(turn), half * math.sin(turn)
    return Stroke(PIECE_NUMBER, Line((x - dx, y - dy), (x + dx, y + dy)))


def _arrow(
    piece: Piece, texts: Sequence[Text], grain_deg: float, longest_mm: float
) -> tuple[Mark, ...]:
    """Return the arrow: long, near the number, clear of the words if there is any room for it.

    In a piece with no such room it runs over the number: better seen than missed.
    """
    turn = math.radians(grain_deg)
    along, at = np.array((math.cos(turn), math.sin(turn))), np.array(texts[0].at)
    written = shapely.union_all(
        [text_box(t.text, t.at, 1.3 * t.height_mm, t.angle_deg) for t in texts]
    )
    open_to = _inside(piece).buffer(-_CLEAR_MM)
    for room in (open_to.difference(written.buffer(1.5 * _CLEAR_MM)), piece.cut_outline):
        part = longest_near(room, at, along, longest_mm)
        if part is not None:
            return _along(part, at, along, longest_mm)
    half = 0.5 * _LEAST_ARROW_MM * along
    return arrow(_point(at - half), _point(at + half))


def longest_near(
    room: shapely.Geometry, at: Array, along: Array, longest_mm: float
) -> Array | None:
    """Return the ends, (2, 2), of the best line along the grain in a shape, or None if too short.

    Lines a millimetre apart are tried; a millimetre further from the number counts as much as half
    a millimetre of length.

    Parameters
    ----------
    room : where it may lie [mm].
    at : place of the number, (2,).
    along : direction of the grain, (2,), of length 1.
    longest_mm : length beyond that is ignored.
    """
    if room.is_empty:
        return None
    across = np.array((-along[1], along[0]))
    corners = shapely.get_coordinates(room) - at
    offsets = np.arange(math.floor((corners @ across).min()), math.ceil((corners @ across).max()))
    reach = float(np.abs(corners @ along).max()) + 1.0
    offsets = offsets[_worth_cutting(room, at, along, offsets, longest_mm)]
    feet = at + offsets[:, None] * across
    rays = shapely.linestrings(np.stack((feet - reach * along, feet + reach * along), axis=1))
    parts, ray = shapely.get_parts(shapely.intersection(rays, room), return_index=True)
    worth = np.minimum(shapely.length(parts), longest_mm) - 0.5 * np.abs(offsets[ray])
    # Rounded, so that of equal lines the first is taken whatever the last bit says.
    worth = np.where(shapely.length(parts) < _LEAST_ARROW_MM, -np.inf, np.round(worth, 6))
    if not len(worth) or not np.isfinite(worth.max()):
        return None
    return np.asarray(shapely.get_coordinates(parts[int(np.argmax(worth))])[[0, -1]])


def _worth_cutting(
    room: shapely.Geometry, at: Array, along: Array, offsets: Array, longest_mm: float
) -> npt.NDArray[np.bool_]:
    """Return which of R lines along the grain may hold the best part, (R,), without cutting them.

    A line enters and leaves the shape by turns, so the places where it crosses outlines give its
    parts in pairs. Lines that run through a corner or along a side, and those with a part that is
    just long enough, are left to the exact cut, which takes far longer.
    """
    rings = shapely.get_rings(shapely.get_parts(room))
    points, ring = shapely.get_coordinates(rings, return_index=True)
    u, v = (points - at) @ along, (points - at) @ np.array((-along[1], along[0]))
    sides = np.flatnonzero(ring[1:] == ring[:-1])
    below = v <= offsets[:, None]
    line, side = np.nonzero(below[:, sides] != below[:, sides + 1])
    a, b = sides[side], sides[side] + 1
    cross = u[a] + (offsets[line] - v[a]) / (v[b] - v[a]) * (u[b] - u[a])
    order = np.lexsort((cross, line))
    ends, line = cross[order].reshape(-1, 2), line[order][::2]
    length = ends[:, 1] - ends[:, 0]
    worth = np.where(length < _LEAST_ARROW_MM, -np.inf, np.minimum(length, longest_mm))
    worth -= 0.5 * np.abs(offsets[line])
    doubtful: npt.NDArray[np.bool_] = np.any(np.abs(v - offsets[:, None]) < _HAIR_MM, axis=1)
    doubtful[line[np.abs(length - _LEAST_ARROW_MM) < _HAIR_MM]] = True
    best = worth[~doubtful[line]].max(initial=-np.inf)
    doubtful[line[np.isfinite(worth) & (worth >= best - _HAIR_MM)]] = True
    return doubtful


def _along(ends: Array, at: Array, along: Array, longest_mm: float) -> tuple[Mark, ...]:
    """Return an arrow on a line, as near to a place as its length allows."""
    tail, tip = sorted(float(end @ along) for end in ends)
    half = 0.5 * min(tip - tail, longest_mm)
    middle = min(max(float(at @ along), tail + half), tip - half)
    foot = ends[0] - float(ends[0] @ along) * along
    return arrow(_point(foot + (middle - half) * along), _point(foot + (middle + half) * along))


def _point(place: Array) -> Point:
    return float(place[0]), float(place[1])
