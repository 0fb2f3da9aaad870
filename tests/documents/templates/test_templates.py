"""Templates, measured in the files by pymupdf, ezdxf, resvg and cairosvg."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations
from xml.etree import ElementTree

import cairosvg
import ezdxf
import numpy as np
import pymupdf
import pytest
import resvg_py
import shapely
from shapely.affinity import rotate, scale as scale_shape, translate
from shapely.geometry import MultiPolygon, Point, Polygon

from rubbing2pattern.documents.templates import TemplatePiece, without_template
from rubbing2pattern.errors import UsageFault
from rubbing2pattern.geometry.curves import Line, arc_through
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.options.templates import TemplateOptions
from tests import panels
from tests.documents.measuring import darkness, line_at
from tests.documents.templated import MM_PER_PT, cut_on, numbers_on, template_documents

OPTIONS = DocumentOptions()
PX_PER_MM = 5.0
SVG = "{http://www.w3.org/2000/svg}"


def all_of(panel: Panel, grain_deg: float | None = None) -> list[TemplatePiece]:
    return [TemplatePiece(p.number, "amber", grain_deg=grain_deg) for p in panel.pieces]


def pages_of(files: dict[str, bytes]) -> list[pymupdf.Page]:
    return list(pymupdf.open(stream=files["templates.pdf"], filetype="pdf"))


def cut_in_dxf(files: dict[str, bytes], layer: str = "cut outline") -> list[Polygon]:
    space = ezdxf.read(io.StringIO(files["templates.dxf"].decode())).modelspace()
    return [
        Polygon([p[:2] for p in line.get_points()])
        for line in space.query("LWPOLYLINE")
        if line.dxf.layer == layer
    ]


def cut_in_svg(files: dict[str, bytes]) -> list[Polygon]:
    root = ElementTree.fromstring(files["templates.svg"])
    (group,) = (g for g in root.iter(f"{SVG}g") if g.get("id") == "cut-outline")
    return [
        Polygon([tuple(map(float, p.split(","))) for p in polygon.get("points", "").split()])
        for polygon in group.iter(f"{SVG}polygon")
    ]


def turning_of(one: Polygon, other: Polygon) -> float:
    """Return the angle by which the farthest corner of one must be turned to be that of other."""
    farthest = []
    for shape in (one, other):
        spokes = shapely.get_coordinates(shape) - shapely.get_coordinates(shape.centroid)
        reach = np.hypot(*spokes.T)
        k = int(np.argmax(reach))
        farthest.append(math.degrees(math.atan2(spokes[k, 1], spokes[k, 0])))
    return farthest[1] - farthest[0]


def laid_on(one: Polygon, other: Polygon) -> Polygon:
    """Return one shape turned and moved so that it should lie on the other."""
    turned = rotate(one, turning_of(one, other), origin=one.centroid)
    return translate(turned, other.centroid.x - one.centroid.x, other.centroid.y - one.centroid.y)


def holders(number: Point, outlines: Sequence[Polygon]) -> list[Polygon]:
    return [outline for outline in outlines if outline.contains(number)]


@pytest.mark.parametrize("grain_deg", [None, 30.0, 200.0])
def test_every_template_is_its_piece_turned_and_moved(grain_deg: float | None) -> None:
    """Each outline, found by the number inside it, is congruent to the piece to 0.02 mm."""
    panel = panels.mosaic(40, 400.0, 400.0)
    pages = pages_of(template_documents(panel, all_of(panel, grain_deg), OPTIONS))
    seen = []
    for page in pages:
        outlines = cut_on(page)
        for number, at in numbers_on(page).items():
            (outline,) = holders(at, outlines)
            piece = panel.pieces[number - 1].cut_outline
            assert isinstance(piece, Polygon)
            assert laid_on(piece, outline).hausdorff_distance(outline) < 0.02
            if grain_deg is not None:
                turn = turning_of(piece, outline) + grain_deg - 90.0
                assert (turn + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=0.05)
            seen.append(number)
    assert sorted(seen) == [piece.number for piece in panel.pieces]


@pytest.mark.parametrize("paper", ["auto", "A3", "Letter", "Tabloid", "roll 610mm"])
def test_no_two_templates_touch_and_none_leaves_the_paper(paper: str) -> None:
    panel = panels.mosaic(40, 400.0, 400.0)
    pieces = [replace(p, grain_deg=50.0 if p.number % 3 else None) for p in all_of(panel)]
    templates = TemplateOptions(paper=paper)
    files = template_documents(panel, pieces, OPTIONS, templates)
    for page in pages_of(files):
        outlines = cut_on(page)
        assert all(a.distance(b) > templates.gap_mm - 0.01 for a, b in combinations(outlines, 2))
        size = (page.rect.width * MM_PER_PT, page.rect.height * MM_PER_PT)
        inside = shapely.box(8.0, 8.0, size[0] - 8.0, size[1] - 8.0)
        assert all(inside.contains(outline) for outline in outlines)
    for outlines in (cut_in_dxf(files), cut_in_svg(files)):
        assert len(outlines) == len(panel.pieces)
        assert all(a.distance(b) > templates.gap_mm - 0.01 for a, b in combinations(outlines, 2))


def test_numbers_lie_in_their_pieces_in_dxf_and_svg() -> None:
    panel = panels.mosaic(60, 400.0, 400.0)
    files = template_documents(panel, all_of(panel, 10.0), OPTIONS)
    space = ezdxf.read(io.StringIO(files["templates.dxf"].decode())).modelspace()
    in_dxf = {
        int(t.dxf.text): Point(*t.get_placement()[1].vec2)
        for t in space.query("TEXT")
        if t.dxf.layer == "piece number"
    }
    root = ElementTree.fromstring(files["templates.svg"])
    (group,) = (g for g in root.iter(f"{SVG}g") if g.get("id") == "piece-number")
    in_svg = {}
    for text in group.iter(f"{SVG}text"):
        x, y = float(text.get("x", "")), float(text.get("y", ""))
        turn = text.get("transform", "")
        # Turned lettering turns about its middle; the rest hangs its baseline below it.
        about = turn.removeprefix("rotate(").removesuffix(")").split()[1:]
        half = 0.5 * 0.718 * float(text.get("font-size", ""))
        in_svg[int(text.text or "")] = Point(*map(float, about)) if turn else Point(x, y - half)
    for found, outlines in ((in_dxf, cut_in_dxf(files)), (in_svg, cut_in_svg(files))):
        assert sorted(found) == [piece.number for piece in panel.pieces]
        for number, at in found.items():
            (outline,) = holders(at, outlines)
            area = panel.pieces[number - 1].cut_area_mm2
            assert outline.area == pytest.approx(area, rel=1e-3)


def single(width_mm: float, height_mm: float, sweep_deg: float = 0.0) -> Panel:
    """Return one piece between lead lines, its upper side an arc of so many degrees."""
    w, h = width_mm, height_mm
    at = {"J1": (0.0, h), "J2": (w, h), "J3": (w, 0.0), "J4": (0.0, 0.0)}
    top = arc_through(at["J2"], at["J1"], sweep_deg) if sweep_deg else Line(at["J2"], at["J1"])
    leads = [panels.Lead("J2", "J1", top, 6.0, "6 mm")]
    leads += [
        panels.Lead(p, q, Line(at[p], at[q]), 6.0, "6 mm")
        for p, q in (("J1", "J4"), ("J4", "J3"), ("J3", "J2"))
    ]
    return panels.build("single", at, leads)


def rendered(files: dict[str, bytes], with_library: str) -> np.ndarray:
    """Return the page or the sheet as darkness, `PX_PER_MM` pixels to the millimetre."""
    if with_library == "pymupdf":
        zoom = pymupdf.Matrix(PX_PER_MM * MM_PER_PT, PX_PER_MM * MM_PER_PT)
        return darkness(pages_of(files)[0].get_pixmap(matrix=zoom).tobytes("png"))
    svg, dpi = files["templates.svg"].decode(), PX_PER_MM * 25.4
    if with_library == "resvg":
        return darkness(bytes(resvg_py.svg_to_bytes(svg_string=svg, dpi=dpi)))
    return darkness(bytes(cairosvg.svg2png(bytestring=svg.encode(), dpi=dpi)))


@pytest.mark.parametrize("with_library", ["pymupdf", "resvg", "cairosvg"])
def test_a_metre_and_both_check_lengths_measure_true(with_library: str) -> None:
    """A piece of 1000 x 120 mm as cut (1.2 mm inside the lead lines), within 0.1 mm."""
    panel = single(1002.4, 122.4)
    wide = TemplateOptions(paper="roll 1200mm", cutter_width_mm=1200.0)
    files = template_documents(panel, all_of(panel, 90.0), OPTIONS, wide)
    (outline,) = cut_on(pages_of(files)[0])
    (in_dxf,) = cut_in_dxf(files)
    for found in (outline, in_dxf):
        x_min, y_min, x_max, y_max = found.bounds
        assert x_max - x_min == pytest.approx(1000.0, abs=0.1)
        assert y_max - y_min == pytest.approx(120.0, abs=0.1)
    picture = rendered(files, with_library)
    high = picture.shape[0]
    x_min, y_min, x_max, y_max = (v * PX_PER_MM for v in in_dxf.bounds)
    row = picture[round(high - 0.5 * (y_min + y_max)) - 40]
    sides = [line_at(row, x, 6) for x in (x_min, x_max)]
    assert (sides[1] - sides[0]) / PX_PER_MM == pytest.approx(1000.0, abs=0.1)
    column = picture[:, round(x_min) + 200]
    sides = [line_at(column, high - y, 6) for y in (y_max, y_min)]
    assert (sides[1] - sides[0]) / PX_PER_MM == pytest.approx(120.0, abs=0.1)
    # Only the end ticks of the check lengths reach 1.8 mm to the side.
    row = picture[round(high - y_min + 7.8 * PX_PER_MM)]
    ticks = [line_at(row, x_min + x * PX_PER_MM, 6) for x in (0.0, 100.0)]
    assert (ticks[1] - ticks[0]) / PX_PER_MM == pytest.approx(100.0, abs=0.1)
    column = picture[:, round(x_min - 7.8 * PX_PER_MM)]
    ticks = [line_at(column, high - y_min - y * PX_PER_MM, 6) for y in (0.0, 100.0)]
    assert (ticks[0] - ticks[1]) / PX_PER_MM == pytest.approx(100.0, abs=0.1)


@pytest.mark.parametrize("sweep_deg", [30.0, 90.0, 160.0])
def test_a_segment_topped_template_has_the_handbook_s_area(sweep_deg: float) -> None:
    """Circular segment (Machinery's Handbook): c = 2 r sin(t/2), A = r^2 (t - sin t) / 2.

    Below it stands a rectangle. The glass is all that, 1.2 mm inside the lead lines: half the heart
    of 1.6 mm and 0.4 mm play. The arc's centre stays where it is.
    """
    width, height, inside = 180.0, 90.0, 1.2
    radius = width / (2.0 * math.sin(math.radians(sweep_deg) / 2.0))
    centre_y = height - radius * math.cos(math.radians(sweep_deg) / 2.0)
    r, chord = radius - inside, width - 2.0 * inside
    t = 2.0 * math.asin(chord / (2.0 * r))
    segment = r * r * (t - math.sin(t)) / 2.0
    rectangle = chord * (centre_y + r * math.cos(t / 2.0) - inside)
    panel = single(width, height, sweep_deg)
    files = template_documents(panel, all_of(panel), OPTIONS)
    for outlines in (cut_on(pages_of(files)[0]), cut_in_dxf(files), cut_in_svg(files)):
        assert [o.area for o in outlines] == pytest.approx([segment + rectangle], rel=1e-4)


def test_sight_lines_lie_inside_their_cut_lines() -> None:
    panel = panels.mosaic(40, 400.0, 400.0)
    files = template_documents(panel, all_of(panel), OPTIONS)
    cut, sight = cut_in_dxf(files), cut_in_dxf(files, "sight outline")
    assert len(sight) == sum(
        len(shapely.get_parts(p.sight_outline))
        for p in panel.pieces
        if not p.sight_outline.is_empty
    )
    assert all(any(c.buffer(1e-6).covers(s) for c in cut) for s in sight)


def test_a_piece_larger_than_the_page_has_a_page_of_its_own_size() -> None:
    panel = panels.arched()
    pages = pages_of(template_documents(panel, all_of(panel), OPTIONS))
    sizes = [(p.rect.width * MM_PER_PT, p.rect.height * MM_PER_PT) for p in pages]
    assert len(pages) == 4
    assert sizes[0][0] > 400.0
    said = [" ".join(page.get_text().split()) for page in pages]
    assert "Piece 1 is larger than the paper" in said[0]
    assert "Page 1 of 4" in said[0]
    for page in pages[:3]:
        (outline,) = cut_on(page)
        assert shapely.box(0, 0, page.rect.width, page.rect.height).contains(outline)


def test_each_page_says_what_must_be_known_before_glass_is_cut() -> None:
    panel = panels.two_by_two()
    pieces = [TemplatePiece(k, "ruby", "bend <&>", 0.0) for k in (1, 2)]
    for units, length, play in (("mm", "100 mm", "0.4 mm"), ("in", "4 in", "1/64 in")):
        files = template_documents(panel, pieces, DocumentOptions(units=units))
        for page in pages_of(files):
            said = " ".join(page.get_text().split())
            for needed in (
                "n4 3b", "Seen from inside", "scale 1:1", "Print at 100 %", "sight line",
                f"lengths must be {length}", f"{length} check length", play, "grain", "ruby",
                "eye protection", "DO NOT CUT YET, settle first: 1 (F3), 2 (F3)",
                "Check against the window first: 2 (F1)", "bend <&>",
            ):  # fmt: skip
                assert needed in said, (units, needed)
            other = "check length: mm" if units == "in" else " in check"
            assert other not in said


def test_the_list_says_on_which_page_each_template_is() -> None:
    panel = panels.mosaic(90, 600.0, 600.0)
    pieces = [replace(p, note=f"remark {p.number}", grain_deg=0.0) for p in all_of(panel)]
    pages = pages_of(template_documents(panel, pieces, OPTIONS))
    on_page = {n: k for k, page in enumerate(pages, start=1) for n in numbers_on(page)}
    assert len(on_page) == len(pieces)
    lists = [page for page in pages if not numbers_on(page)]
    assert len(lists) > 1
    rows = []
    for page in lists:
        words = sorted((round(w[3]), w[0], w[4]) for w in page.get_text("words"))
        for base in sorted({w[0] for w in words}):
            row = [w[2] for w in words if abs(w[0] - base) < 2]
            if len(row) > 4 and row[0].isdigit() and row[1].isdigit() and "remark" in row:
                rows.append((int(row[0]), int(row[1]), row[-1]))
    assert rows == [(p.number, on_page[p.number], str(p.number)) for p in pieces]


@pytest.mark.parametrize("paper", ["A4", "roll 400mm"])
def test_pages_make_up_for_what_the_printer_does(paper: str) -> None:
    panel = panels.mosaic(20, 300.0, 300.0)
    templates = TemplateOptions(paper=paper)
    scale = 1.02, 0.985
    files = template_documents(panel, all_of(panel), OPTIONS, templates, scale)
    true = template_documents(panel, all_of(panel), OPTIONS, templates)
    assert files["templates.dxf"] == true["templates.dxf"]
    for page in pages_of(files):
        width, height = (page.rect.width * MM_PER_PT, page.rect.height * MM_PER_PT)
        assert width == pytest.approx(210.0 if paper == "A4" else 400.0, abs=0.01)
        assert paper != "A4" or height == pytest.approx(297.0, abs=0.01)
        assert "prints lengths 1.02 times across, 0.985 times up" in " ".join(
            page.get_text().split()
        )
        for at in numbers_on(page).items():
            printed = [scaled(o, *scale) for o in cut_on(page)]
            (outline,) = holders(scaled(at[1], *scale), printed)
            piece = panel.pieces[at[0] - 1].cut_outline
            assert laid_on(piece, outline).hausdorff_distance(outline) < 0.02
            room = shapely.box(8.0, 8.0, width * scale[0] - 8.0, height * scale[1] - 8.0)
            assert room.contains(outline)


def scaled(shape: shapely.Geometry, across: float, up: float) -> shapely.Geometry:
    return scale_shape(shape, across, up, origin=(0.0, 0.0))


def test_arrows_point_up_the_page_and_stay_in_their_pieces() -> None:
    panel = panels.mosaic(40, 400.0, 400.0)
    pieces = [replace(p, grain_deg=25.0 if p.number % 2 else None) for p in all_of(panel)]
    files = template_documents(panel, pieces, OPTIONS)
    space = ezdxf.read(io.StringIO(files["templates.dxf"].decode())).modelspace()
    cut, shafts = cut_in_dxf(files), [e for e in space.query("LINE") if e.dxf.layer == "grain"]
    grained = sum(p.grain_deg is not None for p in pieces)
    in_pieces, legend = [], []
    for shaft in shafts:
        if shaft.dxf.end.y == pytest.approx(shaft.dxf.start.y, abs=1e-6):
            legend.append(shaft)
            continue
        assert shaft.dxf.end.x == pytest.approx(shaft.dxf.start.x, abs=1e-6)
        assert shaft.dxf.end.y > shaft.dxf.start.y
        line = shapely.LineString([shaft.dxf.start.vec2, shaft.dxf.end.vec2])
        in_pieces += [k for k, outline in enumerate(cut) if outline.covers(line)]
    assert (len(legend), len(shafts)) == (1, grained + 1)
    assert len(set(in_pieces)) == grained


def test_layers_have_trade_names_and_only_pieces_are_cut() -> None:
    panel = panels.two_by_two()
    files = template_documents(panel, all_of(panel, 0.0), OPTIONS)
    document = ezdxf.read(io.StringIO(files["templates.dxf"].decode()))
    assert document.header["$INSUNITS"] == 4  # DXF reference: millimetres
    names = {layer.dxf.name for layer in document.layers}
    assert {"cut outline", "sight outline", "piece number", "grain", "check length"} <= names
    cut = [e for e in document.modelspace() if e.dxf.layer == "cut outline"]
    assert len(cut) == len(panel.pieces)
    assert all(e.dxftype() == "LWPOLYLINE" and e.closed for e in cut)


def test_words_of_any_length_stay_on_the_page() -> None:
    panel = panels.two_by_two()
    pieces = [TemplatePiece(1, "word " * 2000, "x" * 3000), TemplatePiece(2, "\x00=1+1\n<b>")]
    files = template_documents(replace(panel, name="N" * 300), pieces, OPTIONS)
    ElementTree.fromstring(files["templates.svg"])
    for page in pages_of(files):
        inside = pymupdf.Rect(20, 20, page.rect.x1 - 20, page.rect.y1 - 20)
        assert all(inside.contains(pymupdf.Rect(word[:4])) for word in page.get_text("words"))


def test_the_order_asked_for_makes_no_difference() -> None:
    panel = panels.mosaic(20, 300.0, 300.0)
    pieces = all_of(panel)
    first = template_documents(panel, pieces, OPTIONS)
    assert first == template_documents(panel, pieces[::-1], OPTIONS)
    assert sorted(first) == ["templates.dxf", "templates.pdf", "templates.svg"]


def test_pieces_under_lead_are_reported() -> None:
    panel = panels.two_by_two()
    nothing = replace(panel.pieces[2], cut_outline=Polygon(), sight_outline=Polygon())
    panel = replace(panel, pieces=(*panel.pieces[:2], nothing, panel.pieces[3]))
    assert without_template(panel, [1, 3]) == (3,)
    files = template_documents(panel, all_of(panel), OPTIONS)
    assert len(cut_in_dxf(files)) == 3
    assert "No template, all under lead: piece 3." in " ".join(
        pages_of(files)[0].get_text().split()
    )
    assert template_documents(panel, [TemplatePiece(3)], OPTIONS) == {}
    assert template_documents(panel, [], OPTIONS) == {}


def test_a_piece_in_two_parts_keeps_them_together() -> None:
    panel = panels.two_by_two()
    parts = MultiPolygon([shapely.box(10, 10, 40, 60), shapely.box(45, 10, 95, 60)])
    piece = replace(panel.pieces[0], cut_outline=parts, sight_outline=parts, label_at=(70.0, 35.0))
    panel = replace(panel, pieces=(piece, *panel.pieces[1:]))
    one, other = cut_in_dxf(template_documents(panel, [TemplatePiece(1)], OPTIONS))
    assert one.distance(other) == pytest.approx(5.0, abs=1e-6)


@pytest.mark.parametrize(
    ("pieces", "said"),
    [
        (
            [TemplatePiece(9), TemplatePiece(0)],
            "pieces 0, 9, but panel n4 3b has .* 1 to 4",
        ),
        ([TemplatePiece(2), TemplatePiece(2)], "asked for twice: piece 2; give each piece once"),
        ([TemplatePiece(2, grain_deg=math.nan)], "grain of piece 2 is nan degrees"),
        ([TemplatePiece(2, grain_deg=-361.0)], "grain of piece 2 is -361 degrees.*-360 to 360"),
    ],
)
def test_what_cannot_be_drawn_is_refused(pieces: list[TemplatePiece], said: str) -> None:
    with pytest.raises(UsageFault, match=said):
        template_documents(panels.two_by_two(), pieces, OPTIONS)


@pytest.mark.parametrize(
    ("paper", "said"),
    [
        ("A9", "cannot read the sheet 'A9'.*write auto, A4"),
        ("A5", "148 x 210 mm, but each side must lie from 200 to 5000 mm"),
        ("roll 100mm", "is 100 mm"),
        ("roll wide", "cannot read the length 'wide'"),
        ("6x6m", "6000 x 6000 mm"),
    ],
)
def test_papers_that_are_none_are_refused(paper: str, said: str) -> None:
    with pytest.raises(UsageFault, match=said):
        TemplateOptions(paper=paper)
