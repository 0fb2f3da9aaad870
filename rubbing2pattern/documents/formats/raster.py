"""Drawings as pictures: the same marks as on paper, in dots."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from PIL import Image, ImageDraw
from shapely.ops import substring

from rubbing2pattern.documents.drawing import (
    DASHES_MM,
    Anchor,
    Drawing,
    Layer,
    Outline,
    Picture,
    Stroke,
    Text,
)
from rubbing2pattern.documents.formats.picture_font import CAPITALS, picture_font, shown_text
from rubbing2pattern.geometry.curves import Point
from rubbing2pattern.geometry.frame import Array, Frame

_FINER = 2
"""Dots are made of so many squared, for smooth lines."""
_CHORD_MM = 0.05
_WHITE = (255, 255, 255)
_ANCHORS = {Anchor.LEFT: "ls", Anchor.CENTRE: "mm", Anchor.RIGHT: "rs"}


def page_image(drawing: Drawing, px_per_mm: float) -> Image.Image:
    """Draw a page as a picture in red, green and blue."""
    fine = Frame.over(drawing.page_mm, px_per_mm * _FINER)
    image = Image.new("RGB", (fine.width_px, fine.height_px), _WHITE)
    for picture in drawing.pictures:
        _paste(image, picture, fine)
    pen = ImageDraw.Draw(image)
    for layer in drawing.layers:
        if layer.shown:
            for mark in drawing.on(layer.name):
                match mark:
                    case Stroke():
                        _line(pen, mark.curve.points(_CHORD_MM), layer, fine)
                    case Outline():
                        if mark.filled:
                            pen.polygon(_places(fine, mark.points), fill=layer.ink)
                        _line(pen, np.array([*mark.points, mark.points[0]]), layer, fine)
                    case Text():
                        _letter(image, pen, mark, layer, fine)
    return image.reduce(_FINER)


def png_of(image: Image.Image, px_per_mm: float) -> bytes:
    """Return a picture as a PNG that states its resolution."""
    stream = io.BytesIO()
    image.save(stream, "PNG", dpi=(px_per_mm * 25.4,) * 2)
    return stream.getvalue()


def _paste(image: Image.Image, picture: Picture, fine: Frame) -> None:
    x_min, y_min, x_max, y_max = picture.bounds_mm
    (left, top), (right, low) = np.round(fine.to_px([(x_min, y_max), (x_max, y_min)])).astype(int)
    below = Image.open(io.BytesIO(picture.jpeg))
    size = (max(1, int(right - left)), max(1, int(low - top)))
    image.paste(below.resize(size, Image.Resampling.BILINEAR), (int(left), int(top)))


def _places(fine: Frame, points: Sequence[Point] | Array) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in fine.to_px(points)]


def _line(pen: ImageDraw.ImageDraw, points: Array, layer: Layer, fine: Frame) -> None:
    width = max(1, round(layer.weight_mm * fine.px_per_mm))
    if layer.weight_mm <= 0.0:
        return
    for part in _dashed(points, DASHES_MM[layer.line_type]):
        places = _places(fine, part)
        pen.line(places, fill=layer.ink, width=width, joint="curve")
        for x, y in (places[0], places[-1]) if width > 2 else ():
            half = 0.5 * width
            pen.ellipse((x - half, y - half, x + half, y + half), fill=layer.ink)


def _dashed(points: Array, pattern_mm: Sequence[float]) -> Iterator[Array]:
    """Yield the marks of a broken line; all of it when it is not broken."""
    if not pattern_mm or len(points) < 2:
        yield points
        return
    line, at, k = shapely.LineString(points), 0.0, 0
    while at < line.length:
        step = pattern_mm[k % len(pattern_mm)]
        part = substring(line, at, min(at + step, line.length))
        if k % 2 == 0 and part.length > 0.0:
            yield np.asarray(part.coords)
        at, k = at + step, k + 1


def _letter(
    image: Image.Image, pen: ImageDraw.ImageDraw, mark: Text, layer: Layer, fine: Frame
) -> None:
    size = max(4.0, round(mark.height_mm * fine.px_per_mm / CAPITALS, 1))
    bold = max(1, round(0.035 * size)) if mark.bold else 0
    x, y = (float(c) for c in fine.to_px((mark.at,))[0])
    if mark.angle_deg:
        _turned(image, mark, layer, (x, y), size, bold)
        return
    if mark.patch:
        left, low, right, high = (side * fine.px_per_mm for side in mark.patch_mm)
        pen.rectangle((x + left, y - high, x + right, y - low), fill=_WHITE)
    anchor = _ANCHORS[mark.anchor]
    pen.text(
        (x, y), shown_text(mark.text), layer.ink, picture_font(size), anchor, stroke_width=bold
    )


def _turned(
    image: Image.Image, mark: Text, layer: Layer, at: Point, size: float, bold: int
) -> None:
    """Write a text that runs at an angle, about the point of its anchor."""
    half = int(picture_font(size).getlength(shown_text(mark.text)) + 2.0 * size)
    mask = Image.new("L", (2 * half, 2 * half), 0)
    ImageDraw.Draw(mask).text(
        (half, half),
        shown_text(mark.text),
        255,
        picture_font(size),
        _ANCHORS[mark.anchor],
        stroke_width=bold,
    )
    mask = mask.rotate(mark.angle_deg, Image.Resampling.BICUBIC)
    image.paste(layer.ink, (round(at[0]) - half, round(at[1]) - half), mask)
