"""The sheet's edges: found on many grounds, bent by lenses, and refused where they do not show."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from rubbing2pattern.errors import ScaleNotFound
from rubbing2pattern.findings import Code
from rubbing2pattern.inputs.reference import Mark, Marks, Sheet, parse_reference
from rubbing2pattern.options.rectify import RectifyOptions
from rubbing2pattern.reading import Photograph, Rubbing
from rubbing2pattern.stages.rectify import rectify
from tests.stages.rectify.camera import Camera, Scene, photograph

OPTIONS = RectifyOptions()
A3 = {"width_mm": 297.0, "height_mm": 420.0}  # ISO 216
UPRIGHT = Camera(1050, 1400, aim_mm=(150, 210), fill=560)
ACROSS = Camera(1400, 1050, aim_mm=(150, 210), fill=560, roll_deg=90)
CARD = np.array([(100.0, 150), (185.6, 150), (185.6, 203.98), (100, 203.98)])
"""An ID-1 card lying on the sheet: 85.60 by 53.98 mm (ISO/IEC 7810)."""

VIEWS = {
    "dark table, wide lens": (
        Scene(**A3, margin_mm=35, shadow=(3, -2, 2)),
        replace(UPRIGHT, k1=-0.12, pitch_deg=15, yaw_deg=-12, roll_deg=2),
    ),
    "light table, buff paper": (
        Scene(**A3, margin_mm=30, paper=170, ground=225, lamp=(0.3, -0.2)),
        replace(ACROSS, k1=0.12, pitch_deg=-14, yaw_deg=10, roll_deg=88),
    ),
    "boards, tape, tilted": (
        Scene(
            **A3,
            margin_mm=25,
            pattern="wood",
            ground=110,
            tape=((0, 60, 40, 25, 205), (150, 420, 30, 40, 170), (297, 300, 45, 20, 240)),
        ),
        replace(UPRIGHT, k1=0.05, pitch_deg=25, fill=640),
    ),
    "cloth, shadow of a hand": (
        Scene(**A3, margin_mm=40, pattern="cloth", ground=95, hand=(20, 380, 130, 0.4), tone=0.1),
        replace(UPRIGHT, k1=-0.04, yaw_deg=20, roll_deg=-4, fill=620),
    ),
    "stone, rubbing near the edge": (
        Scene(**A3, margin_mm=14, pattern="stone", ground=85),
        replace(ACROSS, k1=0.02, pitch_deg=10, yaw_deg=8, roll_deg=-93, fill=620),
    ),
}


@cache
def picture(scene: Scene, camera: Camera) -> Photograph:
    return Photograph(photograph(scene, camera), "sheet.jpg", "0" * 64)


@cache
def read(name: str, width_mm: float = 297.0, height_mm: float = 420.0) -> Rubbing:
    return rectify(picture(*VIEWS[name]), Sheet(width_mm, height_mm), OPTIONS)


def places() -> np.ndarray:
    return np.stack(np.meshgrid(np.linspace(0, 297, 7), np.linspace(0, 420, 9)), axis=-1).reshape(
        -1, 2
    )


def turned(points: np.ndarray, camera: Camera) -> np.ndarray:
    """Return places of the sheet in the frame whose x axis runs as the picture's columns do."""
    quarter = round(camera.roll_deg / 90) % 4
    x, y = points.T
    return {
        0: np.column_stack((x, y)),
        1: np.column_stack((y, 297 - x)),
        3: np.column_stack((420 - y, x)),
    }[quarter]


@pytest.mark.parametrize("name", VIEWS)
def test_sheet(name):
    """Outside check: places and lens are those of OpenCV's camera; the sheet is an A3."""
    _, camera = VIEWS[name]
    rubbing = read(name)
    expected = turned(places(), camera)
    found = rubbing.warp.to_mm(camera.project(places()))
    assert np.abs(found - expected).max() < 0.25  # the picture has 2.3 px per mm
    assert rubbing.scale.lens_k1 == pytest.approx(camera.k1, abs=0.002)
    assert rubbing.warp.k1 == rubbing.scale.lens_k1
    spread = np.linalg.norm(found - found.mean(axis=0)) / np.linalg.norm(
        expected - expected.mean(axis=0)
    )
    assert spread == pytest.approx(1.0, abs=0.0007)
    assert rubbing.scale.relative_uncertainty < 0.002
    assert {f.code for f in rubbing.findings} <= {Code.LOW_RESOLUTION, Code.SHEET_EDGE_UNCLEAR}


@pytest.mark.parametrize("name", VIEWS)
def test_a_card_on_the_sheet_has_its_size(name):
    """Outside check: ID-1, 85.60 by 53.98 mm (ISO/IEC 7810)."""
    seen = VIEWS[name][1].project(CARD)
    corners = read(name).warp.to_mm(seen)
    sides = np.linalg.norm(corners - np.roll(corners, -1, axis=0), axis=1)
    assert sides == pytest.approx([85.60, 53.98, 85.60, 53.98], abs=0.1)


@pytest.mark.parametrize("name", ["dark table, wide lens", "light table, buff paper"])
def test_the_order_of_the_sides_does_not_matter(name):
    assert read(name).warp == read(name, 420.0, 297.0).warp


