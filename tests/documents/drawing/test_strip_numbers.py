"""Numbers of strips beside the leads: the right lead, room around them, in every format."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from shapely.geometry import LineString, Point as ShapelyPoint

from rubbing2pattern.documents import document_files
from rubbing2pattern.documents.drawing import Text, layers
from rubbing2pattern.documents.drawing.lettering import text_box
from rubbing2pattern.documents.drawing.pattern import PanelMarks, panel_marks
from rubbing2pattern.findings import Code, Finding, Severity
from rubbing2pattern.leading import LeadPlan, plan_lead
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.options.leading import LeadingOptions
from rubbing2pattern.options.paper import PaperOptions
from tests import panels

METRIC = DocumentOptions()
EACH = pytest.mark.parametrize("panel", panels.one_of_each(), ids=lambda panel: panel.name)


def drawn(panel: Panel, *, mirrored: bool = False) -> tuple[LeadPlan, PanelMarks]:
    plan = plan_lead(panel, LeadingOptions())
    return plan, panel_marks(panel, METRIC, mirrored=mirrored, strips=plan.strips)


def numbers(marks: PanelMarks) -> dict[int, Text]:
    found = [m for m in marks.marks if isinstance(m, Text) and m.layer == layers.STRIP_NUMBER]
    by_number = {int(m.text.removeprefix("S")): m for m in found}
    assert len(by_number) == len(found), "every number stands once"
    return by_number


@EACH
def test_each_number_stands_by_its_own_strip_and_clear_of_leads_and_numbers(panel: Panel) -> None:
    plan, marks = drawn(panel)
    placed = numbers(marks)
    strips = {strip.number: strip for strip in plan.strips}
    boxes = {n: text_box(t.text, t.at, t.height_mm, t.angle_deg) for n, t in placed.items()}
    lines = {came.id: LineString(came.path) for came in panel.cames}
    for number, text in placed.items():
        at = ShapelyPoint(text.at)
        nearest = min(lines, key=lambda name: lines[name].distance(at))
        assert nearest in strips[number].cames
        assert any(piece.sight_outline.contains(boxes[number]) for piece in panel.pieces)
        assert -90.0 < text.angle_deg <= 90.0
        assert METRIC.least_number_mm <= text.height_mm <= 1.8
    for one, other in combinations(boxes.values(), 2):
        assert not one.intersects(other)
    of_pieces = [m for m in marks.marks if isinstance(m, Text) and m.layer == layers.PIECE_NUMBER]
    for text in of_pieces:
        room = text_box(text.text, text.at, text.height_mm, text.angle_deg)
        assert not any(room.intersects(box) for box in boxes.values())


@EACH
def test_nearly_every_strip_has_one_and_none_that_is_not_cut(panel: Panel) -> None:
    plan, marks = drawn(panel)
    placed = numbers(marks)
    cut = [strip.number for strip in plan.strips if not strip.covered]
    assert {*placed} <= {*cut}
    assert len(placed) >= 0.9 * len(cut)


def test_a_number_keeps_clear_of_findings() -> None:
    panel = panels.two_by_two()
    plan, before = drawn(panel)
    places = numbers(before)
    doubts = tuple(
        Finding(Code.BRIDGED_GAP, Severity.CHECK, "Look.", t.at) for t in places.values()
    )
    _, after = drawn(replace(panel, findings=doubts))
    for text in numbers(after).values():
        assert min(math.dist(text.at, finding.at) for finding in doubts if finding.at) > 2.0
    assert len(numbers(after)) == len(plan.strips)


def test_mirrored_the_numbers_go_with_their_leads() -> None:
    panel = panels.mosaic(30, 300.0, 400.0)
    plain, over = (numbers(drawn(panel, mirrored=mirrored)[1]) for mirrored in (False, True))
    assert plain.keys() == over.keys()
    for number, text in plain.items():
        x, y = over[number].at
        assert np.allclose((panel.width_mm - x, y), text.at)


def test_all_formats_have_them_on_a_layer_of_their_own() -> None:
    panel = panels.two_by_two()
    files = document_files(panel, None, {}, METRIC, PaperOptions())
    plan = plan_lead(panel, LeadingOptions())
    names = {f"S{strip.number}" for strip in plan.strips}
    assert layers.STRIP_NUMBER in {layer.name for layer in layers.LAYERS if layer.shown}
    svg = files["pattern.svg"].decode()
    assert {*re.findall(r">(S\d+)<", svg)} == names
    dxf = files["pattern.dxf"].decode()
    assert all(f"\n{name}\n" in dxf.replace("\r", "") for name in names)
    assert "beside the leads" in svg, "the legend says what they are"
    without = panel_marks(panel, METRIC)
    assert not without.with_strips
