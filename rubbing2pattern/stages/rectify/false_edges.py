"""False edges of the sheet: leads, and the edges of shadows."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.reading import Grey
from rubbing2pattern.stages.rectify.edge_profiles import across
from rubbing2pattern.stages.rectify.fit import Fit
from rubbing2pattern.stages.rectify.sheet_edges import levels
from rubbing2pattern.stages.rectify.sheet_search import CORNERS

_WITHIN_MM = np.concatenate((np.linspace(1.5, 4.5, 4), np.linspace(5.0, 30.0, 30)))
_OUTSIDE_MM = np.linspace(1.0, 20.0, 20)
_LEAD_LEVEL, _DARK_LEVEL = 0.75, 0.8
"""Grey beside an edge, of the paper's farther in: darker paper is lead, a darker ground a strip."""
_SAME_LEVEL, _SAME_COUNT = 0.06, 3
"""Log grey within which a ground is as the paper, and at how many depths it must be."""
_BESIDE_MM = np.array([-3.5, -2.75, -2.0, 2.0, 2.75, 3.5])
_FROM_MM, _TO_MM = 4.0, 24.0
"""Part of a line beyond a corner that is looked at: past the corner's rounding, short of other
things."""
_BLOCKS = 10
"""Profiles along that part; some may meet writing."""
_TINT_SHARE, _TINT_BLOCKS = 0.004, 40
"""How far beside an edge tint is read, of the picture's longer side, and profiles along it."""
_TINT_STEP, _TINT_ALIKE = 4.0, 0.85
"""Levels of tint by which sheet and ground must differ, and share of profiles that must agree."""
_LEAST_CONTRAST, _ALIKE = 0.04, 0.6
"""Step, in log grey, that makes an edge, and how far, as a share, others may differ from it."""


def leads(grey: Grey, fit: Fit, px_per_mm: float, bends: Array) -> npt.NDArray[np.bool_]:
    """Return which sides are leads, (4,) bool.

    It is darker just within than further in, or dark for some mm outside and exactly like the
    paper again beyond.
    """
    ends = fit.sheet_corners[np.array(CORNERS)]
    within = levels(grey, ends, fit.lens, _WITHIN_MM * px_per_mm, bends) + 1.0
    outside = levels(grey, ends, fit.lens, -_OUTSIDE_MM * px_per_mm, bends) + 1.0
    paper = within[:, :4].mean(axis=1)
    outer_edge = paper < _LEAD_LEVEL * np.percentile(within[:, 4:], 75, axis=1)
    ratio = outside / paper[:, None]
    dark = ratio[:, 1:4].max(axis=1) < _DARK_LEVEL
    like_paper = np.sum(np.abs(np.log(ratio[:, 4:])) < _SAME_LEVEL, axis=1) >= _SAME_COUNT
    return np.asarray(outer_edge | (dark & like_paper))


def shadows(grey: Grey, fit: Fit, px_per_mm: float) -> npt.NDArray[np.bool_]:
    """Return which sides are edges of shadows, (4,) bool.

    The sheet ends at its corners, and so do its sides. Where both neighbours of a side run on
    beyond it, with the same contrast of paper to ground, the sheet does so as well.
    """
    corners = fit.sheet_corners
    found = []
    for first, last in CORNERS:
        before, after = corners[(first - 1) % 4], corners[(last + 1) % 4]
        runs = (
            _runs_on(grey, fit, px_per_mm, before, corners[first]),
            _runs_on(grey, fit, px_per_mm, after, corners[last]),
        )
        found.append(all(runs))
    return np.array(found)


def parts(tint: Grey, fit: Fit) -> bool:
    """Return whether the tint changes, one way all along, at each of the four sides.

    Where it does there is an edge of something, whatever the light.
    """
    ends = fit.sheet_corners[np.array(CORNERS)]
    away_px = _TINT_SHARE * max(tint.shape) * np.array([-1.5, -1.0, 1.0, 1.5])
    profiles = across(tint, ends, away_px, fit.lens, _TINT_BLOCKS, 4)
    step = profiles[..., 2:].mean(axis=2) - profiles[..., :2].mean(axis=2)
    usual = np.median(step, axis=1, keepdims=True)
    alike = (step * np.sign(usual) > 0.3 * np.abs(usual)).mean(axis=1)
    return bool(np.abs(usual).min() > _TINT_STEP and alike.min() > _TINT_ALIKE)


def _runs_on(grey: Grey, fit: Fit, px_per_mm: float, start: Array, corner: Array) -> bool:
    """Return whether the side from `start` runs on beyond its corner."""
    way = (corner - start) / np.linalg.norm(corner - start)
    near, far = _FROM_MM * px_per_mm * way, _TO_MM * px_per_mm * way
    ends = np.array([(corner - far, corner - near), (corner + near, corner + far)])
    height_px, width_px = grey.shape
    seen = fit.lens.seen(ends[1])
    if (seen < 0.0).any() or (seen > (width_px - 1.0, height_px - 1.0)).any():
        return False
    profiles = across(grey, ends, _BESIDE_MM * px_per_mm, fit.lens, _BLOCKS, 2) + 4.0
    half = len(_BESIDE_MM) // 2
    contrast = np.log(profiles[..., half:]).mean(axis=2) - np.log(profiles[..., :half]).mean(axis=2)
    usual = float(np.median(contrast[0]))
    if abs(usual) < _LEAST_CONTRAST:
        return False
    share = contrast / usual
    alike = np.abs(share - 1.0) < _ALIKE
    return bool(alike.mean(axis=1).min() >= 0.8)
