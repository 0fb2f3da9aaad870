"""Sheets that are as grey as their ground, and shadows that look like edges."""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np
import pytest

from rubbing2pattern.inputs.reference import Mark, Marks, Sheet
from rubbing2pattern.options.rectify import RectifyOptions
from rubbing2pattern.reading import Photograph, Rubbing
from rubbing2pattern.stages.rectify import rectify
from rubbing2pattern.stages.rectify.tint import tint_of
from tests.stages.rectify.camera import Camera, Scene, photograph

OPTIONS = RectifyOptions(least_px_per_mm=1.0)
CAMERA = Camera(1050, 1400, aim_mm=(150, 210), fill=560, k1=0.05, pitch_deg=12, yaw_deg=-8)
LUMA = np.array((0.299, 0.587, 0.114))
KRAFT, STONE, WHITE, WOOD = (190, 150, 105), (150, 150, 152), (230, 228, 222), (190, 170, 150)
INNER = np.array([(50.0, 50), (247, 50), (247, 370), (50, 370)])


@cache
def places(fine: int) -> np.ndarray:
    """Return what every pixel sees, (fine H, fine W, 2)."""
    step = 1.0 / fine
    first = 0.5 * step - 0.5
    grid = np.meshgrid(first + step * np.arange(1050 * fine), first + step * np.arange(1400 * fine))
    return CAMERA.plane(np.stack(grid, -1).reshape(-1, 2)).reshape(1400 * fine, 1050 * fine, 2)


def coloured(
    grey: np.ndarray, paper: tuple[int, ...], ground: tuple[int, ...], shadow_mm: float = 0.0
) -> np.ndarray:
    """Return red, green, blue of the same luma; right of a line everything lies in shadow."""
    x, y = np.moveaxis(places(2), -1, 0)
    inside = ((x > 0) & (x < 297) & (y > 0) & (y < 420)).astype(np.float32)
    inside = cv2.resize(inside, (1050, 1400), interpolation=cv2.INTER_AREA)[..., None]
    tints = [np.array(c) / (LUMA @ c) for c in (paper, ground)]
    light = grey[..., None] * (inside * tints[0] + (1 - inside) * tints[1])
    if shadow_mm:
        x, y = np.moveaxis(places(1), -1, 0)
        light *= 1 - 0.6 * np.clip(x - shadow_mm - 0.005 * y, 0, 1)[..., None]
    noise = np.random.default_rng(4).normal(0, 2, light.shape)
    return np.clip(light + noise + 0.5, 0, 255).astype(np.uint8)


def photo(colour: np.ndarray, *, with_colour: bool) -> Photograph:
    grey = np.clip(colour @ LUMA + 0.5, 0, 255).astype(np.uint8)
    return Photograph(grey, "k.jpg", "0" * 64, colour=colour if with_colour else None)


def misfit_mm(rubbing: Rubbing) -> float:
    return float(np.abs(rubbing.warp.to_mm(CAMERA.project(INNER)) - INNER).max())


@cache
def kraft() -> np.ndarray:
    scene = Scene(297, 420, margin_mm=35, paper=150, ink=50, ground=150)
    return coloured(photograph(scene, CAMERA), KRAFT, STONE)


def test_kraft_on_stone_of_the_same_grey():
    rubbing = rectify(photo(kraft(), with_colour=True), Sheet(297, 420), OPTIONS)
    assert misfit_mm(rubbing) < 0.25
    assert rubbing.warp.k1 == pytest.approx(0.05, abs=0.002)


def test_a_small_copy_of_the_colours_is_enough():
    whole = photo(kraft(), with_colour=True)
    small = cv2.resize(kraft(), None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    read = Photograph(whole.grey, "k.jpg", "0" * 64, colour=small)
    assert misfit_mm(rectify(read, Sheet(297, 420), OPTIONS)) < 0.5


@pytest.mark.parametrize("share", [0.5, 0.3, 0.2])
def test_colours_as_a_camera_keeps_them_are_enough(share):
    """A JPEG keeps a quarter of the colours; its small copy shows edges some pixels wide."""
    packed = cv2.imencode(".jpg", kraft()[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 75])[1]
    read = cv2.imdecode(packed, cv2.IMREAD_COLOR)[..., ::-1]
    small = cv2.resize(read, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)
    grey = np.clip(read @ LUMA + 0.5, 0, 255).astype(np.uint8)
    rubbing = rectify(Photograph(grey, "k.jpg", "0" * 64, colour=small), Sheet(297, 420), OPTIONS)
    assert misfit_mm(rubbing) < 0.5
    assert rubbing.warp.k1 == pytest.approx(0.05, abs=0.005)


@pytest.mark.parametrize("shadow_mm", [240.0, 265.0])
@pytest.mark.parametrize("kind", ["sheet", "marks"])
def test_a_strong_shadow_is_no_edge(shadow_mm, kind):
    """White paper on pale wood: the shadow's edge is five times as strong as the paper's."""
    scene = Scene(297, 420, margin_mm=45, ink=50, ground=205, pattern="wood")
    colour = coloured(photograph(scene, CAMERA), WHITE, WOOD, shadow_mm)
    pairs = zip(CAMERA.project(INNER).tolist(), INNER.tolist(), strict=True)
    marks = Marks("m.csv", tuple(Mark("mark", tuple(p), tuple(m)) for p, m in pairs))
    reference = Sheet(297, 420) if kind == "sheet" else marks
    rubbing = rectify(photo(colour, with_colour=True), reference, OPTIONS)
    assert misfit_mm(rubbing) < 0.25
    assert rubbing.paper is not None
    assert rubbing.paper.bounds == pytest.approx((0, 0, 297, 420), abs=0.5)


def test_the_sides_run_on_beyond_a_shadow_without_colour():
    """Grey alone: a shadow's edge is known by the sheet's other sides, which do not end there."""
    scene = Scene(297, 420, margin_mm=45, ink=50, ground=190)
    colour = coloured(photograph(scene, CAMERA), STONE, STONE, 262.0)
    pairs = zip(CAMERA.project(INNER).tolist(), INNER.tolist(), strict=True)
    marks = Marks("m.csv", tuple(Mark("mark", tuple(p), tuple(m)) for p, m in pairs))
    rubbing = rectify(photo(colour, with_colour=False), marks, OPTIONS)
    assert rubbing.paper is not None
    assert rubbing.paper.bounds == pytest.approx((0, 0, 297, 420), abs=0.5)


def test_tint_knows_no_light():
    """Outside check: ratios of channels do not change when all are dimmed alike."""
    tint = tint_of(kraft(), (1400, 1050))
    assert tint is not None
    x, y = np.moveaxis(places(1), -1, 0)
    margin = (x > 5) & (x < 20) & (y > 20) & (y < 400)
    ground = (x < -5) & (x > -40) & (y > 20) & (y < 400)
    assert np.median(tint[margin]) - np.median(tint[ground]) > 40
    dim = (kraft() * np.linspace(1.0, 0.6, 1050)[None, :, None]).astype(np.uint8)
    again = tint_of(dim, (1400, 1050))
    assert again is not None
    assert abs(float(np.median(again[margin])) - float(np.median(tint[margin]))) < 12


def test_no_tint_without_colours():
    grey = np.random.default_rng(2).normal(150, 20, (400, 300, 1)).clip(0, 255).astype(np.uint8)
    assert tint_of(np.repeat(grey, 3, axis=2), (400, 300)) is None
    assert tint_of(None, (400, 300)) is None
