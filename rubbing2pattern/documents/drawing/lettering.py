"""Piece numbers: as large as is pleasant, and clear of the leads."""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Point as ShapelyPoint, Polygon

from rubbing2pattern.documents.drawing import Anchor, Text, text_width_mm
from rubbing2pattern.geometry.curves import Point
from rubbing2pattern.model import Piece
from rubbing2pattern.options.documents import DocumentOptions

_EASY_MM = 2.0
"""Numbers smaller than this are turned along the piece when that makes them larger."""
_CLEAR = 1.25
"""Room around a number, times its own size."""
_STEP = 0.92


def piece_number(piece: Piece, layer: str, options: DocumentOptions) -> Text:
    """Place the number of a piece.

    Rules:

    1. It is put at the piece's label, or, where a leaf covers that, in the middle of what is seen.
    2. It is `number_height_mm` high, or as much less as the opening between the leaves asks for.
    3. If that is under 2 mm it is turned along the piece, when it can be larger so.
    4. It is never lower than `least_number_mm`, even if it must then touch a leaf.
    """
    text = str(piece.number)
    seen = _largest(piece.sight_outline)
    at = piece.label_at
    if not seen.is_empty and not seen.contains(ShapelyPoint(at)):  # rule 1
        pole = shapely.maximum_inscribed_circle(seen, tolerance=0.05).coords[0]
        at = (float(pole[0]), float(pole[1]))
    angle_deg = 0.0
    height_mm = _fitting(text, at, 0.0, seen, options)  # rule 2
    if height_mm < _EASY_MM:  # rule 3
        turned_deg = (piece.rectangle.angle_deg + 90.0) % 180.0 - 90.0
        turned_mm = _fitting(text, at, turned_deg, seen, options)
        if turned_mm > height_mm:
            angle_deg, height_mm = turned_deg, turned_mm
    height_mm = max(height_mm, options.least_number_mm)  # rule 4
    return Text(layer, at, text, height_mm, Anchor.CENTRE, angle_deg, bold=True)


def text_box(text: str, at: Point, height_mm: float, angle_deg: float = 0.0) -> Polygon:
    """Return the rectangle that centred lettering takes up at most."""
    half_width, half_height = 0.5 * text_width_mm(text, height_mm, bold=True), 0.5 * height_mm
    c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    (x, y), (u, v) = at, (c * half_width, s * half_width)
    p, q = -s * half_height, c * half_height
    corners = (
        (x + u - p, y + v - q), (x + u + p, y + v + q),
        (x - u + p, y - v + q), (x - u - p, y - v - q),
    )  # fmt: skip
    rectangle: Polygon = shapely.polygons(np.array(corners))
    return rectangle


def _fitting(
    text: str, at: Point, angle_deg: float, seen: Polygon, options: DocumentOptions
) -> float:
    """Return the greatest height at which the box, with room around it, lies in the opening."""
    shapely.prepare(seen)
    height_mm = options.number_height_mm
    while height_mm > options.least_number_mm:
        if seen.contains(text_box(text, at, height_mm * _CLEAR, angle_deg)):
            return height_mm
        height_mm *= _STEP
    return options.least_number_mm


def _largest(shape: Polygon | MultiPolygon) -> Polygon:
    parts = [part for part in shapely.get_parts(shape) if not part.is_empty]
    return max(parts, key=lambda part: part.area, default=Polygon())


def letter_fits(length_mm: float, face_width_mm: float) -> float | None:
    """Return the height of the letter on a came, or None where it would hide the lead line.

    A letter is 0.4 of the face width, from 1.2 to 2.2 mm, and wants eight times its height of lead.
    """
    height_mm = min(max(0.4 * face_width_mm, 1.2), 2.2)
    return height_mm if length_mm >= 8.0 * height_mm and math.isfinite(face_width_mm) else None
