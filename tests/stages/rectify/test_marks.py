"""Marks: exact ones give the camera back, bad ones are named."""

from __future__ import annotations

import hashlib

import numpy as np
import pytest

from rubbing2pattern.errors import ScaleNotFound
from rubbing2pattern.findings import Code
from rubbing2pattern.inputs.reference import Mark, Marks
from rubbing2pattern.options.rectify import RectifyOptions
from rubbing2pattern.reading import Photograph
from rubbing2pattern.stages.rectify import rectify
from rubbing2pattern.stages.rectify.fit import Pins
from rubbing2pattern.stages.rectify.lens import Lens
from rubbing2pattern.stages.rectify.marks import settle_marks
from tests.stages.rectify.camera import Camera

OPTIONS = RectifyOptions()
CAMERA = Camera(pitch_deg=18, yaw_deg=-12, roll_deg=3)
RING = np.array(
    [(0, 0), (600, 0), (600, 800), (0, 800), (300, 0), (600, 400), (300, 800), (0, 400)], float
)


def blank(camera: Camera = CAMERA) -> Photograph:
    """Return a picture that shows nothing, so that the marks stand alone."""
    grey = np.full((camera.height_px, camera.width_px), 180, np.uint8)
    return Photograph(grey, "blank.png", hashlib.sha256(b"").hexdigest())


def marks_of(mm: np.ndarray, px: np.ndarray) -> Marks:
    pairs = zip(px.tolist(), mm.tolist(), strict=True)
    marks = tuple(
        Mark(f"mark {n} (line {n + 1})", tuple(p), tuple(m)) for n, (p, m) in enumerate(pairs, 1)
    )
    return Marks("marks.csv", marks)


@pytest.mark.parametrize("count", [4, 6, 8])
def test_exact_marks(count):
    mm = RING[:count]
    rubbing = rectify(blank(), marks_of(mm, CAMERA.project(mm)), OPTIONS)
    assert np.abs(rubbing.warp.to_mm(CAMERA.project(RING)) - RING).max() < 0.05
    assert rubbing.paper is None
    assert rubbing.scale.reference == "marks"
    assert max(r.residual_mm for r in rubbing.scale.residuals) < 0.05
    assert [r.name for r in rubbing.scale.residuals][1] == "mark 2 (line 3)"
    x_min, y_min, x_max, y_max = rubbing.bounds_mm
    assert x_min < 0 < 600 < x_max
    assert y_min < 0 < 800 < y_max
    places = rubbing.warp.px_per_mm((300, 400))
    assert rubbing.scale.px_per_mm == pytest.approx(places, rel=0.15)


def test_four_marks_in_a_triangle_have_an_uncertainty():
    """One mark is the nearest to two corners of the picture."""
    mm = np.array([(100, 100), (100, 600), (500, 600), (300, 700)], float)
    scale = rectify(blank(), marks_of(mm, CAMERA.project(mm)), OPTIONS).scale
    assert np.isfinite(scale.relative_uncertainty) and scale.relative_uncertainty > 0.0


def test_a_lens_nobody_knows_is_reported():
    """Without edges and with four marks nothing shows the lens; the statement must be honest."""
    bent = Camera(**{**CAMERA.__dict__, "k1": 0.04})
    rubbing = rectify(blank(), marks_of(RING[:4], bent.project(RING[:4])), OPTIONS)
    middle = rubbing.warp.to_mm(bent.project(RING[4:]))
    sides = np.linalg.norm(middle - np.roll(middle, 1, axis=0), axis=1) / 500.0
    assert Code.SCALE_UNCERTAIN in [f.code for f in rubbing.findings]
    assert np.abs(sides - 1).max() < 3 * rubbing.scale.relative_uncertainty


def test_eight_marks_show_the_lens():
    bent = Camera(**{**CAMERA.__dict__, "k1": -0.06})
    rubbing = rectify(blank(), marks_of(RING, bent.project(RING)), OPTIONS)
    assert rubbing.scale.lens_k1 == pytest.approx(-0.06, abs=0.003)


