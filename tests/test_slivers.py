"""Faces that the leads around them hide, and leads that cross what they butt against."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
import pytest

from rubbing2pattern.curves import Arc, arc_through, running_length
from rubbing2pattern.fitting.primitives import (
    CircleFit,
    Fit,
    LineFit,
    fit_circle,
    fit_cubic,
)
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.reading import RawNet
from rubbing2pattern.tidying.closing import Runs, close_up, land_first
from rubbing2pattern.tidying.knots import Follows
from rubbing2pattern.tidying.refine import Track
from rubbing2pattern.tidying.settle import curve_of, tips_of
from rubbing2pattern.tidying.slivers import drop_slivers
from rubbing2pattern.tidying.web import Web

Array = npt.NDArray[np.float64]
OPTIONS = TidyOptions()
LEVEL = LineFit(np.zeros(2), np.array([1.0, 0.0]))
WIDTH_MM = 5.0


def web_of(nodes: list[tuple[float, float]], strands: list[tuple[int, int, Array]]) -> Web:
    paths = tuple(path for _, _, path in strands)
    ends = np.array([(a, b) for a, b, _ in strands])
    return Web.of(RawNet(np.array(nodes), ends, paths, np.zeros((len(paths), 2), np.int64)))


def straight(start: tuple[float, float], end: tuple[float, float]) -> Array:
    return np.linspace(start, end, 1 + math.ceil(math.dist(start, end)))


def track_of(path: Array, local_mm: float = WIDTH_MM) -> Track:
    """Measure a strand that is well seen; a dark wider than the lead is that of two."""
    one = np.ones(len(path))
    return Track(
        path, running_length(path), one, local_mm * one, WIDTH_MM, WIDTH_MM, 0.0, 0.0, one > 1.0
    )


def bow(rise_mm: float) -> tuple[Array, CircleFit]:
    """Draw an arc over the chord from (0, 0) to (60, 0)."""
    sweep = -math.degrees(4.0 * math.atan(rise_mm / 30.0))
    arc = arc_through((0.0, 0.0), (60.0, 0.0), sweep)
    assert isinstance(arc, Arc)
    return arc.points(0.005), CircleFit(np.array(arc.centre), arc.radius_mm, -1.0)


def eye(rise_mm: float, local_mm: float) -> tuple[Web, dict[int, Track], dict[int, Fit], Follows]:
    """Draw a lead 120 mm long and a bow over its middle, strand 2, its dark `local_mm` wide."""
    path, circle = bow(rise_mm)
    web = web_of(
        [(-30, 0), (0, 0), (60, 0), (90, 0)],
        [
            (0, 1, straight((-30, 0), (0, 0))),
            (1, 2, straight((0, 0), (60, 0))),
            (1, 2, path),
            (2, 3, straight((60, 0), (90, 0))),
        ],
    )
    tracks = {k: track_of(s.path, local_mm if k == 2 else WIDTH_MM) for k, s in web.strands.items()}
    fits: dict[int, Fit] = {0: LEVEL, 1: LEVEL, 2: circle, 3: LEVEL}
    follows = {(0, False): (1, True), (1, False): (3, True)}
    return web, tracks, fits, follows | {b: a for a, b in follows.items()}


def test_a_face_that_the_leads_cover_goes_and_the_lead_runs_on() -> None:
    web, tracks, fits, follows = eye(3.0, local_mm=8.0)
    assert drop_slivers(web, tracks, fits, follows, OPTIONS)
    (strand,) = web.strands.values()
    assert strand.length_mm == pytest.approx(120.0)
    assert np.abs(strand.path[:, 1]).max() == 0.0  # the bow went, of which nothing was seen alone
    assert set(tracks) == set(web.strands)
    assert follows == {}


@pytest.mark.parametrize("rise_mm", [8.0, 14.0])
def test_a_face_that_shows_glass_stays(rise_mm: float) -> None:
    """Leads 5 mm wide leave 3 mm of glass, and 9 mm."""
    web, tracks, fits, follows = eye(rise_mm, local_mm=8.0)
    assert not drop_slivers(web, tracks, fits, follows, OPTIONS)
    assert set(web.strands) == {0, 1, 2, 3}


def test_of_two_leads_that_are_both_seen_alone_neither_goes() -> None:
    web, tracks, fits, follows = eye(3.0, local_mm=WIDTH_MM)
    assert not drop_slivers(web, tracks, fits, follows, OPTIONS)
    assert set(web.strands) == {0, 1, 2, 3}


def butt(side: float) -> tuple[Web, dict[int, Fit], Runs]:
    """Draw a level lead and an arc that crosses it 10 mm before their joint, which is at (0, 0)."""
    centre, radius = np.array([5.0 * side, math.sqrt(375.0)]), 20.0
    first = math.atan2(-centre[1], -centre[0])
    angle = first + side * np.linspace(0.0, 2.0, 120)
    path = centre + radius * np.column_stack((np.cos(angle), np.sin(angle)))
    path[0] = 0.0
    web = web_of(
        [(-40, 0), (0, 0), (40, 0), (path[-1, 0], path[-1, 1])],
        [(0, 1, straight((-40, 0), (0, 0))), (1, 2, straight((0, 0), (40, 0))), (1, 3, path)],
    )
    fits: dict[int, Fit] = {0: LEVEL, 1: LEVEL, 2: CircleFit(centre, radius, side)}
    return web, fits, [([(0, True), (1, True)], False), ([(2, True)], False)]


@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_a_lead_that_crosses_another_and_comes_back_ends_where_it_arrives(side: float) -> None:
    """The circle x^2 - 10 x + y^2 = 38.7 y meets y = 0 at 0 and 10; so does its mirror image."""
    web, fits, runs = butt(side)
    land_first(web, fits, runs, OPTIONS)
    assert web.nodes[1] == pytest.approx([10.0 * side, 0.0], abs=0.3)
    came = curve_of(web, 2, fits[2], OPTIONS)
    assert came.points(0.01)[:, 1].min() > -0.02


def test_a_lead_that_only_touches_its_joint_stays_there() -> None:
    web, fits, runs = butt(1.0)
    upright = np.array([0.0, 1.0])
    web.strands[2].path = straight((0, 0), (0, 35))
    web.nodes[3] = np.array([0.0, 35.0])
    fits[2] = LineFit(np.zeros(2), upright)
    land_first(web, fits, runs, OPTIONS)
    assert web.nodes[1] == pytest.approx([0.0, 0.0])


@pytest.mark.parametrize("sweep_deg", [70.0, 150.0, 210.0, 290.0, -150.0, -290.0])
def test_an_arc_goes_the_way_round_that_is_as_long_as_its_lead(sweep_deg: float) -> None:
    arc = Arc((0.0, 0.0), 30.0, 20.0, sweep_deg)
    path = arc.points(0.01)
    web = web_of([arc.start, arc.end], [(0, 1, path)])
    fit = fit_circle(path, np.ones(len(path)))
    assert fit is not None
    came = curve_of(web, 0, fit, OPTIONS)
    assert came.length_mm == pytest.approx(arc.length_mm, rel=1e-3)
    middle = came.points(0.01)[len(came.points(0.01)) // 2]
    assert np.hypot(*(path - middle).T).min() < 1.0


def test_the_free_ends_of_an_s_go_on_as_their_last_clean_lead() -> None:
    """Two arcs of radius 30 mm that bend to opposite sides; a strand each, fitted as one cubic."""
    bend = np.repeat([1.0 / 30.0, -1.0 / 30.0], 80)
    turned = np.concatenate(([0.0], np.cumsum(0.5 * bend)))
    middle = 0.5 * (turned[1:] + turned[:-1])
    steps = 0.5 * np.column_stack((np.cos(middle), np.sin(middle)))
    path = np.vstack((np.zeros((1, 2)), np.cumsum(steps, axis=0)))
    seen = path + np.random.default_rng(5).normal(0.0, 0.04, path.shape)
    nodes = [(float(x), float(y)) for x, y in path[[0, 80, -1]]]
    web = web_of(nodes, [(0, 1, seen[:81]), (1, 2, seen[80:])])
    tracks = {k: track_of(strand.path) for k, strand in web.strands.items()}
    whole = fit_cubic(seen, np.ones(len(seen)), 5)
    fits: dict[int, Fit] = {0: whole, 1: whole}
    tips = tips_of(web, tracks, fits, [([(0, True), (1, True)], False)], OPTIONS)
    assert set(tips) == {(0, True), (1, False)}
    before = np.array([-30.0 * math.sin(0.4), 30.0 - 30.0 * math.cos(0.4)])  # 12 mm before (0, 0)
    assert math.dist(tips[(0, True)].near(before)[0], before) < 0.3
    after = path[-1] + (path[0] - before)  # the S is its own image when turned about its middle
    assert math.dist(tips[(1, False)].near(after)[0], after) < 0.3
    assert tips_of(web, tracks, fits, [([(0, True), (1, True)], True)], OPTIONS) == {}


def test_a_closed_lead_fitted_as_a_line_is_drawn_as_its_path_shows_it() -> None:
    t = np.linspace(0.0, 2.0 * math.pi, 90)
    loop = np.column_stack((14.0 * np.cos(t), 9.0 * np.sin(t)))
    web = Web.of(RawNet(np.array([[14.0, 0.0]]), np.array([[0, 0]]), (loop,), np.array([[1, 2]])))
    flat = LineFit(np.zeros(2), np.array([1.0, 0.0]))
    curve = curve_of(web, 0, flat, OPTIONS)
    assert curve.length_mm == pytest.approx(running_length(loop)[-1], rel=0.02)


@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_of_several_crossings_the_first_on_the_way_in_counts(side: float) -> None:
    x = np.linspace(0.0, 30.0, 61)
    path = np.column_stack((side * x, 0.0008 * x * (x - 6.0) * (x - 14.0)))
    web = web_of(
        [(-40, 0), (0, 0), (40, 0), (path[-1, 0], path[-1, 1])],
        [(0, 1, straight((-40, 0), (0, 0))), (1, 2, straight((0, 0), (40, 0))), (1, 3, path)],
    )
    fits: dict[int, Fit] = {0: LEVEL, 1: LEVEL, 2: fit_cubic(path, np.ones(len(path)), 4)}
    land_first(web, fits, [([(0, True), (1, True)], False), ([(2, True)], False)], OPTIONS)
    assert web.nodes[1] == pytest.approx([14.0 * side, 0.0], abs=0.3)


def test_two_straight_leads_between_two_places_that_came_together_are_nothing() -> None:
    """Both joints were solved to one place; a loop of straight leads there holds no glass."""
    detour = np.vstack((straight((0, 0), (6, 5)), straight((6, 5), (0.02, 0))))
    web = web_of(
        [(-30, 0), (0, 0), (0.02, 0), (30, 0)],
        [
            (0, 1, straight((-30, 0), (0, 0))),
            (1, 2, detour),
            (1, 2, detour * np.array([1.0, -1.0])),
            (2, 3, straight((0.02, 0), (30, 0))),
        ],
    )
    fits: dict[int, Fit] = dict.fromkeys(range(4), LEVEL)
    runs: Runs = [([(k, True)], False) for k in range(4)]

    left = close_up(web, fits, runs, OPTIONS, OPTIONS.same_mm)

    assert sorted(web.strands) == [0, 3]
    assert [chain for chain, _ in left] == [[(0, True)], [(3, True)]]
    assert len(web.nodes) == 3


def test_two_joints_do_not_both_move_to_where_their_leads_cross() -> None:
    """Moved to one place, they would leave two leads of no length between them."""
    web = web_of(
        [(-30, 0), (0, 0), (24, 0), (54, 0)],
        [
            (0, 1, straight((-30, 0), (0, 0))),
            (1, 2, straight((0, 0), (24, 0))),
            (1, 2, straight((0, 0), (24, 0))),
            (2, 3, straight((24, 0), (54, 0))),
        ],
    )
    fits: dict[int, Fit] = dict.fromkeys(range(4), LEVEL)
    for k, side in ((1, 1.0), (2, -1.0)):  # both pass their joints by 3 mm, and cross between them
        along = np.array([24.0, -6.0 * side])
        fits[k] = LineFit(np.array([12.0, 0.0]), along / np.hypot(*along))
    runs: Runs = [([(k, True)], False) for k in range(4)]

    land_first(web, fits, runs, OPTIONS)

    moved = [n for n, x in ((1, 0.0), (2, 24.0)) if abs(web.nodes[n][0] - x) > 1.0]
    assert len(moved) == 1
    assert math.dist(web.nodes[1], web.nodes[2]) >= OPTIONS.close_mm