def test_paper_bounds_and_origin():
    upright, across = read("dark table, wide lens"), read("light table, buff paper")
    assert upright.bounds_mm == pytest.approx((0, 0, 297, 420), abs=1e-6)
    assert across.bounds_mm == pytest.approx((0, 0, 420, 297), abs=1e-6)
    assert upright.paper is not None
    assert upright.paper.area == pytest.approx(297 * 420)
    left_lower, right_lower, left_upper = upright.warp.to_px([(0, 0), (297, 0), (0, 420)])
    assert left_lower[0] < right_lower[0]
    assert left_lower[1] > left_upper[1]


def test_same_input_same_warp():
    scene, camera = VIEWS["boards, tape, tilted"]
    again = rectify(
        Photograph(photograph(scene, camera), "sheet.jpg", "0" * 64), Sheet(297, 420), OPTIONS
    )
    assert again.warp == read("boards, tape, tilted").warp
    assert again.scale == read("boards, tape, tilted").scale


def test_low_resolution_is_reported():
    rubbing = read("dark table, wide lens")
    assert rubbing.scale.px_per_mm < 3
    assert Code.LOW_RESOLUTION in [f.code for f in rubbing.findings]
    fine = rectify(
        rubbing.photograph, parse_reference(sheet="A3"), RectifyOptions(least_px_per_mm=1.5)
    )
    assert Code.LOW_RESOLUTION not in [f.code for f in fine.findings]


def test_a_wrong_size_is_reported():
    photo = picture(*VIEWS["dark table, wide lens"])
    rubbing = rectify(photo, Sheet(310, 420), OPTIONS)
    assert any("not one that a camera makes" in f.message for f in rubbing.findings)
    with pytest.raises(ScaleNotFound, match="no camera"):
        rectify(photo, Sheet(400, 420), OPTIONS)


def test_nothing_but_table():
    rng = np.random.default_rng(1)
    grey = np.clip(rng.normal(150, 4, (900, 1200)), 0, 255).astype(np.uint8)
    with pytest.raises(ScaleNotFound, match=r"edge was not found in table\.jpg.*--marks"):
        rectify(Photograph(grey, "table.jpg", "0" * 64), Sheet(297, 420), OPTIONS)


def test_a_side_outside_the_picture_is_named():
    camera = replace(UPRIGHT, aim_mm=(150, 300), fill=480)
    photo = picture(Scene(**A3, margin_mm=35), camera)
    with pytest.raises(ScaleNotFound, match=r"sheet's .*lower.* edge was not found"):
        rectify(photo, Sheet(297, 420), OPTIONS)


def test_marks_profit_from_the_edges():
    """Four marks say nothing of the lens; the sheet's edges do."""
    _, camera = VIEWS["dark table, wide lens"]
    at = np.array([(40.0, 50), (257, 50), (257, 370), (40, 370)])
    pairs = enumerate(zip(camera.project(at).tolist(), at.tolist(), strict=True), 1)
    marks = Marks("m.csv", tuple(Mark(f"mark {n}", tuple(p), tuple(m)) for n, (p, m) in pairs))
    rubbing = rectify(picture(*VIEWS["dark table, wide lens"]), marks, OPTIONS)
    assert rubbing.scale.lens_k1 == pytest.approx(camera.k1, abs=0.002)
    assert np.abs(rubbing.warp.to_mm(camera.project(places())) - places()).max() < 0.4
    assert rubbing.paper is not None
    assert rubbing.paper.bounds == pytest.approx((0, 0, 297, 420), abs=0.5)


@pytest.mark.parametrize("lower", [450.0, 300.0], ids=["no mark on it", "half of the marks"])
def test_marks_beside_a_panel_that_looks_like_a_sheet(lower):
    """Most marks lie outside the bright panel, so it is not taken for the sheet."""
    scene = Scene(**A3, margin_mm=60, ground=60, tone=0.0)
    camera = replace(UPRIGHT, k1=0.03, pitch_deg=8)
    inward = 130.0 if lower < 420.0 else 0.0
    at = np.array([(-30.0, -30), (327, -30), (327 - inward, lower), (-30 + inward, lower)])
    pairs = enumerate(zip(camera.project(at).tolist(), at.tolist(), strict=True), 1)
    marks = Marks("m.csv", tuple(Mark(f"mark {n}", tuple(p), tuple(m)) for n, (p, m) in pairs))
    assert rectify(picture(scene, camera), marks, OPTIONS).paper is None


def test_a_wrong_mark_of_five_is_found_by_the_edges():
    _, camera = VIEWS["dark table, wide lens"]
    at = np.array([(40.0, 50), (257, 50), (257, 370), (40, 370), (148, 210)])
    seen = camera.project(at)
    at[2, 0] += 12
    pairs = enumerate(zip(seen.tolist(), at.tolist(), strict=True), 1)
    marks = Marks("m.csv", tuple(Mark(f"mark {n}", tuple(p), tuple(m)) for n, (p, m) in pairs))
    rubbing = rectify(picture(*VIEWS["dark table, wide lens"]), marks, OPTIONS)
    assert [r.used for r in rubbing.scale.residuals] == [True, True, False, True, True]
    assert rubbing.scale.residuals[2].residual_mm == pytest.approx(12, abs=1.5)
