"""Smooth curves through noisy places, and what they say of their own doubt."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import shapely

from rubbing2pattern.fitting.smooth import Places, fit_smooth

Array = npt.NDArray[np.float64]
NOISE_MM = 0.1


def bent(curvature: Array) -> tuple[Array, Array]:
    """Return places a millimetre apart along a curve of this curvature, and normals."""
    angle = np.cumsum(curvature)
    along = np.column_stack((np.cos(angle), np.sin(angle)))
    return np.cumsum(along, axis=0) + np.array([300.0, 200.0]), np.column_stack(
        (-along[:, 1], along[:, 0])
    )


def measured(true: Array, normal: Array, hidden: slice = slice(0)) -> Places:
    noise = np.random.default_rng(3).normal(0.0, NOISE_MM, len(true))
    sigma = np.full(len(true), NOISE_MM)
    sigma[hidden] = np.inf
    t = np.arange(len(true), dtype=np.float64)
    return Places(t, true + noise[:, None] * normal, normal, sigma)


def test_an_s_is_followed_across_a_stretch_that_nothing_shows() -> None:
    true, normal = bent(0.02 * np.cos(np.arange(150) / 30.0))
    fit = fit_smooth(measured(true, normal, slice(60, 75)), 8.0)
    place, _, sigma = fit.at(np.arange(150.0))
    off = np.abs(((place - true) * normal).sum(axis=1))
    assert off.max() < 0.2
    assert (off <= 4.0 * sigma).all()
    assert sigma[67] > 1.5 * sigma[30]


def test_a_straight_lead_is_not_made_to_bend() -> None:
    true, normal = bent(np.zeros(120))
    fit = fit_smooth(measured(true, normal), 8.0)
    place, along, _ = fit.at(np.arange(120.0))
    assert np.abs(((place - true) * normal).sum(axis=1)).max() < 0.08
    assert np.abs((along * normal).sum(axis=1)).max() < 0.01


def test_a_bend_goes_on_beyond_the_last_place_and_the_doubt_grows() -> None:
    true, normal = bent(np.full(140, 0.02))
    seen = measured(true, normal, slice(120, 140))
    fit = fit_smooth(
        Places(*(a[:120] for a in (seen.t_mm, seen.points, seen.normal, seen.sigma_mm))), 8.0
    )
    t = np.arange(120.0, 135.0)
    place, _, sigma = fit.at(t)
    off = shapely.distance(shapely.points(place), shapely.linestrings(true))
    straight_mm = 15.0**2 / (2 * 50.0)
    assert off[-1] < 0.6 * straight_mm
    assert (off < 4.0 * sigma).all()
    assert (np.diff(sigma) > 0).all()


def test_places_far_off_do_not_pull_the_curve() -> None:
    true, normal = bent(np.full(100, 0.01))
    places = measured(true, normal)
    places.points[40:44] += 2.0 * normal[40:44]
    off = fit_smooth(places, 8.0).at(np.arange(100.0))[0] - true
    assert np.abs((off * normal).sum(axis=1)).max() < 0.3
