"""Lines, circles and cubics fitted to noisy points of known curves."""

from __future__ import annotations

import math

import numpy as np
import pytest

from rubbing2pattern.fitting.primitives import (
    CircleFit,
    CubicFit,
    LineFit,
    fit_circle,
    fit_cubic,
    fit_line,
    fit_tip,
)
from rubbing2pattern.fitting.runs import Bay, Measure, fit_run
from rubbing2pattern.fitting.solve import meeting_place


def noisy(points: np.ndarray, spread_mm: float = 0.05, seed: int = 4) -> np.ndarray:
    return points + np.random.default_rng(seed).normal(0.0, spread_mm, points.shape)


def straight(length_mm: float = 80.0) -> np.ndarray:
    t = np.linspace(0.0, length_mm, 110)
    return np.column_stack((10.0 + 0.8 * t, 5.0 + 0.6 * t))


def arc(radius_mm: float, sweep_deg: float) -> np.ndarray:
    a = np.radians(np.linspace(10.0, 10.0 + sweep_deg, 140))
    return np.column_stack((30.0 + radius_mm * np.cos(a), 40.0 + radius_mm * np.sin(a)))


def s_curve() -> np.ndarray:
    t = np.linspace(0.0, 120.0, 160)
    return np.column_stack((t, 12.0 * np.sin(t / 120.0 * 2.0 * math.pi)))


def bay(points: np.ndarray) -> Bay:
    return Bay(points, np.ones(len(points)))


def test_a_line_is_found_in_spite_of_outliers() -> None:
    points = noisy(straight())
    points[::15] += (0.0, 3.0)
    fit = fit_line(points, np.ones(len(points)))
    assert fit.along == pytest.approx([0.8, 0.6], abs=2e-3)
    assert np.abs(fit.residuals(straight())).max() < 0.12


