"""Drawings as PDF: pages at true size."""

from __future__ import annotations

import io
from typing import Any

from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas

from rubbing2pattern.documents.drawing import BLACK, DASHES_MM, Drawing, Layer, Text
from rubbing2pattern.documents.formats.pdf_marks import font_of, path_operators, text_operators
from rubbing2pattern.errors import OutputNotWritten
from rubbing2pattern.reading import Bounds
from rubbing2pattern.units import MM_PER_INCH

PT_PER_MM = 72.0 / MM_PER_INCH
"""ISO 32000-1: the user unit is 1/72 inch."""
LARGEST_PAGE_PT = 14_400.0
"""ISO 32000-1, annex C: the largest page, about 5080 mm."""


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
    for picture in drawing.pictures:
        x_min, y_min, x_max, y_max = picture.bounds_mm
        shown = ImageReader(io.BytesIO(picture.jpeg))
        canvas.drawImage(shown, x_min, y_min, x_max - x_min, y_max - y_min)
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


def _write_layer(canvas: Any, drawing: Drawing, layer: Layer) -> None:
    canvas.setLineWidth(layer.weight_mm)
    canvas.setDash(list(DASHES_MM[layer.line_type]))
    if layer.ink != BLACK:
        shares = tuple(part / 255.0 for part in layer.ink)
        canvas.setStrokeColorRGB(*shares)
        canvas.setFillColorRGB(*shares)
    for mark in drawing.on(layer.name):
        if isinstance(mark, Text):
            # Known to the document from its first use on, under a name of its own.
            resource = canvas._doc.getInternalFontName(font_of(mark))
            canvas.addLiteral(text_operators(mark, layer.ink, resource))
        else:
            canvas.addLiteral(path_operators(mark))
