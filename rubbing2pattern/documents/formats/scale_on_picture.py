"""The scale along the edges of a picture of the panel, as the pattern has it."""

from __future__ import annotations

from collections.abc import Iterator

from PIL import Image, ImageDraw

from rubbing2pattern.documents.drawing.edge_scale import ticks
from rubbing2pattern.documents.formats.picture_font import picture_font
from rubbing2pattern.geometry.frame import Frame
from rubbing2pattern.units import Unit

Pixel = tuple[float, float]

_BLACK, _WHITE = (0, 0, 0), (255, 255, 255)
_LETTER_PX = (11.0, 24.0)
"""Smallest and largest lettering: read on a screen, and not in the way of the rubbing."""
_LETTER_SHARE = 1.0 / 110.0
"""Of the picture's longer side."""
_TICKS = (0.45, 0.75, 1.1)
"""Lengths of short, longer and labelled ticks, times the size of letters."""
_SPACING = 0.55
"""Least distance of ticks, times the size of letters; a tick of the scale wants 1.4 mm."""


def draw_scale(picture: Image.Image, frame: Frame, unit: Unit) -> None:
    """Draw the scale into a picture, along its four sides.

    Parameters
    ----------
    picture : of the panel on the grid of `frame`; it is drawn on.
    frame : where its pixels lie in the panel's frame.
    unit : in which labels count.
    """
    pen = ImageDraw.Draw(picture)
    low, high = _LETTER_PX
    size = round(min(max(low, max(picture.size) * _LETTER_SHARE), high), 1)
    reduction = max(1.0, _SPACING * size / (1.4 * frame.px_per_mm))
    for start, end, middle, label, turned in _lines(picture, frame, unit, size, reduction):
        for colour, width in ((_WHITE, 3), (_BLACK, 1)):
            pen.line((*start, *end), colour, width)
        if label:
            _write(picture, middle, label, size, turned=turned)


def _lines(
    picture: Image.Image, frame: Frame, unit: Unit, size: float, reduction: float
) -> Iterator[tuple[Pixel, Pixel, Pixel, str, bool]]:
    """Yield both ends of each tick, the middle of its label, the label, whether it is turned."""
    right, foot = picture.width - 1.0, picture.height - 1.0
    x_min, y_min, x_max, y_max = frame.bounds_mm
    for tick in ticks(x_min, x_max, unit, reduction):
        x = float(frame.to_px([(tick.at_mm, 0.0)])[0][0])
        length = _TICKS[tick.rank] * size
        beside = length + 0.7 * size
        yield (x, 0.0), (x, length), (x, beside), tick.label, False
        yield (x, foot), (x, foot - length), (x, foot - beside), tick.label, False
    for tick in ticks(y_min, y_max, unit, reduction):
        y = float(frame.to_px([(0.0, tick.at_mm)])[0][1])
        length = _TICKS[tick.rank] * size
        beside = length + 0.7 * size
        yield (0.0, y), (length, y), (beside, y), tick.label, True
        yield (right, y), (right - length, y), (right - beside, y), tick.label, True


def _write(picture: Image.Image, at: Pixel, text: str, size: float, *, turned: bool) -> None:
    font = picture_font(size)
    stroke = max(1, round(0.12 * size))
    half = round(0.5 * font.getlength(text) + size)
    box = Image.new("RGBA", (2 * half, 2 * half), (255, 255, 255, 0))
    ImageDraw.Draw(box).text(
        (half, half), text, _BLACK, font, "mm", stroke_width=stroke, stroke_fill=_WHITE
    )
    if turned:
        box = box.transpose(Image.Transpose.ROTATE_90)
    picture.paste(box, (round(at[0]) - half, round(at[1]) - half), box)
