"""Joints on small drawn rubbings: what solder and wide leads hide is laid together again."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pytest

from rubbing2pattern.geometry.curves import arc_through, points_at, running_length
from rubbing2pattern.laying import laying
from rubbing2pattern.reading import RawNet
from rubbing2pattern.stages.lead import find_lead
from rubbing2pattern.stages.skeleton import skeletonize
from rubbing2pattern.stages.tidy import tidy
from rubbing2pattern.stages.trace import trace
from tests.bands import Drawing, cames_at, degrees, joints_of, nearest, scan, tidied

Array = npt.NDArray[np.float64]


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
    ("angle_deg", "solder_mm"),
    [(11.0, 5.0), (13.0, 5.0), (25.0, 5.0), (30.0, 9.0), (60.0, 10.0)],
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


@pytest.mark.parametrize("angle_deg", [13.0, 20.0, 35.0])
def test_an_acute_joint_lies_where_the_lead_lines_meet(angle_deg: float) -> None:
    """Leads 5 mm wide at 20 degrees run together for 14 mm, at 13 degrees for 22 mm."""
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


def fork(angle_deg: float, at_joint_mm: float, beyond_mm: float, sweep_deg: float = -40.0) -> Fork:
    """Draw a lead that leaves an arc at an angle.

    Its radius, positive to the left, changes evenly from `at_joint_mm` to `beyond_mm` over its
    first 25 mm; infinity is straight.
    """
    through = arc_through((20.0, 60.0), (140.0, 60.0), sweep_deg).points(0.005)
    along = running_length(through)
    place = 0.35 * along[-1]
    joint, after = points_at(through, along, np.array([place, place + 0.5]))
    through = np.insert(through, int(np.searchsorted(along, place)), joint, axis=0)
    way = math.atan2(after[1] - joint[1], after[0] - joint[0]) + math.radians(angle_deg)
    s = np.linspace(0.0, 140.0, 1401)
    bend = np.interp(s, (0.0, 25.0), (1.0 / at_joint_mm, 1.0 / beyond_mm))
    turned = way + np.concatenate(([0.0], np.cumsum(0.5 * (bend[1:] + bend[:-1]) * np.diff(s))))
    middle = 0.5 * (turned[1:] + turned[:-1])
    steps = np.column_stack((np.cos(middle), np.sin(middle))) * np.diff(s)[:, None]
    branch = joint + np.vstack((np.zeros((1, 2)), np.cumsum(steps, axis=0)))
    leaves = np.nonzero((branch > 140.0).any(axis=1) | (branch[:, 1] < 20.0))[0]
    return Fork(through, branch[: int(leaves[0])], joint)


@dataclass(frozen=True)
class Fork:
    """A lead from side to side of the frame, (N, 2), and one that leaves it at `joint`."""

    through: Array
    branch: Array
    joint: Array

    @property
    def drawing(self) -> Drawing:
        drawing = Drawing().frame()
        for path in (self.through, self.branch):
            drawing.band(*[(float(x), float(y)) for x, y in path])
        return drawing


@pytest.mark.parametrize(
    ("angle_deg", "at_joint_mm", "beyond_mm"),
    [(25.0, 25.0, -50.0), (30.0, 25.0, -50.0), (30.0, -25.0, 50.0)],
)
def test_the_joint_of_leads_that_bend_where_they_run_together_is_found(
    angle_deg: float, at_joint_mm: float, beyond_mm: float
) -> None:
    """What is seen of the lead alone bends the other way."""
    drawn = fork(angle_deg, at_joint_mm, beyond_mm)
    net, _, _ = tidied(drawn.drawing)
    assert nearest(joints_of(net, 3), tuple(drawn.joint)) < 2.0


@pytest.mark.parametrize("length_mm", [25.0, 40.0])
def test_a_short_strap_is_kept_to_its_end(length_mm: float) -> None:
    net, _, _ = tidied(Drawing().frame().band((80, 20), (80, 20 + length_mm)))
    ends = joints_of(net, 1)
    assert len(ends) == 1
    assert nearest(ends, (80.0, 20.0 + length_mm)) < 3.0


def test_the_same_drawing_gives_the_same_net_and_nothing_is_written_to() -> None:
    drawing = Drawing().frame().band((80, 20), (80, 140))
    rubbing = scan(drawing.picture())
    lead = find_lead(rubbing)
    raw = trace(skeletonize(lead))
    before = [a.copy() for a in (raw.nodes, *raw.paths, lead.maps.centre, lead.density)]
    net = tidy(raw, lead, rubbing)
    after = (raw.nodes, *raw.paths, lead.maps.centre, lead.density)
    assert all(np.array_equal(a, b) for a, b in zip(before, after, strict=True))
    assert np.array_equal(rubbing.photograph.grey, drawing.picture())
    assert net == tidied(drawing)[0]


@pytest.mark.parametrize("apart_mm", [3.0, 6.0])
def test_a_crossing_seen_as_two_tees_is_laid_as_one_joint(apart_mm: float) -> None:
    drawing = Drawing().frame().band((80, 20), (80, 140)).band((20, 80), (140, 80))
    rubbing = scan(drawing.disc((80, 80), 5.0).picture())
    lead = find_lead(rubbing)
    left, right = (80.0 - apart_mm / 2, 80.0), (80.0 + apart_mm / 2, 80.0)
    nodes = np.array([left, right, (20, 80), (140, 80), (80, 20), (80, 140)])
    ends = np.array([(2, 0), (4, 0), (0, 1), (1, 3), (1, 5)])
    paths = tuple(np.linspace(nodes[a], nodes[b], 200) for a, b in ends)
    net = laying(
        RawNet(nodes, ends, paths, np.zeros((len(ends), 2), np.int64)),
        rubbing,
        lead,
    ).net
    assert sorted(degrees(net)) == [1, 1, 1, 1, 4]
    assert nearest(joints_of(net, 4), (80.0, 80.0)) < 0.3
    assert len({came.strip for came in net.cames}) == 2
