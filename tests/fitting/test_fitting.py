"""Lines and circles fitted to noisy points of known curves, and the choice between curves."""

from __future__ import annotations

import math

import numpy as np
import pytest

from rubbing2pattern.fitting.primitives import CircleFit, LineFit, fit_circle, fit_line
from rubbing2pattern.fitting.smooth import Places, SmoothFit
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.laying.shape import Shape, shapes_of
from rubbing2pattern.options.laying import LayingOptions


def noisy(points: np.ndarray, spread_mm: float = 0.05, seed: int = 4) -> np.ndarray:
    return points + np.random.default_rng(seed).normal(0.0, spread_mm, points.shape)


def straight(length_mm: float = 80.0) -> np.ndarray:
    t = np.linspace(0.0, length_mm, 110)
    return np.column_stack((10.0 + 0.8 * t, 5.0 + 0.6 * t))


def arc(radius_mm: float, sweep_deg: float) -> np.ndarray:
    a = np.radians(np.linspace(10.0, 10.0 + sweep_deg, 140))
    return np.column_stack((30.0 + radius_mm * np.cos(a), 40.0 + radius_mm * np.sin(a)))


def test_a_line_is_found_in_spite_of_outliers() -> None:
    points = noisy(straight())
    points[::15] += (0.0, 3.0)
    fit = fit_line(points, np.ones(len(points)))
    assert fit.along == pytest.approx([0.8, 0.6], abs=2e-3)
    assert np.abs(fit.residuals(straight())).max() < 0.12


def test_a_circle_obeys_the_circular_segment_of_the_handbook() -> None:
    """Chord c = 2 r sin(theta / 2), rise h = r (1 - cos(theta / 2)); Machinery's Handbook."""
    points = arc(60.0, 70.0)
    fit = fit_circle(noisy(points, 0.02), np.ones(len(points)))
    assert fit is not None
    half = math.asin(0.5 * math.dist(points[0], points[-1]) / fit.radius_mm)
    assert math.degrees(half) == pytest.approx(35.0, abs=0.1)
    middle = 0.5 * (points[0] + points[-1])
    rise = fit.radius_mm - math.dist(middle, fit.centre)
    assert rise == pytest.approx(60.0 * (1.0 - math.cos(math.radians(35.0))), abs=0.1)


def test_a_circle_is_found_in_spite_of_outliers() -> None:
    points = noisy(arc(60.0, 90.0))
    points[::12] += (3.0, 0.0)
    fit = fit_circle(points, np.ones(len(points)))
    assert fit is not None
    assert fit.radius_mm == pytest.approx(60.0, abs=0.15)
    assert fit.centre == pytest.approx([30.0, 40.0], abs=0.15)


def test_no_circle_is_fitted_to_points_on_one_line() -> None:
    points = np.column_stack((np.linspace(0.0, 10.0, 20), np.zeros(20)))
    assert fit_circle(points, np.ones(20)) is None


def s_curve() -> np.ndarray:
    t = np.linspace(0.0, 120.0, 160)
    return np.column_stack((t, 12.0 * np.sin(t / 120.0 * 2.0 * math.pi)))


def chosen(points: Array, sigma_mm: Array | None = None) -> Shape:
    """Return the curve chosen for places a lead of 5 mm was read at."""
    along = np.gradient(points, axis=0)
    along /= np.hypot(*along.T)[:, None]
    normal = np.column_stack((-along[:, 1], along[:, 0]))
    t = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))))
    sigma = np.full(len(points), 0.12) if sigma_mm is None else sigma_mm
    places = Places(t, points, normal, sigma)
    return shapes_of([places], [False], np.array([5.0]), LayingOptions())[0]


@pytest.mark.parametrize(
    ("points", "kind"),
    [(straight(), LineFit), (arc(60.0, 90.0), CircleFit), (s_curve(), SmoothFit)],
)
@pytest.mark.parametrize("spread_mm", [0.0, 0.05])
def test_the_simplest_curve_that_serves_is_taken(
    points: Array, kind: type, spread_mm: float
) -> None:
    assert isinstance(chosen(noisy(points, spread_mm)).fit, kind)


def test_places_that_are_less_sure_still_tell_a_bend() -> None:
    """A lead straight where it is clean, that turns aside in the last 10 mm, under solder."""
    t = np.arange(0.0, 60.0)
    points = np.column_stack((t, 0.02 * np.maximum(t - 45.0, 0.0) ** 2))
    sigma = np.where(t < 45.0, 0.12, 0.45)
    assert not isinstance(chosen(noisy(points), sigma).fit, LineFit)
    doubtful = np.where(t < 45.0, 0.12, 8.0)
    assert isinstance(chosen(noisy(points), doubtful).fit, LineFit)


@pytest.mark.parametrize("radius_mm", [3.0, 3.5, 4.0])
def test_a_hook_at_the_end_of_a_run_is_not_carried_on(radius_mm: float) -> None:
    """Where a lead ends under another's solder its ridge may turn back within a few mm."""
    lead, leaves = s_curve(), math.atan(12.0 * 2.0 * math.pi / 120.0)
    ahead = np.array([math.cos(leaves), math.sin(leaves)])
    turn = np.linspace(0.0, 3.0, round(4.0 * radius_mm))[1:]
    hook = lead[-1] + radius_mm * (
        np.outer(np.sin(turn), ahead) + np.outer(1.0 - np.cos(turn), (-ahead[1], ahead[0]))
    )
    shape = chosen(noisy(np.vstack((lead, hook)), 0.05))
    assert float(shape.way(shape.last_mm) @ ahead) > 0.9
