"""Clear glass on mottled ground, and borders that show in places only."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from rubbing2pattern.matching.ground import Ground, Working, bare_ground
from rubbing2pattern.matching.mottled import Faint, faint_glass, unbent
from rubbing2pattern.matching.walking import walked

PX_PER_MM = 2.5
GLASS = (slice(60, 150), slice(70, 170))
RING = np.array([(70, 60), (169, 60), (169, 149), (70, 149)], dtype=np.float64)


def felt(glass: tuple[float, float, float]) -> Working:
    """Draw mottled grey cloth with a pane on it that takes shares of the light."""
    rng = np.random.default_rng(5)
    light = np.full((220, 250), 0.5, dtype=np.float32)
    for wide_px in (1.2, 15.0):
        cloud = cv2.GaussianBlur(rng.normal(size=light.shape).astype(np.float32), (0, 0), wide_px)
        light *= 1.0 + 0.06 * cloud / cloud.std()
    picture = np.repeat(light[..., None], 3, axis=2)
    picture[GLASS] *= np.array(glass, dtype=np.float32)
    picture += rng.normal(0.0, 0.004, picture.shape).astype(np.float32)
    return Working(picture, 2, PX_PER_MM, np.ones(light.shape, dtype=np.bool_))


def read(work: Working) -> tuple[Ground, Faint]:
    ground = unbent(work, bare_ground(work))
    assert ground.mottled
    return ground, faint_glass(work, ground)


def densely(ring: np.ndarray) -> np.ndarray:
    t = np.linspace(0.0, 1.0, 50, endpoint=False)[:, None]
    return np.vstack(
        [a + t * (b - a) for a, b in zip(ring, np.roll(ring, -1, axis=0), strict=True)]
    )


def test_clear_glass_shows_by_its_colour_over_a_millimetre() -> None:
    # Its light differs by less than the cloth's own, its colour by one part in forty.
    work = felt((0.93, 0.955, 0.93))
    _, faint = read(work)
    outside = np.ones(faint.shows.shape, dtype=np.bool_)
    outside[50:160, 60:180] = False
    assert faint.shows[GLASS].mean() > 0.9
    assert faint.shows[outside].mean() < 0.02
    assert faint.evidence(densely(RING)).apart > 5.0


def test_bare_cloth_is_no_glass() -> None:
    _, faint = read(felt((1.0, 1.0, 1.0)))
    assert faint.shows.mean() < 0.01
    evidence = faint.evidence(densely(RING))
    assert not evidence.is_glass
    assert not evidence.is_something


def test_a_picture_without_colour_is_not_read_by_it() -> None:
    work = felt((1.0, 1.0, 1.0))
    grey = np.repeat(work.colour[..., :1], 3, axis=2)
    assert not bare_ground(Working(grey, 2, PX_PER_MM, work.inside)).mottled


@pytest.mark.parametrize("gap", [0, 6])
def test_a_walk_does_not_leak_through_a_gap_in_a_rim(gap: int) -> None:
    relief = np.zeros((60, 60), dtype=np.float32)
    relief[15:45, [15, 44]] = relief[[15, 44], 15:45] = 10.0
    relief[15, 27 : 27 + gap] = 0.0
    markers = np.zeros((60, 60), dtype=np.int32)
    markers[[0, -1]] = markers[:, [0, -1]] = 1
    markers[28:32, 28:32] = 2
    inside = walked(relief, markers) == 2
    assert inside[18:42, 18:42].mean() > 0.97
    assert inside[:13].sum() + inside[47:].sum() == 0
