"""Sheets that are cut obliquely, do not lie flat or do not fit into the picture, with marks."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pytest

from rubbing2pattern.findings import Code
from rubbing2pattern.inputs.reference import Mark, Marks, Sheet, TargetPosition, Targets
from rubbing2pattern.options.rectify import RectifyOptions
from rubbing2pattern.reading import Photograph, Rubbing
from rubbing2pattern.stages.rectify import rectify
from tests.stages.rectify.camera import Camera, Scene, photograph

OPTIONS = RectifyOptions(least_px_per_mm=1.0)
A3 = Scene(297, 420, margin_mm=60)  # ISO 216
GRID = np.stack(np.meshgrid(np.linspace(60, 237, 5), np.linspace(60, 360, 6)), -1).reshape(-1, 2)
INNER = np.array([(80.0, 80), (217, 80), (217, 340), (80, 340)])
OUTER = np.array(
    [(35, 385), (262, 384), (261, 36), (36, 35), (148, 387), (148, 33), (33, 210), (264, 210)],
    float,
)


@dataclass(frozen=True)
class Uneven(Camera):
    """A camera before a sheet that is cut obliquely, or that rises from its ground.

    `shear` moves a place to the right by that share of its height. `rise_mm` is the height of an
    arch along x, or, with `corner`, of the upper right corner. What rises is seen further away from
    the foot of the camera, by similar triangles.
    """

    shear: float = 0.0
    rise_mm: float = 0.0
    corner: bool = False

    def ground(self, places_mm: np.ndarray) -> np.ndarray:
        """Return where on the ground places of the sheet are seen, (N, 2) to (N, 2)."""
        at = places_mm + self.shear * places_mm[:, 1:] * (1.0, 0.0)
        x, y = places_mm.T
        if self.corner:
            z = self.rise_mm * np.clip(1 - np.hypot(297 - x, 420 - y) / 200, 0, None) ** 2
        else:
            z = self.rise_mm * np.sin(np.pi * np.clip(x / 297, 0, 1))
        rotation, translation = self.pose
        eye = -rotation.T @ translation
        return np.asarray(at + (z / (eye[2] - z))[:, None] * (at - eye[:2]))

    def project(self, points_mm: np.ndarray) -> np.ndarray:
        """Return where places of the sheet are seen in the picture."""
        return super().project(self.ground(np.asarray(points_mm, float).reshape(-1, 2)))

    def plane(self, pixels: np.ndarray) -> np.ndarray:
        """Return which places of the sheet pixels see."""
        goal = super().plane(pixels)
        at = goal.copy()
        for _ in range(10):
            at += goal - self.ground(at)
        return at


VIEW = Uneven(1050, 1400, aim_mm=(150, 210), fill=560, k1=0.04, pitch_deg=14, yaw_deg=-8)


def marks_of(px: np.ndarray, mm: np.ndarray) -> Marks:
    pairs = enumerate(zip(px.tolist(), mm.tolist(), strict=True), 1)
    return Marks("m.csv", tuple(Mark(f"mark {n}", tuple(p), tuple(m)) for n, (p, m) in pairs))


@cache
def picture(camera: Camera, scene: Scene = A3) -> Photograph:
    return Photograph(photograph(scene, camera), "uneven.jpg", "0" * 64)


def misfit_mm(rubbing: Rubbing, camera: Camera, grid: np.ndarray = GRID) -> float:
    return float(np.abs(rubbing.warp.to_mm(camera.project(grid)) - grid).max())


@pytest.mark.parametrize("oblique_mm", [5.0, 10.0])
@pytest.mark.parametrize("count", [4, 8])
def test_an_oblique_sheet_does_not_bend_marks(oblique_mm, count):
    """Outside check: the marks' true places by cv2.projectPoints, read to a whole pixel."""
    sheared = replace(VIEW, shear=oblique_mm / 420)
    straight = replace(VIEW, shear=0.0)
    at = np.concatenate((INNER, OUTER[4:]))[:count]
    seen = np.round(straight.project(at))
    rubbing = rectify(picture(sheared), marks_of(seen, at), OPTIONS)
    assert all(r.used for r in rubbing.scale.residuals)
    assert max(r.residual_mm for r in rubbing.scale.residuals) < 0.4
    assert misfit_mm(rubbing, straight) < 0.6  # half a pixel is 0.22 mm
    assert rubbing.scale.relative_uncertainty < 0.003
    assert any("out of square" in f.message for f in rubbing.findings)


def test_a_square_sheet_gives_no_finding():
    rubbing = rectify(picture(VIEW), marks_of(VIEW.project(INNER), INNER), OPTIONS)
    assert {f.code for f in rubbing.findings} <= {Code.SCALE_UNCERTAIN}  # 0.2 %, four marks inside
    assert rubbing.scale.lens_k1 == pytest.approx(0.04, abs=0.001)
    assert misfit_mm(rubbing, VIEW) < 0.05


def test_no_mark_is_left_out_on_an_arched_sheet():
    """A sheet that arches by 6 mm shifts what lies on it by up to 4 mm; no mark is wrong."""
    arched = replace(VIEW, rise_mm=6.0)
    rubbing = rectify(picture(arched), marks_of(arched.project(OUTER), OUTER), OPTIONS)
    assert all(r.used for r in rubbing.scale.residuals)
    reported = [f for f in rubbing.findings if f.code == Code.SHEET_NOT_FLAT]
    assert len(reported) == 1
    assert "mm" in reported[0].message
    assert misfit_mm(rubbing, arched) < 3.5


def test_no_target_is_dropped_on_a_curled_corner():
    at = {n: tuple(p) for n, p in enumerate(OUTER[[0, 1, 2, 3, 6, 7]])}
    curled = replace(VIEW, rise_mm=12.0, corner=True)
    scene = replace(A3, margin_mm=65, targets=tuple((n, *p) for n, p in at.items()))
    targets = Targets("t.csv", positions=tuple(TargetPosition(n, *p) for n, p in at.items()))
    rubbing = rectify(picture(curled, scene), targets, OPTIONS)
    assert all(r.used for r in rubbing.scale.residuals)
    assert Code.SHEET_NOT_FLAT in [f.code for f in rubbing.findings]


def test_a_curled_corner_bows_the_edges():
    curled = replace(VIEW, rise_mm=12.0, corner=True)
    rubbing = rectify(picture(curled), Sheet(297, 420), OPTIONS)
    reported = [f for f in rubbing.findings if f.code == Code.SHEET_NOT_FLAT]
    assert len(reported) == 1
    assert "bows by 1." in reported[0].message
    assert reported[0].at is not None
    assert rectify(picture(VIEW), Sheet(297, 420), OPTIONS).findings == ()


@pytest.mark.parametrize("k1", [0.04, -0.06])
@pytest.mark.parametrize("aim_mm", [(150, 210), (150, 240), (110, 210)])
def test_a_sheet_larger_than_the_picture(k1, aim_mm):
    """The panel fills the picture; what shows of the edges still tells the lens."""
    close = replace(VIEW, fill=400 if aim_mm == (150, 210) else 430, k1=k1, aim_mm=aim_mm)
    scene = replace(A3, margin_mm=35, pattern="wood")
    rubbing = rectify(picture(close, scene), marks_of(close.project(INNER), INNER), OPTIONS)
    assert rubbing.scale.lens_k1 == pytest.approx(k1, abs=0.004)
    assert misfit_mm(rubbing, close) < 0.2
    assert rubbing.scale.relative_uncertainty < 0.002
