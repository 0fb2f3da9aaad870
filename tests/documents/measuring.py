"""Measuring rendered pages: where dark lines lie along a row or column of pixels."""

from __future__ import annotations

import io

import numpy as np
import numpy.typing as npt
from PIL import Image

Picture = npt.NDArray[np.float64]


def darkness(png: bytes) -> Picture:
    """Return the picture as (H, W), 0 for white or transparent paper, 1 for black."""
    image = Image.open(io.BytesIO(png)).convert("RGBA")
    paper = Image.new("RGBA", image.size, "white")
    grey = Image.alpha_composite(paper, image).convert("L")
    return 1.0 - np.asarray(grey, dtype=np.float64) / 255.0


def line_at(profile: Picture, expected_px: float, reach_px: float) -> float:
    """Return the centroid of the darkness within reach of a place; pixel edges at integers."""
    low, high = int(expected_px - reach_px), int(expected_px + reach_px) + 1
    part = profile[low:high]
    assert part.sum() > 0.2, f"no line near {expected_px}"
    return float((part * (np.arange(low, high) + 0.5)).sum() / part.sum())