def test_stated_uncertainty_is_that_of_trials():
    """The spread of lengths over noisy trials, against the figure stated for one of them."""
    rng = np.random.default_rng(5)
    options = RectifyOptions(lens_k1=0.0001)
    exact = CAMERA.project(RING)
    lengths, stated = [], []
    for _ in range(40):
        pins = Pins(
            RING + rng.normal(0, 0.3, RING.shape), exact + rng.normal(0, 1, RING.shape), 0.3, 1.0
        )
        settled = settle_marks(
            pins, [str(n) for n in range(8)], None, Lens.of((1200, 1600)), options
        )
        mm = settled.fit.warp.to_mm(exact[:4])
        lengths.append(np.linalg.norm(mm - np.roll(mm, 1, axis=0), axis=1) / (800, 600, 800, 600))
        stated.append(settled.fit.length_uncertainty(exact[:4]))
    spread = np.std(lengths, axis=0).max()
    assert 0.5 < np.mean(stated) / spread < 2.5


def test_a_mark_that_disagrees_is_left_out_and_named():
    px = CAMERA.project(RING)
    px[5] += (40, -25)
    rubbing = rectify(blank(), marks_of(RING, px), OPTIONS)
    bad = rubbing.scale.residuals[5]
    assert not bad.used
    assert bad.residual_mm > 20
    assert all(r.used for i, r in enumerate(rubbing.scale.residuals) if i != 5)
    finding = next(f for f in rubbing.findings if f.code == Code.REFERENCE_RESIDUAL)
    assert "mark 6 (line 7)" in finding.message
    assert finding.at == (600.0, 400.0)
    assert np.abs(rubbing.warp.to_mm(CAMERA.project(RING)) - RING).max() < 0.1


def test_two_of_eight_may_disagree_but_not_three():
    px = CAMERA.project(RING)
    px[1] += (30, 0)
    px[6] += (0, 30)
    rubbing = rectify(blank(), marks_of(RING, px), OPTIONS)
    assert [i for i, r in enumerate(rubbing.scale.residuals) if not r.used] == [1, 6]
    px[4] += (-50, 20)
    with pytest.raises(ScaleNotFound, match="marks disagree"):
        rectify(blank(), marks_of(RING, px), OPTIONS)


def test_five_marks_cannot_tell_which_is_wrong():
    px = CAMERA.project(RING[:5])
    px[2] += (30, 30)
    with pytest.raises(ScaleNotFound, match=r"marks disagree: mark \d.*limit 2 mm.*more marks"):
        rectify(blank(), marks_of(RING[:5], px), OPTIONS)


def test_a_wrong_one_of_four_is_no_camera():
    """Four marks always fit; that no camera makes such a picture is all there is to see."""
    mm = RING[:4].copy()
    mm[2] += (40, -30)
    rubbing = rectify(blank(), marks_of(mm, CAMERA.project(RING[:4])), OPTIONS)
    assert any("not one that a camera makes" in f.message for f in rubbing.findings)
    mm[2] += (300, -200)
    with pytest.raises(ScaleNotFound, match="no camera"):
        rectify(blank(), marks_of(mm, CAMERA.project(RING[:4])), OPTIONS)


@pytest.mark.parametrize(
    ("which", "words"),
    [
        ((0, 1, 4, 2), r"mark 1 .*, mark 2 .*, mark 3 .*lie on one line"),
        ((0, 1, 4), "one line"),
    ],
)
def test_marks_on_one_line(which, words):
    mm = np.concatenate(
        (RING[list(which)], [[450.0, 3.0]] if len(which) == 3 else np.zeros((0, 2)))
    )
    with pytest.raises(ScaleNotFound, match=words):
        rectify(blank(), marks_of(mm, CAMERA.project(mm)), OPTIONS)


def test_marks_on_one_line_in_the_picture_only():
    px = CAMERA.project(RING[:4])
    px[3] = (px[0] + px[2]) / 2
    with pytest.raises(ScaleNotFound, match="one line in the picture"):
        rectify(blank(), marks_of(RING[:4], px), OPTIONS)


def test_crossed_marks_are_named():
    px = CAMERA.project(RING[:4])[[1, 0, 2, 3]]
    with pytest.raises(ScaleNotFound, match=r"crossed.*mark 1 \(line 2\) and mark 2 \(line 3\)"):
        rectify(blank(), marks_of(RING[:4], px), OPTIONS)


def test_marks_in_a_mirror():
    down = RING[:6] * (1, -1)
    with pytest.raises(ScaleNotFound, match="y_mm must count upwards"):
        rectify(blank(), marks_of(down, CAMERA.project(RING[:6])), OPTIONS)


def test_marks_outside_the_picture():
    px = CAMERA.project(RING[:4])
    px[1] = (1600.0, 20.0)
    with pytest.raises(ScaleNotFound, match=r"mark 2 \(line 3\) at 1600,20: outside.*1600 x 1200"):
        rectify(blank(), marks_of(RING[:4], px), OPTIONS)
