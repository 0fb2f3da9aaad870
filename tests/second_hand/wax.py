"""Wax in paper: fibres that catch it, strokes that drag it, and what of that a camera can measure.

The paper's tooth is a field of ranks t, even over 0..1. Wax lies where load times dose exceeds the
rank: density = D clip((load - 0.75 t) / 0.75, 0, 1). The mean over t is the expected density.
"""

from __future__ import annotations

import cv2
import numpy as np

from tests.second_hand.circumstances import Circumstances
from tests.second_hand.leadwork import Rng
from tests.second_hand.relief import Field

TILE_PX = 1400
CATCH, GAIN = 0.75, 0.75
_LOADS = np.linspace(0, 3, 601, dtype=np.float32)
_RANKS = (np.arange(400, dtype=np.float32) + 0.5) / 400
_MEAN = np.clip((_LOADS[:, None] - CATCH * _RANKS) / GAIN, 0, 1).mean(axis=1).astype(np.float32)


def expected(load: Field) -> Field:
    """Return the mean cover (0..1) over the tooth for a load."""
    at = np.clip(load * (600 / 3), 0, 599.999)
    low = at.astype(np.int32)
    return np.asarray(_MEAN[low] + (_MEAN[low + 1] - _MEAN[low]) * (at - low), np.float32)


def cover(load: Field, rank: Field) -> Field:
    """Return the cover (0..1) where the tooth has a rank."""
    return np.clip((load - CATCH * rank) * (1 / GAIN), 0, 1)


def tooth(shape: tuple[int, int], per_mm: float, c: Circumstances, rng: Rng) -> Field:
    """Return ranks 0..1 over a picture: crossing fibres, laid lines for some papers."""
    n = TILE_PX
    tile = rng.normal(size=(n, n)).astype(np.float32)
    tile = cv2.GaussianBlur(tile, (0, 0), max(0.4, 0.5 * c.tooth_mm * per_mm))
    tile /= tile.std()
    fibres = np.zeros((n, n), np.float32)
    for _ in range(5000):
        p, a = rng.uniform(0, n, 2), rng.uniform(0, 2 * np.pi)
        bend = np.cumsum(rng.normal(0, 0.35, 7)) + a
        step = rng.uniform(0.15, 0.5) * per_mm
        run = p + np.cumsum(np.column_stack((np.cos(bend), np.sin(bend))) * step, axis=0)
        cv2.polylines(fibres, [np.round(run * 8).astype(np.int32)], False, 1.0, 1, cv2.LINE_8, 3)
    fibres = cv2.GaussianBlur(fibres, (0, 0), max(0.5, 0.25 * c.tooth_mm * per_mm))
    tile += 1.1 * (fibres - fibres.mean()) / fibres.std()
    if c.laid:
        rows = np.arange(n, dtype=np.float32)[:, None] / per_mm
        tile += 0.8 * np.sin(2 * np.pi * rows / 1.1) + 0.25 * rng.normal(size=(n, 1))
    order = np.argsort(np.argsort(tile.ravel()))
    ranks = (order.astype(np.float32) / order.size).reshape(n, n)
    # Mirrored tiles meet without a seam.
    double = np.vstack(
        (np.hstack((ranks, ranks[:, ::-1])), np.hstack((ranks, ranks[:, ::-1]))[::-1])
    )
    times = (shape[0] // (2 * n) + 1, shape[1] // (2 * n) + 1)
    return np.tile(double, times)[: shape[0], : shape[1]]


def smeared(d: Field, way: Field, per_mm: float, c: Circumstances) -> Field:
    """Drag a share of the wax along the stroke's direction of each place."""
    n = max(3, round(c.smear_mm * per_mm) | 1)
    out = d * (1 - c.smear_share)
    for k in range(4):
        line = np.zeros((n, n), np.float32)
        a = np.pi * k / 4
        reach = np.array([np.cos(a), -np.sin(a)]) * (n // 2)
        m = np.array([n // 2, n // 2])
        cv2.line(
            line, tuple((m - reach).round().astype(int)), tuple((m + reach).round().astype(int)), 1
        )
        dragged = cv2.filter2D(d, -1, line / line.sum())
        out += c.smear_share * np.where(way.round() % 4 == k, dragged, 0)
    return np.asarray(out, np.float32)


def slipped(load: Field, shift_px: tuple[float, float], share: float) -> Field:
    """Return the load of two passes between which the paper slipped."""
    if np.hypot(*shift_px) < 1e-3:
        return load
    m = np.array([[1, 0, shift_px[0]], [0, 1, shift_px[1]]])
    moved = cv2.warpAffine(load, m, load.shape[::-1], flags=cv2.INTER_LINEAR)
    return np.asarray((1 - share) * load + share * moved, np.float32)
