"""The lead to cut: what runs through, where ends are cut, sticks and weights."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given, settings, strategies as st
from shapely import LineString, box, get_parts

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.geometry.curves import Arc, Line, arc_through
from rubbing2pattern.leading import EndCut, LeadPlan, Strip, plan_lead
from rubbing2pattern.leading.weights import section_mm2
from rubbing2pattern.model import Joint, JointKind, Panel, Profile
from rubbing2pattern.options.leading import LeadingOptions
from tests import panels
from tests.panels import Lead, build

PLAIN = LeadingOptions()
TO_HEART = LeadingOptions(butt_to="heart")
SQUARE = {"N": (0.0, 200.0), "E": (200.0, 200.0), "S": (200.0, 0.0), "W": (0.0, 0.0)}


def uniform(panel: Panel) -> Panel:
    """Return the panel with one profile, so that a width is one order."""
    return replace(panel, cames=tuple(replace(c, profile=Profile.FLAT) for c in panel.cames))


def lead(
    joints: dict[str, tuple[float, float]], run: str, width: float, stock: str, strip: int
) -> list[Lead]:
    """Return straight leads from joint to joint."""
    names = run.split()
    return [Lead(a, b, Line(joints[a], joints[b]), width, stock, strip) for a, b in pairwise(names)]


def with_kinds(panel: Panel, **kinds: JointKind) -> Panel:
    def named(joint: Joint) -> Joint:
        return replace(joint, kind=kinds.get(joint.id, joint.kind))

    return replace(panel, joints=tuple(named(joint) for joint in panel.joints))


def strip_of(plan: LeadPlan, came: str) -> Strip:
    return next(strip for strip in plan.strips if came in strip.cames)


def check_sums(panel: Panel, plan: LeadPlan) -> None:
    """Every came lies in one strip; strips are cames less what is cut off, plus mitres."""
    cames = {came.id: came for came in panel.cames}
    assert sorted(name for strip in plan.strips for name in strip.cames) == sorted(cames)
    assert [strip.number for strip in plan.strips] == list(range(1, len(plan.strips) + 1))
    for strip in plan.strips:
        assert {cames[name].stock for name in strip.cames} == {strip.stock}
        line = sum(cames[name].length_mm for name in strip.cames)
        assert strip.lead_line_mm == pytest.approx(line)
        cut = line + sum(end.change_mm for end in strip.ends)
        assert strip.cut_length_mm == pytest.approx(max(cut, 0.0))
        assert sum(strip.parts_mm) == pytest.approx(strip.cut_length_mm)
        assert len(strip.parts_mm) == len(strip.sticks)
        for (a, b), name in zip(pairwise(strip.joints), strip.cames, strict=True):
            assert {a, b} == {cames[name].start, cames[name].end}
    whole = sum(strip.lead_line_mm for strip in plan.strips)
    assert whole == pytest.approx(sum(came.length_mm for came in panel.cames))
    ordered = [number for order in plan.orders for number in order.strips]
    assert sorted(ordered) == [strip.number for strip in plan.strips if not strip.covered]
    total = sum(order.total_length_mm for order in plan.orders)
    assert total == pytest.approx(sum(strip.cut_length_mm for strip in plan.strips))


@pytest.mark.parametrize("panel", panels.one_of_each(), ids=lambda panel: panel.name)
@pytest.mark.parametrize("options", [PLAIN, TO_HEART], ids=["leaf", "heart"])
def test_strips_are_the_cames_less_the_butts(panel: Panel, options: LeadingOptions) -> None:
    plan = plan_lead(panel, options)
    check_sums(panel, plan)
    assert plan_lead(panel, options) == plan


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10_000), st.integers(4, 40))
def test_any_mosaic_is_cut_whole(seed: int, count: int) -> None:
    panel = panels.mosaic(count, 400.0, 300.0, seed)
    plan = plan_lead(panel, PLAIN)
    check_sums(panel, plan)
    for order in plan.orders:
        used = sum(order.offcuts_mm) + order.total_length_mm
        assert used <= order.sticks * PLAIN.usable_mm + 1e-6
        assert order.sticks >= order.least_sticks


def test_two_by_two_by_hand() -> None:
    """Border 10 mm with mitres, an upright of 6 mm through, two cross leads of 5 mm butting."""
    plan = plan_lead(uniform(panels.two_by_two()), PLAIN)
    lengths = sorted((strip.stock, round(strip.cut_length_mm, 3)) for strip in plan.strips)
    assert lengths == [
        ("10 mm", 310.0),  # 300 and half a face of 10 mm at both mitres
        ("10 mm", 310.0),
        ("10 mm", 410.0),
        ("10 mm", 410.0),
        ("5 mm", 142.0),  # 150 less 5 mm of the border and 3 mm of the upright
        ("5 mm", 142.0),
        ("6 mm", 390.0),
    ]
    upright = next(strip for strip in plan.strips if strip.stock == "6 mm")
    assert upright.joints in (("J2", "J4", "J7", "J9"), ("J9", "J7", "J4", "J2"))
    assert [end.cut for end in upright.ends] == [EndCut.BUTT, EndCut.BUTT]
    rim = [strip for strip in plan.strips if strip.border]
    assert {end.cut for strip in rim for end in strip.ends} == {EndCut.MITRE}
    assert {round(end.angle_deg, 6) for strip in rim for end in strip.ends} == {45.0}


def test_to_the_heart_the_leads_reach_under_the_leaves() -> None:
    plan = plan_lead(uniform(panels.two_by_two()), TO_HEART)
    cross = [strip.cut_length_mm for strip in plan.strips if strip.stock == "5 mm"]
    assert cross == pytest.approx([150.0 - 2 * panels.HEART_MM / 2] * 2)


def test_a_slanted_butt_is_measured_over_its_long_point() -> None:
    """At 45 degrees: 3 mm / sin 45 in the middle, less 2 mm / tan 45 at the long point."""
    joints = {"N": (0.0, 200.0), "T": (200.0, 200.0), "S": (200.0, 0.0), "W": (0.0, 0.0),
              "A": (0.0, 100.0), "B": (200.0, 100.0), "M": (100.0, 100.0)}  # fmt: skip
    leads = lead(joints, "N T B S W A N", 8.0, "8 mm", 0)
    leads += lead(joints, "A M B", 6.0, "6 mm", 1) + lead(joints, "M T", 4.0, "4 mm", 2)
    panel = with_kinds(build("slant", joints, leads), T=JointKind.MEETING)
    strip = strip_of(plan_lead(panel, PLAIN), "C9")
    middle, corner = sorted(strip.ends, key=lambda end: end.joint)
    assert (middle.joint, middle.cut) == ("M", EndCut.BUTT)
    assert middle.angle_deg == pytest.approx(45.0)
    assert middle.change_mm == pytest.approx(-(3.0 * math.sqrt(2.0) - 2.0))
    # Pointed into the corner of the border, whose leaves meet 4 mm / sin 45 from the joint.
    assert (corner.joint, corner.cut) == ("T", EndCut.POINT)
    assert corner.change_mm == pytest.approx(-4.0 * math.sqrt(2.0))


def crossing(
    up_mm: float, width: Sequence[tuple[float, str]] = ((5.0, "5 mm"), (5.0, "5 mm"))
) -> Panel:
    """Return a square whose level lead crosses an upright one that reaches up only `up_mm`."""
    joints = {
        **SQUARE, "A": (0.0, 100.0), "B": (200.0, 100.0), "M": (100.0, 100.0),
        "D": (100.0, 0.0), "T": (100.0, 100.0 + up_mm),
    }  # fmt: skip
    leads = lead(joints, "N E B S D W A N", 8.0, "8 mm", 0)
    leads += lead(joints, "A M B", *width[0], 1) + lead(joints, "D M T", *width[1], 2)
    return build("crossing", joints, leads)


def test_a_crossing_goes_to_the_longer_straight_run() -> None:
    plan = plan_lead(crossing(60.0), PLAIN)
    level = strip_of(plan, "C8")
    assert level.joints in (("A", "M", "B"), ("B", "M", "A"))
    assert level.cut_length_mm == pytest.approx(200.0 - 8.0)
    below, above = strip_of(plan, "C10"), strip_of(plan, "C11")
    assert below.number != above.number
    assert above.cut_length_mm == pytest.approx(60.0 - 2.5)
    ends = {end.joint: end for end in above.ends}
    assert ends["T"].cut is EndCut.FREE
    assert ends["M"].meets == (level.number,)


def test_of_equal_runs_the_wider_goes_through() -> None:
    joints = {**SQUARE, "A": (0.0, 100.0), "B": (200.0, 100.0), "M": (100.0, 100.0),
              "D": (100.0, 0.0), "T": (100.0, 200.0)}  # fmt: skip
    leads = lead(joints, "N T E B S D W A N", 8.0, "8 mm", 0)
    leads += lead(joints, "A M B", 5.0, "5 mm", 1) + lead(joints, "D M T", 6.0, "6 mm", 2)
    plan = plan_lead(build("cross", joints, leads), PLAIN)
    assert len(strip_of(plan, "C11").cames) == 2
    assert len(strip_of(plan, "C9").cames) == 1


def test_the_longer_run_comes_before_the_wider_lead() -> None:
    plan = plan_lead(crossing(99.0, ((5.0, "5 mm"), (6.0, "6 mm"))), PLAIN)
    assert len(strip_of(plan, "C8").cames) == 2
    assert len(strip_of(plan, "C10").cames) == 1


def test_a_meeting_without_a_through_lead_stays_one() -> None:
    """Rule 1 of the joint kinds decided it when the rubbing was read."""
    panel = with_kinds(crossing(60.0), M=JointKind.MEETING)
    plan = plan_lead(panel, PLAIN)
    at_m = [end for strip in plan.strips for end in strip.ends if end.joint == "M"]
    assert [end.cut for end in at_m] == [EndCut.POINT] * 4
    assert [end.change_mm for end in at_m] == pytest.approx([0.0] * 4)


def test_a_change_of_width_begins_a_new_strip_and_others_butt_all_the_same() -> None:
    joints = {**SQUARE, "A": (0.0, 100.0), "B": (200.0, 100.0), "M": (100.0, 100.0),
              "D": (100.0, 0.0)}  # fmt: skip
    leads = lead(joints, "N E B S D W A N", 8.0, "8 mm", 0)
    leads += lead(joints, "A M", 5.0, "5 mm", 1) + lead(joints, "M B", 6.0, "6 mm", 2)
    leads += lead(joints, "D M", 4.0, "4 mm", 3)
    plan = plan_lead(build("tee", joints, leads), PLAIN)
    ends = {s.stock: e for s in plan.strips for e in s.ends if e.joint == "M"}
    assert [ends[stock].cut for stock in ("5 mm", "6 mm", "4 mm")] == [
        EndCut.JOIN, EndCut.JOIN, EndCut.BUTT,
    ]  # fmt: skip
    assert ends["4 mm"].change_mm == pytest.approx(-2.5)


def test_one_width_goes_through_before_two() -> None:
    panel = crossing(60.0)
    cames = tuple(
        replace(c, stock="6 mm", stock_mm=6.0) if c.id == "C9" else c for c in panel.cames
    )
    plan = plan_lead(replace(panel, cames=cames), PLAIN)
    assert len(strip_of(plan, "C10").cames) == 2


def test_the_border_runs_through_though_an_inner_pair_is_straighter() -> None:
    """The border bends by 20 degrees; an inner lead goes on straight from one of its sides."""
    rise = 100.0 * math.tan(math.radians(20.0))
    joints = {
        "N": (0.0, 100.0), "M": (100.0, 100.0), "U": (200.0, 100.0 + rise), "E": (200.0, 100.0),
        "S": (200.0, 0.0), "W": (0.0, 0.0), "L": (0.0, 60.0),
    }  # fmt: skip
    leads = lead(joints, "N M U E S W L N", 8.0, "8 mm", 0)
    leads += lead(joints, "M E", 8.0, "8 mm", 1)
    plan = plan_lead(build("bent", joints, leads), PLAIN)
    rim = strip_of(plan, "C1")
    assert rim.cames in (("C1", "C2"), ("C2", "C1"))
    assert {end.joint: end.cut for end in strip_of(plan, "C8").ends}["M"] is EndCut.BUTT


def test_rings_close_on_themselves_whole_or_in_parts() -> None:
    plan = plan_lead(panels.roundel_in_square(240.0, 60.0), PLAIN)
    ring = next(strip for strip in plan.strips if strip.ring)
    assert ring.cut_length_mm == pytest.approx(2.0 * math.pi * 60.0)
    assert [end.cut for end in ring.ends] == [EndCut.CLOSED] * 2
    assert ring.ends[0].meets == (ring.number,)
    assert sum(strip.ring for strip in plan.strips) == 1


def test_a_roundel_held_by_leads_is_one_ring() -> None:
    joints = {**SQUARE, "A": (0.0, 100.0), "B": (200.0, 100.0), "P": (60.0, 100.0),
              "Q": (140.0, 100.0)}  # fmt: skip
    leads = lead(joints, "N E B S W A N", 8.0, "8 mm", 0)
    leads += lead(joints, "A P", 5.0, "5 mm", 1) + lead(joints, "Q B", 5.0, "5 mm", 2)
    leads += [
        Lead("Q", "P", Arc((100.0, 100.0), 40.0, 0.0, 180.0), 5.0, "5 mm", 3),
        Lead("P", "Q", arc_through(joints["P"], joints["Q"], 180.0), 5.0, "5 mm", 3),
    ]
    plan = plan_lead(build("held", joints, leads), PLAIN)
    ring = next(strip for strip in plan.strips if strip.ring)
    assert len(ring.cames) == 2
    assert ring.cut_length_mm == pytest.approx(80.0 * math.pi)
    assert ring.joints[0] == ring.joints[-1]
    assert strip_of(plan, "C7").cut_length_mm == pytest.approx(60.0 - 4.0 - 2.5)


def test_a_strap_ends_freely() -> None:
    plan = plan_lead(panels.strapped(), PLAIN)
    strap = next(strip for strip in plan.strips if strip.stock == "4 mm")
    ends = {end.joint: end for end in strap.ends}
    assert (ends["J4"].cut, ends["J4"].change_mm, ends["J4"].meets) == (EndCut.FREE, 0.0, ())
    assert ends["J3"].cut is EndCut.BUTT


def test_sharp_mitres_are_trimmed() -> None:
    joints = {"A": (0.0, 0.0), "B": (200.0, 0.0), "C": (200.0, 20.0)}
    plan = plan_lead(build("wedge", joints, lead(joints, "A B C A", 8.0, "8 mm", 0)), PLAIN)
    sharp = [end for strip in plan.strips for end in strip.ends if end.joint == "A"]
    assert [end.change_mm for end in sharp] == pytest.approx([2.5 * 4.0] * 2)
    square = [end for strip in plan.strips for end in strip.ends if end.joint == "B"]
    assert [end.change_mm for end in square] == pytest.approx([4.0] * 2)


def test_a_short_link_under_wide_leads_is_not_cut() -> None:
    joints = {**SQUARE, "A": (0.0, 100.0), "B": (200.0, 100.0), "P": (100.0, 100.0),
              "Q": (100.0, 110.0), "C": (0.0, 110.0), "D": (200.0, 110.0)}  # fmt: skip
    leads = lead(joints, "N E D B S W A C N", 8.0, "8 mm", 0)
    leads += lead(joints, "A P B", 12.0, "12 mm", 1) + lead(joints, "C Q D", 12.0, "12 mm", 2)
    leads += lead(joints, "P Q", 5.0, "5 mm", 3)
    plan = plan_lead(uniform(build("link", joints, leads)), PLAIN)
    link = strip_of(plan, "C13")
    assert link.covered
    assert (link.cut_length_mm, link.parts_mm, link.sticks) == (0.0, (), ())
    thin = next(order for order in plan.orders if order.stock == "5 mm")
    assert (thin.strips, thin.sticks, thin.to_buy, thin.lead_kg) == ((), 0, 0, 0.0)


def test_a_strip_longer_than_a_stick_is_soldered_at_a_joint() -> None:
    options = replace(PLAIN, stick_mm=250.0, trim_mm=40.0, allowance_mm=3.0)  # 207 mm are usable
    plan = plan_lead(uniform(panels.two_by_two()), options)
    check_sums(uniform(panels.two_by_two()), plan)
    upright = strip_of(plan, "C9")
    # From its upper cut the joints lie at 155 and 195 mm; the farther one is taken.
    assert (upright.soldered_at, upright.parts_mm) == (("J7",), pytest.approx((195.0, 195.0)))
    # The right border has one joint, 160 mm from its upper end and 5 mm more from its cut.
    right = strip_of(plan, "C3")
    assert right.soldered_at == ("J5", "")
    assert right.parts_mm == pytest.approx((165.0, 207.0, 38.0))
    assert right.sticks == (2, 1, 2)  # the first and the last part share one stick


@pytest.mark.parametrize("allowance_mm", [3.12, 3.175, 0.0, 0.04])
@pytest.mark.parametrize("stick_mm", [250.09, 254.0, 300.05])
def test_parts_with_their_allowance_always_fit_a_stick(
    stick_mm: float, allowance_mm: float
) -> None:
    options = replace(PLAIN, stick_mm=stick_mm, allowance_mm=allowance_mm)
    for panel in (panels.arched(), panels.roundel_in_square(), panels.two_by_two()):
        check_sums(panel, plan_lead(panel, options))


def test_unknown_profiles_follow_the_one_that_their_width_shows() -> None:
    panel = uniform(panels.two_by_two())
    blind = tuple(
        replace(c, profile=Profile.UNKNOWN) if c.id in ("C1", "C2") else c for c in panel.cames
    )
    plan = plan_lead(replace(panel, cames=blind), PLAIN)
    assert {strip.profile for strip in plan.strips} == {Profile.FLAT}
    mixed = tuple(replace(c, profile=Profile.ROUND) if c.id == "C12" else c for c in blind)
    plan = plan_lead(replace(panel, cames=mixed), PLAIN)
    assert [(order.stock, order.profile.value) for order in plan.orders] == [
        ("5 mm", "flat"), ("5 mm", "round"), ("6 mm", "flat"), ("10 mm", "flat"),
    ]  # fmt: skip


def test_weights_by_hand() -> None:
    """EN 572-1: 2.5 kg for a square metre and mm; CRC Handbook: 11.34 g/cm3 of lead."""
    panel = uniform(panels.two_by_two())
    plan = plan_lead(panel, PLAIN)
    area_m2 = sum(piece.cut_outline.area for piece in panel.pieces) / 1e6
    assert plan.glass_kg == pytest.approx(2.5 * 3.0 * area_m2)
    # Two leaves of 1 mm and a heart of 1.6 x 5 mm: 28, 20 and 18 mm2 for 10, 6 and 5 mm.
    grams = 11.34 * (144.0 * 0.28 + 39.0 * 0.20 + 28.4 * 0.18)  # lengths in cm, sections in cm2
    assert plan.lead_kg == pytest.approx(grams / 1000.0)
    assert section_mm2(8.0, Profile.ROUND, 1.6, PLAIN) == pytest.approx(
        2.0 * math.pi / 4.0 * 8.0 * 1.5 + 8.0
    )
    border = plan.orders[-1]
    assert border.bought_kg == pytest.approx(border.to_buy * 182.88 * 0.28 * 11.34 / 1000.0)


def test_sticks_with_allowances() -> None:
    plan = plan_lead(uniform(panels.two_by_two()), PLAIN)
    border = plan.orders[-1]
    # 1828.8 mm less 40 mm for the crushed ends; four strips with 3 mm each.
    assert (border.sticks, border.least_sticks, border.to_buy) == (1, 1, 2)
    assert border.offcuts_mm == pytest.approx((1828.8 - 40.0 - 1440.0 - 12.0,))
    stretched = plan_lead(uniform(panels.two_by_two()), replace(PLAIN, stretch_share=0.05))
    gained = stretched.orders[-1].offcuts_mm[0] - border.offcuts_mm[0]
    assert gained == pytest.approx(0.05 * 1828.8, abs=0.1)


def test_spare_lead_lies_in_long_offcuts_or_is_bought() -> None:
    """Border strips of 310 and 510 mm take 1652 mm; the offcut is too short for 513 mm."""
    panel = uniform(panels.two_by_two(300.0, 500.0))

    def bought(**given_: float) -> int:
        return plan_lead(panel, replace(PLAIN, **given_)).orders[-1].to_buy

    assert plan_lead(panel, PLAIN).orders[-1].offcuts_mm == pytest.approx((136.8,))
    assert bought() == 2
    assert bought(spare_share=0.0) == 1
    # A stick of 3 m leaves 1308 mm, from which a strip of 513 mm can be cut again.
    assert bought(stick_mm=3000.0) == 1
    assert bought(stick_mm=3000.0, spare_share=1.0) == 2


@pytest.mark.parametrize(
    ("given_", "said"),
    [
        ({"stick_mm": 250.0, "trim_mm": 149.0}, "leave less than 100 mm of a stick of 250 mm"),
        ({"glass_mm": 6.0}, "must fit between the leaves, channel_mm 5"),
        ({"butt_to": "rim"}, "must be leaf or heart"),
        ({"stretch_share": 0.5}, "stretch_share is 0.5"),
    ],
)
def test_options_that_contradict_are_refused(given_: dict[str, float], said: str) -> None:
    with pytest.raises(UsageFault, match=said):
        LeadingOptions(**given_)  # type: ignore[arg-type]


@pytest.mark.parametrize("seed", range(6))
def test_cuts_agree_with_polygons(seed: int) -> None:
    """The body of a butting lead less those of the through-lead, by shapely, has the same reach."""
    panel = panels.mosaic(40, 600.0, 500.0, seed)
    plan = plan_lead(panel, replace(PLAIN, sharpest_deg=2.0, bend_deg=80.0))
    cames = {came.id: came for came in panel.cames}
    at = {joint.id: joint for joint in panel.joints}
    checked = 0
    for strip in plan.strips:
        for end, name in zip(strip.ends, (strip.cames[0], strip.cames[-1]), strict=True):
            if end.cut is not EndCut.BUTT or len(at[end.joint].cames) != 3:
                continue
            came, origin = cames[name], (at[end.joint].x_mm, at[end.joint].y_mm)
            far = came.end if came.start == end.joint else came.start
            if came.length_mm < 30.0:
                continue
            # Two lines that leave the joint, turned so that the lead runs along the x axis.
            angle = math.atan2(at[far].y_mm - origin[1], at[far].x_mm - origin[0])
            wall = []
            for other in at[end.joint].cames:
                if other != name:
                    tip = (
                        cames[other].end if cames[other].start == end.joint else cames[other].start
                    )
                    turn = math.atan2(at[tip].y_mm - origin[1], at[tip].x_mm - origin[0]) - angle
                    wall.append((200.0 * math.cos(turn), 200.0 * math.sin(turn)))
                    width = cames[other].stock_mm
            body = LineString([wall[0], (0.0, 0.0), wall[1]]).buffer(
                width / 2.0, cap_style="flat", join_style="mitre", mitre_limit=50.0
            )
            left = box(-150.0, -came.stock_mm / 2.0, 150.0, came.stock_mm / 2.0).difference(body)
            kept = [part for part in get_parts(left) if part.bounds[2] > 149.0]
            assert -end.change_mm == pytest.approx(kept[0].bounds[0], abs=0.02), (strip, end)
            checked += 1
    assert checked > 20
