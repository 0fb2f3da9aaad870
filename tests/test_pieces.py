"""Cutting a net into numbered pieces, on windows drawn by hand and at random."""

from __future__ import annotations

import math
import time
from dataclasses import replace

import networkx as nx
import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, given, settings, strategies as st
from shapely.geometry import LineString, MultiPolygon, Point as Spot, Polygon, box

from rubbing2pattern.curves import Line
from rubbing2pattern.errors import NoLeadFound, UsageFault
from rubbing2pattern.findings import Code
from rubbing2pattern.frame import Placement
from rubbing2pattern.model import JointKind, Panel, Piece
from rubbing2pattern.options.pieces import PieceOptions
from rubbing2pattern.reading import LeadNet, Scale
from rubbing2pattern.stages.pieces import cut_pieces
from tests import nets
from tests.nets import Draft, frame, grid

OPTIONS = PieceOptions()

WINDOWS = {
    "two by two": nets.two_by_two(),
    "brick bond": nets.brick_bond(),
    "lancet": nets.lancet(),
    "ring": nets.ring_in_frame(),
    "concentric rings": nets.concentric_rings(),
    "quatrefoil": nets.quatrefoil(),
    "one ring": Draft().ring((70, 70), 70),
    "strap": frame(200, 200).line((100, 50), (100, 150)),
    "ring on a stalk": frame(200, 200).line((0, 0), (70, 70)).ring((100, 70), 30, start_deg=180),
    "lens": frame(200, 200).arc((0, 0), (200, 200), 60).arc((0, 0), (200, 200), -60),
}


def cut(draft: Draft, **options: object) -> Panel:
    return cut_pieces(draft.net(), replace(OPTIONS, **options))


def codes(panel: Panel) -> list[Code]:
    return [finding.code for finding in panel.findings]


def around(panel: Panel, at: tuple[float, float]) -> Piece:
    return next(p for p in panel.pieces if p.outline.contains(Spot(at)))


def assert_euler(panel: Panel) -> None:
    """V - E + F = 1 + C, the outside counted as a face (Euler)."""
    graph = nx.MultiGraph([(c.start, c.end) for c in panel.cames])
    parts = nx.number_connected_components(graph)
    faces = len(panel.pieces) + 1
    assert len(panel.joints) - len(panel.cames) + faces == 1 + parts


def assert_tiled(panel: Panel) -> None:
    """Hold that pieces cover the outline once and leave nothing."""
    outlines = [piece.outline for piece in panel.pieces]
    assert sum(o.area for o in outlines) == pytest.approx(panel.outline.area, rel=1e-9)
    assert shapely.union_all(outlines).symmetric_difference(panel.outline).area < 1e-6


def assert_nested(panel: Panel) -> None:
    """Sight lies in cut, cut in centre; the rounded corners are chords, hence the hundredth."""
    for piece in panel.pieces:
        assert piece.cut_outline.difference(piece.outline).area < 1e-6
        assert piece.sight_outline.difference(piece.cut_outline.buffer(0.01)).area < 1e-6
        assert piece.sight_area_mm2 <= piece.cut_area_mm2 + 1e-6
        assert piece.cut_area_mm2 < piece.centre_area_mm2
        for outline in (piece.outline, piece.cut_outline, piece.sight_outline):
            assert outline.is_valid
            assert isinstance(outline, Polygon | MultiPolygon)


def assert_polygonize_agrees(panel: Panel) -> None:
    """Hold the pieces against shapely's polygonizer, which knows nothing of our walks."""
    lines = [LineString(came.path) for came in panel.cames]
    others = list(shapely.polygonize(lines).geoms)
    assert len(others) == len(panel.pieces)
    for piece in panel.pieces:
        spot = piece.outline.representative_point()
        twin = next(o for o in others if o.contains(spot))
        assert twin.symmetric_difference(piece.outline).area < 1e-6


@pytest.mark.parametrize("draft", WINDOWS.values(), ids=WINDOWS.keys())
def test_laws_that_hold_for_every_window(draft: Draft) -> None:
    panel = cut(draft)
    assert_euler(panel)
    assert_tiled(panel)
    assert_nested(panel)
    assert_polygonize_agrees(panel)
    for piece in panel.pieces:
        largest = max(shapely.get_parts(piece.cut_outline), key=lambda part: part.area)
        assert largest.contains(Spot(piece.label_at))
        free = largest.exterior.distance(Spot(piece.label_at))
        assert piece.label_radius_mm <= free + 1e-6


