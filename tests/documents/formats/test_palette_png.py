"""PNG files with a palette, read with Pillow: what keeps its value, how far the rest may lie."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from rubbing2pattern.documents.formats.palette_png import GREY_STEP, palette_png
from rubbing2pattern.documents.overlay import BLUE, SKY, VERMILION, YELLOW, lightened_tones

COLOURS = (BLUE, VERMILION, YELLOW, SKY)


def kept(pixels: np.ndarray) -> np.ndarray:
    """Write pixels of shape (N, 3) and read them again."""
    picture = Image.fromarray(pixels[None].astype(np.uint8))
    with Image.open(io.BytesIO(palette_png(picture, COLOURS, 8.0))) as opened:
        assert opened.mode == "P"
        assert opened.info["dpi"][0] == pytest.approx(203.2, abs=0.1)
        return np.asarray(opened.convert("RGB"))[0].astype(int)


def test_greys_of_a_lightened_rubbing_and_colours_keep_their_value() -> None:
    greys = np.repeat(np.unique(lightened_tones())[:, None], 3, axis=1)
    exact = np.concatenate((greys, COLOURS, [(0, 0, 0), (255, 255, 255)]))
    assert np.array_equal(kept(exact), exact)
    assert len(greys) > 40


def test_other_greys_stay_grey_and_move_by_less_than_a_step() -> None:
    greys = np.repeat(np.arange(256)[:, None], 3, axis=1)
    found = kept(greys)
    assert np.array_equal(found[:, 0], found[:, 1]) and np.array_equal(found[:, 1], found[:, 2])
    assert np.abs(found - greys).max() < GREY_STEP


@pytest.mark.parametrize("colour", COLOURS)
def test_soft_edges_stay_near_their_mixture(colour: tuple[int, int, int]) -> None:
    share = np.linspace(0.0, 1.0, 40)[:, None, None]
    mixed = share * colour + (1.0 - share) * np.arange(79, 256, 4)[None, :, None]
    away = np.abs(kept(mixed.reshape(-1, 3)) - mixed.reshape(-1, 3)).max(axis=1)
    assert away.max() < 30 and away.mean() < 10
