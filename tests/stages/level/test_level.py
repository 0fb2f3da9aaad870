"""Turning a net upright."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from rubbing2pattern.errors import NoLeadFound
from rubbing2pattern.findings import Code, Finding, Severity
from rubbing2pattern.geometry.frame import Placement
from rubbing2pattern.options.level import LevelOptions
from rubbing2pattern.options.pieces import PieceOptions
from rubbing2pattern.reading import LeadNet
from rubbing2pattern.stages.level import compose, level
from rubbing2pattern.stages.pieces import cut_pieces
from tests import nets
from tests.nets import Draft

OPTIONS = LevelOptions()

WEDGE = Draft().line((0, 0), (300, 0), (260, 600), (40, 600), (0, 0))
SLOPED_HEAD = Draft().line((0, 0), (300, 0), (300, 500), (0, 420), (0, 0))
TRACERY = Draft().line((0, 300), (0, 0), (200, 0)).arc((200, 0), (0, 300), 80.0)
# A fan: the sides splay by 13 degrees, head and foot are arcs about the point where they meet.
FAN = (
    Draft()
    .arc((-45, 195), (45, 195), -26.0)
    .line((45, 195), (138, 598))
    .arc((138, 598), (-138, 598), 26.0)
    .line((-138, 598), (-45, 195))
)
UPRIGHT = {
    "fan": FAN,
    "two by two": nets.two_by_two(),
    "lancet": nets.lancet(),
    "wedge": WEDGE,
    "sloped head": SLOPED_HEAD,
    "tracery": TRACERY,
    "rings in a frame": nets.concentric_rings(),
}


def turned(draft: Draft, angle_deg: float) -> LeadNet:
    return level(nets.placed(draft.net(), Placement(angle_deg, 812.0, -77.0)), OPTIONS)


def corner(net: LeadNet) -> tuple[float, float]:
    points = np.vstack([came.curve.points(0.005) for came in net.cames])
    return tuple(points.min(axis=0))


@pytest.mark.parametrize("draft", UPRIGHT.values(), ids=UPRIGHT.keys())
@pytest.mark.parametrize("angle_deg", [0.0, 2.3, -7.5, 9.0])
def test_the_angle_is_taken_out(draft: Draft, angle_deg: float) -> None:
    net = turned(draft, angle_deg)
    assert net.placement.angle_deg == pytest.approx(-angle_deg, abs=1e-3)
    assert corner(net) == pytest.approx((0.0, 0.0), abs=1e-6)
    assert net.findings == ()


def test_the_placement_leads_from_the_sheet_to_the_panel() -> None:
    drawn = nets.placed(nets.two_by_two().net(), Placement(4.0, 300.0, 200.0))
    net = level(drawn, OPTIONS)
    on_sheet = [(j.x_mm, j.y_mm) for j in drawn.joints]
    on_panel = [(j.x_mm, j.y_mm) for j in net.joints]
    assert net.placement.apply(on_sheet) == pytest.approx(np.array(on_panel))
    again = level(net, OPTIONS)
    assert again.placement.apply(on_sheet) == pytest.approx(np.array(on_panel), abs=1e-6)


@given(
    st.tuples(*[st.floats(-180, 180), st.floats(-500, 500), st.floats(-500, 500)] * 2),
)
def test_composing_is_doing_one_after_the_other(v: tuple[float, ...]) -> None:
    first, then = Placement(*v[:3]), Placement(*v[3:])
    points = np.array([(0.0, 0.0), (100.0, 30.0)])
    both = compose(first, then).apply(points)
    assert both == pytest.approx(then.apply(first.apply(points)), abs=1e-6)


def test_findings_move_with_the_net() -> None:
    whole = Finding(Code.LOW_RESOLUTION, Severity.NOTE, "Coarse.")
    net = nets.two_by_two().net()
    here = Finding(Code.FAINT_REGION, Severity.CHECK, "Faint.", (100.0, 150.0))
    placement = Placement(3.0, 50.0, 60.0)
    at = tuple(float(v) for v in placement.apply(((100.0, 150.0),))[0])
    net = replace(nets.placed(net, placement), findings=(whole, here.moved(at)))
    levelled = level(net, OPTIONS)
    assert levelled.findings[0] == whole
    assert levelled.findings[1].at == pytest.approx((100.0, 150.0))


@pytest.mark.parametrize("draft", [nets.quatrefoil(), Draft().ring((0, 0), 90)])
def test_without_a_straight_side_the_panel_stays_as_it_lay(draft: Draft) -> None:
    net = turned(draft, 5.0)
    assert net.placement.angle_deg == 0.0
    assert [f.code for f in net.findings] == [Code.NOT_LEVELLED]
    assert corner(net) == pytest.approx((0.0, 0.0), abs=1e-6)


@pytest.mark.parametrize("angle_deg", [14.0, 30.0, 45.0])
def test_no_panel_is_turned_by_more_than_the_limit(angle_deg: float) -> None:
    net = turned(nets.two_by_two(), angle_deg)
    assert net.placement.angle_deg == 0.0
    assert [f.code for f in net.findings] == [Code.NOT_LEVELLED]


def test_a_hexagon_stands_on_its_side() -> None:
    corners = [(100 * np.cos(a), 100 * np.sin(a)) for a in np.radians(np.arange(0, 360, 60))]
    corners = [(round(float(x), 6), round(float(y), 6)) for x, y in corners]
    net = turned(Draft().line(*corners, corners[0]), 4.0)
    assert net.placement.angle_deg == pytest.approx(-4.0, abs=1e-3)


def test_a_sagged_side_does_not_tilt_the_panel() -> None:
    """The sides bow out by 3 mm and every joint lies off by a few tenths."""
    rng = np.random.default_rng(5)
    draft = Draft()
    ys = np.linspace(0.0, 600.0, 9)
    left = [(-3.0 * np.sin(y / 600 * np.pi) + rng.normal(0, 0.2), y) for y in ys]
    right = [(400.0 + 3.0 * np.sin(y / 600 * np.pi) + rng.normal(0, 0.2), y) for y in ys]
    draft.line(*left, *right[::-1], left[0])
    net = turned(draft, 3.0)
    assert net.placement.angle_deg == pytest.approx(-3.0, abs=0.05)


def test_an_out_of_square_panel_is_levelled_in_between() -> None:
    """Sheared by one degree, the sides share the error instead of one taking all of it."""
    lean = 600.0 * np.tan(np.radians(1.0))
    draft = Draft().line((0, 0), (600, 0), (600 + lean, 600), (lean, 600), (0, 0))
    net = turned(draft, 0.0)
    assert 0.1 < net.placement.angle_deg < 0.9


@settings(max_examples=20, deadline=None)
@given(st.floats(-9.5, 9.5), st.floats(-300, 300))
def test_levelling_changes_no_measure(angle_deg: float, shift_mm: float) -> None:
    drawn = nets.placed(nets.lancet().net(), Placement(angle_deg, shift_mm, -shift_mm))
    before = cut_pieces(nets.lancet().net(), PieceOptions())
    after = cut_pieces(level(drawn, OPTIONS), PieceOptions())
    assert [p.cut_area_mm2 for p in after.pieces] == pytest.approx(
        [p.cut_area_mm2 for p in before.pieces], rel=1e-6
    )
    assert after.level_angle_deg == pytest.approx(angle_deg, abs=1e-3)
    assert after.outline.bounds[:2] == pytest.approx((0.0, 0.0), abs=1e-6)


def test_leads_that_enclose_nothing_cannot_be_levelled() -> None:
    with pytest.raises(NoLeadFound):
        level(Draft().line((0, 0), (100, 0)).net(), OPTIONS)


def test_crossing_lines_are_levelled_all_the_same() -> None:
    draft = nets.frame(200, 300).line((0, 0), (200, 300)).line((0, 300), (200, 0))
    assert turned(draft, 3.0).placement.angle_deg == pytest.approx(-3.0, abs=1e-3)


SPURS = {
    "none": (),
    "a bar and a tie": (((0, 150), (-60, 140)), ((100, 300), (110, 340))),
    "spurs that cross": (((0, 0), (-40, -30)), ((0, 0), (-45, 0)), ((-25, -5), (-15, -30))),
    "crossing leads besides": (
        ((0, 0), (-40, -30)),
        ((0, 300), (100, 150)),
        ((0, 150), (100, 300)),
        ((60, 310), (-60, 180)),
    ),
}


@pytest.mark.parametrize("spurs", SPURS.values(), ids=SPURS.keys())
@pytest.mark.parametrize("angle_deg", [0.0, 5.0])
def test_leads_beyond_the_border_shift_neither_origin_nor_size(
    spurs: tuple[tuple[tuple[float, float], ...], ...], angle_deg: float
) -> None:
    draft = nets.two_by_two()
    for spur in spurs:
        draft.line(*spur)
    net = turned(draft, angle_deg)
    corners = {(round(j.x_mm, 3), round(j.y_mm, 3)) for j in net.joints}
    assert {(0.0, 0.0), (200.0, 0.0), (200.0, 300.0), (0.0, 300.0)} <= corners
    panel = cut_pieces(net, PieceOptions())
    assert panel.outline.bounds == pytest.approx((0.0, 0.0, 200.0, 300.0), abs=1e-3)
    assert (panel.width_mm, panel.height_mm) == pytest.approx((200.0, 300.0), abs=1e-3)
    assert panel.outer_width_mm == pytest.approx(206.0, abs=1e-3)
