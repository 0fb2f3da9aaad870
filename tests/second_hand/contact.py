"""Where the wax touches: a sheet of paper over the relief, and a pad that gives.

Strategy: the paper is a membrane over an obstacle: a grey closing bridges the narrow valleys, then
rounds of smoothing and lifting back above the relief let it settle. The pad rests on the highest
places around: a soft maximum under a Gaussian window. What stands less than the pad's give below
that takes load; the load is shared out over what touches nearby, and hollow paper takes little.
"""

from __future__ import annotations

import cv2
import numpy as np

from tests.second_hand.circumstances import Circumstances
from tests.second_hand.leadwork import Rng
from tests.second_hand.relief import Field

PAD_MM = 9.0
SOFT_MM = 0.14
HANG_MM = 0.22
SHARE = 2.4
COARSE_PER_MM = 1.0


def membrane(z: Field, per_mm: float, stiffness_mm: float) -> Field:
    """Return the height of the paper's upper side."""
    k = max(3, round(2.4 * per_mm) | 1)
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (k, k))
    floor = cv2.erode(cv2.dilate(z, disc), disc)
    paper = np.minimum(floor, z + 0.8)
    for _ in range(3):
        paper = np.maximum(cv2.GaussianBlur(paper, (0, 0), stiffness_mm * per_mm), z)
    return cv2.GaussianBlur(paper, (0, 0), 0.3 * stiffness_mm * per_mm)


def load(z: Field, per_mm: float, c: Circumstances) -> Field:
    """Return the load on the paper, about 1 on a sound lead of middling width, 0 where none."""
    paper = membrane(z, per_mm, c.stiffness_mm)
    size = tuple(int(np.ceil(n * COARSE_PER_MM / per_mm)) for n in paper.shape[::-1])
    coarse = cv2.resize(
        np.exp(np.clip(paper, -2.5, 1) / SOFT_MM), size, interpolation=cv2.INTER_AREA
    )
    held = cv2.GaussianBlur(coarse, (0, 0), PAD_MM * COARSE_PER_MM)
    # A hard back of the pad spans farther than its soft face.
    held = 0.65 * held + 0.35 * cv2.GaussianBlur(held, (0, 0), 2 * PAD_MM * COARSE_PER_MM)
    rest = SOFT_MM * np.log(np.maximum(held, 1e-9)).astype(np.float32)
    full = paper.shape[::-1]
    rest = cv2.resize(rest, full, interpolation=cv2.INTER_LINEAR)
    push = np.clip((paper - rest + c.softness_mm) / (c.softness_mm + 0.3), 0, 2) ** 1.3
    # A quick hand drags a little wax over whatever the paper lies on, high or low.
    push = (push + c.drag) * np.exp(-np.maximum(paper - z, 0) / HANG_MM)
    touched = cv2.GaussianBlur(
        cv2.resize(push, size, interpolation=cv2.INTER_AREA), (0, 0), 0.7 * PAD_MM
    )
    touched = cv2.resize(touched, full, interpolation=cv2.INTER_LINEAR)
    return np.asarray(push * (1 + 0.25 * SHARE) / (1 + SHARE * touched), np.float32)


def slow_bow(shape: tuple[int, int], per_mm: float, rng: Rng) -> Field:
    """Return the slow buckle of an old panel: some tenths of a mm over a hand's breadth."""
    coarse = rng.normal(size=(40, 40)).astype(np.float32)
    coarse = cv2.GaussianBlur(coarse, (0, 0), 4.0)
    wide = cv2.resize(coarse / coarse.std(), shape[::-1], interpolation=cv2.INTER_CUBIC)
    return np.asarray(wide * rng.uniform(0.05, 0.3), np.float32)
