"""PDF, read with pypdf, rendered and searched with pymupdf, measured to 0.1 mm."""

from __future__ import annotations

import io
import math
from dataclasses import replace

import numpy as np
import pymupdf
import pypdf
import pytest
from hypothesis import given, strategies as st
from reportlab.lib.rl_accel import fp_str
from reportlab.pdfgen.canvas import Canvas
from shapely.geometry import LineString, Point

from rubbing2pattern.documents.drawing import Anchor, Drawing, Outline, Stroke, Text, circle
from rubbing2pattern.documents.drawing.pattern import pattern_drawing
from rubbing2pattern.documents.formats.pdf import pdf_bytes
from rubbing2pattern.documents.formats.pdf_marks import (
    arc_curves,
    numbers_text,
    path_operators,
    text_operators,
)
from rubbing2pattern.errors import OutputNotWritten
from rubbing2pattern.geometry.curves import Arc, Cubic, Line
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions
from tests import panels
from tests.documents.measuring import darkness, line_at

OPTIONS = DocumentOptions()
MM_PER_PT = 25.4 / 72.0  # ISO 32000-1: the user unit is 1/72 inch
PX_PER_MM = 5.0


def drawn(panel: Panel) -> Drawing:
    return pattern_drawing(panel, {}, OPTIONS)


def opened(drawing: Drawing) -> pymupdf.Page:
    return pymupdf.open(stream=pdf_bytes(drawing), filetype="pdf")[0]


def test_one_page_of_the_drawing_s_size() -> None:
    drawing = drawn(panels.arched())
    reader = pypdf.PdfReader(io.BytesIO(pdf_bytes(drawing)))
    (page,) = reader.pages
    assert float(page.mediabox.width) * MM_PER_PT == pytest.approx(drawing.width_mm, abs=0.01)
    assert float(page.mediabox.height) * MM_PER_PT == pytest.approx(drawing.height_mm, abs=0.01)
    assert page.get("/UserUnit", 1) == 1
    assert reader.metadata is not None
    assert reader.metadata.title == "Panel lancet 1a"
    assert "seen from outside" in str(reader.metadata.subject)
    assert reader.root_object["/ViewerPreferences"]["/PrintScaling"] == "/None"


def test_a_metre_and_both_check_lengths_measure_true() -> None:
    drawing = drawn(panels.two_by_two(990.0, 120.0))
    pixels = opened(drawing).get_pixmap(
        matrix=pymupdf.Matrix(PX_PER_MM * MM_PER_PT, PX_PER_MM * MM_PER_PT)
    )
    picture = darkness(pixels.tobytes("png"))
    x0, _, _, y1 = drawing.page_mm
    row = picture[round((y1 - 30.0) * PX_PER_MM)]
    rim = [line_at(row, (x - x0) * PX_PER_MM, 8) for x in (-5.0, 995.0)]
    assert (rim[1] - rim[0]) / PX_PER_MM == pytest.approx(1000.0, abs=0.1)
    column = picture[:, round((100.0 - x0) * PX_PER_MM)]
    rim = [line_at(column, (y1 - y) * PX_PER_MM, 8) for y in (-5.0, 125.0)]
    assert (rim[0] - rim[1]) / PX_PER_MM == pytest.approx(130.0, abs=0.1)
    row = picture[round((y1 + 14.6 - 1.8) * PX_PER_MM)]
    ticks = [line_at(row, (x - x0) * PX_PER_MM, 8) for x in (-5.0, 95.0)]
    assert (ticks[1] - ticks[0]) / PX_PER_MM == pytest.approx(100.0, abs=0.1)
    column = picture[:, round((-14.6 + 1.8 - x0) * PX_PER_MM)]
    ticks = [line_at(column, (y1 - y) * PX_PER_MM, 8) for y in (-5.0, 95.0)]
    assert (ticks[0] - ticks[1]) / PX_PER_MM == pytest.approx(100.0, abs=0.1)


def test_lead_lines_lie_where_the_record_says() -> None:
    """Every point of the vector paths that pymupdf finds, back in mm, lies on a curve."""
    panel = panels.arched()
    drawing = drawn(panel)
    page = opened(drawing)
    curve = panel.cames[-1].curve
    assert isinstance(curve, Cubic)
    dashed = [p for p in page.get_drawings() if p["dashes"] not in ("[] 0", "")]
    places = [
        Point(q.x * MM_PER_PT + drawing.page_mm[0], drawing.page_mm[3] - q.y * MM_PER_PT)
        for path in dashed
        for item in path["items"]
        if item[0] in ("l", "c")
        for q in (item[1], item[-1])
    ]
    lines = [LineString(came.curve.points(1e-4)) for came in panel.cames]
    on_panel = [p for p in places if p.y > -10.0]
    assert len(on_panel) > 20
    assert max(min(line.distance(p) for line in lines) for p in on_panel) < 0.01


def test_words_of_the_sheet() -> None:
    page = opened(drawn(panels.two_by_two()))
    said = " ".join(page.get_text().split())
    for needed in (
        "n4 3b", "Seen from inside", "scale 1:1", "Measure before use", "lengths must be 100 mm",
        "100 mm check length", "never fitted", "Lead dust",
    ):  # fmt: skip
        assert needed in said, needed