@pytest.mark.parametrize("draft", WINDOWS.values(), ids=WINDOWS.keys())
@pytest.mark.parametrize("seed", [1, 2])
def test_the_order_of_the_net_changes_nothing(draft: Draft, seed: int) -> None:
    first = cut(draft)
    second = cut_pieces(nets.shuffled(draft.net(), seed), OPTIONS)
    assert [j.id for j in first.joints] == [j.id for j in second.joints]
    assert [c.pieces for c in first.cames] == [c.pieces for c in second.cames]
    assert [(c.start, c.end) for c in first.cames] == [(c.start, c.end) for c in second.cames]
    for a, b in zip(first.pieces, second.pieces, strict=True):
        assert a.cames == b.cames
        assert a.outline.equals_exact(b.outline, 1e-9)
        assert a.cut_outline.equals_exact(b.cut_outline, 1e-6)


def test_two_by_two_has_the_numbers_and_sizes_one_can_work_out() -> None:
    panel = cut(nets.two_by_two())
    assert [p.label_at for p in panel.pieces] == [
        pytest.approx(at) for at in [(50, 225), (150, 225), (50, 75), (150, 75)]
    ]
    assert (panel.width_mm, panel.height_mm) == pytest.approx((200.0, 300.0))
    assert (panel.outer_width_mm, panel.outer_height_mm) == pytest.approx((206.0, 306.0))
    for piece in panel.pieces:
        assert piece.centre_area_mm2 == pytest.approx(100 * 150)
        # 0.8 mm of heart and 0.4 mm of clearance on each side; half of a 6 mm face.
        assert piece.cut_area_mm2 == pytest.approx((100 - 2.4) * (150 - 2.4))
        assert piece.sight_area_mm2 == pytest.approx((100 - 6) * (150 - 6))
        assert piece.rectangle.width_mm == pytest.approx(147.6)
        assert piece.rectangle.height_mm == pytest.approx(97.6)
        assert abs(piece.rectangle.angle_deg) == pytest.approx(90.0)
        assert len(piece.cames) == 4
    assert [(j.id, j.x_mm, j.y_mm) for j in panel.joints][:4] == [
        ("J1", 0.0, 300.0),
        ("J2", 100.0, 300.0),
        ("J3", 200.0, 300.0),
        ("J4", 0.0, 150.0),
    ]
    inner = [c for c in panel.cames if not c.border]
    assert sorted(c.pieces for c in inner) == [(1, 3), (2, 1), (2, 4), (4, 3)]
    assert all(len(c.pieces) == 1 for c in panel.cames if c.border)
    assert panel.findings == ()


def test_left_and_right_of_a_came_follow_its_direction() -> None:
    panel = cut(nets.two_by_two())
    for came in panel.cames:
        if came.border:
            continue
        (x0, y0), (x1, y1) = came.path[0], came.path[-1]
        left = (x0 + x1) / 2 - (y1 - y0) / 10, (y0 + y1) / 2 + (x1 - x0) / 10
        assert around(panel, left).number == came.pieces[0]


def test_kinds_of_joints() -> None:
    def kinds(draft: Draft) -> set[JointKind]:
        return {j.kind for j in cut(draft).joints}

    assert kinds(nets.brick_bond()) == {JointKind.TEE, JointKind.CORNER}
    assert kinds(nets.two_by_two()) == {JointKind.TEE, JointKind.CORNER, JointKind.CROSSING}
    assert kinds(Draft().ring((50, 50), 50)) == {JointKind.RING}
    assert JointKind.END in kinds(WINDOWS["strap"])
    star = frame(200, 200)
    for end in ((0, 0), (200, 0), (200, 200), (0, 200)):
        star.line((100, 100) if end != (0, 0) else (100.0, 100.0), end)
    assert JointKind.CROSSING in kinds(star)

    forked = Draft()
    spokes = [(100 * math.cos(a), 100 * math.sin(a)) for a in np.radians([90, 210, 330])]
    spokes = [(round(x, 6), round(y, 6)) for x, y in spokes]
    forked.line(spokes[0], spokes[1], spokes[2], spokes[0])
    for spoke in spokes:
        forked.line((0.0, 0.0), spoke)
    assert JointKind.MEETING in kinds(forked)


