"""Leaf edges, against outlines made independently with shapely's buffers."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, Point

from rubbing2pattern.documents.drawing.beside import offset_curves, portion, sampled
from rubbing2pattern.documents.drawing.leaves import lead_bounds_mm, leaf_edges, middle_of
from rubbing2pattern.geometry.curves import Arc, Cubic, Line
from rubbing2pattern.model import Panel
from tests import panels

S_CURVE = Cubic(((0.0, 0.0), (30.0, 0.0), (40.0, 30.0), (60.0, 30.0), (80.0, 30.0), (90.0, -20.0),
                 (120.0, -20.0)))  # fmt: skip
FINE_MM = 0.002


def edges_of(panel: Panel) -> tuple[shapely.Geometry, shapely.Geometry]:
    """Return the inner and the outer leaf edges as lines."""
    widths = [came.face_width_mm for came in panel.cames]
    edges = leaf_edges(panel.cames, widths, panel.outline)
    lines = {
        outer: shapely.union_all(
            [LineString(e.curve.points(FINE_MM)) for e in edges if e.outer is outer]
        )
        for outer in (False, True)
    }
    return lines[False], lines[True]


@pytest.mark.parametrize(
    "panel",
    [panels.two_by_two(), panels.roundel_in_square(), panels.arched()],
    ids=lambda p: p.name,
)
def test_inner_edges_are_the_sight_outlines(panel: Panel) -> None:
    inner, _ = edges_of(panel)
    sights = shapely.union_all([piece.sight_outline.boundary for piece in panel.pieces])
    assert shapely.hausdorff_distance(inner, sights, densify=0.05) < 0.05
    assert inner.length == pytest.approx(sights.length, rel=1e-3)


def test_mosaic_edges_bound_what_is_seen() -> None:
    """Sharp corners of leads poke into the opening by less than the rounding of a buffer does."""
    panel = panels.mosaic(40, 300.0, 300.0)
    inner, _ = edges_of(panel)
    for piece in panel.pieces:
        seen = shapely.get_parts(piece.sight_outline)
        for part in seen[shapely.area(seen) > 25.0]:
            ring = part.exterior.simplify(0.01)
            near = shapely.distance(shapely.points(shapely.get_coordinates(ring)), inner)
            assert near.max() < 0.5 * 12.0 * (math.sqrt(2.0) - 1.0)
            assert np.median(near) < 0.02


def test_outer_edges_close_round_the_panel() -> None:
    panel = panels.two_by_two()
    _, outer = edges_of(panel)
    assert outer.bounds == pytest.approx((-5.0, -5.0, 305.0, 405.0), abs=1e-6)
    assert outer.length == pytest.approx(2 * (310.0 + 410.0), abs=1e-6)
    widths = [came.face_width_mm for came in panel.cames]
    assert lead_bounds_mm(panel.cames, widths) == pytest.approx((-5.0, -5.0, 305.0, 405.0))


def test_straight_stays_straight_and_round_stays_round() -> None:
    panel = panels.arched()
    widths = [came.face_width_mm for came in panel.cames]
    edges = [e.curve for e in leaf_edges(panel.cames, widths, panel.outline)]
    arch = panel.cames[0].curve
    assert isinstance(arch, Arc)
    arcs = [e for e in edges if isinstance(e, Arc)]
    assert sorted(e.radius_mm for e in arcs) == pytest.approx(
        [arch.radius_mm - 4.75, arch.radius_mm + 4.75]
    )
    assert all(e.centre == arch.centre for e in arcs)
    assert sum(isinstance(e, Cubic) for e in edges) == 2
    assert sum(isinstance(e, Line) for e in edges) >= 10


def test_ring_has_two_full_circles() -> None:
    panel = panels.roundel_in_square()
    edges = leaf_edges(panel.cames, [5.0] * 5, panel.outline)
    circles = [e.curve for e in edges if isinstance(e.curve, Arc)]
    assert sorted(c.radius_mm for c in circles) == pytest.approx([57.5, 62.5])
    assert all(abs(c.sweep_deg) == pytest.approx(360.0, abs=1e-6) for c in circles)


def test_strap_is_closed_at_its_free_end() -> None:
    panel = panels.strapped()
    inner, _ = edges_of(panel)
    assert inner.distance(Point(120.0, 120.0)) == pytest.approx(0.0, abs=0.01)
    # Ends that meet agree to the last few bits only.
    noded = shapely.node(shapely.set_precision(inner, 1e-6))
    (opening,) = shapely.get_parts(shapely.polygonize([noded]))
    assert opening.area == pytest.approx(194.0**2 - 4.0 * math.hypot(117.0, 19.5), abs=0.1)


@pytest.mark.parametrize("offset_mm", [-6.0, -2.0, 0.5, 3.0, 7.0])
def test_offset_of_a_free_curve_keeps_its_distance(offset_mm: float) -> None:
    beside = offset_curves([S_CURVE], [offset_mm])[0]
    assert isinstance(beside, Cubic)
    line = LineString(S_CURVE.points(1e-5))
    for place in beside.points(0.01)[2:-2]:
        assert line.distance(Point(place)) == pytest.approx(abs(offset_mm), abs=0.005)


def test_offset_side_follows_the_direction() -> None:
    up = offset_curves([Line((0.0, 0.0), (10.0, 0.0))], [2.0])[0]
    assert up == Line((0.0, 2.0), (10.0, 2.0))
    inward = offset_curves([Arc((0.0, 0.0), 10.0, 0.0, 90.0)], [2.0])[0]
    outward = offset_curves([Arc((0.0, 0.0), 10.0, 90.0, -90.0)], [2.0])[0]
    assert isinstance(inward, Arc) and inward.radius_mm == 8.0
    assert isinstance(outward, Arc) and outward.radius_mm == 12.0
    assert offset_curves([Arc((0.0, 0.0), 3.0, 0.0, 90.0)], [3.0])[0] is None


@pytest.mark.parametrize(
    "curve", [Line((0.0, 0.0), (60.0, 30.0)), Arc((5.0, 5.0), 20.0, 30.0, -200.0), S_CURVE]
)
def test_portions_put_together_are_the_whole(curve: Line | Arc | Cubic) -> None:
    last = 2.0 if isinstance(curve, Cubic) else 1.0
    cuts = [0.0, 0.13 * last, 0.5 * last, 0.77 * last, last]
    parts = [portion(curve, a, b) for a, b in pairwise(cuts)]
    assert sum(p.length_mm for p in parts) == pytest.approx(curve.length_mm, rel=1e-4)
    assert parts[0].start == pytest.approx(curve.start)
    assert parts[-1].end == pytest.approx(curve.end)
    for a, b in pairwise(parts):
        assert a.end == pytest.approx(b.start, abs=1e-9)
    whole = LineString(curve.points(1e-4))
    assert all(whole.distance(Point(middle_of(p))) < 0.006 for p in parts)


def test_handle_of_no_length_does_no_harm() -> None:
    curve = Cubic(((0.0, 0.0), (0.0, 0.0), (20.0, 10.0), (20.0, 10.0)))
    beside = offset_curves([curve], [2.0])[0]
    assert beside is not None
    assert np.isfinite(beside.points()).all()
    line = LineString(curve.points(1e-4))
    assert line.distance(Point(middle_of(beside))) == pytest.approx(2.0, abs=0.01)


@pytest.mark.parametrize("turn_deg", [3.0, 15.0, 44.0, 80.0, 130.0])
@pytest.mark.parametrize("wide_mm", [6.0, 10.2, 14.0])
def test_a_wide_lead_meets_a_narrow_one_at_any_angle(turn_deg: float, wide_mm: float) -> None:
    """The rim bends at J2 where its width changes; its corners are cut, never crossed over."""
    turn = math.radians(turn_deg)
    joints = {
        "J1": (0.0, 0.0),
        "J2": (100.0, 0.0),
        "J3": (100.0 + 80.0 * math.cos(turn), 80.0 * math.sin(turn)),
        "J4": (0.0, 200.0),
    }
    leads = [
        panels.Lead(p, q, Line(joints[p], joints[q]), width, f"{width:g} mm")
        for (p, q), width in zip(
            pairwise(["J1", "J2", "J3", "J4", "J1"]), (wide_mm, 4.0, 6.0, 6.0), strict=True
        )
    ]
    _, outer = edges_of(panels.build("bend", joints, leads))
    bodies = shapely.union_all(
        [
            LineString(lead.curve.points()).buffer(0.5 * lead.width_mm, cap_style="flat")
            for lead in leads
        ]
    )
    # No edge of the rim runs inside the lead it bounds.
    assert shapely.intersection(outer, bodies.buffer(-0.01)).length < 0.05


def test_many_curves_at_once_are_as_one_by_one() -> None:
    stuck = Cubic(((0.0, 0.0), (0.0, 0.0), (10.0, 5.0), (20.0, 5.0)))
    curves = [S_CURVE, Line((0.0, 0.0), (9.0, 2.0)), stuck, Arc((0.0, 0.0), 3.0, 0.0, 90.0), stuck]
    shifts_mm = [2.0, -2.0, 1.0, 4.0, -1.5]
    one_by_one = [offset_curves([c], [s])[0] for c, s in zip(curves, shifts_mm, strict=True)]
    assert offset_curves(curves, shifts_mm) == one_by_one
    assert one_by_one[3] is None
    for curve, (points, parameters) in zip(curves, sampled(curves), strict=True):
        alone_points, alone_parameters = sampled([curve])[0]
        assert np.array_equal(points, alone_points)
        assert np.array_equal(parameters, alone_parameters)


def test_samples_of_a_chain_are_those_of_its_curves() -> None:
    points, parameters = sampled([S_CURVE])[0]
    second = Cubic(S_CURVE.control[3:]).points(0.005)
    assert np.array_equal(points[parameters >= 1.0], second)
    assert parameters[-1] == 2.0
