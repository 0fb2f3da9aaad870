"""Outlines inside the leads, and what is measured on them."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely.geometry import box

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.findings import Code
from rubbing2pattern.options.pieces import PieceOptions
from rubbing2pattern.reading import Scale
from rubbing2pattern.stages.pieces import cut_pieces
from tests import nets
from tests.laws import (
    OPTIONS,
    WINDOWS,
    around,
    codes,
    cut,
)
from tests.nets import Draft, frame, grid


def test_the_heart_is_a_full_sixteenth_of_an_inch() -> None:
    """Whall, Stained Glass Work (1905): "a full 1/16 inch" between neighbouring pieces = 1.6 mm."""
    assert 25.4 / 16 <= OPTIONS.heart_mm <= 25.4 / 16 + 0.05
    panel = cut(nets.two_by_two(), clearance_mm=0.0)
    left, right = panel.pieces[:2]
    assert left.cut_outline.distance(right.cut_outline) == pytest.approx(1.6)


def test_leads_of_different_width_round_one_piece() -> None:
    draft = Draft()
    corners = [(0, 0), (100, 0), (100, 80), (0, 80), (0, 0)]
    for k, width in enumerate((4.0, 6.0, 8.0, 10.0)):
        draft.line(corners[k], corners[k + 1], width_mm=width)
    (piece,) = cut(draft).pieces
    assert piece.sight_outline.symmetric_difference(box(5, 2, 97, 76)).area < 1e-6


def test_a_wide_lead_that_butts_does_not_reach_through() -> None:
    """On the far side of a through-lead nothing is seen of the lead that butts against it."""
    draft = grid((0, 100), (0, 100, 200), width_mm=4.0).line((100, 100), (300, 100), width_mm=12.0)
    draft.line((100, 0), (300, 0), (300, 100)).line((100, 200), (300, 200), (300, 100))
    panel = cut(draft)
    corner = around(panel, (10, 190))
    assert corner.sight_outline.symmetric_difference(box(2, 102, 98, 198)).area < 1e-6


def test_a_step_in_width_along_a_straight_lead_ends_square() -> None:
    draft = Draft().line((0, 0), (50, 0), width_mm=4.0).line((50, 0), (100, 0), width_mm=10.0)
    draft.line((100, 0), (100, 80), (0, 80), (0, 0), width_mm=4.0)
    (piece,) = cut(draft).pieces
    expected = box(2, 2, 98, 78).difference(box(50, 0, 100, 5))
    assert piece.sight_outline.symmetric_difference(expected).area < 1e-6


def test_a_wider_ring_in_a_narrow_frame() -> None:
    draft = frame(200, 200).ring((100, 100), 40, width_mm=10.0)
    outer = around(cut(draft), (10, 10))
    assert outer.sight_area_mm2 == pytest.approx(194**2 - math.pi * 45**2, rel=3e-4)


def test_a_strap_cuts_a_slot_and_stays_inside_its_piece() -> None:
    panel = cut(WINDOWS["strap"])
    (piece,) = panel.pieces
    strap = next(c for c in panel.cames if c.start in piece.cames or c.id == piece.cames[-1])
    assert strap.pieces == (1,)
    assert not strap.border
    assert piece.centre_area_mm2 == pytest.approx(200**2)
    slot = 100 * 2.4 + math.pi * 1.2**2
    assert piece.cut_area_mm2 == pytest.approx(197.6**2 - slot, rel=1e-5)
    shadow = 100 * 6 + math.pi * 3**2
    assert piece.sight_area_mm2 == pytest.approx(194**2 - shadow, rel=1e-4)


def test_a_stalk_cuts_the_glass_between_border_and_ring() -> None:
    panel = cut(WINDOWS["ring on a stalk"])
    outer = around(panel, (180, 180))
    assert len(outer.outline.interiors) == 1
    assert len(outer.cut_outline.interiors) == 0  # The slot joins the hole to the edge.
    assert len(outer.cames) == 6


def test_widths_that_were_not_measured_are_taken_from_the_panel_and_reported() -> None:
    draft = frame(200, 200).line((0, 0), (200, 200), width_mm=float("nan"))
    panel = cut(draft)
    inner = next(c for c in panel.cames if not c.border)
    assert inner.face_width_mm == pytest.approx(6.0)
    assert inner.face_width_uncertainty_mm == OPTIONS.unmeasured_uncertainty_mm
    assert codes(panel) == [Code.WIDTH_UNCERTAIN]
    assert panel.findings[0].pieces == tuple(sorted(inner.pieces))
    unknown = cut(Draft(width_mm=float("nan")).ring((50, 50), 50))
    assert unknown.cames[0].face_width_mm == OPTIONS.fallback_width_mm


def test_stock_widths_and_what_fits_none() -> None:
    draft = frame(200, 200).line((0, 0), (200, 200), width_mm=7.1)
    panel = cut(draft)
    assert {c.stock for c in panel.cames if c.border} == {"6 mm"}
    (finding,) = panel.findings
    assert finding.code is Code.WIDTH_BETWEEN_STOCK
    assert "1/4 in" in finding.message
    assert "5/16 in" in finding.message
    assert finding.pieces == (1, 2)


def test_a_face_that_does_not_cover_the_glass_is_reported() -> None:
    panel = cut(frame(200, 200), heart_mm=4.0, clearance_mm=1.5)
    assert Code.WIDTH_UNCERTAIN in codes(panel)
    assert panel.pieces[0].sight_area_mm2 <= panel.pieces[0].cut_area_mm2 + 1e-6


def test_an_empty_list_of_stock_is_refused() -> None:
    with pytest.raises(UsageFault, match="stock"):
        PieceOptions(stock=())


def test_uncertain_joints_scatter_an_area_as_stated() -> None:
    """Move the joints of a trapezium by chance 4000 times: the areas scatter as stated."""
    corners = np.array([(0, 0), (120, 0), (100, 80), (10, 70)], dtype=float)
    closed = [tuple(p) for p in (*corners, corners[0])]
    net = Draft().line(*closed).net(joint_uncertainty_mm=0.3)
    net = replace(net, scale=Scale("dpi", 10.0, 0.0))
    panel = cut_pieces(net, replace(OPTIONS, line_uncertainty_mm=0.0))
    rng = np.random.default_rng(7)
    moved = corners + rng.normal(0.0, 0.3, (4000, 4, 2))
    areas = shapely.area(shapely.polygons(moved))
    assert panel.pieces[0].area_uncertainty_mm2 == pytest.approx(float(areas.std()), rel=0.05)


def test_an_area_errs_by_twice_the_scale() -> None:
    net = replace(frame(200, 100).net(0.0), scale=Scale("dpi", 10.0, 0.001))
    panel = cut_pieces(net, replace(OPTIONS, line_uncertainty_mm=0.0))
    assert panel.pieces[0].area_uncertainty_mm2 == pytest.approx(0.002 * 200 * 100)


def test_the_smallest_rectangle_is_that_of_shapely() -> None:
    draft = Draft().line((0, 0), (90, 20), (120, 70), (60, 110), (10, 60), (0, 0))
    (piece,) = cut(draft).pieces
    other = shapely.minimum_rotated_rectangle(piece.cut_outline)
    rectangle = piece.rectangle
    assert rectangle.width_mm * rectangle.height_mm <= other.area + 1e-6
    assert rectangle.width_mm >= rectangle.height_mm
    assert -90.0 < rectangle.angle_deg <= 90.0


def test_the_number_stands_where_the_glass_is_widest() -> None:
    """A long tail must not draw the number away from the body; brute force over a grid."""
    draft = Draft().line((0, 0), (80, 0), (80, 30), (300, 35), (300, 45), (80, 60), (0, 70), (0, 0))
    (piece,) = cut(draft).pieces
    x, y = np.meshgrid(np.arange(0, 300, 0.5), np.arange(0, 70, 0.5))
    spots = shapely.points(x.ravel(), y.ravel())
    inside = shapely.contains(piece.cut_outline, spots)
    free = shapely.distance(piece.cut_outline.exterior, spots[inside]).max()
    assert piece.label_radius_mm >= 0.95 * free - 0.5
    assert piece.label_at[0] < 80


def test_the_head_of_a_lancet_has_the_area_of_the_handbook() -> None:
    """Circular segment, area r^2 (theta - sin theta) / 2: Machinery's Handbook, table of segments.

    The head of an equilateral lancet is the triangle over the springing and a segment on each side.
    """
    width = 300.0
    panel = cut(nets.lancet(width))
    theta = math.radians(60.0)
    segment = width**2 * (theta - math.sin(theta)) / 2.0
    triangle = width**2 * math.sqrt(0.75) / 2.0
    head = panel.pieces[0]
    assert head.centre_area_mm2 == pytest.approx(triangle + 2.0 * segment, rel=1e-4)
