"""Joints on small drawn rubbings: what solder and wide leads hide is put together again."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from rubbing2pattern.fitting.primitives import LineFit
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.stages.lead import find_lead
from rubbing2pattern.stages.skeleton import skeletonize
from rubbing2pattern.stages.tidy import tidy
from rubbing2pattern.stages.trace import trace
from rubbing2pattern.tidying.bridges import Bridge, bridge_between, crossing, landing
from rubbing2pattern.tidying.pairing import paired
from rubbing2pattern.tidying.stubs import Stub
from tests.bands import Drawing, cames_at, degrees, joints_of, nearest, scan, tidied


def test_leads_that_cross_make_one_joint_of_four() -> None:
    drawing = Drawing().frame().band((80, 20), (80, 140)).band((20, 80), (140, 80))
    net, _, _ = tidied(drawing.disc((80, 80), 5.0))
    crossings = joints_of(net, 4)
    assert len(crossings) == 1
    assert nearest(crossings, (80.0, 80.0)) < 0.3
    assert sorted(degrees(net)) == [2, 2, 2, 2, 3, 3, 3, 3, 4]


def test_a_lead_that_runs_through_its_joints_is_one_run_and_one_line() -> None:
    """Four border leads, two that cross, one of them with a tee."""
    drawing = Drawing().frame().band((80, 20), (80, 140)).band((20, 80), (140, 80))
    drawing.band((110, 80), (110, 140)).disc((80, 80), 5.0).disc((110, 80), 4.0)
    net, _, _ = tidied(drawing)
    assert len({came.strip for came in net.cames}) == 7
    across = cames_at(net, (50, 80)) + cames_at(net, (95, 80)) + cames_at(net, (125, 80))
    assert len({came.strip for came in across}) == 1
    heights = [y for came in across for _, y in came.curve.points()]
    assert heights == pytest.approx([80.0] * len(heights), abs=0.15)


@pytest.mark.parametrize(
    ("angle_deg", "solder_mm"), [(12.0, 5.0), (25.0, 5.0), (30.0, 9.0), (60.0, 10.0)]
)
def test_leads_that_cross_under_solder_make_one_joint_of_four(
    angle_deg: float, solder_mm: float
) -> None:
    rise = math.tan(math.radians(angle_deg))
    x, y = (60.0, 60.0 * rise) if rise < 1.0 else (60.0 / rise, 60.0)
    drawing = Drawing().frame().band((20, 80), (140, 80)).band((80 - x, 80 - y), (80 + x, 80 + y))
    net, _, _ = tidied(drawing.disc((80, 80), solder_mm))
    crossings = joints_of(net, 4)
    assert len(crossings) == 1
    assert nearest(crossings, (80.0, 80.0)) < 0.7
    assert len(joints_of(net, 3)) == 4


@pytest.mark.parametrize("leads", [5, 6])
def test_leads_that_meet_at_one_place_make_one_joint(leads: int) -> None:
    drawing = Drawing().frame().disc((80, 80), 8.0)
    for turn in (np.arange(leads) + 0.25) / leads * 2.0 * math.pi:
        along = np.array([math.cos(turn), math.sin(turn)])
        along *= 60.0 / np.abs(along).max()
        drawing.band((80, 80), (80 + float(along[0]), 80 + float(along[1])))
    net, _, _ = tidied(drawing)
    assert nearest(joints_of(net, leads), (80.0, 80.0)) < 0.7
    assert len(joints_of(net, leads)) == 1


def test_two_tees_seven_mm_apart_stay_two_joints() -> None:
    drawing = Drawing().frame().band((20, 80), (140, 80), width_mm=4.0)
    drawing.band((76.5, 80), (76.5, 140), width_mm=4.0).band((83.5, 20), (83.5, 80), width_mm=4.0)
    net, _, _ = tidied(drawing.disc((76.5, 80), 4.0).disc((83.5, 80), 4.0))
    assert len(joints_of(net, 4)) == 0
    tees = joints_of(net, 3)
    assert len(tees) == 6
    assert nearest(tees, (76.5, 80.0)) < 0.5
    assert nearest(tees, (83.5, 80.0)) < 0.5


@pytest.mark.parametrize("angle_deg", [12.0, 20.0, 35.0])
def test_an_acute_joint_lies_where_the_lead_lines_meet(angle_deg: float) -> None:
    """Leads 5 mm wide at 20 degrees run together for 14 mm, at 12 degrees for 24 mm."""
    slope = math.tan(math.radians(angle_deg))
    far = (140.0, 80.0 + 90.0 * slope) if angle_deg < 33.0 else (50.0 + 60.0 / slope, 140.0)
    net, _, _ = tidied(Drawing().frame().band((20, 80), (140, 80)).band((50, 80), far))
    assert sorted(degrees(net)) == [2, 2, 2, 2, 3, 3, 3, 3]
    assert nearest(joints_of(net, 3), (50.0, 80.0)) < 1.5


def test_a_short_link_from_a_ring_to_the_border_is_kept() -> None:
    """Of the link 10 mm long, 3.5 mm show between the leaves."""
    drawing = Drawing().frame().ring((80, 60), 30.0).band((80, 20), (80, 30))
    net, _, _ = tidied(drawing.band((80, 90), (80, 140)))
    (link,) = cames_at(net, (80.0, 25.0))
    assert link.curve.length_mm == pytest.approx(10.0, abs=1.0)
    tees = joints_of(net, 3)
    for at in ((80.0, 20.0), (80.0, 30.0), (80.0, 90.0), (80.0, 140.0)):
        assert nearest(tees, at) < 1.0


def test_without_the_link_none_is_found() -> None:
    drawing = Drawing().frame().ring((80, 60), 30.0).band((80, 90), (80, 140))
    net, _, _ = tidied(drawing)
    assert cames_at(net, (80.0, 25.0)) == []


def test_a_strap_ends_where_its_ink_ends() -> None:
    net, _, _ = tidied(Drawing().frame().band((80, 20), (80, 95)))
    ends = joints_of(net, 1)
    assert len(ends) == 1
    assert nearest(ends, (80.0, 95.0)) < 3.0


@pytest.mark.parametrize("width_mm", [6.0, 12.0])
def test_corners_of_a_border_are_square_and_in_place(width_mm: float) -> None:
    drawing = Drawing().frame(width_mm).band((80, 20), (80, 140))
    net, _, _ = tidied(drawing)
    corners = joints_of(net, 2)
    assert len(corners) == 4
    for at in ((20.0, 20.0), (140.0, 20.0), (20.0, 140.0), (140.0, 140.0)):
        assert nearest(corners, at) < 0.7


def stub(number: int, heading_deg: float, tip: tuple[float, float]) -> Stub:
    """Return a straight lead 5 mm wide, 20 mm of it clean, on its way to a joint."""
    a = math.radians(heading_deg)
    along = np.array([math.cos(a), math.sin(a)])
    fit = LineFit(np.array(tip), along)
    return Stub((number, True), fit, np.array(tip), along, 20.0, 5.0)


EAST, WEST = stub(0, 180.0, (5.0, 0.0)), stub(1, 0.0, (-5.0, 0.0))
NORTH, SOUTH = stub(2, -90.0, (0.0, 5.0)), stub(3, 90.0, (0.0, -5.0))


def ends(pairs: list[tuple[Stub, Stub]]) -> set[frozenset[int]]:
    return {frozenset((a.end[0], b.end[0])) for a, b in pairs}


def test_opposite_leads_of_a_crossing_run_on_in_each_other() -> None:
    pairs, rest = paired([NORTH, EAST, SOUTH, WEST], TidyOptions())
    assert ends(pairs) == {frozenset((0, 1)), frozenset((2, 3))}
    assert rest == []


def test_the_third_lead_of_a_tee_is_left_over() -> None:
    pairs, rest = paired([EAST, NORTH, WEST], TidyOptions())
    assert ends(pairs) == {frozenset((0, 1))}
    assert [s.end[0] for s in rest] == [2]


def test_leads_that_pass_each_other_six_mm_aside_are_two() -> None:
    pairs, rest = paired([stub(0, 180.0, (5.0, 6.0)), WEST], TidyOptions())
    assert pairs == []
    assert len(rest) == 2


def test_a_wide_lead_does_not_run_on_in_a_narrow_one() -> None:
    pairs, _ = paired([replace(EAST, width_mm=12.0), WEST], TidyOptions())
    assert pairs == []


def test_leads_that_run_through_cross_in_one_place() -> None:
    hit = crossing(bridge_between(WEST, EAST), bridge_between(SOUTH, NORTH))
    assert hit is not None
    assert hit[2] == pytest.approx([0.0, 0.0], abs=1e-9)
    assert hit[:2] == pytest.approx((0.5, 0.5), abs=0.02)
    aside = bridge_between(stub(4, 0.0, (-5.0, 6.0)), stub(5, 180.0, (5.0, 6.0)))
    assert crossing(bridge_between(WEST, EAST), aside) is None


def test_a_lead_left_over_butts_against_the_one_that_runs_through() -> None:
    through = Bridge(WEST, EAST, bridge_between(WEST, EAST), [])
    slanting = stub(6, -60.0, (-1.0, 5.0))
    found, at, place, _ = landing(slanting, [through], np.zeros(2))
    assert found is through
    assert place == pytest.approx([-1.0 + 5.0 / math.tan(math.radians(60.0)), 0.0], abs=1e-6)
    assert through.place(at) == pytest.approx(place, abs=0.05)


def test_the_same_drawing_gives_the_same_net_and_nothing_is_written_to() -> None:
    drawing = Drawing().frame().band((80, 20), (80, 140))
    rubbing = scan(drawing.picture())
    lead = find_lead(rubbing)
    raw = trace(skeletonize(lead))
    before = [a.copy() for a in (raw.nodes, *raw.paths, lead.band, lead.density)]
    net = tidy(raw, lead, rubbing)
    after = (raw.nodes, *raw.paths, lead.band, lead.density)
    assert all(np.array_equal(a, b) for a, b in zip(before, after, strict=True))
    assert np.array_equal(rubbing.photograph.grey, drawing.picture())
    assert net == tidied(drawing)[0]
