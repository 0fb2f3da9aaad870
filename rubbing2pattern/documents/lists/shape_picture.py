"""The shape of a piece as a small picture for a list."""

from __future__ import annotations

import io

import shapely
from PIL import Image, ImageDraw

from rubbing2pattern.model import Piece

WIDTH_PX, HEIGHT_PX = 84, 60
_FINER = 4
_MARGIN_PX = 3
_GLASS, _PAPER, _EDGE = 216, 255, 0


def shape_png(piece: Piece) -> bytes:
    """Draw the cut outline upright as it hangs, as large as there is room, holes left white.

    A piece without glass is drawn by its centre outline.
    """
    shape = piece.outline if piece.cut_outline.is_empty else piece.cut_outline
    x_min, y_min, x_max, y_max = shape.bounds
    width_mm, height_mm = max(x_max - x_min, 1e-6), max(y_max - y_min, 1e-6)
    room = (WIDTH_PX - 2 * _MARGIN_PX, HEIGHT_PX - 2 * _MARGIN_PX)
    px_per_mm = _FINER * min(room[0] / width_mm, room[1] / height_mm)
    left = 0.5 * (WIDTH_PX * _FINER - px_per_mm * width_mm)
    top = 0.5 * (HEIGHT_PX * _FINER - px_per_mm * height_mm)
    picture = Image.new("L", (WIDTH_PX * _FINER, HEIGHT_PX * _FINER), _PAPER)
    pen = ImageDraw.Draw(picture)
    for part in shapely.get_parts(shape):
        rings = [part.exterior, *part.interiors]
        for ring, fill in zip(rings, [_GLASS] + [_PAPER] * len(part.interiors), strict=True):
            places = [
                (left + px_per_mm * (x - x_min), top + px_per_mm * (y_max - y))
                for x, y in ring.coords
            ]
            pen.polygon(places, fill=fill)
            pen.line([*places, places[1]], fill=_EDGE, width=_FINER + 1, joint="curve")
    stream = io.BytesIO()
    picture.reduce(_FINER).save(stream, "PNG")
    return stream.getvalue()
