"""Cutting a net into numbered pieces, on windows drawn by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely.geometry import MultiPolygon, Point as Spot

from rubbing2pattern.errors import NoLeadFound
from rubbing2pattern.geometry.curves import Line
from rubbing2pattern.geometry.frame import Placement
from rubbing2pattern.model import JointKind
from rubbing2pattern.reading import LeadNet
from rubbing2pattern.stages.pieces import cut_pieces
from tests import nets
from tests.laws import (
    OPTIONS,
    WINDOWS,
    around,
    assert_euler,
    assert_nested,
    assert_polygonize_agrees,
    assert_tiled,
    cut,
)
from tests.nets import Draft, frame, grid


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
        star.line((100, 100), end)
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


def test_a_ring_hung_on_the_border_touches_but_does_not_break_the_outline() -> None:
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


def test_cames_that_part_tangentially_are_distinguished_by_their_bend() -> None:
    """Two arcs and a straight lead leave one joint in the same direction."""
    draft = Draft().line((0, 0), (200, 0)).line((0, 0), (0, 100), (100, 100))
    draft.arc((0, 0), (100, 100), 90).arc((0, 0), (200, 100), 2 * math.degrees(math.atan(0.5)))
    draft.line((100, 100), (200, 100), (200, 0))
    panel = cut(draft)
    assert_euler(panel)
    assert_tiled(panel)
    assert_polygonize_agrees(panel)
    assert len(panel.pieces) == 3


def test_a_figure_of_cubics() -> None:
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


def test_the_placement_tells_the_angle_taken_out() -> None:
    net = replace(nets.two_by_two().net(), placement=Placement(-1.5, 10.0, 20.0))
    assert cut_pieces(net, OPTIONS).level_angle_deg == pytest.approx(1.5)


def test_256_pieces_between_leads_of_three_widths() -> None:
    net = grid(np.arange(0.0, 801.0, 50.0), np.arange(0.0, 801.0, 50.0)).net()
    rng = np.random.default_rng(3)
    widths = rng.choice([4.1, 5.0, 6.2], len(net.cames))
    cames = tuple(replace(c, width_mm=float(w)) for c, w in zip(net.cames, widths, strict=True))
    panel = cut_pieces(replace(net, cames=cames), OPTIONS)
    assert len(panel.pieces) == 256
    assert panel.pieces[0].centre_area_mm2 == pytest.approx(2500.0)


def test_a_came_of_no_length_is_a_defect() -> None:
    net = frame(100, 100).net()
    point = replace(net.cames[0], end=net.cames[0].start, curve=Line((0.0, 0.0), (0.0, 0.0)))
    with pytest.raises(ValueError, match="no length"):
        cut_pieces(replace(net, cames=(*net.cames, point)), OPTIONS)