def test_numbers_lie_in_their_pieces_and_clear_of_the_leads() -> None:
    panel = panels.mosaic(60, 300.0, 300.0)
    drawing = drawn(panel)
    spans = [
        span
        for block in opened(drawing).get_text("dict")["blocks"]
        for line in block.get("lines", ())
        for span in line["spans"]
        if span["text"].isdigit() and "Bold" in span["font"]
    ]
    assert sorted(int(s["text"]) for s in spans) == list(range(1, len(panel.pieces) + 1))
    for span in spans:
        x0, y0, x1, y1 = (v * MM_PER_PT for v in span["bbox"])
        middle = Point((x0 + x1) / 2 + drawing.page_mm[0], drawing.page_mm[3] - (y0 + y1) / 2)
        assert panel.pieces[int(span["text"]) - 1].sight_outline.contains(middle)


@pytest.mark.parametrize("sweep_deg", [-360.0, -200.0, 5.0, 91.0, 360.0])
def test_arcs_are_followed_to_a_thousandth_over_a_metre(sweep_deg: float) -> None:
    arc = Arc((10.0, -20.0), 1000.0, 33.0, sweep_deg)
    control = [arc.start]
    for part in arc_curves(arc):
        control += part
    radii = np.hypot(*(Cubic(tuple(control)).points(1e-4) - np.array(arc.centre)).T)
    assert np.abs(radii - 1000.0).max() < 0.001
    assert math.dist(control[-1], arc.end) < 1e-6


@given(st.floats(-2e6, 2e6) | st.floats(-1.0, 1.0) | st.sampled_from([0.0, 10.0, 999.99999999]))
def test_numbers_are_written_as_the_library_writes_them(number: float) -> None:
    assert numbers_text((number, 1.0)) == fp_str(number, 1.0)


def test_paths_are_written_as_the_library_writes_them() -> None:
    bends = Cubic(tuple((10.0 * k, 3.5 * (k % 3)) for k in range(7)))
    corners = ((0.0, 0.0), (4.0, 0.25), (1 / 3, 5.0))
    for mark in (
        Stroke("", Line((0.0, 1.0), (2.0, 3.5))),
        Stroke("", bends),
        Stroke("", Arc((1.0, 2.0), 3.0, 30.0, -133.3)),
        circle("", (1.0, 2.0), 3.0),
        Outline("", corners),
        Outline("", corners, filled=True),
    ):
        canvas = Canvas(io.BytesIO(), pageCompression=0, invariant=1)
        path = canvas.beginPath()
        if isinstance(mark, Outline):
            path.moveTo(*corners[0])
            for corner in corners[1:]:
                path.lineTo(*corner)
            path.close()
        else:
            path.moveTo(*mark.curve.start)
            match mark.curve:
                case Line(_, end):
                    path.lineTo(*end)
                case Cubic(control):
                    path.curveTo(*control[1], *control[2], *control[3])
                    path.curveTo(*control[4], *control[5], *control[6])
                case Arc() as arc:
                    for first, second, end in arc_curves(arc):
                        path.curveTo(*first, *second, *end)
                    if arc.sweep_deg == 360.0:
                        path.close()
        canvas.drawPath(path, fill=int(isinstance(mark, Outline) and mark.filled))
        assert path_operators(mark) == canvas.getCurrentPageContent()


@pytest.mark.parametrize("angle_deg", [0.0, 33.0])
def test_texts_are_written_as_the_library_writes_them(angle_deg: float) -> None:
    said, size_mm = "(Ü) \\ – 12", 3.0 / 0.718
    canvas = Canvas(io.BytesIO(), pageCompression=0, invariant=1)
    canvas.translate(1.0, 2.5)
    canvas.rotate(angle_deg)
    canvas.setFillGray(1.0)
    mark = Text("", (1.0, 2.5), said, 3.0, Anchor.RIGHT, angle_deg, bold=True, patch=True)
    x_min, y_min, x_max, y_max = mark.patch_mm
    canvas.rect(x_min, y_min, x_max - x_min, y_max - y_min, stroke=0, fill=1)
    canvas.setFillColorRGB(1.0, 0.0, 51 / 255)
    canvas.setFont("Helvetica-Bold", size_mm)
    canvas.drawString(-canvas.stringWidth(said, "Helvetica-Bold", size_mm), 0.0, said)
    expected = canvas.getCurrentPageContent()
    assert text_operators(mark, (255, 0, 51), "/F2") == f"q\n{expected}\nQ"


def test_a_page_larger_than_pdf_allows_is_refused() -> None:
    """ISO 32000-1 allows 14,400 units, 5080 mm."""
    pdf_bytes(drawn(panels.two_by_two(4900.0, 400.0)))
    with pytest.raises(OutputNotWritten, match=r"5\d\d\d x \d+ mm.*5080 mm.*scale"):
        pdf_bytes(drawn(panels.two_by_two(5100.0, 400.0)))


def test_names_outside_the_standard_type_lose_only_their_accents() -> None:
    page = opened(drawn(replace(panels.two_by_two(), name="ŻÓŁW 東 1a")))
    assert "ZÓ?W ? 1a" in page.get_text()
