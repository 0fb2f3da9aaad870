"""Printed targets: found in the picture, laid out by positions or by measured distances."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from rubbing2pattern.errors import ScaleNotFound
from rubbing2pattern.findings import Code
from rubbing2pattern.inputs.reference import TargetDistance, TargetPosition, Targets
from rubbing2pattern.options.rectify import RectifyOptions
from rubbing2pattern.reading import Photograph
from rubbing2pattern.stages.rectify import rectify
from rubbing2pattern.stages.rectify.lens import Lens
from rubbing2pattern.stages.rectify.plane import centres_of_squares, crossings
from rubbing2pattern.stages.rectify.printed_targets import find_targets, lay_out
from tests.stages.rectify.camera import Camera, Scene, photograph

OPTIONS = RectifyOptions()
AT = {0: (35.0, 385.0), 1: (262.0, 384.0), 2: (261.0, 36.0), 3: (36.0, 35.0)}
CAMERA = Camera(
    1050, 1400, aim_mm=(150, 210), fill=580, k1=-0.07, pitch_deg=14, yaw_deg=9, roll_deg=3
)
GRID = np.stack(np.meshgrid(np.linspace(0, 297, 7), np.linspace(0, 420, 9)), -1).reshape(-1, 2)


def scene(at: dict[int, tuple[float, float]] = AT) -> Scene:
    return Scene(297, 420, margin_mm=65, targets=tuple((i, *p) for i, p in at.items()))


@pytest.fixture(scope="module")
def photo() -> Photograph:
    return Photograph(photograph(scene(), CAMERA, fine=3), "targets.jpg", "0" * 64)


def by_position(at: dict[int, tuple[float, float]] = AT) -> Targets:
    return Targets("t.csv", positions=tuple(TargetPosition(i, *p) for i, p in at.items()))


def by_distance(at: dict[int, tuple[float, float]] = AT, noise_mm: float = 0.0) -> Targets:
    rng = np.random.default_rng(4)
    return Targets(
        "t.csv",
        distances=tuple(
            TargetDistance(
                a, b, float(np.hypot(*np.subtract(at[a], at[b])) + noise_mm * rng.normal())
            )
            for a, b in combinations(at, 2)
        ),
    )


def test_edges_are_found(photo):
    """Outside check: cv2.projectPoints of the camera that took the picture."""
    found = find_targets(photo.grey, (0, 1, 2, 3))
    assert list(found) == [0, 1, 2, 3]
    lens = Lens.of(photo.grey.shape, CAMERA.k1)
    straight = replace(CAMERA, k1=0.0)
    square = np.array([(-20.0, 20), (20, 20), (20, -20), (-20, -20)])
    for number, place in AT.items():
        edges = lens.ideal(found[number])
        corners = straight.project(square + place)
        assert np.abs(crossings(np.roll(edges, 1, axis=0), edges) - corners).max() < 0.2
        centre = straight.project(np.array([place]))
        assert np.abs(centres_of_squares(edges[None]) - centre).max() < 0.1


def test_perspective_does_not_shift_the_centre_of_a_square():
    straight = replace(CAMERA, k1=0.0)
    square = np.array([(-20.0, 20), (20, 20), (20, -20), (-20, -20)])
    quads = np.array([straight.project(square + place) for place in AT.values()])
    edges = np.stack((quads, np.roll(quads, -1, axis=1)), axis=2)
    centres = straight.project(np.array(list(AT.values())))
    assert np.abs(centres_of_squares(edges) - centres).max() < 1e-9


def test_by_position(photo):
    rubbing = rectify(photo, by_position(), OPTIONS)
    assert np.abs(rubbing.warp.to_mm(CAMERA.project(GRID)) - GRID).max() < 0.4
    assert rubbing.scale.lens_k1 == pytest.approx(-0.07, abs=0.002)
    assert [r.name for r in rubbing.scale.residuals] == [f"target {i}" for i in range(4)]
    assert rubbing.scale.reference == "targets"


def test_by_distance(photo):
    """No positions are known, so only what does not depend on the frame is compared."""
    rubbing = rectify(photo, by_distance(noise_mm=0.15), OPTIONS)
    mm = rubbing.warp.to_mm(CAMERA.project(GRID))
    a, b = mm - mm.mean(axis=0), GRID - GRID.mean(axis=0)
    left, _, right = np.linalg.svd(a.T @ b)
    assert np.linalg.det(left @ right) > 0  # not in a mirror
    assert np.abs(a @ left @ right - b).max() < 0.5
    names = [r.name for r in rubbing.scale.residuals]
    assert names[4:] == [f"distance {a} to {b}" for a, b in combinations(range(4), 2)]
    turn_deg = np.degrees(np.arctan2(*(mm[6] - mm[0])[::-1]))
    assert abs(turn_deg + 3) < 4  # x runs as the picture's columns do


def test_a_distance_that_contradicts_the_others(photo):
    good = by_distance()
    bad = replace(
        good, distances=(*good.distances[:-1], replace(good.distances[-1], distance_mm=260.0))
    )
    with pytest.raises(ScaleNotFound, match=r"contradict each other: \d to \d, .* mm \(limit 2\)"):
        rectify(photo, bad, OPTIONS)


def test_targets_missing(photo):
    three = {**AT, 7: AT[3]}
    del three[3]
    with pytest.raises(ScaleNotFound, match=r"targets found: 0, 1, 2; not found: 7\. Four"):
        rectify(photo, by_position(three), OPTIONS)
    blank = Photograph(np.full((400, 400), 200, np.uint8), "b.png", "0" * 64)
    with pytest.raises(ScaleNotFound, match="targets found: none; not found: 0, 1, 2, 3"):
        rectify(blank, by_position(), OPTIONS)


def test_one_of_five_missing_is_reported(photo):
    rubbing = rectify(photo, by_position({**AT, 9: (150.0, 210.0)}), OPTIONS)
    assert any("9 cannot be seen" in f.message for f in rubbing.findings)
    assert Code.REFERENCE_RESIDUAL in [f.code for f in rubbing.findings]


def test_a_target_seen_twice():
    twice = scene({**AT, 0: (35.0, 385.0)})
    twice = replace(twice, targets=(*twice.targets, (2, 150.0, 210.0)))
    grey = photograph(twice, CAMERA)
    with pytest.raises(ScaleNotFound, match="target 2 is seen twice"):
        rectify(Photograph(grey, "t.jpg", "0" * 64), by_position(), OPTIONS)


def test_positions_counted_downwards(photo):
    down = {i: (x, -y) for i, (x, y) in AT.items()}
    with pytest.raises(ScaleNotFound, match="mirror"):
        rectify(photo, by_position(down), OPTIONS)


@settings(max_examples=30, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 60), st.integers(0, 80)), min_size=4, max_size=7, unique=True)
)
def test_layout_from_exact_distances(cells):
    """Any figure comes back from its distances, turned and shifted, not mirrored."""
    at = np.array(cells, float) * 12.0
    spread = np.linalg.svd(at - at.mean(axis=0), compute_uv=False)
    if spread[1] < 60:
        return  # nearly on one line; refused elsewhere
    distances = [
        TargetDistance(a, b, float(np.hypot(*(at[a] - at[b]))))
        for a, b in combinations(range(len(at)), 2)
    ]
    seen = {i: np.array((p[0] * 2.0 + 50, 900 - p[1] * 2.0)) for i, p in enumerate(at)}
    laid = lay_out(distances, seen, OPTIONS)
    got = np.array([laid.at_mm[i] for i in range(len(at))])
    assert np.abs(got - (at - at.min(axis=0))).max() < 1e-3
    assert max(r.residual_mm for r in laid.residuals) < 1e-3


def test_layout_from_five_of_six_distances():
    distances = by_distance().distances[:-1]
    seen = {i: CAMERA.project(np.array([p]))[0] for i, p in AT.items()}
    found = lay_out(distances, seen, OPTIONS).at_mm
    gap = np.hypot(*(found[2] - found[3]))
    assert gap == pytest.approx(np.hypot(*np.subtract(AT[2], AT[3])), abs=1e-6)
