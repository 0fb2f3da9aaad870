"""SVG, rendered by resvg and by cairosvg and measured in the pictures."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Callable
from dataclasses import replace

import cairosvg
import numpy as np
import pytest
import resvg_py
from shapely.geometry import Point

from rubbing2pattern.documents.drawing import Drawing, Text, layers
from rubbing2pattern.documents.drawing.pattern import pattern_drawing
from rubbing2pattern.documents.formats.svg import svg_text
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions
from tests import panels
from tests.documents.measuring import darkness, line_at

OPTIONS = DocumentOptions()
PX_PER_MM = 5.0
DPI = PX_PER_MM * 25.4
NAMESPACE = {"s": "http://www.w3.org/2000/svg"}


def drawn(panel: Panel) -> Drawing:
    return pattern_drawing(panel, {}, OPTIONS)


def with_resvg(svg: str) -> bytes:
    return bytes(resvg_py.svg_to_bytes(svg_string=svg, dpi=DPI, sans_serif_family="DejaVu Sans"))


def with_cairo(svg: str) -> bytes:
    return bytes(cairosvg.svg2png(bytestring=svg.encode(), dpi=DPI))


@pytest.mark.parametrize("render", [with_resvg, with_cairo])
def test_a_metre_and_both_check_lengths_measure_true(render: Callable[[str], bytes]) -> None:
    """Widths in the picture, in mm of the viewBox (W3C SVG 1.1), within 0.1 mm."""
    panel = panels.two_by_two(990.0, 120.0)
    drawing = drawn(panel)
    picture = darkness(render(svg_text(drawing)))
    assert picture.shape[1] == pytest.approx(drawing.width_mm * PX_PER_MM, abs=1.0)
    assert picture.shape[0] == pytest.approx(drawing.height_mm * PX_PER_MM, abs=1.0)

    def x_px(x_mm: float) -> float:
        return (x_mm - drawing.page_mm[0]) * PX_PER_MM

    def y_px(y_mm: float) -> float:
        return (drawing.page_mm[3] - y_mm) * PX_PER_MM

    row = picture[round(y_px(30.0))]
    rim = [line_at(row, x_px(x), 8) for x in (-5.0, 995.0)]
    assert (rim[1] - rim[0]) / PX_PER_MM == pytest.approx(1000.0, abs=0.1)
    assert rim[0] / PX_PER_MM + drawing.page_mm[0] == pytest.approx(-5.0, abs=0.1)
    column = picture[:, round(x_px(100.0))]
    rim = [line_at(column, y_px(y), 8) for y in (-5.0, 125.0)]
    assert (rim[0] - rim[1]) / PX_PER_MM == pytest.approx(130.0, abs=0.1)
    # Only the end ticks of the check lengths reach 1.8 mm to the side.
    row = picture[round(y_px(-5.0 - 9.6 + 1.8))]
    ticks = [line_at(row, x_px(x), 8) for x in (-5.0, 95.0)]
    assert (ticks[1] - ticks[0]) / PX_PER_MM == pytest.approx(100.0, abs=0.1)
    column = picture[:, round(x_px(-5.0 - 9.6 + 1.8))]
    ticks = [line_at(column, y_px(y), 8) for y in (-5.0, 95.0)]
    assert (ticks[0] - ticks[1]) / PX_PER_MM == pytest.approx(100.0, abs=0.1)


@pytest.mark.parametrize("render", [with_resvg, with_cairo])
def test_arcs_bulge_to_the_right_side(render: Callable[[str], bytes]) -> None:
    panel = panels.arched(160.0)
    for turned in (panel.cames[0].curve, panel.cames[0].curve.reversed()):
        cames = (replace(panel.cames[0], curve=turned), *panel.cames[1:])
        drawing = drawn(replace(panel, cames=cames))
        picture = darkness(render(svg_text(drawing)))
        top_mm = panel.height_mm + 4.75
        x_px = (78.0 - drawing.page_mm[0]) * PX_PER_MM
        column = picture[:, round(x_px)]
        expected = (drawing.page_mm[3] - top_mm) * PX_PER_MM
        assert line_at(column, expected, 6) / PX_PER_MM == pytest.approx(
            expected / PX_PER_MM, abs=0.15
        )


def test_size_is_in_millimetres_and_groups_have_trade_names() -> None:
    drawing = drawn(panels.two_by_two())
    root = ET.fromstring(svg_text(drawing))
    assert float(root.attrib["width"].removesuffix("mm")) == pytest.approx(
        drawing.width_mm, abs=1e-3
    )
    assert float(root.attrib["height"].removesuffix("mm")) == pytest.approx(
        drawing.height_mm, abs=1e-3
    )
    box = [float(n) for n in root.attrib["viewBox"].split()]
    assert box[2:] == pytest.approx([drawing.width_mm, drawing.height_mm], abs=1e-3)
    groups = root.findall("s:g", NAMESPACE)
    assert [g.findtext("s:title", None, NAMESPACE) for g in groups] == [
        layer.name for layer in layers.LAYERS
    ]
    hidden = {g.attrib["id"] for g in groups if g.attrib.get("display") == "none"}
    assert hidden == {"heart", "cut-outline", "sight-outline"}


def test_numbers_lie_in_their_pieces() -> None:
    panel = panels.mosaic(60, 300.0, 300.0)
    drawing = drawn(panel)
    root = ET.fromstring(svg_text(drawing))
    group = root.find("s:g[@id='piece-number']", NAMESPACE)
    assert group is not None
    texts = group.findall("s:text", NAMESPACE)
    assert len(texts) == len(panel.pieces)
    for text in texts:
        size = float(text.attrib["font-size"])
        x, y = float(text.attrib["x"]), float(text.attrib["y"]) - 0.3 * size
        place = Point(x, drawing.page_mm[3] - y)
        assert panel.pieces[int(text.text or "0") - 1].outline.contains(place)


def test_letters_are_as_high_as_asked_for() -> None:
    """The figure 1 is as high as a capital; it is measured in resvg's picture."""
    panel = panels.strapped()
    drawing = drawn(panel)
    picture = darkness(
        bytes(
            resvg_py.svg_to_bytes(
                svg_string=svg_text(drawing), dpi=2 * DPI, sans_serif_family="DejaVu Sans"
            )
        )
    )
    (text,) = drawing.on(layers.PIECE_NUMBER)
    assert isinstance(text, Text)
    column = (text.at[0] - drawing.page_mm[0]) * 2 * PX_PER_MM
    row = (drawing.page_mm[3] - text.at[1]) * 2 * PX_PER_MM
    part = picture[round(row) - 50 : round(row) + 50, round(column) - 30 : round(column) + 30]
    rows = np.flatnonzero(part.max(axis=1) > 0.5)
    assert (rows[-1] - rows[0] + 1) / (2 * PX_PER_MM) == pytest.approx(6.0, abs=0.25)


def test_names_are_escaped() -> None:
    panel = replace(panels.strapped(), name="<b>&\"'\x01 東")
    root = ET.fromstring(svg_text(drawn(panel)))
    assert root.findtext("s:title", None, NAMESPACE) == "Panel <b>&\"' 東"
