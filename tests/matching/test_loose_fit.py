"""Loose glass in one opening: distances, the best pose, what binds and what falls short."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
import shapely
from shapely import affinity
from shapely.geometry import MultiPolygon, Point, Polygon, box

from rubbing2pattern.geometry.frame import Array, Placement
from rubbing2pattern.matching.clearance import laid
from rubbing2pattern.matching.distances import DistanceGrid, ExactDistance, even_ring
from rubbing2pattern.matching.fitting import pose_in, poses
from rubbing2pattern.matching.loose import LoosePiece, Opening, Placed
from rubbing2pattern.matching.shapes import Shape, best_fits, turned_over
from rubbing2pattern.options.match import MatchOptions
from tests.matching.loose import (
    ANGLE,
    BAR,
    CLEARANCE_MM,
    COVER_MM,
    KITE,
    TRIANGLE,
    lying,
    opening,
    uneven,
)

OPTIONS = MatchOptions()
SHAPES = {"kite": KITE, "angle": ANGLE, "triangle": TRIANGLE, "bar": BAR}


def fitted(piece: LoosePiece, place: Opening, turn_over: bool = False) -> Placed:
    return laid(piece, pose_in(0, piece, 0, place, OPTIONS, turn_over), place, OPTIONS)


def play_of_a_triangle() -> float:
    """Glass in a triangle can be shifted within a small one like it: its least height."""
    longest = max(math.dist(a, b) for a, b in pairwise(TRIANGLE.exterior.coords))
    inner_radius = 2.0 * TRIANGLE.area / TRIANGLE.length
    return CLEARANCE_MM / inner_radius * 2.0 * TRIANGLE.area / longest


def kabsch(a: Array, b: Array) -> tuple[float, Array]:
    """Turn and shift that carry a onto b by least squares.

    Kabsch 1976, Acta Cryst. A 32, 922-923; Umeyama 1991, IEEE PAMI 13, 376-380 (no mirroring).
    """
    u, _, vt = np.linalg.svd((a - a.mean(0)).T @ (b - b.mean(0)))
    keep = np.diag((1.0, float(np.sign(np.linalg.det(u @ vt)))))
    turn = (u @ keep @ vt).T
    return math.atan2(turn[1, 0], turn[0, 0]), b.mean(0) - turn @ a.mean(0)


@pytest.mark.parametrize("outline", [*SHAPES.values(), Point(0, 0).buffer(30, quad_segs=32)])
def test_exact_distances_are_those_of_shapely(outline: Polygon) -> None:
    places = np.random.default_rng(1).uniform(-40, 100, (400, 2))
    far, slope = ExactDistance(outline).at(places)
    points = shapely.points(places)
    sign = np.where(shapely.contains(outline, points), -1.0, 1.0)
    assert far == pytest.approx(sign * shapely.distance(outline.exterior, points), abs=0.011)
    stepped, _ = ExactDistance(outline).at(places + 0.01 * slope)
    assert np.median(np.abs(stepped - far - 0.01)) < 1e-6


def test_distances_know_holes_and_parts() -> None:
    parts = MultiPolygon([box(0, 0, 20, 20).difference(box(5, 5, 15, 15)), box(30, 0, 40, 20)])
    far, _ = ExactDistance(parts).at(np.array([(10.0, 10.0), (2.0, 10.0), (25.0, 10.0), (35, 10)]))
    assert far == pytest.approx([5.0, -2.0, 5.0, -5.0])


def test_distances_on_a_grid_agree_with_exact_ones_away_from_corners() -> None:
    places = even_ring(KITE.buffer(1.5), 200)
    near, _ = DistanceGrid.around(KITE, 0.7, 6.0).at(places[None])
    exact, _ = ExactDistance(KITE).at(places)
    assert np.abs(near[0] - exact).max() < 0.1
    assert np.median(np.abs(near[0] - exact)) < 0.01


def test_the_rigid_fit_of_rings_is_that_of_kabsch() -> None:
    ring = even_ring(ANGLE, 128)
    noisy = Placement(131.0, 40.0, -7.0).apply(ring)
    noisy = noisy + np.random.default_rng(3).normal(0.0, 0.5, noisy.shape)
    one, two = Shape.of(Polygon(ring)), Shape.of(Polygon(noisy))
    fits = best_fits(one, [two])
    a, b = even_ring(Polygon(ring), 128), even_ring(Polygon(noisy), 128)
    turn, _ = kabsch(a, np.roll(b, -int(fits.start[0]), axis=0))
    assert math.degrees(abs(fits.turn[0] - turn)) < 1e-6


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("turn_deg", [0.0, 37.0, 200.0])
def test_glass_cut_exactly_finds_back_into_its_opening(name: str, turn_deg: float) -> None:
    cut, place = SHAPES[name], opening(7, SHAPES[name], (300.0, 120.0))
    piece = lying("P1", cut, turn_deg, (900.0, -50.0))
    placed = fitted(piece, place)
    assert placed.number == 7
    assert placed.outline.hausdorff_distance(place.cut) < 0.05
    assert (placed.groze_mm, placed.short_mm) == (0.0, 0.0)
    least = 2.0 * CLEARANCE_MM if name != "triangle" else play_of_a_triangle()
    assert placed.play_mm == pytest.approx(least, abs=0.05)
    again = shapely.transform(piece.outline, placed.placement.apply)
    assert again.hausdorff_distance(placed.outline) < 1e-9


def test_the_pose_is_that_of_kabsch_where_the_edge_strays_by_noise_alone() -> None:
    place = opening(1, ANGLE)
    ring = even_ring(ANGLE, 400)
    noise = np.random.default_rng(5).normal(0.0, 0.05, ring.shape)
    truth = Placement(250.0, 10.0, 20.0)
    piece = LoosePiece("P1", "bench.jpg", Polygon(truth.apply(ring + noise)), 0.05)
    turn, shift = kabsch(truth.apply(ring + noise), ring)
    (pose,) = poses([piece], [place], OPTIONS)
    by_kabsch = Placement(math.degrees(turn), *shift)
    corners = truth.apply(ring)
    assert pose.placement.apply(corners) == pytest.approx(by_kabsch.apply(corners), abs=0.03)


@pytest.mark.parametrize(("longer_mm", "beyond_mm"), [(1.0, 0.1), (2.0, 0.6), (3.0, 1.1)])
def test_what_is_too_long_stands_against_both_hearts_alike(
    longer_mm: float, beyond_mm: float
) -> None:
    """Each end takes half of it, less the clearance."""
    place = opening(1, BAR)
    placed = fitted(lying("P1", box(0, 0, 80 + longer_mm, 30), 77.0, (5, 5)), place)
    if beyond_mm < OPTIONS.tolerance_mm:
        assert placed.groze == ()
        return
    assert placed.groze_mm == pytest.approx(beyond_mm, abs=0.03)
    assert placed.short_mm == 0.0
    assert placed.play_mm == 0.0
    assert len(placed.groze) == 2
    assert all(stretch.most_mm == pytest.approx(beyond_mm, abs=0.03) for stretch in placed.groze)
    assert {round(stretch.at[0]) for stretch in placed.groze} == {-1, 81} or longer_mm > 2.0


@pytest.mark.parametrize("shorter_mm", [3.0, 5.0, 6.0])
def test_what_is_too_short_lets_light_by(shorter_mm: float) -> None:
    """Both leaves cover 2 mm; what is missing beyond that is shared by both ends."""
    placed = fitted(lying("P1", box(0, 0, 80 - shorter_mm, 30), 12.0, (5, 5)), opening(1, BAR))
    expected = max(0.0, 0.5 * shorter_mm - COVER_MM)
    assert placed.short_mm == pytest.approx(expected, abs=0.03)
    assert placed.groze_mm == 0.0


def test_a_chip_within_the_leaf_is_no_fault_and_one_beyond_it_is() -> None:
    place = opening(1, KITE)
    for deep_mm, seen in ((1.5, False), (3.5, True)):
        chip = Point(30, 2).buffer(deep_mm)
        placed = fitted(lying("P1", KITE.difference(chip), 140.0, (0, 0)), place)
        assert (placed.short_mm > 0.0) is seen
        if seen:
            shifted_mm = CLEARANCE_MM  # into the play, so that less of the chip shows
            assert placed.short_mm == pytest.approx(deep_mm - COVER_MM - shifted_mm, abs=0.1)
            assert math.dist(placed.short[0].at, (30, 2 + COVER_MM)) < 1.5
        assert placed.outline.hausdorff_distance(KITE.difference(chip)) < 1.5 * CLEARANCE_MM
        assert placed.groze_mm == 0.0


def test_glass_that_lies_the_wrong_way_up_fits_turned_over_only() -> None:
    place = opening(1, ANGLE)
    piece = lying("P1", ANGLE, 60.0, (20, 30), over=True)
    turned = fitted(piece, place, turn_over=True)
    assert turned.over
    assert turned.rms_mm < 0.02
    assert turned.placement.apply(
        shapely.get_coordinates(turned_over(piece.outline))
    ) == pytest.approx(shapely.get_coordinates(turned.outline))
    assert fitted(piece, place).rms_mm > 1.0


def test_an_opening_without_sight_has_nothing_to_show() -> None:
    place = opening(1, BAR)
    covered = Opening(1, place.hearts, place.cut, Polygon(), 0.1)
    assert fitted(lying("P1", affinity.scale(BAR, 0.9, 0.9), 3.0, (0, 0)), covered).short == ()


@pytest.mark.parametrize("seed", range(6))
def test_uneven_glass_is_more_likely_in_its_own_opening(seed: int) -> None:
    places = [opening(k, cut) for k, cut in enumerate(SHAPES.values())]
    for k, cut in enumerate(SHAPES.values()):
        piece = lying("P1", uneven(cut, seed), 100.0 + seed, (0, 0))
        found = {p.opening: p.log_likelihood for p in poses([piece], places, OPTIONS)}
        assert max(found, key=lambda n: found[n]) == k
        assert found[k] > 5.0


@pytest.mark.parametrize("bump_mm", [0.7, 1.5])
def test_a_stretch_of_one_place_is_still_a_line(bump_mm: float) -> None:
    """A spur of half a millimetre stands against the heart at one place of the edge or two."""
    spur = Polygon([(40.0, 29.9), (40.25, 30.0 + bump_mm), (40.5, 29.9)])
    placed = fitted(lying("P1", BAR.union(spur), 20.0, (0, 0)), opening(1, BAR))
    for stretch in placed.groze:
        assert len(stretch.path) >= 2
        assert stretch.most_mm > OPTIONS.tolerance_mm
