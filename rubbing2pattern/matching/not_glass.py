"""Things in a photograph that are not glass: rulers, laths, printed targets, the room around.

Legend for shapes: H, W rows and columns of the working picture.
"""

from __future__ import annotations

import cv2
import numpy as np
import shapely
from scipy.ndimage import median_filter
from shapely.geometry import Polygon

from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.matching.ground import Mask, Working
from rubbing2pattern.matching.touching import outline_px
from rubbing2pattern.options.loose import LooseOptions
from rubbing2pattern.reading import Grey

_LONGER_SIDES_PX = (1600, 3200)
"""Longer sides at which printed targets are looked for."""
_TARGET_SHARE = 0.12
"""Share of an outline that targets must cover: then it is their sheet."""
_FULL = 0.9
"""Share of its rectangle that a ruler fills."""
_INSETS_MM = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0)
"""How far inside its long edges the divisions of a ruler are looked for."""
_LONGEST_DIVISION_MM = 13.0
"""Longest period of divisions, half an inch."""
_STANDS_OUT = 60.0
"""Times the power of its neighbours from which a period is that of divisions."""
_FEWEST = 8
"""Divisions that must lie along a ruler."""
_NEIGHBOURS = 31
"""Neighbouring frequencies with which one is compared; odd, for it lies in the middle."""


def targets_in(grey: Grey) -> tuple[Polygon, ...]:
    """Return the squares of printed targets (DICT_4X4_50) in px of the photograph."""
    tags = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    detector = cv2.aruco.ArucoDetector(tags)
    found: list[Polygon] = []
    for longer_px in _LONGER_SIDES_PX:
        ratio = min(1.0, longer_px / max(grey.shape))
        size = (round(grey.shape[1] * ratio), round(grey.shape[0] * ratio))
        small = cv2.resize(grey, size, interpolation=cv2.INTER_AREA)
        quads, _, _ = detector.detectMarkers(small)
        for quad in quads:
            square = Polygon((quad.reshape(4, 2) + 0.5) / ratio - 0.5)
            if square.is_valid and not any(square.intersects(other) for other in found):
                found.append(square)
        if ratio == 1.0:
            break
    return tuple(found)


def is_target(shape: Mask, work: Working, targets: tuple[Polygon, ...]) -> bool:
    """Return whether a shape is a printed target, or the card that bears it."""
    if not targets:
        return False
    outline = shapely.make_valid(Polygon(work.to_photo(outline_px(shape))))
    borne = sum(outline.intersection(square).area for square in targets)
    return bool(borne > _TARGET_SHARE * outline.area)


def is_ruler(outline: Polygon, shape: Mask, grey: Grey, work: Working, o: LooseOptions) -> bool:
    """Return whether a shape is a ruler or a lath; `outline` is in px of the working picture.

    Rules:

    1. It is straight: it fills its smallest rectangle.
    2. It is very long, or long with divisions: along one of its sides light and dark change in
       equal steps. Textured glass is not so regular, and reeds run on through its middle.
    """
    box = shapely.minimum_rotated_rectangle(outline)
    if box.geom_type != "Polygon" or outline.area < _FULL * box.area:  # rule 1
        return False
    corners = shapely.get_coordinates(box)[:4]
    sides = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    if sides[0] < sides[1]:
        corners = np.roll(corners, -1, axis=0)
    ratio = float(sides.max() / max(sides.min(), 1e-9))
    if ratio >= o.bar:  # rule 2
        return True
    return ratio >= o.ruler and _divided(corners, grey, work)


def _divided(corners: Array, grey: Grey, work: Working) -> bool:
    """Return whether there are even divisions along a long side; the first side is a long one."""
    a, b, c, d = work.to_photo(corners)
    px_per_mm = work.px_per_mm * work.step
    across = (d - a) / max(float(np.linalg.norm(d - a)), 1e-9)
    if _even(_read(grey, 0.5 * (a + d), 0.5 * (b + c)), px_per_mm):
        return False
    for inset_mm in _INSETS_MM:
        inset = inset_mm * px_per_mm * across
        for start, end in ((a + inset, b + inset), (d - inset, c - inset)):
            if _even(_read(grey, start, end), px_per_mm):
                return True
    return False


def _read(grey: Grey, start: Array, end: Array) -> Array:
    n = max(16, round(float(np.linalg.norm(end - start))))
    places = start + np.linspace(0.02, 0.98, n)[:, None] * (end - start)
    row = cv2.remap(
        grey,
        places[None, :, 0].astype(np.float32),
        places[None, :, 1].astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(row, dtype=np.float64).ravel()


def _even(row: Array, px_per_mm: float) -> bool:
    """Return whether a row of grey has one strong period."""
    n = len(row)
    soft = cv2.GaussianBlur(row.reshape(1, -1), (0, 0), 8.0 * px_per_mm).ravel()
    power = np.abs(np.fft.rfft((row - soft) * np.hanning(n))) ** 2
    first = max(_FEWEST, int(n / (_LONGEST_DIVISION_MM * px_per_mm)))
    band = power[first : n // 2]
    if len(band) < 4 * _FEWEST or float(np.std(row - soft)) < 3.0:
        return False
    # Streaks have most of their power in long waves; a period stands out from its neighbours.
    usual = median_filter(band, _NEIGHBOURS, mode="nearest")
    return bool(np.max(band / np.maximum(usual, 1e-3 * band.mean())) > _STANDS_OUT)
