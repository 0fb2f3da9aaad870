"""Two rubbings of one panel: what moved, widened, went and came is reported, and no more."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st
from scipy.spatial.transform import Rotation
from skimage.transform import EuclideanTransform

from rubbing2pattern.comparing.found import Comparison, Fate, PieceFate, SideKind
from rubbing2pattern.comparing.rigid import closed_fit
from rubbing2pattern.errors import UsageFault
from rubbing2pattern.geometry.curves import Arc, Line
from rubbing2pattern.geometry.frame import Placement
from rubbing2pattern.model import Panel
from rubbing2pattern.options import Options
from rubbing2pattern.options.compare import CompareOptions
from rubbing2pattern.workflows.compare import compare_panels
from tests import panels
from tests.comparing.copies import carried, copy_of

KNOWN_MM = 0.1
"""What a known change must come out to."""

MOSAIC = panels.mosaic(30, 300.0, 400.0)
ALONE = Placement(-157.0, 812.0, -93.0)


def joint_places(found: Comparison) -> tuple[np.ndarray, np.ndarray]:
    """Return the places of the joints of both, those after in the frame of those before."""
    before = {j.id: (j.x_mm, j.y_mm) for j in found.before.joints}
    after = {j.id: (j.x_mm, j.y_mm) for j in found.after.joints}
    own = found.motion.apply([after[j] for j in before])
    return np.array(list(before.values())), own


@pytest.mark.parametrize("panel", panels.one_of_each(), ids=lambda panel: panel.name)
def test_a_panel_does_not_differ_from_itself(panel: Panel) -> None:
    found = compare_panels(panel, panel)
    assert not found.differs
    assert [(p.before, p.after) for p in found.pairs] == [(c.id, c.id) for c in panel.cames]
    assert [(p.before, p.after) for p in found.joint_pairs] == [(j.id,) * 2 for j in panel.joints]
    assert all(line.before == line.after for line in found.pieces)
    assert found.motion.placement == Placement(0.0, 0.0, 0.0)
    assert all(side.before == side.after for side in found.sides)


@pytest.mark.parametrize(
    ("angle_deg", "mirrored"), [(0.0, True), (180.0, False), (-157.0, False), (33.0, True)]
)
@pytest.mark.parametrize("panel", [MOSAIC, panels.arched()], ids=lambda panel: panel.name)
def test_a_copy_in_any_turn_and_mirrored_lies_on_it(
    panel: Panel, angle_deg: float, mirrored: bool
) -> None:
    other = carried(panel, Placement(angle_deg, 812.0, -93.0), mirrored=mirrored)
    found = compare_panels(panel, other)
    assert not found.differs
    assert found.motion.mirrored is mirrored
    before, after = joint_places(found)
    assert np.abs(after - before).max() < 0.01
    assert any(("mirrored" in note) for note in found.notes)


@settings(max_examples=12, deadline=None)
@given(
    st.floats(-180.0, 180.0),
    st.floats(-5000.0, 5000.0),
    st.floats(-5000.0, 5000.0),
)
def test_the_motion_is_that_of_the_closed_solution_on_the_joints(
    angle_deg: float, dx_mm: float, dy_mm: float
) -> None:
    """Kabsch (1976) by scipy, Umeyama (1991) by scikit-image, on the joints."""
    other = carried(MOSAIC, Placement(angle_deg, dx_mm, dy_mm))
    found = compare_panels(MOSAIC, other)
    before = np.array([(j.x_mm, j.y_mm) for j in MOSAIC.joints])
    after = np.array([(j.x_mm, j.y_mm) for j in other.joints])
    a, b = after - after.mean(axis=0), before - before.mean(axis=0)
    flat = [np.column_stack((p, np.zeros(len(p)))) for p in (b, a)]
    kabsch = float(Rotation.align_vectors(*flat)[0].as_euler("zyx", degrees=True)[0])
    turn = found.motion.placement.angle_deg
    assert math.remainder(turn - kabsch, 360.0) == pytest.approx(0.0, abs=1e-3)
    umeyama = EuclideanTransform.from_estimate(after, before)
    assert np.abs(found.motion.apply(after) - umeyama(after)).max() < 0.01
    own = closed_fit(after, before)
    assert np.abs(own.apply(after) - umeyama(after)).max() < 1e-6


def test_a_lead_that_moved_is_reported_by_how_much_and_nothing_else_moves() -> None:
    panel = panels.two_by_two()
    joints = {
        j.id: (j.x_mm + 3.0, j.y_mm) for j in panel.joints if j.id in ("J2", "J4", "J7", "J9")
    }
    other = carried(copy_of(panel, joints=joints), ALONE)
    found = compare_panels(panel, other)
    upright = [c.id for c in panel.cames if {c.start, c.end} <= joints.keys()]
    assert [pair.before for pair in found.moved] == upright
    for pair in found.moved:
        assert pair.shift_mm == pytest.approx((3.0, 0.0), abs=KNOWN_MM)
        assert pair.most_mm == pytest.approx(3.0, abs=KNOWN_MM)
    reported = {pair.before: pair.shift_mm for pair in found.joint_pairs if pair.moved}
    assert reported.keys() == joints.keys()
    assert all(shift == pytest.approx((3.0, 0.0), abs=KNOWN_MM) for shift in reported.values())
    assert not (found.widened or found.lone_leads or found.lone_joints or found.redrawn)
    assert not any(side.changed for side in found.sides)


def test_a_move_below_the_uncertainty_of_both_is_not_reported() -> None:
    panel = panels.two_by_two()
    joints = {j.id: (j.x_mm + 0.9, j.y_mm) for j in panel.joints if j.id in ("J4", "J7")}
    other = copy_of(panel, joints=joints)
    assert compare_panels(panel, other).moved
    doubtful = replace(other, joints=tuple(replace(j, uncertainty_mm=0.4) for j in other.joints))
    assert not compare_panels(panel, doubtful).differs


def test_a_ring_tells_its_move_both_ways() -> None:
    panel = panels.roundel_in_square()
    at = {"J3": (182.4, 118.5)}
    found = compare_panels(panel, copy_of(panel, joints=at))
    (pair,) = found.moved
    assert pair.shift_mm == pytest.approx((2.4, -1.5), abs=KNOWN_MM)
    assert pair.most_mm == pytest.approx(math.hypot(2.4, 1.5), abs=KNOWN_MM)
    assert any("or nearly, in other ways: " in note for note in found.notes)


def test_two_leads_side_by_side_each_keep_their_own() -> None:
    """The one moves to where the other would be nearer."""
    w, h = 300.0, 200.0
    xs = {"A": 140.0, "B": 152.0}
    rim = [("C1", (0.0, h)), ("C2", (w, h)), ("C3", (w, 0.0)), ("C4", (0.0, 0.0))]
    joints = dict(rim) | {f"{k}{end}": (x, y) for k, x in xs.items() for end, y in ((1, h), (2, 0))}
    order = ["C1", "A1", "B1", "C2", "C3", "B2", "A2", "C4", "C1"]
    pairs = [*pairwise(order), ("A1", "A2"), ("B1", "B2")]
    leads = [panels.Lead(p, q, Line(joints[p], joints[q]), 8.0, "8 mm") for p, q in pairs]
    panel = panels.build("two side by side", joints, leads)
    at = {"A1": (149.0, h), "A2": (149.0, 0.0)}
    found = compare_panels(panel, copy_of(panel, joints=at))
    (pair,) = found.moved
    assert (pair.before, pair.after) == ("C9", "C9")
    assert pair.shift_mm == pytest.approx((9.0, 0.0), abs=KNOWN_MM)
    assert not found.lone_leads


def test_a_lead_that_was_taken_out_is_named_and_so_are_its_pieces() -> None:
    panel = panels.two_by_two()
    cross = next(c for c in panel.cames if (c.start, c.end) == ("J4", "J5"))
    other = carried(copy_of(panel, without=(cross.id,)), Placement(180.0, 300.0, 400.0))
    found = compare_panels(panel, other)
    (lone,) = found.lone_leads
    assert (lone.fate, lone.came, lone.whole) == (Fate.LOST, cross.id, True)
    assert lone.length_mm == pytest.approx(150.0, abs=1.0)
    (line,) = found.redrawn
    merged = tuple(sorted(cross.pieces))
    assert (line.fate, line.before) == (PieceFate.MERGED, merged)
    assert not (found.moved or found.widened)
    back = compare_panels(other, panel)
    assert [(one.fate, one.came) for one in back.lone_leads] == [(Fate.ADDED, cross.id)]
    (line,) = back.redrawn
    assert (line.fate, line.after) == (PieceFate.SPLIT, merged)


def test_joints_that_went_with_their_lead_are_named() -> None:
    """The upright becomes one came where two joints were; its halves lie on one came after."""
    panel = panels.two_by_two()
    upright = next(c for c in panel.cames if (c.start, c.end) == ("J4", "J7"))
    joints = {j.id: (j.x_mm, j.y_mm) for j in panel.joints if j.id not in ("J4", "J5")}
    leads = [
        panels.Lead(c.start, c.end, c.curve, c.face_width_mm, c.stock)
        for c in panel.cames
        if not {"J4", "J5"} & {c.start, c.end}
    ]
    for p, q, width, stock in (("J2", "J7", 6.1, "6 mm"), ("J3", "J10", 10.0, "10 mm")):
        leads.append(panels.Lead(p, q, Line(joints[p], joints[q]), width, stock))
    found = compare_panels(panel, panels.build(panel.name, joints, leads))
    assert {(lone.fate, lone.joint) for lone in found.lone_joints} == {
        (Fate.LOST, "J4"),
        (Fate.LOST, "J5"),
    }
    assert upright.id in {pair.before for pair in found.pairs}
    assert [lone.fate for lone in found.lone_leads] == [Fate.LOST]
    assert not found.moved


def test_a_changed_width_is_named() -> None:
    panel = panels.two_by_two()

    def wider(lead: panels.Lead) -> panels.Lead:
        cross = (lead.start, lead.end) == ("J6", "J7")
        return replace(lead, width_mm=8.0, stock="8 mm") if cross else lead

    found = compare_panels(panel, copy_of(panel, changed=wider))
    (pair,) = found.widened
    assert pair.width_change_mm == pytest.approx(3.1, abs=KNOWN_MM)
    assert (pair.stock_before, pair.stock_after) == ("5 mm", "8 mm")
    assert not (found.moved or found.lone_leads)


def test_a_border_that_sags_is_reported_with_its_place() -> None:
    panel = panels.two_by_two()
    found = compare_panels(panel, copy_of(panel, joints={"J9": (150.0, -4.0)}))
    sides = {side.name: side for side in found.sides}
    assert set(sides) == {"left", "right", "top", "bottom"}
    assert [side.name for side in found.sides if side.changed] == ["bottom"]
    low = sides["bottom"]
    assert low.before.most_mm == pytest.approx(0.0, abs=1e-6)
    assert low.after.most_mm == pytest.approx(4.0, abs=KNOWN_MM)
    assert low.after.at == pytest.approx((150.0, -4.0), abs=2.0)
    assert low.after.along_mm == pytest.approx(150.0, abs=2.0)
    inward = compare_panels(panel, copy_of(panel, joints={"J6": (3.0, 200.0)}))
    (left,) = [side for side in inward.sides if side.changed]
    assert (left.name, left.after.most_mm) == ("left", pytest.approx(-3.0, abs=KNOWN_MM))


def test_an_arch_is_measured_from_its_arc_and_its_flattening_is_reported() -> None:
    before, after = panels.arched(400.0, 140.0), panels.arched(400.0, 136.0)
    found = compare_panels(before, after)
    (arch,) = [side for side in found.sides if side.kind is SideKind.ARC]
    rises = [200.0 * math.tan(math.radians(sweep / 4.0)) for sweep in (140.0, 136.0)]
    assert arch.before.rise_mm == pytest.approx(rises[0], abs=KNOWN_MM)
    assert arch.after.rise_mm == pytest.approx(rises[1], abs=KNOWN_MM)
    assert abs(arch.before.most_mm) < 0.05 and abs(arch.after.most_mm) < 0.05
    assert arch.changed
    assert arch.change_mm == pytest.approx(rises[1] - rises[0], abs=KNOWN_MM)


def test_a_round_headed_border_without_corners_is_parted_where_it_bends() -> None:
    joints = {"A": (0.0, 250.0), "B": (300.0, 250.0), "C": (300.0, 0.0), "D": (0.0, 0.0)}
    leads = [
        panels.Lead("B", "A", Arc((150.0, 250.0), 150.0, 0.0, 180.0), 8.0, "8 mm"),
        *(
            panels.Lead(p, q, Line(joints[p], joints[q]), 8.0, "8 mm")
            for p, q in (("A", "D"), ("D", "C"), ("C", "B"), ("A", "B"))
        ),
    ]
    panel = panels.build("round head", joints, leads)
    kinds = [side.kind for side in compare_panels(panel, panel).sides]
    assert kinds.count(SideKind.STRAIGHT) == 3 and kinds.count(SideKind.ARC) == 1
    for side in compare_panels(panel, panel).sides:
        assert abs(side.before.most_mm) < 0.2


def test_a_round_panel_is_measured_from_its_circle() -> None:
    def round_panel(radius_mm: float) -> Panel:
        at = {"J1": (100.0 + radius_mm, 100.0), "J2": (100.0 - radius_mm, 100.0)}
        arc = Arc((100.0, 100.0), radius_mm, 0.0, 180.0)
        leads = [
            panels.Lead("J1", "J2", arc, 6.0, "6 mm"),
            panels.Lead("J2", "J1", replace(arc, start_deg=180.0), 6.0, "6 mm"),
            panels.Lead("J1", "J2", Line(at["J1"], at["J2"]), 5.0, "5 mm"),
        ]
        return panels.build("round", at, leads)

    found = compare_panels(round_panel(100.0), round_panel(102.0))
    (rim,) = found.sides
    assert (rim.name, rim.kind) == ("rim", SideKind.CIRCLE)
    assert rim.before.rise_mm == pytest.approx(100.0, abs=0.05)
    assert rim.change_mm == pytest.approx(2.0, abs=KNOWN_MM) and rim.changed


def test_a_scale_that_is_off_is_reported() -> None:
    panel = panels.two_by_two()
    larger = panels.two_by_two(300.0 * 1.01, 400.0 * 1.01)
    found = compare_panels(panel, larger)
    assert any("1.00 % larger" in note for note in found.notes)
    assert not any("larger" in note for note in compare_panels(panel, panel).notes)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (panels.two_by_two(), MOSAIC),
        (MOSAIC, panels.mosaic(30, 300.0, 400.0, seed=4)),
        (panels.lattice(6, 8), panels.lattice(7, 9, 300.0 / 7.0)),
        (panels.arched(), panels.two_by_two()),
        (panels.lattice(6, 8), panels.lattice(3, 4, 100.0)),
    ],
)
def test_two_different_panels_are_refused(one: Panel, other: Panel) -> None:
    with pytest.raises(UsageFault, match=r"are two different panels.*% must"):
        compare_panels(one, other)


def test_a_side_noted_wrongly_is_reported_and_does_not_stop() -> None:
    other = replace(carried(MOSAIC, ALONE, mirrored=True), seen_from=MOSAIC.seen_from)
    found = compare_panels(MOSAIC, other)
    assert found.motion.mirrored and not found.differs
    assert any("one of the two sides is wrong" in note for note in found.notes)


def test_thresholds_can_be_set() -> None:
    panel = panels.two_by_two()
    other = copy_of(panel, joints={"J9": (150.0, -4.0)})
    calm = Options(compare=CompareOptions(least_move_mm=5.0))
    assert compare_panels(panel, other).differs
    assert not compare_panels(panel, other, calm).differs


def test_a_panel_nearly_the_same_turned_round_is_laid_the_way_that_fits_best() -> None:
    """One lead off the middle is all that tells the two ways apart."""
    panel = panels.lattice(6, 8)
    off = {j.id: (j.x_mm + 2.5, j.y_mm) for j in panel.joints if j.x_mm == 100.0}
    uneven = copy_of(panel, joints=off)
    found = compare_panels(uneven, carried(uneven, Placement(180.0, 300.0, 400.0)))
    assert not found.differs
    assert abs(found.motion.placement.angle_deg) == pytest.approx(180.0, abs=1e-3)
    assert any("in other ways: as it is" in note for note in found.notes)
