"""Flat scans: by resolution and by ruler, and what speaks against a flat scan."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from rubbing2pattern.errors import ScaleNotFound
from rubbing2pattern.findings import Code
from rubbing2pattern.inputs.reference import Dpi, Ruler, parse_reference
from rubbing2pattern.options.rectify import RectifyOptions
from rubbing2pattern.reading import Photograph
from rubbing2pattern.stages.rectify import rectify
from tests.stages.rectify.camera import Camera, Scene, photograph

OPTIONS = RectifyOptions()
SCAN = Camera(1000, 1300, focal=500.0, aim_mm=(150, 210), fill=1300 * 25.4 / 75, roll_deg=0.8)
"""A camera so far away that it has no perspective: 75 dpi."""


def scan(camera: Camera = SCAN, **more: float) -> Photograph:
    scene = Scene(297, 420, margin_mm=35, ground=170, **more)
    return Photograph(photograph(scene, camera), "scan.png", "0" * 64)


@pytest.fixture(scope="module")
def flat() -> Photograph:
    return scan()


def test_dpi(flat):
    rubbing = rectify(flat, Dpi(75.0), RectifyOptions(least_px_per_mm=2.0))
    seen = SCAN.project(np.array([(50.0, 60), (250, 60), (250, 360)]))
    mm = rubbing.warp.to_mm(seen)
    assert np.linalg.norm(mm[1] - mm[0]) == pytest.approx(200, rel=1e-5)
    assert np.linalg.norm(mm[2] - mm[1]) == pytest.approx(300, rel=1e-5)
    assert rubbing.warp.to_mm([(0, 1299)])[0] == pytest.approx((0, 0))
    assert rubbing.scale.px_per_mm == pytest.approx(75 / 25.4)
    assert rubbing.scale.relative_uncertainty == pytest.approx(0.001)
    assert rubbing.warp.k1 == 0.0
    assert rubbing.findings == ()


def test_paper_inside_a_scan(flat):
    """Outside check: corners by cv2.projectPoints; the sheet is an A3 (ISO 216)."""
    rubbing = rectify(flat, Dpi(75.0), OPTIONS)
    assert rubbing.paper is not None
    corners = SCAN.project(np.array([(0.0, 0), (297, 0), (297, 420), (0, 420)]))
    found = np.array(rubbing.paper.exterior.coords[:4])
    assert np.abs(found - rubbing.warp.to_mm(corners)).max() < 0.25
    assert rubbing.paper.area == pytest.approx(297 * 420, rel=0.001)
    assert rubbing.bounds_mm == rubbing.paper.bounds


@pytest.mark.parametrize("ink", [60.0, 130.0])
def test_scan_without_edges(ink):
    """What shows only paper is read whole; the border lead is no edge, bold or worn."""
    grey = scan(ink=ink).grey[120:1180, 110:890]
    inner = Photograph(np.ascontiguousarray(grey), "scan.png", "0" * 64)
    rubbing = rectify(inner, Dpi(75.0), OPTIONS)
    assert rubbing.paper is None
    half = 0.5 * 25.4 / 75
    expected = (-half, -half, 780 * 25.4 / 75 - half, 1060 * 25.4 / 75 - half)
    assert rubbing.bounds_mm == pytest.approx(expected)


@pytest.mark.parametrize(
    ("stated", "reported"), [(None, False), (75.0, False), (300.0, True), (72.0, False)]
)
def test_the_files_own_resolution_speaks_against_another(flat, stated, reported):
    rubbing = rectify(replace(flat, dpi=stated), Dpi(75.0), OPTIONS)
    assert (Code.SCALE_UNCERTAIN in [f.code for f in rubbing.findings]) == reported


def test_ruler(flat):
    ends = SCAN.project(np.array([(60.0, 12), (240, 12)]))
    ruler = Ruler(tuple(ends[0]), tuple(ends[1]), 180.0)
    rubbing = rectify(flat, ruler, RectifyOptions(reading_px=1.0))
    mm = rubbing.warp.to_mm(SCAN.project(np.array([(10.0, 20), (10, 400)])))
    assert np.linalg.norm(mm[1] - mm[0]) == pytest.approx(380, rel=1e-5)
    length_px = np.linalg.norm(ends[1] - ends[0])
    expected = np.hypot(np.sqrt(2) / length_px, 0.1 / 180)
    assert rubbing.scale.relative_uncertainty == pytest.approx(expected)
    assert rubbing.scale.reference == "ruler"
    assert Code.SCALE_UNCERTAIN in [f.code for f in rubbing.findings]  # 0.27 % of two pixels
    sure = rectify(flat, ruler, RectifyOptions(reading_px=0.2))
    assert Code.SCALE_UNCERTAIN not in [f.code for f in sure.findings]


def test_ruler_outside_the_picture(flat):
    with pytest.raises(ScaleNotFound, match=r"1000,5 lies outside .*1000 x 1300"):
        rectify(flat, parse_reference(ruler="10,5 1000,5 200mm"), OPTIONS)


def test_ruler_through_a_lens():
    """A copying stand: no perspective, but a lens that bends the edges by several mm."""
    camera = replace(SCAN, k1=0.06)
    photo = scan(camera)
    ends = camera.project(np.array([(30.0, 12), (267, 12)]))
    rubbing = rectify(photo, Ruler(tuple(ends[0]), tuple(ends[1]), 237.0), OPTIONS)
    assert rubbing.warp.k1 == pytest.approx(0.06, abs=0.003)
    mm = rubbing.warp.to_mm(camera.project(np.array([(148.0, 20), (148, 400), (20, 210)])))
    assert np.linalg.norm(mm[1] - mm[0]) == pytest.approx(380, rel=0.001)


def test_a_photograph_is_no_scan():
    camera = replace(SCAN, focal=0.9, pitch_deg=15, fill=500)
    photo = scan(camera)
    ends = camera.project(np.array([(30.0, 12), (267, 12)]))
    rubbing = rectify(photo, Ruler(tuple(ends[0]), tuple(ends[1]), 237.0), OPTIONS)
    assert any("not a flat scan" in f.message for f in rubbing.findings)
    assert rubbing.scale.relative_uncertainty > 0.02


def test_a_turned_scan_is_read_upright(flat):
    turned = Photograph(cv2.rotate(flat.grey, cv2.ROTATE_90_CLOCKWISE), "scan.png", "0" * 64)
    rubbing = rectify(turned, Dpi(75.0), OPTIONS)
    x_min, y_min, x_max, y_max = rubbing.bounds_mm
    assert x_max - x_min > y_max - y_min
