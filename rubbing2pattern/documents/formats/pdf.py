"""Drawings as PDF: pages at true size."""

from __future__ import annotations

import io
import math
import unicodedata
from collections.abc import Iterator
from typing import Any

from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas

from rubbing2pattern.documents.drawing import (
    BLACK,
    DASHES_MM,
    Anchor,
    Drawing,
    Ink,
    Layer,
    Outline,
    Stroke,
    Text,
    is_circle,
)
from rubbing2pattern.errors import OutputNotWritten
from rubbing2pattern.geometry.curves import Arc, Cubic, Curve, Line, Point
from rubbing2pattern.reading import Bounds
from rubbing2pattern.units import MM_PER_INCH

PT_PER_MM = 72.0 / MM_PER_INCH
"""ISO 32000-1: the user unit is 1/72 inch."""
LARGEST_PAGE_PT = 14_400.0
"""ISO 32000-1, annex C: the largest page, about 5080 mm."""

_CAPITALS = 0.718
"""Height of capitals of the standard type Helvetica, of its size (font metrics)."""
_ARC_STEP_DEG = 30.0
"""One curve for so much of a circle leaves it by 4e-7 of the radius."""


def pdf_bytes(*drawings: Drawing, print_scale: tuple[float, float] = (1.0, 1.0)) -> bytes:
    """Write drawings as the pages of a PDF at true size; the first names the whole.

    The bytes depend on the drawings alone: no dates, no compression that differs between machines.

    Parameters
    ----------
    drawings : one for each page.
    print_scale : what the printer makes of a length across and up, over what it should be; the
        pages are drawn by so much smaller that they are true on its paper. The sizes of the
        drawings are those on paper.

    Raises
    ------
    OutputNotWritten
        When a page is larger than a PDF page may be.
    """
    for drawing in drawings:
        if max(_page_pt(drawing, print_scale)) > LARGEST_PAGE_PT:
            raise OutputNotWritten(
                f"the pattern needs a page of {drawing.width_mm:.0f} x {drawing.height_mm:.0f} mm, "
                f"but a PDF page is {LARGEST_PAGE_PT / PT_PER_MM:.0f} mm at most: check the "
                "reference of the scale, or rub a window this large section by section"
            )
    buffer = io.BytesIO()
    canvas = Canvas(buffer, pageCompression=0, invariant=1)
    canvas.setTitle(drawings[0].title)
    canvas.setSubject(drawings[0].subject)
    canvas.setAuthor("")
    canvas.setCreator("rubbing2pattern")
    # A viewer's dialog then starts at actual size instead of shrinking the page to fit.
    canvas.setViewerPreference("PrintScaling", "None")
    for drawing in drawings:
        _write_page(canvas, drawing, print_scale)
    canvas.save()
    return buffer.getvalue()


def _page_pt(drawing: Drawing, print_scale: tuple[float, float]) -> tuple[float, float]:
    return (
        drawing.width_mm * PT_PER_MM / print_scale[0],
        drawing.height_mm * PT_PER_MM / print_scale[1],
    )


def _write_page(canvas: Any, drawing: Drawing, print_scale: tuple[float, float]) -> None:
    canvas.setPageSize(_page_pt(drawing, print_scale))
    canvas.scale(PT_PER_MM / print_scale[0], PT_PER_MM / print_scale[1])
    canvas.translate(-drawing.page_mm[0], -drawing.page_mm[1])
    canvas.setLineCap(1)
    canvas.setLineJoin(1)
    if drawing.picture is not None:
        x_min, y_min, x_max, y_max = drawing.picture.bounds_mm
        picture = ImageReader(io.BytesIO(drawing.picture.jpeg))
        canvas.drawImage(picture, x_min, y_min, x_max - x_min, y_max - y_min)
    for layer in drawing.layers:
        if layer.shown:
            canvas.saveState()
            if layer.cut and drawing.window_mm is not None:
                _clip(canvas, drawing.window_mm)
            _write_layer(canvas, drawing, layer)
            canvas.restoreState()
    canvas.showPage()


def _clip(canvas: Any, bounds_mm: Bounds) -> None:
    x_min, y_min, x_max, y_max = bounds_mm
    path = canvas.beginPath()
    path.rect(x_min, y_min, x_max - x_min, y_max - y_min)
    canvas.clipPath(path, stroke=0, fill=0)