@pytest.mark.parametrize(
    ("bend_deg", "hint", "kind"),
    [
        (5.0, "meeting", JointKind.TEE),
        (22.0, "tee", JointKind.TEE),
        (22.0, "", JointKind.MEETING),
        (22.0, "meeting", JointKind.MEETING),
        (45.0, "tee", JointKind.MEETING),
    ],
)
def test_between_the_limits_the_kind_that_came_with_the_net_decides(
    bend_deg: float, hint: str, kind: JointKind
) -> None:
    drop = round(100.0 * math.tan(math.radians(bend_deg)), 6)
    draft = Draft().line((0, -50), (200, -50), (200, 100 - drop), (100, 100), (0, 100), (0, -50))
    draft.line((100, -50), (100, 100))
    net = draft.net()
    net = replace(net, joints=tuple(replace(j, kind=hint) for j in net.joints))
    panel = cut_pieces(net, OPTIONS)
    at = {(round(j.x_mm), round(j.y_mm)): j for j in panel.joints}
    assert at[(100, 100)].kind is kind


def test_a_ring_makes_a_hole_and_a_piece() -> None:
    panel = cut(nets.ring_in_frame())
    inner, outer = around(panel, (100, 100)), around(panel, (10, 10))
    assert inner.centre_area_mm2 == pytest.approx(math.pi * 40**2, rel=3e-4)
    assert outer.centre_area_mm2 == pytest.approx(200**2 - math.pi * 40**2, rel=3e-4)
    assert len(outer.outline.interiors) == 1
    assert inner.cut_area_mm2 == pytest.approx(math.pi * 38.8**2, rel=3e-4)
    assert inner.sight_area_mm2 == pytest.approx(math.pi * 37**2, rel=3e-4)
    assert len(outer.cames) == 5
    assert outer.cames[-1] == inner.cames[0]


def test_concentric_rings_nest() -> None:
    panel = cut(nets.concentric_rings())
    areas = sorted(p.centre_area_mm2 for p in panel.pieces)
    expected = sorted([math.pi * 50**2, math.pi * (100**2 - 50**2), 300**2 - math.pi * 100**2])
    assert areas == pytest.approx(expected, rel=4e-4)


def test_a_window_inside_a_hole_of_a_hole_finds_its_piece() -> None:
    draft = nets.concentric_rings().line((130, 140), (170, 140), (150, 170), (130, 140))
    panel = cut(draft)
    triangle = around(panel, (150, 150))
    middle = around(panel, (150, 120))
    assert triangle.centre_area_mm2 == pytest.approx(600.0)
    assert middle.centre_area_mm2 == pytest.approx(math.pi * 50**2 - 600.0, rel=4e-4)
    assert_euler(panel)


def test_a_strap_cuts_a_slot_and_stays_inside_its_piece() -> None:
    panel = cut(WINDOWS["strap"])
    (piece,) = panel.pieces
    strap = next(c for c in panel.cames if c.start in piece.cames or c.id == piece.cames[-1])
    assert strap.pieces == (1,)
    assert not strap.border
    assert piece.centre_area_mm2 == pytest.approx(200**2)
    slot = 100 * 2.4 + math.pi * 1.2**2
    assert piece.cut_area_mm2 == pytest.approx(197.6**2 - slot, rel=1e-5)
    shadow = 100 * 6 + math.pi * 3**2
    assert piece.sight_area_mm2 == pytest.approx(194**2 - shadow, rel=1e-4)


def test_a_stalk_cuts_the_glass_between_border_and_ring() -> None:
    panel = cut(WINDOWS["ring on a stalk"])
    outer = around(panel, (180, 180))
    assert len(outer.outline.interiors) == 1
    assert len(outer.cut_outline.interiors) == 0  # The slot joins the hole to the edge.
    assert len(outer.cames) == 6


def test_a_ring_hung_on_the_border_touches_but_does_not_break_the_outline() -> None:
    draft = frame(200, 200)
    draft = Draft().line((0, 0), (100, 0), (200, 0), (200, 200), (0, 200), (0, 0))
    draft.ring((100, 40), 40, start_deg=-90)
    panel = cut(draft)
    assert len(panel.pieces) == 2
    assert_tiled(panel)
    assert_polygonize_agrees(panel)
    assert around(panel, (100, 40)).centre_area_mm2 == pytest.approx(math.pi * 40**2, rel=3e-4)


