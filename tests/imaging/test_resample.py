"""Pictures longer than OpenCV resamples."""

from __future__ import annotations

import numpy as np
import pytest

from rubbing2pattern.geometry.frame import Frame, Warp
from rubbing2pattern.imaging import resample
from rubbing2pattern.imaging.resample import at_points, on_grid


def test_a_very_long_picture_is_sampled_as_a_short_one(monkeypatch: pytest.MonkeyPatch) -> None:
    grey = np.random.default_rng(1).integers(0, 255, (90, 60), dtype=np.uint8)
    warp, frame = Warp.similarity(2.0, 90), Frame(1.7, -1.0, 46.0, 55, 83)
    columns, rows = np.random.default_rng(2).uniform(-3, 92, (2, 40, 9)).astype(np.float32)
    by_opencv = on_grid(grey, warp, frame), at_points(grey, columns, rows)
    monkeypatch.setattr(resample, "_LONGEST_PX", 45)
    by_scipy = on_grid(grey, warp, frame), at_points(grey, columns, rows)
    for one, other in zip(by_opencv, by_scipy, strict=True):  # OpenCV has 32 steps in a pixel
        assert np.abs(one.astype(float) - other).max() <= 10.0
        assert np.abs(one.astype(float) - other).mean() <= 2.0


def test_a_picture_that_is_too_long_for_opencv() -> None:
    grey = np.tile(np.arange(200, dtype=np.uint8), (33_000, 1))
    found = at_points(grey, np.array([[10.5, 199.0]]), np.array([[32_900.0, 5.0]]))
    assert found.tolist() == [[10.0, 199.0]] or found.tolist() == [[11.0, 199.0]]
