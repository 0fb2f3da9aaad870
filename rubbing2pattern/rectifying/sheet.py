"""The sheet in the picture: found, followed to a tenth of a pixel, and doubted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rubbing2pattern.frame import Array
from rubbing2pattern.options.rectify import RectifyOptions
from rubbing2pattern.reading import Grey
from rubbing2pattern.rectifying.fit import Fit, edge_distances, fit_sides
from rubbing2pattern.rectifying.lens import Lens
from rubbing2pattern.rectifying.plane import camera_misfit, homography, rectangle
from rubbing2pattern.rectifying.quads import SIDES
from rubbing2pattern.rectifying.sheet_edges import (
    PROFILES,
    Sides,
    follow_sheet,
    levels_inside,
    refine_sheet,
)
from rubbing2pattern.rectifying.sheet_search import CORNERS, FoundSheet, longest, search_sheet

_CLEAR_SCORE, _CLEAR_SHARE = 1.45, 0.6
_ON_LINE_PX = 1.0
_GUESSED_LONGER_MM = 900.0
_DEPTH_MM = 30.0
_LEAD_LEVEL = 0.75
_MISFIT_WEIGHT = 4.0


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sheet found in a picture.

    Attributes
    ----------
    sides : places on its edges.
    fit : of lines and lens to them; its mm are true when the size was given, else a guess.
    seen_share : (4,) share of each side along which its edge was met within a pixel.
    leads : (4,) True where what was taken for an edge is a lead: paper is nowhere darker than
        further in.
    worth : to compare readings.
    """

    sides: Sides
    fit: Fit
    seen_share: Array
    leads: npt.NDArray[np.bool_]
    worth: float

    @property
    def corners(self) -> Array:
        """Ideal corners: upper left, upper right, lower right, lower left; (4, 2)."""
        return self.fit.sheet_corners

    def missing(self, options: RectifyOptions) -> tuple[str, ...]:
        """Return the names of the sides that were not made out."""
        bad = (self.seen_share < options.edge_share) | self.leads
        return tuple(name for name, is_bad in zip(SIDES, bad, strict=True) if is_bad)


def locate_sheet(
    grey: Grey,
    size_mm: tuple[float, float] | None,
    options: RectifyOptions,
    px_per_mm: float | None = None,
) -> Sheet | None:
    """Find the sheet; the best reading, even when some of its sides are doubtful.

    Rules:

    1. The likeliest reading is taken when its edges are clear and met nearly everywhere.
    2. Else the others are followed as well, and the one wins whose edges are met most, whose
       worst edge is met best and, when the size is given, whose shape a camera can make.
    3. What is darker than the glass further in is a lead, not the edge of the paper.

    Parameters
    ----------
    size_mm : the sides in either order, None when unknown.
    px_per_mm : rough scale where another reference gives it.
    """
    ratio = None if size_mm is None else size_mm[0] / size_mm[1]
    best: Sheet | None = None
    for found in search_sheet(grey, ratio, options):
        sheet = _followed(grey, found, size_mm, options, px_per_mm)
        if best is None or sheet.worth > best.worth:
            best = sheet
        clear = found.score > _CLEAR_SCORE and float(sheet.seen_share.min()) > _CLEAR_SHARE
        if clear and not sheet.leads.any():  # rule 1
            return sheet
    return best


def _followed(
    grey: Grey,
    found: FoundSheet,
    size_mm: tuple[float, float] | None,
    options: RectifyOptions,
    px_per_mm: float | None,
) -> Sheet:
    if size_mm is not None:
        longer_mm = max(size_mm)
    elif px_per_mm is not None:
        longer_mm = found.longest_px / px_per_mm
    else:
        longer_mm = _GUESSED_LONGER_MM
    sides = refine_sheet(grey, found, longer_mm)
    corners = _crossings(found)
    size = _oriented(corners, found.lens, size_mm, max(grey.shape))
    fit = fit_sides(sides, corners, size, found.lens, options)
    sides = follow_sheet(grey, fit.sheet_corners[np.array(CORNERS)], fit.lens)
    size = _oriented(fit.sheet_corners, fit.lens, size_mm, max(grey.shape))
    fit = fit_sides(sides, fit.sheet_corners, size, fit.lens, options)
    away = edge_distances(sides, fit.sheet_corners, fit.lens)
    share = np.array([np.sum(np.abs(side) < _ON_LINE_PX) / PROFILES for side in away])
    leads = _leads(grey, fit, longer_mm)
    misfit = 0.0
    if size_mm is not None:
        misfit = camera_misfit(fit.warp.matrix, fit.lens.centre_px, max(grey.shape))
    worth = float(share.mean() + share.min() - 0.5 * leads.sum() - _MISFIT_WEIGHT * misfit)
    return Sheet(sides, fit, share, leads, worth)


def _oriented(
    corners: Array, lens: Lens, size_mm: tuple[float, float] | None, longer_px: int
) -> tuple[float, float]:
    """Return width and height as the picture shows the sheet: as a camera can see it.

    Of an unknown size a guess comes back.
    """
    if size_mm is None:
        sides = np.linalg.norm(corners - np.roll(corners, -1, axis=0), axis=1)
        wide, high = float(sides[0] + sides[2]), float(sides[1] + sides[3])
        factor = _GUESSED_LONGER_MM / max(wide, high)
        return wide * factor, high * factor
    across = (size_mm[1], size_mm[0])
    upright, turned = (
        camera_misfit(homography(rectangle(*size), corners), lens.centre_px, longer_px)
        for size in (size_mm, across)
    )
    return size_mm if upright <= turned else across


def _crossings(found: FoundSheet) -> Array:
    """Return the ideal corners (4, 2) where the chords of neighbouring tracks meet."""
    way = found.ends[:, 1] - found.ends[:, 0]
    unit = way / np.linalg.norm(way, axis=1, keepdims=True)
    normal = np.stack((-unit[:, 1], unit[:, 0]), axis=1)
    shift, turn = found.tracks.shape[:, :1], found.tracks.shape[:, 1:2]
    start = found.ends[:, 0] + normal * (shift - turn)
    way = found.ends[:, 1] + normal * (shift + turn) - start
    corners = []
    for a, b in ((0, 1), (1, 2), (2, 3), (3, 0)):
        share = np.linalg.solve(np.stack((way[a], -way[b]), axis=1), start[b] - start[a])
        corners.append(start[a] + share[0] * way[a])
    return np.array(corners)


def _leads(grey: Grey, fit: Fit, longer_mm: float) -> npt.NDArray[np.bool_]:
    """Tell which sides are leads (rule 3), (4,) bool."""
    ends = fit.sheet_corners[np.array(CORNERS)]
    depth_px = _DEPTH_MM * longest(ends) / longer_mm
    level = levels_inside(grey, ends, fit.lens, depth_px)
    near = level[:, 2:6].mean(axis=1)
    return np.asarray(near < _LEAD_LEVEL * np.percentile(level[:, 6:], 75, axis=1))