def test_two_panes_that_touch_at_one_joint() -> None:
    draft = frame(100, 100).line((100, 100), (200, 100), (200, 200), (100, 200), (100, 100))
    panel = cut(draft)
    assert len(panel.pieces) == 2
    assert isinstance(panel.outline, MultiPolygon)
    assert panel.outline.is_valid
    assert_tiled(panel)


def test_two_cames_between_the_same_joints_hold_a_piece() -> None:
    panel = cut(WINDOWS["lens"])
    lens = around(panel, (100, 100))
    chord = 200 * math.sqrt(2)
    theta = math.radians(60)
    radius = chord / (2 * math.sin(theta / 2))
    segment = radius**2 * (theta - math.sin(theta)) / 2
    assert lens.centre_area_mm2 == pytest.approx(2 * segment, rel=2e-4)
    assert len(lens.cames) == 2


def test_cames_that_part_tangentially_are_told_by_their_bend() -> None:
    """Two arcs and a straight lead leave one joint in the same direction."""
    draft = Draft().line((0, 0), (200, 0), (200, 100), (0, 100), (0, 0))
    draft = Draft().line((0, 0), (200, 0)).line((0, 0), (0, 100), (100, 100))
    draft.arc((0, 0), (100, 100), 90).arc((0, 0), (200, 100), 2 * math.degrees(math.atan(0.5)))
    draft.line((100, 100), (200, 100), (200, 0))
    panel = cut(draft)
    assert_euler(panel)
    assert_tiled(panel)
    assert_polygonize_agrees(panel)
    assert len(panel.pieces) == 3


def test_the_head_of_a_lancet_has_the_area_of_the_handbook() -> None:
    """Circular segment, area r^2 (theta - sin theta) / 2: Machinery's Handbook, table of segments.

    The head of an equilateral lancet is the triangle over the springing and a segment on each side.
    """
    width = 300.0
    panel = cut(nets.lancet(width))
    theta = math.radians(60.0)
    segment = width**2 * (theta - math.sin(theta)) / 2.0
    triangle = width**2 * math.sqrt(0.75) / 2.0
    head = panel.pieces[0]
    assert head.centre_area_mm2 == pytest.approx(triangle + 2.0 * segment, rel=1e-4)


def test_the_heart_is_a_full_sixteenth_of_an_inch() -> None:
    """Whall, Stained Glass Work (1905): "a full 1/16 inch" between neighbouring pieces = 1.6 mm."""
    assert 25.4 / 16 <= OPTIONS.heart_mm <= 25.4 / 16 + 0.05
    panel = cut(nets.two_by_two(), clearance_mm=0.0)
    left, right = panel.pieces[:2]
    assert left.cut_outline.distance(right.cut_outline) == pytest.approx(1.6)


def test_leads_of_different_width_round_one_piece() -> None:
    draft = Draft()
    corners = [(0, 0), (100, 0), (100, 80), (0, 80), (0, 0)]
    for k, width in enumerate((4.0, 6.0, 8.0, 10.0)):
        draft.line(corners[k], corners[k + 1], width_mm=width)
    (piece,) = cut(draft).pieces
    assert piece.sight_outline.symmetric_difference(box(5, 2, 97, 76)).area < 1e-6


def test_a_wide_lead_that_butts_does_not_reach_through() -> None:
    """On the far side of a through-lead nothing is seen of the lead that butts against it."""
    draft = grid((0, 100), (0, 100, 200), width_mm=4.0).line((100, 100), (300, 100), width_mm=12.0)
    draft.line((100, 0), (300, 0), (300, 100)).line((100, 200), (300, 200), (300, 100))
    panel = cut(draft)
    corner = around(panel, (10, 190))
    assert corner.sight_outline.symmetric_difference(box(2, 102, 98, 198)).area < 1e-6


def test_a_step_in_width_along_a_straight_lead_ends_square() -> None:
    draft = Draft().line((0, 0), (50, 0), width_mm=4.0).line((50, 0), (100, 0), width_mm=10.0)
    draft.line((100, 0), (100, 80), (0, 80), (0, 0), width_mm=4.0)
    (piece,) = cut(draft).pieces
    expected = box(2, 2, 98, 78).difference(box(50, 0, 100, 5))
    assert piece.sight_outline.symmetric_difference(expected).area < 1e-6


