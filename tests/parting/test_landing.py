"""Leads that butt against a wide one are drawn straight on under its leaf; nets made by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from rubbing2pattern.imaging.profiles import evenly
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.parting.evidence import highest_near
from rubbing2pattern.parting.landing import landed
from rubbing2pattern.reading import LeadMap, RawNet
from tests import drawn
from tests.parting.basins import Array

OPTIONS = TidyOptions()
WIDE_MM, NARROW_MM = 18.0, 5.0
BORDER_Y = 40.0
Place = tuple[float, float]


def lead_map(butts: list[tuple[Place, Place]], wide_mm: float = WIDE_MM) -> LeadMap:
    """Return a map of 160 by 70 mm: a wide lead along y = 40, and butts seen outside its leaf."""
    columns, rows = np.meshgrid(np.arange(321) / 2.0, np.arange(141)[::-1] / 2.0)
    away = np.abs(rows - BORDER_Y)
    centre = np.exp(-((away / 0.8) ** 2) / 2)
    width = np.where(away < wide_mm / 2.0, wide_mm, NARROW_MM)
    places = shapely.points(columns.ravel(), rows.ravel())
    for butt in butts:
        line = np.exp(-((shapely.distance(places, shapely.LineString(butt)) / 0.8) ** 2) / 2)
        seen = line.reshape(away.shape) * (away > wide_mm / 2.0)
        centre = np.maximum(centre, seen)
    lead = drawn.map_of(centre.astype(np.float32), NARROW_MM)
    return replace(lead, maps=replace(lead.maps, width_mm=width.astype(np.float32)))


def net_of(*paths: list[Place]) -> RawNet:
    """Return a net of polylines that meet at their ends."""
    nodes = sorted({p for path in paths for p in (path[0], path[-1])})
    ends = [[nodes.index(path[0]), nodes.index(path[-1])] for path in paths]
    return RawNet(
        np.array(nodes, float),
        np.array(ends),
        tuple(evenly(np.array(path, float), 0.5) for path in paths),
        np.array([[1, 2]] * len(paths)),
    )


def land(net: RawNet, lead: LeadMap) -> RawNet:
    return landed(net, highest_near(lead, OPTIONS), lead, OPTIONS)


def bend(path: Array) -> float:
    """Greatest distance of a path from its chord, mm."""
    return float(shapely.distance(shapely.points(path), shapely.LineString(path[[0, -1]])).max())


def on_border(net: RawNet) -> list[float]:
    """Where on the border more than two edges meet."""
    degree = np.bincount(net.ends.ravel(), minlength=len(net.nodes))
    return sorted(x for (x, y), d in zip(net.nodes, degree, strict=True) if d > 2 and y > 38.0)


# A lead from (70, 5) that heads for (90, 40), lost under the leaf from y = 31 on.
COURSE: tuple[Place, Place] = ((70.0, 5.0), (90.0, 40.0))
LOST: Place = (70.0 + 26.0 * 20.0 / 35.0, 31.0)


@pytest.mark.parametrize(
    "hidden",
    [
        [(LOST[0], 40.0)],
        [(LOST[0] + 0.5, 33.0), (LOST[0] - 7.0, 33.0), (LOST[0] - 7.0, 40.0)],
        [(LOST[0] + 9.0, 31.5), (LOST[0] + 9.0, 40.0)],
    ],
    ids=["square to the border", "back along the leaf's edge", "on along it"],
)
def test_a_butt_runs_straight_on_however_the_flood_went(hidden: list[Place]) -> None:
    lead = lead_map([COURSE])
    foot = hidden[-1]
    net = land(
        net_of([(10.0, 40.0), foot], [foot, (150.0, 40.0)], [COURSE[0], LOST, *hidden]), lead
    )
    assert on_border(net) == pytest.approx([90.0], abs=0.4)
    butt = net.paths[2]
    assert bend(butt) < 0.3
    assert len(net.paths) == 3


def test_two_butts_at_one_node_land_each_by_its_own_course() -> None:
    """A V of leads whose ends the flood draws to one place."""
    left, right = ((40.0, 5.0), (75.0, 40.0)), ((120.0, 5.0), (85.0, 40.0))
    foot = (80.0, 40.0)
    net = net_of(
        [(10.0, 40.0), foot],
        [foot, (150.0, 40.0)],
        [left[0], (66.0, 31.0), foot],
        [right[0], (94.0, 31.0), foot],
    )
    after = land(net, lead_map([left, right]))
    assert on_border(after) == pytest.approx([75.0, 85.0], abs=0.4)
    assert len(after.paths) == 5
    whole = shapely.union_all([shapely.LineString(p) for p in after.paths])
    assert whole.is_valid
    assert max(bend(p) for p in after.paths) < 0.3


def test_butts_that_flow_together_under_the_leaf_are_parted() -> None:
    """The flood ties both to a stem that shows nowhere."""
    left, right = ((40.0, 5.0), (75.0, 40.0)), ((120.0, 5.0), (85.0, 40.0))
    fork, foot = (80.0, 33.0), (80.0, 40.0)
    net = net_of(
        [(10.0, 40.0), foot],
        [foot, (150.0, 40.0)],
        [fork, foot],
        [left[0], (66.0, 31.0), fork],
        [right[0], (94.0, 31.0), fork],
    )
    after = land(net, lead_map([left, right]))
    assert on_border(after) == pytest.approx([75.0, 85.0], abs=0.4)
    assert len(after.paths) == 5


def test_under_a_narrow_lead_nothing_is_moved() -> None:
    net = net_of([(10.0, 40.0), (84.0, 40.0)], [(84.0, 40.0), (150.0, 40.0)],
                 [COURSE[0], (86.0, 37.0), (84.0, 40.0)])  # fmt: skip
    after = land(net, lead_map([COURSE], wide_mm=6.0))
    assert on_border(after) == [84.0]
    for before, now in zip(net.paths, after.paths, strict=True):
        assert np.array_equal(before, now)


def test_a_stub_too_short_to_tell_its_course_stays() -> None:
    short = ((83.2, 30.0), (84.0, 31.0))
    net = net_of([(10.0, 40.0), (80.0, 40.0)], [(80.0, 40.0), (150.0, 40.0)],
                 [short[0], short[1], (80.0, 40.0)])  # fmt: skip
    assert on_border(land(net, lead_map([short]))) == [80.0]