def arc_curves(arc: Arc) -> Iterator[tuple[Point, Point, Point]]:
    """Yield two handles and the end of the cubic curves that follow an arc."""
    count = max(1, math.ceil(abs(arc.sweep_deg) / _ARC_STEP_DEG))
    step = math.radians(arc.sweep_deg) / count
    handle = 4.0 / 3.0 * math.tan(0.25 * step) * arc.radius_mm
    for k in range(count):
        a = math.radians(arc.start_deg) + k * step
        (x, y), (u, v) = _on(arc, a), _on(arc, a + step)
        yield (
            (x - handle * math.sin(a), y + handle * math.cos(a)),
            (u + handle * math.sin(a + step), v - handle * math.cos(a + step)),
            (u, v),
        )


def _on(arc: Arc, angle: float) -> Point:
    return (
        arc.centre[0] + arc.radius_mm * math.cos(angle),
        arc.centre[1] + arc.radius_mm * math.sin(angle),
    )


def _write_layer(canvas: Any, drawing: Drawing, layer: Layer) -> None:
    canvas.setLineWidth(layer.weight_mm)
    canvas.setDash(list(DASHES_MM[layer.line_type]))
    if layer.ink != BLACK:
        canvas.setStrokeColorRGB(*_shares(layer.ink))
        canvas.setFillColorRGB(*_shares(layer.ink))
    for mark in drawing.on(layer.name):
        match mark:
            case Stroke():
                path = canvas.beginPath()
                path.moveTo(*mark.curve.start)
                _follow(path, mark.curve)
                canvas.drawPath(path)
            case Outline():
                path = canvas.beginPath()
                path.moveTo(*mark.points[0])
                for point in mark.points[1:]:
                    path.lineTo(*point)
                path.close()
                canvas.drawPath(path, stroke=1, fill=int(mark.filled))
            case Text():
                _write_text(canvas, mark, layer.ink)


def _shares(ink: Ink) -> tuple[float, ...]:
    return tuple(part / 255.0 for part in ink)


def _follow(path: Any, curve: Curve) -> None:
    match curve:
        case Line():
            path.lineTo(*curve.end)
        case Arc():
            for first, second, end in arc_curves(curve):
                path.curveTo(*first, *second, *end)
            if is_circle(curve):
                path.close()
        case Cubic():
            for k in range(1, len(curve.control), 3):
                first, second, end = curve.control[k : k + 3]
                path.curveTo(*first, *second, *end)


def _write_text(canvas: Any, mark: Text, ink: Ink) -> None:
    font = "Helvetica-Bold" if mark.bold else "Helvetica"
    size_mm = mark.height_mm / _CAPITALS
    text = _encodable(mark.text)
    width_mm = canvas.stringWidth(text, font, size_mm)
    x, y = {
        Anchor.LEFT: (0.0, 0.0),
        Anchor.RIGHT: (-width_mm, 0.0),
        Anchor.CENTRE: (-0.5 * width_mm, -0.5 * mark.height_mm),
    }[mark.anchor]
    canvas.saveState()
    canvas.translate(*mark.at)
    canvas.rotate(mark.angle_deg)
    if mark.patch:
        canvas.setFillGray(1.0)
        x_min, y_min, x_max, y_max = mark.patch_mm
        canvas.rect(x_min, y_min, x_max - x_min, y_max - y_min, stroke=0, fill=1)
        if ink == BLACK:
            canvas.setFillGray(0.0)
        else:
            canvas.setFillColorRGB(*_shares(ink))
    canvas.setFont(font, size_mm)
    canvas.drawString(x, y, text)
    canvas.restoreState()


def _encodable(text: str) -> str:
    """Keep to the characters of the standard types; others lose their accents or become "?"."""
    try:
        text.encode("cp1252")
    except UnicodeEncodeError:
        plain = (_one(c) for c in text)
        return "".join(plain)
    return text


def _one(character: str) -> str:
    for form in (character, unicodedata.normalize("NFKD", character)[:1]):
        try:
            form.encode("cp1252")
        except UnicodeEncodeError:
            continue
        return form
    return "?"