def test_a_wider_ring_in_a_narrow_frame() -> None:
    draft = frame(200, 200).ring((100, 100), 40, width_mm=10.0)
    outer = around(cut(draft), (10, 10))
    assert outer.sight_area_mm2 == pytest.approx(194**2 - math.pi * 45**2, rel=3e-4)


def test_a_figure_of_cubics() -> None:
    draft = frame(200, 300)
    draft = Draft().line((0, 0), (200, 0), (200, 150), (200, 300), (0, 300), (0, 150), (0, 0))
    draft.cubic((0, 150), (60, 260), (120, 40), (200, 150))
    draft.cubic((100, 150), (60, 200), (60, 250), (100, 270), (140, 250), (140, 200), (100, 150))
    panel = cut_pieces(draft.net(), OPTIONS)
    # The closed cubic hangs at (100, 150), on the S-curve without a joint.
    assert_tiled(panel)
    draft = Draft().line((0, 0), (200, 0), (200, 150), (200, 300), (0, 300), (0, 150), (0, 0))
    draft.cubic((0, 150), (40, 200), (70, 180), (100, 150))
    draft.cubic((100, 150), (130, 120), (160, 100), (200, 150))
    draft.cubic((100, 150), (60, 200), (60, 250), (100, 270), (140, 250), (140, 200), (100, 150))
    panel = cut_pieces(draft.net(), OPTIONS)
    assert len(panel.pieces) == 3
    assert_euler(panel)
    assert_tiled(panel)
    assert_nested(panel)
    assert_polygonize_agrees(panel)


def test_leads_that_enclose_nothing_are_no_panel() -> None:
    with pytest.raises(NoLeadFound, match="enclose no piece") as caught:
        cut(Draft().line((0, 0), (100, 0), (100, 100)))
    assert caught.value.exit_code == 5
    with pytest.raises(NoLeadFound):
        cut_pieces(LeadNet((), (), nets.SCALE), OPTIONS)


def test_a_lead_outside_belongs_to_no_piece() -> None:
    panel = cut(nets.two_by_two().line((200, 150), (260, 150)))
    loose = next(c for c in panel.cames if not c.pieces)
    assert not loose.border
    assert panel.width_mm == pytest.approx(200.0)
    assert len(panel.pieces) == 4


def test_lines_that_cross_without_a_joint_get_one_and_a_finding() -> None:
    draft = frame(200, 200).line((0, 0), (200, 200), gaps=((10.0, 40.0), (200.0, 230.0)))
    draft.arc((0, 200), (200, 0), 40.0)
    panel = cut(draft)
    assert len(panel.pieces) == 4
    assert codes(panel) == [Code.DOUBTFUL_JOINT]
    assert_euler(panel)
    assert_tiled(panel)
    gaps = sorted(gap for came in panel.cames for gap in came.gaps)
    assert sum(b - a for a, b in gaps) == pytest.approx(60.0)


def test_cubics_that_cross_without_a_joint_keep_their_course() -> None:
    control = ((0, 0), (150, 0), (50, 200), (200, 200))
    draft = frame(200, 200).cubic(*control).line((0, 200), (200, 0))
    panel = cut(draft)
    whole = cut(frame(200, 200).cubic(*control))
    assert len(panel.pieces) == 4
    joined = shapely.union_all([LineString(c.path) for c in panel.cames])
    (curve,) = [c for c in whole.cames if len(c.path) > 2]
    assert LineString(curve.path).hausdorff_distance(
        LineString(curve.path).intersection(joined.buffer(0.05))
    ) == pytest.approx(0.0, abs=0.05)


def test_lines_that_cross_again_close_to_their_joint_make_no_splinter() -> None:
    """Two curves fitted to a point often cross once more a few millimetres from it."""
    draft = frame(200, 200).line((0, 0), (200, 200))
    draft.cubic((0, 0), (10, 12), (40, 20), (100, 30), (160, 40), (190, 80), (200, 0))
    panel = cut(draft)
    assert len(panel.pieces) == 3
    assert_euler(panel)
    assert all(p.outline.is_valid for p in panel.pieces)
    assert sum(p.centre_area_mm2 for p in panel.pieces) == pytest.approx(200**2, abs=20.0)


