"""Toned papers, waxes of all colours, textured glass: drawn apart from the faults of a tier.

Everyday and hard rubbings have them by chance, clean ones never. They are drawn by a generator of
their own, so that the faults of a tier are the same with them and without.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import numpy.typing as npt

from tests.rendering.geometry import Truth
from tests.rendering.sheet import COARSE_PER_MM, Grid, Rng, Sheet, cloud, coarse_px, coarse_shape
from tests.rendering.tiers import Faults, Glass, Medium

CHANCES = {"clean": (0.0, 0.0, 0.0), "everyday": (0.35, 0.3, 0.4), "hard": (0.45, 0.4, 0.55)}
"""Of a toned paper, of coloured wax, of textured glass."""

PAPERS: dict[str, tuple[float, float, float]] = {
    "cream": (0.84, 0.78, 0.63),
    "buff": (0.76, 0.69, 0.55),
    "kraft": (0.58, 0.44, 0.29),
    "grey": (0.52, 0.53, 0.53),
    "blue-grey": (0.44, 0.52, 0.6),
    "rose": (0.8, 0.62, 0.56),
    "green": (0.62, 0.69, 0.6),
    "straw": (0.82, 0.74, 0.42),
}
"""Reflectance in red, green, blue."""

WAXES: dict[str, tuple[float, float, float]] = {
    "red": (0.25, 1.2, 1.1),
    "sanguine": (0.35, 1.1, 1.7),
    "brown": (0.75, 1.05, 1.35),
    "green": (1.35, 0.85, 1.1),
    "blue": (1.6, 0.95, 0.35),
    "violet": (0.85, 1.2, 0.5),
    "ochre": (0.3, 0.8, 2.6),
}
"""Share of the density in red, green, blue; about 1 as the eye weighs them."""

COLOURED = "coloured wax"
GLASSES = ("reeded", "hammered", "crackled", "wavy")


def varied(faults: Faults, tier: str, rng: Rng) -> Faults:
    """Return the faults with a paper, a wax and glass that other panels do not have."""
    toned, coloured, textured = (rng.random() < chance for chance in CHANCES[tier])
    medium = faults.medium
    paper = PAPERS[str(rng.choice(sorted(PAPERS)))]
    if toned:
        # No two sheets of a tone are alike, and old ones are brown.
        medium = replace(medium, paper=tuple(float(p * rng.uniform(0.92, 1.08)) for p in paper))
    wax = _wax(medium, rng)
    glass = _glass(tier, rng)
    return replace(faults, medium=wax if coloured else medium, glass=glass if textured else None)


def in_wax(
    grey: npt.NDArray[np.uint8],
    mask: npt.NDArray[np.uint8],
    lamp: Grid,
    medium: Medium,
    ground: tuple[float, float, float],
) -> npt.NDArray[np.uint8]:
    """Return a picture taken in grey in blue, green and red, the rubbing in coloured wax.

    The light is taken out before the density is shared among the colours, and put back after, so
    that a shadow on red wax is no redder than the wax. What is a good deal darker than the wax can
    be is printed or inked, and black.
    """
    more = min(1.35, 0.8 / float(np.mean(medium.paper)))
    out = np.empty((*grey.shape, 3), np.uint8)
    for r in range(0, len(grey), 512):
        rows = slice(r, r + 512)
        level = (grey[rows].astype(np.float32) / 255) ** 2.2
        light = np.maximum(lamp[rows], 0.05)
        density = -np.log(np.maximum(level / light / 0.86, 1e-4))
        wax = np.clip(1.4 - density / medium.density_max, 0, 0.3) / 0.3
        inside = mask[rows].astype(np.float32) / 255
        for k in range(3):
            tint = 1 + np.float32(medium.tint[k] - 1) * wax
            on = more * medium.paper[k] * light * np.exp(-density * tint)
            seen = on * inside + level * ground[k] * (1 - inside)
            out[rows, :, 2 - k] = np.round(255 * np.clip(seen, 0, 1) ** (1 / 2.2))
    return out


def _wax(medium: Medium, rng: Rng) -> Medium:
    """Draw a wax: its tint, a little off the pure one, and how dense it lies."""
    tint = WAXES[str(rng.choice(sorted(WAXES)))]
    mixed = tuple(float(t * rng.uniform(0.9, 1.1)) for t in tint)
    return replace(
        medium,
        name=COLOURED,
        density_max=float(rng.uniform(1.2, 2.2)),
        tint=(mixed[0], mixed[1], mixed[2]),
    )


def _glass(tier: str, rng: Rng) -> Glass:
    """Draw one or two kinds of textured glass; in half of the panels all pieces have it."""
    kinds = rng.choice(GLASSES, int(rng.integers(1, 3)), replace=False)
    strong = (0.04, 0.14) if tier == "everyday" else (0.08, 0.3)
    return Glass(
        tuple(str(k) for k in kinds),
        1.0 if rng.random() < 0.5 else float(rng.uniform(0.2, 0.8)),
        float(rng.uniform(*strong)),
        float(rng.uniform(4.0, 9.0)),
    )


def glass_tone(truth: Truth, glass: Glass, distance_mm: Grid, sheet: Sheet, rng: Rng) -> Grid:
    """Return the pressure on the crests of textured glass.

    Each piece is cut as it fell from the sheet of glass, so its texture has a direction and a phase
    of its own. Paper bridges the hollow beside a lead and touches crests from 4 mm on.
    """
    total = np.zeros(coarse_shape(sheet), np.float32)
    for piece in truth.pieces:
        kind, turn = str(rng.choice(glass.kinds)), float(rng.uniform(0, np.pi))
        if rng.random() >= glass.share:
            continue
        ring = coarse_px(sheet, np.array(piece.exterior.coords))
        low = np.maximum(np.floor(ring.min(axis=0)).astype(int) - 1, 0)
        high = np.minimum(np.ceil(ring.max(axis=0)).astype(int) + 2, total.shape[::-1])
        if (high - low).min() < 3:
            continue
        shape = (int(high[1] - low[1]), int(high[0] - low[0]))
        mask = np.zeros(shape, np.uint8)
        cv2.fillPoly(mask, [np.round((ring - low) * 16).astype(np.int32)], 1, cv2.LINE_8, 4)
        crests = _crests(kind, shape, glass.pitch_mm * COARSE_PER_MM, turn, rng)
        part = total[low[1] : high[1], low[0] : high[0]]
        part[mask > 0] = crests[mask > 0] * np.float32(np.exp(rng.normal(0, 0.25)))
    total *= np.float32(glass.pressure) * (1 - np.exp(-((distance_mm / 4.0) ** 2)))
    return total


def _crests(kind: str, shape: tuple[int, int], pitch: float, turn: float, rng: Rng) -> Grid:
    """Return the texture of one piece, 0 in its hollows and 1 on its crests."""
    y, x = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
    u, v = x * np.cos(turn) + y * np.sin(turn), y * np.cos(turn) - x * np.sin(turn)
    phase = rng.uniform(0, 6.3, 2)
    if kind == "reeded":
        return np.asarray(
            np.clip(np.sin(2 * np.pi * u / pitch + phase[0]), 0, 1) ** 0.7, np.float32
        )
    if kind == "wavy":
        bent = u + 0.8 * pitch * np.sin(2 * np.pi * v / (6 * pitch) + phase[1])
        wave = np.sin(2 * np.pi * bent / (2.2 * pitch) + phase[0]) + 0.5 * cloud(shape, pitch, rng)
        return np.asarray(np.clip(wave, 0, 1.3), np.float32)
    if kind == "hammered":
        return np.asarray(np.clip(0.6 * cloud(shape, pitch, rng) + 0.1, 0, 1.4), np.float32)
    # Crackled: thin crests where neighbouring chips meet.
    chips = np.ones(shape, np.uint8)
    n = max(2, int(shape[0] * shape[1] / (1.6 * pitch) ** 2))
    chips[rng.integers(0, shape[0], n), rng.integers(0, shape[1], n)] = 0
    _, label = cv2.distanceTransformWithLabels(chips, cv2.DIST_L2, cv2.DIST_MASK_5)
    edge = np.zeros(shape, np.float32)
    edge[:, 1:] += label[:, 1:] != label[:, :-1]
    edge[1:] += label[1:] != label[:-1]
    return np.asarray(np.clip(1.6 * cv2.GaussianBlur(edge, (0, 0), 0.7), 0, 1.2), np.float32)
