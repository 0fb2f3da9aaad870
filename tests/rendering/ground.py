"""What the sheet lies on: wood, cloth, stone, or a plain table, as reflectance on a grid."""

from __future__ import annotations

import cv2
import numpy as np

from tests.rendering.sheet import Grid, Rng, cloud

GROUNDS = ("wood", "cloth", "stone", "table")
GROUND_PER_MM = 1.6


def ground_of(kind: str, width_mm: float, height_mm: float, level: float, rng: Rng) -> Grid:
    """Return the reflectance of a ground of this size, mean about `level`."""
    shape = (int(height_mm * GROUND_PER_MM), int(width_mm * GROUND_PER_MM))
    texture = {"wood": _wood, "cloth": _cloth, "stone": _stone, "table": _table}[kind](shape, rng)
    return np.asarray(np.clip(level * texture, 0.01, 0.98), dtype=np.float32)


def _wood(shape: tuple[int, int], rng: Rng) -> Grid:
    """Boards 90 to 160 mm wide with grain along them and dark gaps between."""
    h, w = shape
    out = np.empty(shape, np.float32)
    x = 0
    while x < w:
        board = int(rng.uniform(90, 160) * GROUND_PER_MM)
        part = (h, min(board, w - x))
        rings = cloud((max(4, h // 12), part[1]), 10, rng)
        rings = cv2.resize(rings, (part[1], h), interpolation=cv2.INTER_LINEAR)
        fine = cloud((max(4, h // 20), part[1]), 2.0, rng)
        fine = cv2.resize(fine, (part[1], h), interpolation=cv2.INTER_LINEAR)
        out[:, x : x + board] = (
            1 + 0.12 * np.sin(3 * rings + rng.uniform(0, 6)) + 0.08 * fine
        ) * rng.uniform(0.85, 1.15)
        out[:, x : x + int(rng.integers(2, 4))] *= 0.35
        x += board
    return (
        out
        if rng.random() < 0.5
        else np.ascontiguousarray(cv2.resize(out.T, (w, h), interpolation=cv2.INTER_AREA))
    )


def _cloth(shape: tuple[int, int], rng: Rng) -> Grid:
    """Threads of a coarse weave, with soft folds."""
    pitch = rng.uniform(1.6, 3.0) * GROUND_PER_MM
    y, x = np.arange(shape[0])[:, None], np.arange(shape[1])[None]
    weave = np.sin(2 * np.pi * x / pitch) * np.sin(2 * np.pi * y / pitch)
    folds = cloud(shape, 120 * GROUND_PER_MM, rng)
    return np.asarray(1 + 0.15 * weave + 0.12 * folds + 0.06 * cloud(shape, 3, rng), np.float32)


def _stone(shape: tuple[int, int], rng: Rng) -> Grid:
    """Mottled slab with specks and, at times, a joint."""
    out = (
        1 + 0.12 * cloud(shape, 90, rng) + 0.1 * cloud(shape, 14, rng) + 0.12 * cloud(shape, 3, rng)
    )
    out[np.asarray(cloud(shape, 5, rng)) > 2.2] *= 0.6
    at = int(rng.uniform(0.1, 0.9) * shape[0])
    out[at : at + 5] *= 0.55
    return np.asarray(out, np.float32)


def _table(shape: tuple[int, int], rng: Rng) -> Grid:
    """Return a plain painted table."""
    return np.asarray(1 + 0.03 * cloud(shape, 200, rng) + 0.015 * cloud(shape, 4, rng), np.float32)
