"""Lens and plane against OpenCV's own camera; the solver against a closed form."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, strategies as st

from rubbing2pattern.geometry.frame import Warp
from rubbing2pattern.stages.rectify.extent import bounds_of, mean_scale, paper_of
from rubbing2pattern.stages.rectify.lens import Lens
from rubbing2pattern.stages.rectify.plane import (
    apply,
    camera_misfit,
    homography,
    rectangle,
    same_side,
    turns_over,
)
from rubbing2pattern.stages.rectify.solve import soft_least_squares
from tests.stages.rectify.camera import Camera

GRID = np.stack(np.meshgrid(np.linspace(0, 600, 7), np.linspace(0, 800, 9)), -1).reshape(-1, 2)
CAMERAS = [
    Camera(k1=-0.12, pitch_deg=20, yaw_deg=-15, roll_deg=4),
    Camera(k1=0.12, pitch_deg=-25, roll_deg=91, focal=0.7),
    Camera(k1=0.03, yaw_deg=25, roll_deg=-3, focal=1.3),
]


def warp_of(camera: Camera) -> Warp:
    """Return the project's warp of a camera, from matrices alone."""
    rotation, translation = camera.pose
    matrix = camera.matrix @ np.column_stack((rotation[:, 0], rotation[:, 1], translation))
    lens = Lens.of((camera.height_px, camera.width_px), camera.k1)
    return Warp(tuple(matrix.ravel()), camera.k1, lens.centre_px, lens.radius_px)


@pytest.mark.parametrize("camera", CAMERAS)
def test_warp_sees_as_opencv_does(camera):
    """Outside check: cv2.projectPoints with the coefficient converted to focal lengths."""
    warp = warp_of(camera)
    seen = camera.project(GRID)
    assert np.abs(warp.to_px(GRID) - seen).max() < 1e-6
    assert np.abs(warp.to_mm(seen) - GRID).max() < 1e-4
    lens = Lens(warp.centre_px, warp.radius_px, warp.k1)
    ideal = apply(warp.matrix, GRID)
    assert np.abs(lens.seen(ideal) - seen).max() < 1e-6
    assert np.abs(lens.ideal(seen) - ideal).max() < 1e-6


@given(
    k1=st.floats(-0.12, 0.15),
    column=st.floats(0, 4000),
    row=st.floats(0, 3000),
)
def test_lens_there_and_back(k1, column, row):
    lens = Lens.of((3000, 4000), k1)
    seen = np.array([[column, row]])
    assert np.abs(lens.seen(lens.ideal(seen)) - seen).max() < 1e-6


@pytest.mark.parametrize("camera", CAMERAS)
def test_homography_of_many_places(camera):
    """Outside check: cv2.findHomography on the same places."""
    straight = Camera(**{**camera.__dict__, "k1": 0.0})
    seen = straight.project(GRID) + np.random.default_rng(2).normal(0, 0.3, GRID.shape)
    ours = apply(homography(GRID, seen), GRID)
    theirs = apply(cv2.findHomography(GRID, seen)[0], GRID)
    assert np.abs(ours - theirs).max() < 0.05
    assert np.abs(ours - straight.project(GRID)).max() < 0.5


@pytest.mark.parametrize("camera", CAMERAS)
def test_a_camera_has_no_misfit_and_a_wrong_size_has(camera):
    warp = warp_of(camera)
    longer = max(camera.width_px, camera.height_px)
    assert camera_misfit(warp.matrix, warp.centre_px, longer) < 0.006
    if camera.pitch_deg and camera.yaw_deg:  # else another focal length explains it
        stretched = warp.matrix @ np.diag([1.06, 1.0, 1.0])
        assert camera_misfit(stretched, warp.centre_px, longer) > 0.025
    frontal = warp_of(Camera())
    wrong = frontal.matrix @ np.diag([1.06, 1.0, 1.0])
    assert camera_misfit(wrong, frontal.centre_px, longer) == pytest.approx(np.log(1.06), rel=0.01)


def test_mirror_and_horizon():
    warp = warp_of(CAMERAS[0])
    middle = np.array([300.0, 400.0])
    assert not turns_over(warp.matrix, middle)
    assert turns_over(warp.matrix @ np.diag([1.0, -1.0, 1.0]), middle)
    assert same_side(warp.matrix, GRID)
    assert not same_side(np.array([[1.0, 0, 0], [0, 1, 0], [0.01, 0, -1]]), GRID)


def test_bounds_of_what_a_picture_shows():
    straight = Warp.similarity(2.0, 401)
    about = rectangle(100, 100)
    assert bounds_of(straight, (401, 601), about) == pytest.approx((-0.25, -0.25, 300.25, 200.25))
    assert mean_scale(straight, (0, 0, 300, 200)) == pytest.approx(2.0)
    paper = paper_of(straight.to_px(rectangle(100, 50)), straight)
    assert paper.area == pytest.approx(5000)
    assert paper.exterior.is_ccw
    grazing = warp_of(Camera(pitch_deg=75, focal=0.5))
    low_x, low_y, high_x, high_y = bounds_of(grazing, (1200, 1600), rectangle(600, 800))
    assert low_x >= -600
    assert high_x <= 1200
    assert low_y >= -800
    assert high_y <= 1600


def test_solver_on_a_line_with_outliers():
    """A straight line through points of which three are wild; closed form: polyfit of the rest."""
    x = np.linspace(0, 1, 60)
    y = 2.0 * x + 1.0 + np.random.default_rng(3).normal(0, 0.01, 60)
    good = np.ones(60, bool)
    good[[5, 30, 44]] = False
    wild = np.where(good, y, y + 3.0)
    found, covariance = soft_least_squares(lambda p: (p[0] * x + p[1] - wild) / 0.01, np.zeros(2))
    slope, level = np.polyfit(x[good], y[good], 1)
    spread = np.sqrt(np.diag(covariance))
    assert abs(found[0] - slope) < 2 * spread[0]
    assert abs(found[1] - level) < 2 * spread[1]
    expected = 0.01 / (np.sqrt(57) * x[good].std())
    assert spread[0] == pytest.approx(expected, rel=0.35)