def test_widths_that_were_not_measured_are_taken_from_the_panel_and_told() -> None:
    draft = frame(200, 200).line((0, 0), (200, 200), width_mm=float("nan"))
    panel = cut(draft)
    inner = next(c for c in panel.cames if not c.border)
    assert inner.face_width_mm == pytest.approx(6.0)
    assert inner.face_width_uncertainty_mm == OPTIONS.unmeasured_uncertainty_mm
    assert codes(panel) == [Code.WIDTH_UNCERTAIN]
    assert panel.findings[0].pieces == tuple(sorted(inner.pieces))
    unknown = cut(Draft(width_mm=float("nan")).ring((50, 50), 50))
    assert unknown.cames[0].face_width_mm == OPTIONS.fallback_width_mm


def test_stock_widths_and_what_fits_none() -> None:
    draft = frame(200, 200).line((0, 0), (200, 200), width_mm=7.1)
    panel = cut(draft)
    assert {c.stock for c in panel.cames if c.border} == {"6 mm"}
    (finding,) = panel.findings
    assert finding.code is Code.WIDTH_BETWEEN_STOCK
    assert "1/4 in" in finding.message
    assert "5/16 in" in finding.message
    assert finding.pieces == (1, 2)


def test_a_face_that_does_not_cover_the_glass_is_told() -> None:
    panel = cut(frame(200, 200), heart_mm=4.0, clearance_mm=1.5)
    assert Code.WIDTH_UNCERTAIN in codes(panel)
    assert panel.pieces[0].sight_area_mm2 <= panel.pieces[0].cut_area_mm2 + 1e-6


def test_an_empty_list_of_stock_is_refused() -> None:
    with pytest.raises(UsageFault, match="stock"):
        PieceOptions(stock=())


def test_the_placement_tells_the_angle_taken_out() -> None:
    net = replace(nets.two_by_two().net(), placement=Placement(-1.5, 10.0, 20.0))
    assert cut_pieces(net, OPTIONS).level_angle_deg == pytest.approx(1.5)


def test_uncertain_joints_scatter_an_area_as_stated() -> None:
    """Move the joints of a trapezium by chance 4000 times: the areas scatter as stated."""
    corners = np.array([(0, 0), (120, 0), (100, 80), (10, 70)], dtype=float)
    closed = [tuple(p) for p in (*corners, corners[0])]
    net = Draft().line(*closed).net(joint_uncertainty_mm=0.3)
    net = replace(net, scale=Scale("dpi", 10.0, 0.0))
    panel = cut_pieces(net, replace(OPTIONS, line_uncertainty_mm=0.0))
    rng = np.random.default_rng(7)
    moved = corners + rng.normal(0.0, 0.3, (4000, 4, 2))
    areas = shapely.area(shapely.polygons(moved))
    assert panel.pieces[0].area_uncertainty_mm2 == pytest.approx(float(areas.std()), rel=0.05)


def test_an_area_errs_by_twice_the_scale() -> None:
    net = replace(frame(200, 100).net(0.0), scale=Scale("dpi", 10.0, 0.001))
    panel = cut_pieces(net, replace(OPTIONS, line_uncertainty_mm=0.0))
    assert panel.pieces[0].area_uncertainty_mm2 == pytest.approx(0.002 * 200 * 100)


def test_the_smallest_rectangle_is_that_of_shapely() -> None:
    draft = Draft().line((0, 0), (90, 20), (120, 70), (60, 110), (10, 60), (0, 0))
    (piece,) = cut(draft).pieces
    other = shapely.minimum_rotated_rectangle(piece.cut_outline)
    rectangle = piece.rectangle
    assert rectangle.width_mm * rectangle.height_mm <= other.area + 1e-6
    assert rectangle.width_mm >= rectangle.height_mm
    assert -90.0 < rectangle.angle_deg <= 90.0


def test_the_number_stands_where_the_glass_is_widest() -> None:
    """A long tail must not draw the number away from the body; brute force over a grid."""
    draft = Draft().line((0, 0), (80, 0), (80, 30), (300, 35), (300, 45), (80, 60), (0, 70), (0, 0))
    (piece,) = cut(draft).pieces
    x, y = np.meshgrid(np.arange(0, 300, 0.5), np.arange(0, 70, 0.5))
    spots = shapely.points(x.ravel(), y.ravel())
    inside = shapely.contains(piece.cut_outline, spots)
    free = shapely.distance(piece.cut_outline.exterior, spots[inside]).max()
    assert piece.label_radius_mm >= 0.95 * free - 0.5
    assert piece.label_at[0] < 80


