"""Leads laid on drawn rubbings whose net runs beside them, as a map gives it."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
import pytest
import shapely
from shapely.geometry import LineString, Point

from rubbing2pattern.geometry.curves import Arc, Line
from rubbing2pattern.laying import Laying, laying, leads as laying_leads
from rubbing2pattern.laying.joints import Joint
from rubbing2pattern.options.laying import LayingOptions
from rubbing2pattern.reading import LeadMap, RawNet
from tests.drawn import Points, leads, map_of, photograph, sheet

Array = npt.NDArray[np.float64]
WIDTH_MM, SIDE_MM = 5.0, 160.0


def wavering(path: Points, aside_mm: float = 1.2) -> Array:
    """Return a path that strays from the lead in waves; its ends stay."""
    line = LineString(path)
    s = np.linspace(0.0, line.length, max(3, round(line.length / 0.5)))
    p = shapely.get_coordinates(shapely.line_interpolate_point(line, s))
    away = aside_mm * np.sin(np.pi * s / line.length) * np.sin(s / 7.0)
    d = np.gradient(p, axis=0)
    d /= np.hypot(*d.T)[:, None]
    return np.asarray(p + away[:, None] * np.column_stack((-d[:, 1], d[:, 0])))


def net_of(nodes: Points, edges: list[tuple[int, int]]) -> RawNet:
    """Return a net with wavering paths between nodes."""
    paths = tuple(wavering([nodes[a], nodes[b]]) for a, b in edges)
    sides = np.tile((1, 2), (len(edges), 1))
    return RawNet(np.array(nodes, float), np.array(edges), paths, sides)


def read(drawn: list[Points], net: RawNet, solder: Points | None = None) -> Laying:
    """Lay a net on leads of one width with discs of solder."""
    density = leads(SIDE_MM, SIDE_MM, drawn, WIDTH_MM)
    x, y = sheet(SIDE_MM, SIDE_MM)
    for a, b in solder or []:
        disc = np.clip(0.5 - (np.hypot(x - a, y - b) - 4.5) / 0.3, 0.0, 1.0)
        density = np.maximum(density, np.asarray(0.9 * disc, np.float32))
    rubbing = photograph(density)
    return laying(net, rubbing, lead_map(density))


def lead_map(density: npt.NDArray[np.float32]) -> LeadMap:
    half = cv2.resize(density, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    return map_of(half / np.float32(0.8), WIDTH_MM)


def farthest_mm(laid: Laying, drawn: list[Points]) -> float:
    """Greatest distance of a laid lead line from the drawn ones."""
    true = shapely.union_all([LineString(p) for p in drawn])
    lines = [shapely.points(c.curve.points()) for c in laid.net.cames]
    return max(float(shapely.distance(p, true).max()) for p in lines)


def joint_mm(laid: Laying, at: tuple[float, float]) -> float:
    """Distance of the nearest joint."""
    return min(math.dist(at, (j.x_mm, j.y_mm)) for j in laid.net.joints)


def test_a_tee_beside_solder_is_two_straight_runs() -> None:
    drawn: list[Points] = [[(20, 80), (140, 80)], [(80, 80), (80, 140)]]
    net = net_of([(20, 80), (80.5, 81.5), (140, 80), (80, 140)], [(0, 1), (1, 2), (1, 3)])
    laid = read(drawn, net, [(82.0, 82.0)])
    assert joint_mm(laid, (80, 80)) < 0.3
    assert farthest_mm(laid, drawn) < 0.25
    assert all(isinstance(c.curve, Line) for c in laid.net.cames)
    assert len({c.strip for c in laid.net.cames}) == 2


def test_a_crossing_pulled_apart_is_one_joint_again() -> None:
    drawn: list[Points] = [[(20, 70), (140, 90)], [(70, 20), (90, 140)]]
    nodes: Points = [(20, 70), (140, 90), (70, 20), (90, 140), (78, 78), (82, 82)]
    net = net_of(nodes, [(0, 4), (2, 4), (4, 5), (5, 1), (5, 3)])
    laid = read(drawn, net, [(80.0, 80.0)])
    meeting = np.bincount([j for c in laid.net.cames for j in (c.start, c.end)])
    assert sorted(meeting.tolist()) == [1, 1, 1, 1, 4]
    assert joint_mm(laid, (80, 80)) < 0.2


@pytest.mark.parametrize("deg", [16.0, 24.0])
def test_a_lead_is_carried_on_into_a_sharp_joint(deg: float) -> None:
    a = math.radians(deg)
    far = (40 + 100 * math.cos(a), 60 + 100 * math.sin(a))
    drawn: list[Points] = [[(10, 60), (150, 60)], [(40, 60), far]]
    fork = 40 + 0.5 * WIDTH_MM / math.tan(a / 2)
    net = net_of([(10, 60), (fork, 61.0), (150, 60), far], [(0, 1), (1, 2), (1, 3)])
    laid = read(drawn, net)
    assert joint_mm(laid, (40, 60)) < 1.0
    assert farthest_mm(laid, drawn) < 0.3


def test_a_joint_that_ran_away_is_gathered_at_its_node(monkeypatch: pytest.MonkeyPatch) -> None:
    """Prolonged curves of a short curl may meet anywhere."""
    real = laying_leads.joints_of

    def far_away(*given: Any) -> list[list[Joint] | None]:
        return [
            None if found is None else [replace(j, place=j.place + 400.0) for j in found]
            for found in real(*given)
        ]

    monkeypatch.setattr(laying_leads, "joints_of", far_away)
    drawn: list[Points] = [[(20, 80), (140, 80)], [(80, 80), (80, 140)]]
    net = net_of([(20, 80), (80, 80), (140, 80), (80, 140)], [(0, 1), (1, 2), (1, 3)])
    laid = read(drawn, net)
    assert farthest_mm(laid, drawn) < 1.0
    meeting = np.bincount([j for c in laid.net.cames for j in (c.start, c.end)])
    assert meeting.max() == 3


def test_a_butt_beside_a_corner_keeps_its_own_place() -> None:
    """The net has the corner and the butt beside it as one node."""
    drawn: list[Points] = [[(20, 140), (20, 20), (140, 20)], [(20, 26), (140, 60)]]
    net = net_of([(20, 140), (20.5, 22), (140, 20), (140, 60)], [(0, 1), (1, 2), (1, 3)])
    laid = read(drawn, net)
    assert joint_mm(laid, (20, 20)) < 0.4
    assert joint_mm(laid, (20, 26)) < 0.6
    assert farthest_mm(laid, drawn) < 0.4


def test_a_short_lead_between_two_leads_stays() -> None:
    drawn: list[Points] = [[(10, 60), (150, 60)], [(10, 76), (150, 76)], [(80, 60), (80, 76)]]
    nodes: Points = [(10, 60), (81, 60), (150, 60), (10, 76), (79, 76), (150, 76)]
    net = net_of(nodes, [(0, 1), (1, 2), (3, 4), (4, 5), (1, 4)])
    laid = read(drawn, net, [(80, 60), (80, 76)])
    assert len(laid.net.cames) == 5
    assert joint_mm(laid, (80, 60)) < 0.6
    assert joint_mm(laid, (80, 76)) < 0.6


def test_a_ring_is_one_circle() -> None:
    angle = np.linspace(0.0, 2 * math.pi, 181)
    ring = [(80 + 40 * math.cos(a), 80 + 40 * math.sin(a)) for a in angle]
    path = np.array(ring) + 0.8 * np.column_stack((np.sin(5 * angle), np.cos(3 * angle)))
    path[-1] = path[0]
    net = RawNet(path[:1], np.array([(0, 0)]), (path,), np.array([(1, 2)]))
    (came,) = read([ring], net).net.cames
    assert came.start == came.end
    assert came.curve.length_mm == pytest.approx(2 * math.pi * 40, rel=0.003)
    off = [abs(Point(p).distance(Point(80, 80)) - 40) for p in came.curve.points()]
    assert max(off) < 0.15


def half_round(radius_mm: float) -> Points:
    angle = np.linspace(0.0, math.pi, 61)
    return [(80 + radius_mm * math.cos(a), 60 + radius_mm * math.sin(a)) for a in angle]


@pytest.mark.parametrize("radius_mm", [9.0, 20.0])
def test_a_half_round_is_one_arc_and_no_row_of_straight_leads(radius_mm: float) -> None:
    arch = half_round(radius_mm)
    drawn: list[Points] = [[(20, 60), (140, 60)], arch]
    nodes = np.array([(20.0, 60.0), arch[-1], arch[0], (140.0, 60.0)])
    ends = np.array([(0, 1), (1, 2), (2, 3), (2, 1)])
    paths = (*(np.array([nodes[a], nodes[b]]) for a, b in ends[:3]), np.array(arch))
    laid = read(drawn, RawNet(nodes, ends, paths, np.tile((1, 2), (4, 1))))
    assert len(laid.net.cames) == 4
    assert sum(isinstance(c.curve, Arc) for c in laid.net.cames) == 1
    assert farthest_mm(laid, drawn) < 0.5


def test_a_corner_stays_a_corner() -> None:
    path: Points = [(20, 40), (80, 60), (120, 120)]
    net = RawNet(np.array(path)[[0, 2]], np.array([(0, 1)]), (np.array(path),), np.array([(1, 2)]))
    laid = read([path], net)
    assert all(isinstance(c.curve, Line) for c in laid.net.cames)
    assert joint_mm(laid, (80, 60)) < 0.4


def test_a_link_that_the_map_shows_under_solder_is_drawn() -> None:
    """Without it one of the two lower leads would be carried on to the upper one."""
    drawn: list[Points] = [
        [(20, 90), (140, 90)],
        [(80, 90), (80, 80)],
        [(80, 80), (50, 30)],
        [(80, 80), (110, 30)],
    ]
    nodes: Points = [(20, 90), (80, 90), (140, 90), (80, 80), (50, 30), (110, 30)]
    net = net_of(nodes, [(0, 1), (1, 2), (3, 4), (3, 5)])
    link = np.array([(80.0, 90.0), (80.0, 80.0)])
    sides = np.tile((1, 2), (5, 1))
    net = RawNet(net.nodes, np.vstack((net.ends, (1, 3))), (*net.paths, link), sides)
    density = leads(SIDE_MM, SIDE_MM, drawn, WIDTH_MM)
    x, y = sheet(SIDE_MM, SIDE_MM)
    inked = np.where(np.hypot(x - 80, y - 85) < 7.5, np.float32(0.8), density)
    lead = lead_map(leads(SIDE_MM, SIDE_MM, drawn, 2.0))
    laid = laying(net, photograph(inked), lead)
    assert len(laid.net.cames) == 5
    assert joint_mm(laid, (80, 90)) < 1.0
    assert joint_mm(laid, (80, 80)) < 1.2
    assert farthest_mm(laid, drawn) < 1.0


def test_what_a_gap_hides_is_more_in_doubt() -> None:
    drawn: list[Points] = [[(10, 80), (60, 80)], [(100, 80), (150, 80)]]
    whole: list[Points] = [[(10, 80), (150, 80)]]
    net = net_of([(10, 80), (150, 80)], [(0, 1)])
    gap, seen = read(drawn, net), read(whole, net)
    assert farthest_mm(gap, whole) < 0.3
    assert gap.stray_mm[0] > seen.stray_mm[0] + 0.9
    assert 60.0 < gap.stray_at[0, 0] < 100.0


def test_what_runs_beside_its_ridge_is_more_in_doubt() -> None:
    """The ink of a lead lies 1.4 mm beside where the map sees it, as under a smear."""
    drawn: list[Points] = [[(10, 80), (150, 80)]]
    net = net_of([(10, 80), (150, 80)], [(0, 1)])
    density = leads(SIDE_MM, SIDE_MM, drawn, WIDTH_MM)
    beside = leads(SIDE_MM, SIDE_MM, [[(10, 81.4), (150, 81.4)]], 2.0)
    with_map = laying(net, photograph(density), lead_map(leads(SIDE_MM, SIDE_MM, drawn, 2.0)))
    apart = laying(net, photograph(density), lead_map(beside))
    assert apart.stray_mm[0] > 1.5 * with_map.stray_mm[0]


def test_options_outside_their_range_are_refused() -> None:
    with pytest.raises(Exception, match="step_mm"):
        LayingOptions(step_mm=0.0)
