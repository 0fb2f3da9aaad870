"""The neutral drawing: layers, numbers clear of leads, title block, check lengths."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
import shapely
from shapely.affinity import rotate
from shapely.geometry import MultiPolygon, Point, Polygon

from rubbing2pattern.documents.drawing import (
    Drawing,
    Outline,
    Stroke,
    Text,
    layers,
    plain_text,
    text_width_mm,
    wrapped,
)
from rubbing2pattern.documents.drawing.lettering import piece_number, text_box
from rubbing2pattern.documents.drawing.pattern import pattern_drawing
from rubbing2pattern.documents.drawing.width_letters import letter_of, widths_used
from rubbing2pattern.errors import UsageFault
from rubbing2pattern.geometry.curves import Arc, Cubic, Line
from rubbing2pattern.model import Panel, Piece, Rectangle
from rubbing2pattern.options.documents import DocumentOptions
from tests import panels

METRIC = DocumentOptions()
INCHES = DocumentOptions(units="in")
IMAGE = {"image": {"name": "n4 3b.jpg"}}
ALL = panels.one_of_each()


def texts(drawing: Drawing, layer: str) -> list[Text]:
    return [mark for mark in drawing.on(layer) if isinstance(mark, Text)]


def words(drawing: Drawing) -> str:
    return " ".join(m.text for m in drawing.marks if isinstance(m, Text))


@pytest.mark.parametrize("panel", ALL, ids=lambda p: p.name)
def test_every_mark_lies_on_a_known_layer_and_on_the_page(panel: Panel) -> None:
    drawing = pattern_drawing(panel, IMAGE, METRIC)
    x_min, y_min, x_max, y_max = drawing.page_mm
    page = shapely.box(x_min + 7.9, y_min + 7.9, x_max - 7.9, y_max - 7.9)
    names = {layer.name for layer in drawing.layers}
    for mark in drawing.marks:
        assert mark.layer in names
        match mark:
            case Stroke():
                shape = shapely.linestrings(mark.curve.points())
            case Outline():
                shape = Polygon(mark.points)
            case Text():
                x, y = mark.at
                low, bottom, high, top = mark.patch_mm
                flat = shapely.box(x + low, y + bottom, x + high, y + top)
                shape = rotate(flat, mark.angle_deg, origin=mark.at)
        assert page.covers(shape), mark


@pytest.mark.parametrize("panel", ALL, ids=lambda p: p.name)
def test_every_piece_has_its_number_clear_of_the_leads(panel: Panel) -> None:
    numbers = texts(pattern_drawing(panel, IMAGE, METRIC), layers.PIECE_NUMBER)
    assert [t.text for t in numbers] == [str(p.number) for p in panel.pieces]
    for piece, text in zip(panel.pieces, numbers, strict=True):
        assert METRIC.least_number_mm <= text.height_mm <= METRIC.number_height_mm
        box = text_box(text.text, text.at, text.height_mm, text.angle_deg)
        assert piece.outline.contains(Point(text.at))
        if text.height_mm > METRIC.least_number_mm:
            assert piece.sight_outline.contains(box)


def sliver(width_mm: float, length_mm: float, angle_deg: float, number: int = 107) -> Piece:
    shape = rotate(shapely.box(0.0, 0.0, length_mm, width_mm), angle_deg)
    seen = shape.buffer(-1.0)
    middle = shape.centroid.coords[0]
    rectangle = Rectangle(length_mm, width_mm, angle_deg)
    return Piece(number, shape, shape, seen, middle, width_mm / 2, rectangle, (), 0.0)


def test_number_is_turned_along_a_sliver() -> None:
    piece = sliver(5.0, 60.0, 70.0)
    text = piece_number(piece, "piece number", METRIC)
    assert text.angle_deg == pytest.approx(70.0)
    assert text.height_mm > 2.0
    assert piece.sight_outline.contains(text_box("107", text.at, text.height_mm, 70.0))


def test_number_is_never_upside_down() -> None:
    for angle_deg in (100.0, 135.0, 179.0, -91.0):
        turned = piece_number(sliver(5.0, 60.0, angle_deg), "piece number", METRIC).angle_deg
        assert -90.0 <= turned < 90.0


def test_number_moves_out_from_under_a_leaf() -> None:
    piece = sliver(30.0, 60.0, 0.0)
    hidden = replace(piece, label_at=(0.5, 15.0))
    text = piece_number(hidden, "piece number", METRIC)
    assert piece.sight_outline.contains(text_box("107", text.at, text.height_mm))


def test_a_piece_without_sight_keeps_its_number() -> None:
    piece = replace(sliver(1.5, 60.0, 0.0), sight_outline=Polygon())
    text = piece_number(piece, "piece number", METRIC)
    assert text.at == piece.label_at
    assert text.height_mm == METRIC.least_number_mm


def test_a_divided_piece_is_numbered_in_its_largest_part() -> None:
    parts = MultiPolygon([shapely.box(0, 0, 10, 10), shapely.box(20, 0, 50, 30)])
    piece = replace(sliver(30.0, 60.0, 0.0), sight_outline=parts, label_at=(15.0, 5.0))
    assert parts.geoms[1].contains(Point(piece_number(piece, "piece number", METRIC).at))


def test_lead_lines_are_the_curves_of_the_cames() -> None:
    panel = panels.arched()
    drawing = pattern_drawing(panel, IMAGE, METRIC)
    length = len(panel.cames)
    curves = [m.curve for m in drawing.on(layers.LEAD_LINE) if isinstance(m, Stroke)]
    assert curves[:length] == [came.curve for came in panel.cames]
    assert {type(c) for c in curves} == {Line, Arc, Cubic}


def test_cut_and_sight_outlines_are_drawn_whole() -> None:
    panel = panels.roundel_in_square()
    drawing = pattern_drawing(panel, IMAGE, METRIC)
    for layer, name in (
        (layers.CUT_OUTLINE, "cut_outline"),
        (layers.SIGHT_OUTLINE, "sight_outline"),
    ):
        rings = [m for m in drawing.on(layer) if isinstance(m, Outline)]
        expected = sum(1 + len(getattr(p, name).interiors) for p in panel.pieces)
        assert len(rings) == expected == 3
        areas = sorted(Polygon(r.points).area for r in rings)
        outer, disc = (getattr(p, name) for p in panel.pieces)
        whole = sorted([Polygon(outer.exterior).area, Polygon(outer.interiors[0]).area, disc.area])
        assert areas == pytest.approx(whole)
    hidden = {layer.name for layer in drawing.layers if not layer.shown}
    assert hidden == {layers.HEART, layers.CUT_OUTLINE, layers.SIGHT_OUTLINE}


def test_heart_is_drawn_as_wide_as_given() -> None:
    """The heart stands for "a full 1/16 inch" (Whall, Stained Glass Work, 1905): 1.6 mm."""
    panel = panels.two_by_two()
    marks = pattern_drawing(panel, IMAGE, METRIC).on(layers.HEART)
    upright = [
        m.curve.start[0]
        for m in marks
        if isinstance(m, Stroke)
        and m.curve.start[0] == pytest.approx(m.curve.end[0])
        and 140.0 < m.curve.start[0] < 160.0
    ]
    assert min(upright) == pytest.approx(149.2)
    assert max(upright) == pytest.approx(150.8)


@pytest.mark.parametrize(("options", "length_mm"), [(METRIC, 100.0), (INCHES, 101.6)])
def test_check_lengths_both_ways(options: DocumentOptions, length_mm: float) -> None:
    drawing = pattern_drawing(panels.two_by_two(), IMAGE, options)
    lines = [m.curve for m in drawing.on(layers.CHECK_LENGTH) if isinstance(m, Stroke)]
    longest = sorted(lines, key=lambda c: c.length_mm)[-2:]
    assert [c.length_mm for c in longest] == pytest.approx([length_mm] * 2)
    across, up = ([abs(a - b) for a, b in zip(c.start, c.end, strict=True)] for c in longest)
    assert {across[0] > 0, up[0] > 0} == {True, False}
    said = "100 mm check length" if options is METRIC else "4 in check length"
    assert [said in t.text for t in texts(drawing, layers.CHECK_LENGTH)] == [True, True]


def test_title_block_says_what_the_bench_must_know() -> None:
    said = words(pattern_drawing(panels.two_by_two(), IMAGE, METRIC))
    for needed in (
        "n4 3b", "Seen from inside", "scale 1:1", "Measure before use", "310.0 × 410.0 mm",
        "±0.04 %", "the edges of the sheet", "Lead dust", "protect eyes", "carry it upright",
        "mask for toxic dust", "asbestos", "fumes of solder", "Glass paint", "Local codes",
        "licensed practice", "DO NOT USE YET: 1 fault", "1 wrong, 1 to check, 1 note", "n4 3b.jpg",
        "5 mm", "6 mm", "10 mm", "1.40 m", "Heart 1.6 mm",
    ):  # fmt: skip
        assert needed in said, needed


def test_an_unstated_side_is_said_to_be_so() -> None:
    drawing = pattern_drawing(panels.roundel_in_square(), {}, METRIC)
    assert "Side of the rubbing: not stated" in words(drawing)
    assert "No findings" in words(drawing)
    assert drawing.subject == "Re-leading pattern at 1:1"


def test_inches_are_not_mixed_with_millimetres() -> None:
    said = words(pattern_drawing(panels.arched(), IMAGE, INCHES))
    assert not re.search(r"\d ?(mm|cm|m)\b", said)
    assert "Heart 1/16 in" in said
    assert "under 1/64 in in" in said


def test_findings_stand_at_their_places() -> None:
    panel = panels.two_by_two()
    drawing = pattern_drawing(panel, IMAGE, METRIC)
    assert [t.text for t in texts(drawing, layers.FINDING)] == ["F1", "F3"]
    triangle, square = (m for m in drawing.on(layers.FINDING) if isinstance(m, Outline))
    assert len(triangle.points) == 3 and len(square.points) == 4
    assert Polygon(triangle.points).centroid.distance(Point(225.0, 240.0)) < 1e-9
    assert Polygon(square.points).centroid.distance(Point(150.0, 240.0)) < 1e-9


def test_letters_of_widths_follow_the_legend() -> None:
    panel = panels.two_by_two()
    uses = widths_used(panel)
    assert [(u.letter, u.stock) for u in uses] == [("A", "5 mm"), ("B", "6 mm"), ("C", "10 mm")]
    lengths = {u.letter: u.length_mm for u in uses}
    assert lengths == pytest.approx({"A": 300.0, "B": 400.0, "C": 1400.0})
    marked = texts(pattern_drawing(panel, IMAGE, METRIC), layers.WIDTH_LETTER)
    for text in marked:
        near = min(panel.cames, key=lambda c: shapely.linestrings(c.path).distance(Point(text.at)))
        assert near.id in {c.id for c in next(u for u in uses if u.letter == text.text).cames}
    assert len(marked) == len(panel.cames) - 1  # one has a finding in its middle


def test_many_widths_have_letters_of_their_own() -> None:
    assert [letter_of(k) for k in (0, 25, 26, 27, 52, 701, 702)] == [
        "A", "Z", "AA", "AB", "BA", "ZZ", "AAA",
    ]  # fmt: skip


@pytest.mark.parametrize(
    "name", ["x" * 300, "a name of many words " * 9, "n4\n3b\x00", "ŻÓŁĆ 東 1a"]
)
def test_odd_names_stay_inside_the_title_block(name: str) -> None:
    drawing = pattern_drawing(replace(panels.two_by_two(), name=name), IMAGE, METRIC)
    left = max(m.points[0][0] for m in drawing.on(layers.SHEET_FRAME) if isinstance(m, Outline))
    divider = min(
        m.curve.start[0]
        for m in drawing.on(layers.SHEET_FRAME)
        if isinstance(m, Stroke) and m.curve.start[0] == m.curve.end[0]
    )
    large = [t for t in texts(drawing, layers.PANEL_NOTE) if t.bold and t.height_mm >= 3.0]
    assert large
    for text in large:
        assert left < text.at[0]
        assert text.at[0] + text_width_mm(text.text, text.height_mm, bold=True) < divider + 0.1
        assert "\n" not in text.text and "\x00" not in text.text


def test_plain_text() -> None:
    assert plain_text(" a\tb\r\nc\x07d\u200be ") == "a b cde"


def test_wrapping_keeps_every_word_and_the_width() -> None:
    text = "Lead dust and old cement are poisonous, Donaudampfschifffahrtsgesellschaft too"
    lines = wrapped(text, 40.0, 2.0)
    assert "".join(lines).replace(" ", "") == text.replace(" ", "")
    assert all(text_width_mm(line, 2.0) <= 40.0 for line in lines)


def test_options_refuse_what_no_document_can_have() -> None:
    for bad in ({"units": "cm"}, {"fraction": 10}, {"margin_mm": 1.0}, {"least_number_mm": 5.0,
                "number_height_mm": 3.0}):  # fmt: skip
        with pytest.raises(UsageFault):
            DocumentOptions(**bad)  # type: ignore[arg-type]


def test_a_very_long_word_is_broken_where_its_letters_fill_the_line() -> None:
    word = "".join("iWm—x"[k * k % 5] for k in range(20_000))
    lines = wrapped(f"a {word} b", 40.0, 2.0)
    assert " ".join(lines).replace(" ", "") == f"a{word}b"
    assert all(text_width_mm(line, 2.0) <= 40.0 for line in lines)
    inside = lines[1:-2]
    assert all(
        text_width_mm(line + after[0], 2.0) > 40.0
        for line, after in zip(inside, lines[2:], strict=False)
    )
    assert wrapped("mm", 0.5, 2.0) == ("m", "m"), "a letter that is too wide stands alone"