def test_250_pieces_take_less_than_half_a_second() -> None:
    net = grid(np.arange(0.0, 801.0, 50.0), np.arange(0.0, 801.0, 50.0)).net()
    rng = np.random.default_rng(3)
    widths = rng.choice([4.1, 5.0, 6.2], len(net.cames))
    cames = tuple(replace(c, width_mm=float(w)) for c, w in zip(net.cames, widths, strict=True))
    net = replace(net, cames=cames)
    took = []
    for _ in range(3):
        start = time.perf_counter()
        panel = cut_pieces(net, OPTIONS)
        took.append(time.perf_counter() - start)
    assert len(panel.pieces) == 256
    assert min(took) < 0.5


@st.composite
def random_nets(draw: st.DrawFn) -> LeadNet:
    """Draw a jittered grid with bent leads and some inner leads left out, in one part."""
    columns, rows = draw(st.integers(2, 5)), draw(st.integers(2, 5))
    rng = np.random.default_rng(draw(st.integers(0, 10**6)))
    left_out = draw(st.floats(0.0, 0.5))
    cell = 60.0
    place = {
        (i, j): (
            round(i * cell + float(rng.uniform(-9, 9)), 3),
            round(j * cell + float(rng.uniform(-9, 9)), 3),
        )
        for i in range(columns + 1)
        for j in range(rows + 1)
    }
    graph = nx.grid_2d_graph(columns + 1, rows + 1)
    edges = sorted(tuple(sorted(edge)) for edge in graph.edges)
    inner = [
        (a, b) for a, b in edges if not (a[0] == b[0] in (0, columns) or a[1] == b[1] in (0, rows))
    ]
    for k in rng.permutation(len(inner)):
        if rng.random() < left_out:
            graph.remove_edge(*inner[k])
            alone = [n for n in inner[k] if graph.degree[n] == 0]
            graph.remove_nodes_from(alone)
            if not nx.is_connected(graph):
                graph.add_edge(*inner[k])
    draft = Draft(width_mm=5.0)
    for a, b in sorted(tuple(sorted(edge)) for edge in graph.edges):
        width = float(rng.choice([4.0, 5.0, 8.0]))
        draft.arc(place[a], place[b], float(rng.uniform(-30, 30)), width_mm=width)
    return draft.net()


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(net=random_nets(), seed=st.integers(0, 1000))
def test_laws_that_hold_for_random_windows(net: LeadNet, seed: int) -> None:
    panel = cut_pieces(net, OPTIONS)
    assert nx.check_planarity(nx.Graph([(c.start, c.end) for c in panel.cames]))[0]
    assert_euler(panel)
    assert_tiled(panel)
    assert_nested(panel)
    assert_polygonize_agrees(panel)
    again = cut_pieces(nets.shuffled(net, seed), OPTIONS)
    assert [p.cames for p in panel.pieces] == [p.cames for p in again.pieces]


@settings(max_examples=15, deadline=None)
@given(net=random_nets(), turn_deg=st.sampled_from([90.0, 180.0, 270.0]))
def test_turning_the_window_changes_no_measure(net: LeadNet, turn_deg: float) -> None:
    before = cut_pieces(net, OPTIONS)
    after = cut_pieces(nets.placed(net, Placement(turn_deg, 500.0, -300.0)), OPTIONS)

    def measures(panel: Panel) -> list[tuple[float, ...]]:
        return sorted(
            (
                round(p.centre_area_mm2, 3),
                round(p.cut_area_mm2, 1),
                round(p.rectangle.width_mm, 2),
                round(p.rectangle.height_mm, 2),
            )
            for p in panel.pieces
        )

    for a, b in zip(measures(before), measures(after), strict=True):
        assert a == pytest.approx(b, rel=1e-3, abs=0.3)


def test_a_came_of_no_length_is_a_defect() -> None:
    net = frame(100, 100).net()
    point = replace(net.cames[0], end=net.cames[0].start, curve=Line((0.0, 0.0), (0.0, 0.0)))
    with pytest.raises(ValueError, match="no length"):
        cut_pieces(replace(net, cames=(*net.cames, point)), OPTIONS)
