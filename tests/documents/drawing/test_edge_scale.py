"""The scale along the edges, lines and ids on wish: what they say is where it says."""

from __future__ import annotations

import math
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest
import shapely
from PIL import Image
from shapely.geometry import Point

from rubbing2pattern.documents.drawing import Drawing, Stroke, Text, bounds_of
from rubbing2pattern.documents.drawing.edge_scale import ticks
from rubbing2pattern.documents.drawing.layers import CAME_ID, CUT_OUTLINE, EDGE_SCALE, JOINT_ID
from rubbing2pattern.documents.drawing.pattern import panel_marks, pattern_drawing
from rubbing2pattern.documents.formats.scale_on_picture import draw_scale
from rubbing2pattern.documents.formats.svg import svg_text
from rubbing2pattern.documents.tiles import tile_drawings
from rubbing2pattern.errors import UsageFault
from rubbing2pattern.geometry.frame import Frame
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.options.paper import PaperOptions
from tests import panels

METRIC, INCHES = DocumentOptions(), DocumentOptions(units="in")
PANEL = panels.mosaic(40, 300.0, 400.0)


def labels(drawing: Drawing) -> list[Text]:
    return [mark for mark in drawing.on(EDGE_SCALE) if isinstance(mark, Text)]


@pytest.mark.parametrize("options", [METRIC, INCHES])
@pytest.mark.parametrize("mirrored", [False, True])
def test_every_label_stands_at_its_place_in_the_frame_of_messages(
    options: DocumentOptions, mirrored: bool
) -> None:
    drawing = pattern_drawing(PANEL, {}, options, mirrored=mirrored)
    unit_mm = 25.4 if options.units == "in" else 1.0
    found = labels(drawing)
    assert found
    for label in found:
        value_mm = float(label.text) * unit_mm
        if label.angle_deg:
            assert label.at[1] == pytest.approx(value_mm, abs=1e-9)
        else:
            x = PANEL.width_mm - label.at[0] if mirrored else label.at[0]
            assert x == pytest.approx(value_mm, abs=1e-9)
    least = 12 if options.units == "mm" else 20
    assert len({label.text for label in found}) >= least - 4
    at = {mark.curve.start for mark in drawing.on(EDGE_SCALE) if isinstance(mark, Stroke)}
    assert len(at) > 200


def test_a_tile_counts_as_the_whole_and_its_labels_are_clear() -> None:
    paper = PaperOptions(papers=("A4",))
    (sheet,) = paper.sheets("mm")
    pages = tile_drawings(panel_marks(PANEL, METRIC), PANEL, {}, METRIC, paper, sheet)
    counted = 0
    for page in pages[1:]:
        others = [
            mark
            for mark in page.marks
            if isinstance(mark, Text) and mark.layer != EDGE_SCALE and mark.text.startswith("to ")
        ]
        assert page.window_mm is not None
        for label in labels(page):
            counted += 1
            place = label.at[1] if label.angle_deg else label.at[0]
            assert place == pytest.approx(float(label.text), abs=1e-9)
            assert not shapely.box(*page.window_mm).contains(Point(label.at))
            for other in others:
                assert not shapely.box(*bounds_of(other)).intersects(shapely.box(*bounds_of(label)))
    assert counted > 10


def test_ticks_of_a_picture_lie_on_their_places() -> None:
    """Of the columns of the upper edge those are black at which a tick should be."""
    frame = Frame(3.0, -15.0, 421.5, 900, 1300)
    picture = Image.new("RGB", (frame.width_px, frame.height_px), (128, 128, 128))
    draw_scale(picture, frame, "mm")
    black = np.flatnonzero((np.asarray(picture)[0] < 20).all(axis=1))
    x_min, _, x_max, _ = frame.bounds_mm
    expected = [
        frame.to_px([(5.0 * k, 0.0)])[0][0]
        for k in range(math.ceil(x_min / 5.0), math.floor(x_max / 5.0) + 1)
    ]
    assert len(black) == pytest.approx(len(expected), abs=1)
    assert all(np.abs(black - x).min() <= 0.51 for x in expected[1:-1])


def test_a_small_drawing_has_fewer_ticks() -> None:
    assert [len([*ticks(0.0, 1000.0, "mm", k)]) for k in (1.0, 5.0, 20.0)] == [201, 101, 21]
    assert [t.label for t in ticks(-1.0, 1001.0, "mm", 8.0) if t.label] == ["0", "500", "1000"]


def test_without_a_scale_nothing_of_it_is_drawn() -> None:
    assert not pattern_drawing(PANEL, {}, replace(METRIC, edge_scale=False)).on(EDGE_SCALE)


@pytest.mark.parametrize("lines", [(), ("heart",), ("heart", "cut"), ("cut", "sight")])
def test_lines_on_wish_are_shown_and_named(lines: tuple[str, ...]) -> None:
    names = {"heart": "heart", "cut": "cut-outline", "sight": "sight-outline"}
    drawing = pattern_drawing(PANEL, {}, replace(METRIC, lines=lines))
    root = ElementTree.fromstring(svg_text(drawing))
    hidden = {g.get("id") for g in root if g.get("display") == "none"}
    assert hidden == {names[name] for name in {*names} - {*lines}}
    said = {mark.text for mark in drawing.marks if isinstance(mark, Text)}
    for name, word in (("heart", "heart"), ("cut", "cut line"), ("sight", "sight line")):
        assert (word in said) is (name in lines)
    # What a cutter follows is glass alone, with or without a sample in the legend.
    assert len(drawing.on(CUT_OUTLINE)) == len(pattern_drawing(PANEL, {}, METRIC).on(CUT_OUTLINE))


def test_ids_on_wish_name_every_came_and_joint_beside_it() -> None:
    drawing = pattern_drawing(PANEL, {}, replace(METRIC, ids=("came", "joint")))
    cames = {mark.text: mark for mark in drawing.on(CAME_ID) if isinstance(mark, Text)}
    joints = {mark.text: mark for mark in drawing.on(JOINT_ID) if isinstance(mark, Text)}
    assert set(cames) == {came.id for came in PANEL.cames}
    assert set(joints) == {joint.id for joint in PANEL.joints}
    for came in PANEL.cames:
        away = shapely.LineString(came.path).distance(Point(cames[came.id].at))
        assert away < 0.5 * came.face_width_mm + 2.5
    for joint in PANEL.joints:
        assert math.dist(joints[joint.id].at, (joint.x_mm, joint.y_mm)) < 15.0
    boxes = [shapely.box(*bounds_of(m)) for m in (*cames.values(), *joints.values()) if not m.patch]
    meeting = shapely.STRtree(boxes).query(boxes, predicate="overlaps")
    assert meeting.size == 0
    assert not pattern_drawing(PANEL, {}, METRIC).on(CAME_ID)


@pytest.mark.parametrize(("name", "text"), [("lines", "hart"), ("ids", "piece")])
def test_an_unknown_line_or_id_is_refused_with_the_known_ones(name: str, text: str) -> None:
    with pytest.raises(UsageFault, match=rf"{name} has '{text}', but takes .*; write it like"):
        DocumentOptions(**{name: (text,)})
