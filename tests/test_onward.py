"""Leads followed into sharp joints by the edge that still shows, on drawn leads of known course."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pytest
import shapely

from rubbing2pattern.curves import arc_through, points_at, running_length
from rubbing2pattern.fitting.primitives import CircleFit
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.reading import RawNet
from rubbing2pattern.stages.lead import find_lead
from rubbing2pattern.tidying.onward import follow_edges
from rubbing2pattern.tidying.refine import Track, refine
from rubbing2pattern.tidying.stubs import clean_places, followed, reach_of_solder, stub_of
from rubbing2pattern.tidying.web import Web
from tests.bands import Drawing, joints_of, nearest, scan, tidied

Array = npt.NDArray[np.float64]
OPTIONS = TidyOptions()
BRANCH = 2


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


def centred(drawn: Fork, options: TidyOptions = OPTIONS) -> tuple[Web, dict[int, Track]]:
    """Follow the edges of the three strands of a fork laid exactly over its drawing."""
    rubbing = scan(drawn.drawing.picture())
    lead = find_lead(rubbing)
    cut = int(np.hypot(*(drawn.through - drawn.joint).T).argmin())
    paths = (drawn.through[: cut + 1], drawn.through[cut:], drawn.branch)
    nodes = np.array([drawn.through[0], drawn.joint, drawn.through[-1], drawn.branch[-1]])
    ends = np.array([(0, 1), (1, 2), (1, 3)])
    web = Web.of(RawNet(nodes, ends, paths, np.zeros((3, 2), np.int64)))
    tracks = {}
    for k, strand in web.strands.items():
        first, last = (reach_of_solder(web, n, options) for n in (strand.a, strand.b))
        tracks[k] = refine(strand, (first, last), rubbing, lead, options)
    follow_edges(web, tracks, rubbing, lead, options)
    return web, tracks


def away(points: Array, path: Array) -> Array:
    """Distances of points from a drawn lead."""
    return np.asarray(shapely.distance(shapely.LineString(path), shapely.points(points)))


def clean(web: Web, tracks: dict[int, Track], k: int) -> Array:
    """Places at which a strand is taken for lead that is seen alone."""
    return tracks[k].points[clean_places(web, k, tracks, OPTIONS)]


@pytest.mark.parametrize("radius_mm", [90.0, -90.0])
@pytest.mark.parametrize("angle_deg", [20.0, 25.0, 30.0])
def test_a_lead_is_followed_to_the_joint_on_its_own_middle(
    angle_deg: float, radius_mm: float
) -> None:
    """Leads 5 mm wide run together over 9 to 18 mm here."""
    drawn = fork(angle_deg, radius_mm, radius_mm)
    web, tracks = centred(drawn)
    seen = clean(web, tracks, BRANCH)
    assert np.hypot(*(seen - drawn.joint).T).min() < 6.0
    assert away(seen, drawn.branch).max() < 0.3


@pytest.mark.parametrize("angle_deg", [18.0, 25.0, 35.0])
def test_an_edge_is_not_followed_along_the_lead_it_comes_to(angle_deg: float) -> None:
    """The outer edge goes over into that of the other lead with a bend of only that angle."""
    drawn = fork(angle_deg, math.inf, math.inf, sweep_deg=-4.0)
    _, tracks = centred(drawn)
    new = tracks[BRANCH].points[tracks[BRANCH].known]
    assert len(new) > 3
    assert away(new, drawn.branch).max() < 0.3


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


def test_a_lead_that_bends_at_its_end_comes_to_the_joint_as_it_is_bent() -> None:
    """It runs straight for 40 mm; then its curvature grows to that of a radius of 20 mm."""
    bend = np.maximum(np.arange(0.0, 54.1, 0.5) - 40.0, 0.0) / 14.0 / 20.0
    turned = np.cumsum(bend) * 0.5
    path = np.cumsum(0.5 * np.column_stack((np.cos(turned), np.sin(turned))), axis=0)[::-1]
    web = Web.of(RawNet(path[[0, -1]], np.array([(0, 1)]), (path,), np.zeros((1, 2), np.int64)))
    seen = np.ones(len(path))
    points = path + np.random.default_rng(3).normal(0.0, 0.04, path.shape)
    track = Track(points, running_length(path), seen, 5.0 * seen, 5.0, 5.0, 0.0, 0.0, seen > 1.0)
    stub = stub_of(web, (0, True), {0: track}, OPTIONS)
    assert stub is not None
    assert math.dist(stub.tip, path[0]) < 0.2
    exact = np.array([math.cos(turned[-1]), math.sin(turned[-1])])
    assert math.degrees(math.acos(float(stub.heading @ exact))) < 7.0


def test_a_bend_is_foretold_for_50_degrees_and_straight_on_after_that() -> None:
    circle = CircleFit(np.array([0.0, 20.0]), 20.0, 1.0)
    points = followed(circle, np.zeros(2), np.array([1.0, 0.0]), 40.0, 0.5)
    away_mm = np.abs(circle.residuals(points))
    turned = np.degrees(np.arctan2(*np.diff(points, axis=0).T[::-1]))
    assert away_mm[turned.searchsorted(48.0)] < 0.01
    assert turned.max() < 54.0
    assert away_mm[-1] > 5.0
    assert running_length(points)[-1] == pytest.approx(40.0, abs=0.1)
