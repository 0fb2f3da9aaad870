"""DXF, read back with ezdxf and audited by it."""

from __future__ import annotations

import io
import math
from dataclasses import replace

import ezdxf
import numpy as np
import pytest
from ezdxf.document import Drawing as Document
from ezdxf.enums import TextEntityAlignment
from ezdxf.lldxf.tagwriter import TagWriter
from shapely.geometry import LineString, Point, Polygon

from docs.dxf_frame import (
    FRAME,
    add_layer,
    fixed_metadata,
    frame_text,
    look_at,
    new_document,
    written,
)
from rubbing2pattern.documents.drawing import (
    Anchor,
    Drawing,
    Layer,
    Mark,
    Outline,
    Stroke,
    Text,
    circle,
    layers,
)
from rubbing2pattern.documents.drawing.pattern import pattern_drawing
from rubbing2pattern.documents.formats.dxf import dxf_text
from rubbing2pattern.geometry.curves import Arc, Cubic, Line
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions
from tests import panels
from tests.running import python

OPTIONS = DocumentOptions()
ENTITIES = "  2\nENTITIES\n"


def read(panel: Panel) -> Document:
    return ezdxf.read(io.StringIO(dxf_text(pattern_drawing(panel, {}, OPTIONS))))


@pytest.mark.parametrize(
    "panel",
    [
        panels.two_by_two(),
        panels.roundel_in_square(),
        panels.arched(),
        panels.strapped(),
        panels.mosaic(60, 300.0, 300.0),
        replace(panels.two_by_two(), name="Ü%%u^J <1> \\P {a} 東"),
    ],
    ids=lambda p: p.name,
)
def test_audit_finds_nothing_to_report_or_mend(panel: Panel) -> None:
    audit = read(panel).audit()
    assert [e.message for e in audit.errors] == []
    assert [e.message for e in audit.fixes] == []


def test_units_and_layers() -> None:
    """DXF reference: $INSUNITS 4 is millimetres, $MEASUREMENT 1 is metric."""
    document = read(panels.two_by_two())
    assert document.header["$INSUNITS"] == 4
    assert document.header["$MEASUREMENT"] == 1
    for layer in layers.LAYERS:
        entry = document.layers.get(layer.name)
        assert entry.is_on() is layer.shown
        assert entry.dxf.lineweight == round(100 * layer.weight_mm)
    assert document.layers.get("lead line").dxf.linetype == "DASH-DOT"
    used = {entity.dxf.layer for entity in document.modelspace()}
    assert used <= {layer.name for layer in layers.LAYERS}
    assert {"lead line", "face", "heart", "cut outline", "sight outline", "piece number", "joint",
            "border", "finding", "panel note", "check length"} <= used  # fmt: skip


def test_curves_come_as_such() -> None:
    panel = panels.arched()
    space = read(panel).modelspace()
    kinds = {e.dxftype() for e in space.query('*[layer=="lead line"]')}
    assert kinds == {"LINE", "ARC", "SPLINE"}
    (arc,) = [e for e in space.query("ARC") if e.dxf.layer == "lead line"]
    curve = panel.cames[0].curve
    assert isinstance(curve, Arc)
    ends = sorted((tuple(arc.start_point.xyz[:2]), tuple(arc.end_point.xyz[:2])))
    assert np.allclose(ends, sorted((curve.start, curve.end)), atol=1e-9)
    # Circular segment (Machinery's Handbook): chord 2 r sin(t/2), rise r (1 - cos(t/2)).
    turn = math.radians((arc.dxf.end_angle - arc.dxf.start_angle) % 360.0)
    assert math.dist(*ends) == pytest.approx(2 * arc.dxf.radius * math.sin(turn / 2))
    rise = arc.dxf.center.y + arc.dxf.radius - 300.0
    assert rise == pytest.approx(arc.dxf.radius * (1 - math.cos(turn / 2)))


def test_splines_are_the_cubic_curves_themselves() -> None:
    panel = panels.arched()
    (spline,) = [e for e in read(panel).modelspace().query("SPLINE") if e.dxf.layer == "lead line"]
    curve = panel.cames[-1].curve
    assert isinstance(curve, Cubic)
    line = LineString(curve.points(1e-5))
    tool = spline.construction_tool()
    along = [Point(p.x, p.y) for p in tool.approximate(200)]
    assert max(line.distance(p) for p in along) < 1e-4
    assert list(tool.points([0.0, 1.0, 2.0]))[1].xyz[:2] == pytest.approx(curve.control[3])


def test_ring_is_a_circle() -> None:
    space = read(panels.roundel_in_square()).modelspace()
    circles = [e for e in space.query("CIRCLE") if e.dxf.layer == "lead line"]
    assert [(c.dxf.center.x, c.dxf.center.y, c.dxf.radius) for c in circles] == [
        (120.0, 120.0, 60.0)
    ]


def test_clockwise_arcs_keep_their_side() -> None:
    panel = panels.arched()
    turned = replace(panel.cames[0], curve=panel.cames[0].curve.reversed())
    space = read(replace(panel, cames=(turned, *panel.cames[1:]))).modelspace()
    (arc,) = [e for e in space.query("ARC") if e.dxf.layer == "lead line"]
    turn = (arc.dxf.end_angle - arc.dxf.start_angle) % 360.0
    assert turn == pytest.approx(140.0)
    assert arc.dxf.start_angle == pytest.approx(20.0)