def test_a_circle_obeys_the_circular_segment_of_the_handbook() -> None:
    """Chord c = 2 r sin(theta / 2), rise h = r (1 - cos(theta / 2)); Machinery's Handbook."""
    points = noisy(arc(60.0, 70.0), 0.02)
    fit = fit_circle(points, np.ones(len(points)))
    assert fit is not None
    half = math.radians(35.0)
    ends = np.array([fit.near(p)[0] for p in (points[0], points[-1])])
    assert math.dist(*ends) == pytest.approx(2.0 * 60.0 * math.sin(half), abs=0.1)
    middle = fit.near(points[len(points) // 2])[0]
    rise = math.dist(middle, ends.mean(axis=0))
    assert rise == pytest.approx(60.0 * (1.0 - math.cos(half)), abs=0.1)


def test_a_cubic_follows_an_s_and_goes_on_with_its_last_curvature() -> None:
    fit = fit_cubic(noisy(s_curve()), np.ones(160), 8)
    assert np.abs(fit.residuals(s_curve())).max() < 0.15
    beyond, along = fit.near(np.array([123.0, 1.8]))
    assert math.dist(beyond, (123.0, 12.0 * math.sin(123.0 / 120.0 * 2.0 * math.pi))) < 0.4
    assert np.hypot(*along) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("points", "kind"), [(straight(), LineFit), (arc(60.0, 90.0), CircleFit), (s_curve(), CubicFit)]
)
def test_a_run_takes_the_simplest_curve_that_serves(points: np.ndarray, kind: type) -> None:
    (fit,) = fit_run([bay(noisy(points))], Measure(0.08))
    assert isinstance(fit, kind)


def test_neighbouring_bays_on_one_line_share_their_fit() -> None:
    points = noisy(straight(160.0))
    parts = [bay(points[:40]), bay(points[40:75]), bay(points[75:])]
    first, second, third = fit_run(parts, Measure(0.08))
    assert first is second is third


def test_a_line_that_goes_on_as_an_arc_is_split_where_it_turns() -> None:
    a = np.radians(np.linspace(-90.0, 0.0, 90))
    bend = np.column_stack((60.0 + 40.0 * np.cos(a), 40.0 + 40.0 * np.sin(a)))
    flat = np.column_stack((np.linspace(0.0, 60.0, 90), np.zeros(90)))
    parts = [flat[:50], flat[50:], bend[:45], bend[45:]]
    first, second, third, fourth = fit_run([bay(noisy(p)) for p in parts], Measure(0.08))
    assert isinstance(first, LineFit)
    assert first is second
    assert isinstance(third, CircleFit)
    assert third is fourth
    assert third.radius_mm == pytest.approx(40.0, abs=0.5)


def test_a_circle_is_found_in_spite_of_outliers() -> None:
    points = noisy(arc(60.0, 90.0))
    points[::12] += (3.0, 0.0)
    fit = fit_circle(points, np.ones(len(points)))
    assert fit is not None
    assert fit.radius_mm == pytest.approx(60.0, abs=0.15)
    assert fit.centre == pytest.approx([30.0, 40.0], abs=0.15)


def test_a_cubic_passes_outliers_by() -> None:
    points = noisy(s_curve())
    points[8::16] += (0.0, 3.0)
    fit = fit_cubic(points, np.ones(160), 8)
    assert np.abs(fit.residuals(s_curve())).max() < 0.2


@pytest.mark.parametrize("spread_mm", [0.0, 0.05])
def test_points_on_a_line_make_a_line_not_a_circle(spread_mm: float) -> None:
    (fit,) = fit_run([bay(noisy(straight(), spread_mm))], Measure(0.08))
    assert isinstance(fit, LineFit)


def test_a_line_meets_a_circle_where_algebra_says() -> None:
    """The line y = 30 and the circle of radius 50 about the origin meet at x = 40."""
    line = LineFit(np.array([0.0, 30.0]), np.array([1.0, 0.0]))
    circle = CircleFit(np.array([0.0, 0.0]), 50.0, 1.0)
    place, misfit = meeting_place([line, circle], np.array([38.0, 33.0]))
    assert place == pytest.approx([40.0, 30.0], abs=0.02)
    assert np.abs(misfit).max() < 0.02


def test_a_bay_that_nothing_shows_goes_with_its_neighbour() -> None:
    points = noisy(straight())
    hidden = Bay(points[50:60] + 2.0, np.zeros(10))
    before, unseen, after = fit_run([bay(points[:50]), hidden, bay(points[60:])], Measure(0.08))
    assert unseen is before
    assert before is after


def test_curves_meet_where_they_cross() -> None:
    one = fit_line(np.array([[0.0, 0.0], [5.0, 5.0], [10.0, 10.0]]), np.ones(3))
    two = fit_line(np.array([[0.0, 10.0], [5.0, 5.0], [10.0, 0.0]]), np.ones(3))
    place, misfit = meeting_place([one, two], np.array([4.0, 7.0]))
    assert place == pytest.approx([5.0, 5.0], abs=0.01)
    assert np.abs(misfit).max() < 0.01


def test_nearly_parallel_curves_do_not_meet_far_away() -> None:
    one = LineFit(np.array([0.0, 0.0]), np.array([1.0, 0.0]))
    two = LineFit(np.array([0.0, 4.0]), np.array([1.0, 0.0]))
    place, misfit = meeting_place([one, two], np.array([3.0, 1.0]))
    assert place == pytest.approx([3.0, 2.0], abs=0.05)
    assert np.abs(misfit) == pytest.approx([2.0, 2.0], abs=0.05)


def test_no_circle_is_fitted_to_points_on_one_line() -> None:
    points = np.column_stack((np.linspace(0.0, 10.0, 20), np.zeros(20)))
    assert fit_circle(points, np.ones(20)) is None


MEMORY_MM, STIFF_MM2 = 5.0, 40.0


def tips(points: np.ndarray, spread_mm: float = 0.04) -> np.ndarray:
    """Fit the end at the first of the points, for 30 noisy copies of them.

    Places, unit tangents out of the end and signed curvatures, (30, 5).
    """
    out = []
    for seed in range(30):
        fit = fit_tip(noisy(points, spread_mm, seed), np.ones(len(points)), MEMORY_MM, STIFF_MM2)
        place, along = fit.near(points[0])
        bend = fit.turn / fit.radius_mm if isinstance(fit, CircleFit) else 0.0
        out.append((*place, *along, bend))
    return np.array(out)


def off_deg(found: np.ndarray, along: tuple[float, float]) -> np.ndarray:
    """Signed angles in degrees from an exact direction to those found, (N,)."""
    exact = np.array(along) / math.hypot(*along)
    cross = exact[0] * found[:, 3] - exact[1] * found[:, 2]
    return np.asarray(np.degrees(np.arctan2(cross, found[:, 2:4] @ exact)))


def test_the_tip_of_a_line_goes_on_straight() -> None:
    s = np.arange(0.0, 28.0, 0.75)[:, None]
    found = tips(np.array([10.0, 5.0]) - s * (0.8, 0.6))
    assert np.hypot(*(found[:, :2] - (10.0, 5.0)).T).max() < 0.12
    angles = off_deg(found, (0.8, 0.6))
    assert abs(angles.mean()) < 0.3
    assert np.abs(angles).max() < 2.0
    assert np.abs(found[:, 4]).max() < 1.0 / 300.0


@pytest.mark.parametrize("turn", [1.0, -1.0])
@pytest.mark.parametrize("radius_mm", [30.0, 40.0, 80.0])
def test_the_tip_of_a_circle_has_its_place_tangent_and_curvature(
    radius_mm: float, turn: float
) -> None:
    a = -turn * np.arange(0.0, 28.0, 0.75) / radius_mm
    found = tips(radius_mm * np.column_stack((np.cos(a), np.sin(a))))
    assert np.hypot(*(found[:, :2] - (radius_mm, 0.0)).T).max() < 0.12
    angles = off_deg(found, (0.0, turn))
    assert abs(angles.mean()) < 0.8
    assert np.abs(angles).max() < 2.5
    assert found[:, 4].mean() * radius_mm == pytest.approx(turn, abs=0.12)
    assert np.abs(found[:, 4] - turn / radius_mm).max() < 1.0 / 150.0


def test_the_tip_of_an_s_knows_nothing_of_its_other_bend() -> None:
    """The cubic y = x^3 / 5400 at x = 30: slope 1/2, curvature (1/30) / (1 + 1/4)^1.5."""
    x = np.arange(30.0, -30.1, -0.75)
    found = tips(np.column_stack((x, x**3 / 5400.0)))
    assert np.hypot(*(found[:, :2] - (30.0, 5.0)).T).max() < 0.15
    angles = off_deg(found, (1.0, 0.5))
    assert abs(angles.mean()) < 1.8
    assert np.abs(angles).max() < 3.0
    assert found[:, 4].mean() == pytest.approx(1.0 / 30.0 / 1.25**1.5, rel=0.2)


def test_the_tip_passes_outliers_by() -> None:
    a = np.arange(0.0, 28.0, 0.75) / 40.0
    points = 40.0 * np.column_stack((np.cos(a), np.sin(a)))
    points[3::7] *= 1.04
    found = tips(points)
    assert np.abs(found[:, 0] - 40.0).mean() < 0.08
    assert np.abs(off_deg(found, (0.0, -1.0))).mean() < 1.3


@pytest.mark.parametrize("length_mm", [7.0, 9.0])
def test_a_short_lead_with_frayed_ends_is_a_line_and_no_tiny_circle(length_mm: float) -> None:
    """A parabola of 5 mm radius is what solder leaves of a link between two joints."""
    t = np.arange(0.0, length_mm + 0.01, 0.5)
    points = noisy(np.column_stack((t, 0.1 * (t - length_mm / 2.0) ** 2)))
    (short,) = fit_run([bay(points)], Measure(0.08))
    assert isinstance(short, LineFit)
    (told,) = fit_run([bay(points)], Measure(0.08, short_mm=0.5 * length_mm))
    assert isinstance(told, CircleFit)
