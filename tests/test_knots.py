"""Joints on small drawn rubbings: what solder and wide leads hide is put together again."""

from __future__ import annotations

import math

import numpy as np
import pytest

from rubbing2pattern.stages.lead import find_lead
from rubbing2pattern.stages.skeleton import skeletonize
from rubbing2pattern.stages.tidy import tidy
from rubbing2pattern.stages.trace import trace
from tests.bands import Drawing, cames_at, degrees, joints_of, nearest, scan, tidied


def test_leads_that_cross_make_one_joint_of_four() -> None:
    drawing = Drawing().frame().band((80, 20), (80, 140)).band((20, 80), (140, 80))
    net, _, _ = tidied(drawing.disc((80, 80), 5.0))
    crossings = joints_of(net, 4)
    assert len(crossings) == 1
    assert nearest(crossings, (80.0, 80.0)) < 0.3
    assert sorted(degrees(net)) == [2, 2, 2, 2, 3, 3, 3, 3, 4]


def test_two_tees_seven_mm_apart_stay_two_joints() -> None:
    drawing = Drawing().frame().band((20, 80), (140, 80), width_mm=4.0)
    drawing.band((76.5, 80), (76.5, 140), width_mm=4.0).band((83.5, 20), (83.5, 80), width_mm=4.0)
    net, _, _ = tidied(drawing.disc((76.5, 80), 4.0).disc((83.5, 80), 4.0))
    assert len(joints_of(net, 4)) == 0
    tees = joints_of(net, 3)
    assert len(tees) == 6
    assert nearest(tees, (76.5, 80.0)) < 0.5
    assert nearest(tees, (83.5, 80.0)) < 0.5


def test_an_acute_joint_lies_where_the_lead_lines_meet() -> None:
    """Leads 5 mm wide at 20 degrees run together for 14 mm."""
    far = (140.0, 80.0 + 90.0 * math.tan(math.radians(20.0)))
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