def test_cut_outlines_keep_their_areas() -> None:
    panel = panels.two_by_two()
    space = read(panel).modelspace()
    cut = [e for e in space.query("LWPOLYLINE") if e.dxf.layer == "cut outline"]
    assert all(e.closed for e in cut)
    areas = [Polygon(e.get_points("xy")).area for e in cut]
    assert areas == pytest.approx([p.cut_area_mm2 for p in panel.pieces])


def test_numbers_lie_in_their_pieces() -> None:
    panel = panels.mosaic(60, 300.0, 300.0)
    texts = read(panel).modelspace().query('TEXT[layer=="piece number"]')
    assert len(texts) == len(panel.pieces)
    for text in texts:
        piece = panel.pieces[int(text.dxf.text) - 1]
        assert piece.outline.contains(Point(text.dxf.align_point.x, text.dxf.align_point.y))


def test_same_drawing_same_bytes_in_every_process() -> None:
    program = (
        "import sys, hashlib\n"
        "from tests import panels\n"
        "from rubbing2pattern.documents import document_files\n"
        "from rubbing2pattern.options.documents import DocumentOptions\n"
        "files = document_files(panels.arched(), None, {}, DocumentOptions())\n"
        "print([(n, hashlib.sha256(b).hexdigest()) for n, b in sorted(files.items())])\n"
    )
    said = {
        python("-c", program, PYTHONHASHSEED=seed, TZ=zone, PATH="").stdout
        for seed, zone in (("1", "UTC"), ("2", "Asia/Tokyo"), ("4", "UTC"), ("7", "UTC"))
    }
    assert len(said) == 1
    assert "pattern.dxf" in said.pop()


def test_entities_are_as_the_library_writes_them() -> None:
    """Every kind of mark, the same tags in the same order as ezdxf has them."""
    bends = Cubic(tuple((10.0 * k, 3.5 * (k % 3)) for k in range(7)))
    corners = ((0, 0), (4, 0.25), (1 / 3, 5))
    marks: tuple[Mark, ...] = (
        Stroke("one", Line((0, 1), (-0.0, 2.5))),
        Stroke("one", Arc((1, 2), 3, 30.0, -400.0 / 3)),
        circle("one", (1, 2), 3),
        Stroke("one", bends),
        Outline("one", corners),
        Outline("one", corners, filled=True),
        *(Text("one", (1, 2), "12", 3, anchor) for anchor in Anchor),
        Text("one", (1, 2), "turned", 2.5, Anchor.CENTRE, 12.5),
    )
    written = dxf_text(Drawing("", "", (0.0, 0.0, 9.0, 9.0), (Layer("one", 0.3),), marks))
    space, like = ezdxf.read(io.StringIO(written)).modelspace(), {"layer": "one"}
    handles = iter([e.dxf.handle for e in space])
    expected = ezdxf.new("R2010")
    owner = expected.modelspace()
    owner.add_line((0, 1), (-0.0, 2.5), like)
    owner.add_arc((1, 2), 3, (30.0 - 400.0 / 3) % 360.0, 30.0, dxfattribs=like)
    owner.add_circle((1, 2), 3, like)
    spline = owner.add_open_spline(bends.control, 3, dxfattribs=like)
    spline.knots = [0.0, 0.0, 0.0, 0.0, 1.0, 1.0, 1.0, 2.0, 2.0, 2.0, 2.0]
    for filled in (False, True):
        owner.add_lwpolyline(corners, close=True, dxfattribs=like)
        if filled:
            owner.add_hatch(dxfattribs=like).paths.add_polyline_path(corners, is_closed=True)
    letters = {**like, "style": "LETTERING"}
    middle = TextEntityAlignment.MIDDLE_CENTER
    for align in (TextEntityAlignment.LEFT, middle, TextEntityAlignment.RIGHT):
        owner.add_text("12", height=3, dxfattribs=letters).set_placement((1, 2), align=align)
    turned = owner.add_text("turned", height=2.5, rotation=12.5, dxfattribs=letters)
    turned.set_placement((1, 2), align=middle)
    for entity in owner:
        entity.dxf.handle = next(handles)
    tags = io.StringIO()
    owner.entity_space.export_dxf(TagWriter(tags, expected.dxfversion))
    assert tags.getvalue() in written


def test_the_frame_is_what_the_library_makes() -> None:
    """Header, tables with all layers, and objects, to the letter."""
    assert FRAME.read_text(encoding="utf-8") == frame_text()
    drawing = pattern_drawing(panels.strapped(), {}, OPTIONS)
    made = dxf_text(drawing)
    before, _, rest = made.partition(ENTITIES)
    own, ends, after = rest.partition("  0\nENDSEC\n")
    with fixed_metadata():
        document = new_document()
        for layer in drawing.layers:
            add_layer(document, layer)
        look_at(document, drawing.page_mm)
        for _ in range(own.count("\n100\nAcDbEntity\n")):
            document.entitydb.handles.next()
        assert written(document) == f"{before}{ENTITIES}{ends}{after}"


def test_a_page_that_begins_at_nought_states_its_extents() -> None:
    """The library takes a corner at nought for none, and states the extents of an empty drawing."""
    page = Drawing("", "", (0.0, 0.0, 9.0, 12.0), (Layer("one", 0.3),), ())
    header = ezdxf.read(io.StringIO(dxf_text(page))).header
    assert (header["$EXTMIN"], header["$EXTMAX"]) == ((0.0, 0.0, 0.0), (9.0, 12.0, 0.0))
