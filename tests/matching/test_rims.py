"""The outer side of a rim that looks like the ground in places, read across a drawn edge."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d

from rubbing2pattern.matching.ground import linear
from rubbing2pattern.matching.settling import Profiles, Settled, Zone, settle
from rubbing2pattern.matching.shadows import NO_SHADOWS
from rubbing2pattern.options.loose import LooseOptions

GROUND, GLASS, RIM = (0.8, 0.8, 0.8), (0.45, 0.3, 0.1), (0.6, 0.3, 0.2)
RIM_MM = 1.2
PLACES, GAP_MM = 400, 0.1


def read(like_ground: np.ndarray, begins_mm: np.ndarray) -> Settled:
    """Settle a round piece whose rim has the colour of the ground, nearly, at some places."""
    turn = 2.0 * np.pi * np.arange(PLACES) / PLACES
    outward = np.column_stack((np.cos(turn), np.sin(turn)))
    offsets = np.arange(-40, 31) * GAP_MM
    inside = offsets[None] - begins_mm[:, None]
    faint = 0.97 * np.array(GROUND) + 0.03 * np.array(RIM)
    rim = np.where(like_ground[:, None], faint, np.array(RIM))[:, None]
    coded = np.where((inside < 0.0)[..., None], GROUND, rim)
    coded = np.where((inside >= RIM_MM)[..., None], GLASS, coded)
    coded = gaussian_filter1d(coded, 1.4, axis=1, mode="nearest")
    noise = np.random.default_rng(1).normal(0.0, 0.001, coded.shape)
    coded = np.asarray(coded + noise, dtype=np.float32)
    own = np.ones(coded.shape[:2], dtype=bool)
    profiles = Profiles(25.0 * outward, -outward, offsets, coded, linear(coded), own)
    bare = np.asarray(linear(np.array(GROUND)), dtype=np.float64)
    seen = np.zeros((1, 1, 3), dtype=np.uint8)
    zone = Zone(seen, 0, 0, own[:1, :1], bare, np.eye(3), 0.3, 1.0)
    return settle(profiles, zone, NO_SHADOWS, LooseOptions())


def inside_mm(settled: Settled) -> np.ndarray:
    return 25.0 - np.hypot(*settled.path.T)


@pytest.mark.parametrize("length", [5, 10])
def test_a_faint_stretch_of_rim_is_not_cut_off(length: int) -> None:
    like_ground = np.arange(PLACES) % 20 < length
    off = np.abs(inside_mm(read(like_ground, np.zeros(PLACES))))
    assert np.percentile(off, 95) < 0.2


def test_a_chip_through_the_rim_is_followed() -> None:
    begins = np.where(np.abs(np.arange(PLACES) - 200) < 8, 0.8, 0.0)
    off = np.abs(inside_mm(read(np.zeros(PLACES, dtype=bool), begins)) - begins)
    assert np.percentile(off, 97) < 0.2
