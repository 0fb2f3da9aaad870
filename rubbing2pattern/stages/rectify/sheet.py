"""The sheet in the picture: found, followed to a tenth of a pixel, and doubted."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.options.rectify import RectifyOptions
from rubbing2pattern.reading import Grey, Photograph
from rubbing2pattern.stages.rectify.bends import bends_of, unmet_px
from rubbing2pattern.stages.rectify.edge_evidence import Evidence, gather
from rubbing2pattern.stages.rectify.false_edges import leads, parts, shadows
from rubbing2pattern.stages.rectify.fit import Fit, fit_sides
from rubbing2pattern.stages.rectify.lens import Lens
from rubbing2pattern.stages.rectify.plane import camera_misfit, homography, rectangle
from rubbing2pattern.stages.rectify.quads import SIDES
from rubbing2pattern.stages.rectify.sheet_edges import (
    PROFILES,
    Sides,
    fine_step_px,
    follow_sheet,
    refine_sheet,
)
from rubbing2pattern.stages.rectify.sheet_search import (
    CORNERS,
    QUICK,
    THOROUGH,
    Effort,
    FoundSheet,
    search_sheet,
    search_side,
)
from rubbing2pattern.stages.rectify.tint import tint_of

_CLEAR_SCORE, _CLEAR_SHARE = 1.45, 0.6
"""Score of a find, and share seen of its worst side, from which no other is sought."""
_MOST_MENDED, _LEAST_SIDES = 2, 2
"""Sides of a sheet that may be sought anew, and clear ones that must hold it."""
_SQUARE, _TURN_TOLD = 0.001, 0.002
"""Log ratio of sides below which a sheet is square, and misfits that do not distinguish turns."""
_GUESSED_LONGER_MM = 900.0
"""Longer side that is assumed where no size is given; it only sets how far is looked."""
_MISFIT_WEIGHT = 4.0
"""What a share of misfit with a camera costs, in shares of edge seen."""
_SOFT = 2.0
"""Pixels of its own that colour resolves: most cameras keep a quarter of it."""
_AGREED, _WORTH_ALIKE = 0.01, 0.3
"""Distance of corners, of the longer side, within which two readings agree; gain that decides
else."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sheet found in a picture.

    Attributes
    ----------
    sides : places on its edges.
    fit : of lines and lens to them; its mm are true when the size was given, else a guess.
    seen_share : (4,) share of each side along which its edge was met within a pixel or so.
    false : (4,) True where what was taken for an edge is that of a lead or a shadow.
    turn_doubt : True when the sheet is nearly square and may as well lie the other way.
    worth : to compare readings.
    """

    sides: Sides
    fit: Fit
    seen_share: Array
    false: npt.NDArray[np.bool_]
    turn_doubt: bool
    worth: float

    @property
    def corners(self) -> Array:
        """Ideal corners: upper left, upper right, lower right, lower left; (4, 2)."""
        return self.fit.sheet_corners

    @property
    def is_clear(self) -> bool:
        """Whether all four edges were met nearly everywhere."""
        return float(self.seen_share.min()) > _CLEAR_SHARE and not self.false.any()

    def holds_most(self, places_px: Array) -> bool:
        """Return whether most seen places (N, 2) lie on the sheet, as marks do."""
        way = np.roll(self.corners, -1, axis=0) - self.corners
        offset = self.fit.lens.ideal(places_px)[:, None] - self.corners
        inside = (way[:, 0] * offset[..., 1] - way[:, 1] * offset[..., 0] > 0.0).all(axis=1)
        return bool(2 * inside.sum() > len(places_px))

    def partly(self, options: RectifyOptions) -> Sheet | None:
        """Return the sheet if it is whole, else with its clear sides alone; None of fewer than two.

        Their straightness shows the lens beside marks; the outline is then unknown.
        """
        if not self.missing(options):
            return self
        clear = (self.seen_share >= options.clear_edge_share) & ~self.false
        if clear.sum() < _LEAST_SIDES:
            return None
        left, upper, right, lower = (
            side if is_clear else side[:0] for side, is_clear in zip(self.sides, clear, strict=True)
        )
        return replace(self, sides=(left, upper, right, lower))

    def missing(self, options: RectifyOptions) -> tuple[str, ...]:
        """Return the names of the sides that were not found."""
        length_px = np.linalg.norm(self.corners - np.roll(self.corners, 1, axis=0), axis=1)
        bad = (self.seen_share < options.edge_share) | self.false | (length_px < PROFILES)
        return tuple(name for name, is_bad in zip(SIDES, bad, strict=True) if is_bad)


def locate_sheet(
    photograph: Photograph,
    size_mm: tuple[float, float] | None,
    options: RectifyOptions,
    px_per_mm: float | None = None,
    *,
    about_px: Array | None = None,
    thorough: bool = True,
) -> Sheet | None:
    """Find the sheet; the best reading, even when some of its sides are doubtful.

    Rules:

    1. It is sought in the grey picture and, where there are colours, in their tint alone: paper may
       be as grey as the ground, and a shadow has no tint.
    2. Where the tint shows the edges that were found in grey, those are right: no shadow has both.
    3. When only one of the two shows all sides, that one counts. Of two that agree the grey one is
       taken, which is finer; of two that do not, the one that is worth more or, when both are worth
       about the same, the larger: the smaller ends at a shadow or at the rubbing's margin.

    Parameters
    ----------
    size_mm : the sides in either order, None when unknown.
    px_per_mm : rough scale where another reference gives it.
    about_px : (N, 2) seen places that lie on the sheet, most of them.
    thorough : whether to search longer for a sheet that hardly differs from the ground.
    """
    grey, colour = photograph.grey, photograph.colour
    tint = tint_of(colour, grey.shape)
    search = _Search(grey, gather(grey), size_mm, px_per_mm, about_px, options)
    by_grey = _located(search, thorough=thorough and tint is None)
    if colour is None or tint is None:
        return by_grey
    if by_grey is not None and by_grey.is_clear and parts(tint, by_grey.fit):
        return by_grey  # rule 2
    soft_px = _SOFT * max(grey.shape) / max(colour.shape)
    tinted = replace(search, grey=tint, evidence=gather(tint), least_px=soft_px)
    by_tint = _located(tinted, thorough=False)
    if thorough and all(s is None or s.missing(options) for s in (by_grey, by_tint)):
        by_grey, by_tint = (_located(each, thorough=True) for each in (search, tinted))
    return _preferred(by_grey, by_tint, options, max(photograph.grey.shape))


def _preferred(
    by_grey: Sheet | None, by_tint: Sheet | None, options: RectifyOptions, longer_px: int
) -> Sheet | None:
    """Choose between the readings of grey and of tint (rule 3 of `locate_sheet`)."""
    if by_tint is None or by_tint.missing(options):
        return by_grey
    if by_tint.seen_share.min() < options.clear_edge_share:
        return by_grey
    if by_grey is None or by_grey.missing(options):
        return by_tint
    apart_px = float(np.abs(by_grey.corners - by_tint.corners).max())
    if apart_px < _AGREED * longer_px:
        return by_grey
    more = by_tint.worth - by_grey.worth
    if abs(more) > _WORTH_ALIKE:
        return by_tint if more > 0.0 else by_grey
    return by_tint if _area(by_tint.corners) > _area(by_grey.corners) else by_grey


def _area(corners: Array) -> float:
    first, second = corners[2] - corners[0], corners[3] - corners[1]
    return float(0.5 * abs(first[0] * second[1] - first[1] * second[0]))


def _located(search: _Search, *, thorough: bool) -> Sheet | None:
    """Find the sheet in one plane.

    Rules:

    1. The likeliest reading is taken when its edges are clear and met nearly everywhere.
    2. Else the others are followed as well, and the one wins whose edges are met most, whose
       worst edge is met best and, when the size is given, whose shape a camera can make.
    3. Where a lead or a shadow runs, there is no edge of the paper (`leads`, `shadows`).
    4. When one or two sides are missing they are sought anew between their neighbours.
    """
    best: Sheet | None = None
    for effort in (QUICK, THOROUGH) if thorough else (QUICK,):
        for found in search.readings(effort):
            may_end = found.score > _CLEAR_SCORE
            sheet = search.follow(found, -np.inf if may_end or best is None else best.worth)
            best = _better(best, sheet)
            if sheet is not None and may_end and sheet.is_clear:  # rule 1
                return sheet
        if best is not None:
            best = search.mend(best)
            if not best.missing(search.options):
                break
    return best


@dataclass(frozen=True, slots=True)
class _Search:
    """One picture, how many px it resolves, and what is known of its sheet."""

    grey: Grey
    evidence: Evidence
    size_mm: tuple[float, float] | None
    px_per_mm: float | None
    about_px: Array | None
    options: RectifyOptions
    least_px: float = 1.0

    def readings(self, effort: Effort) -> Iterator[FoundSheet]:
        ratio = None if self.size_mm is None else self.size_mm[0] / self.size_mm[1]
        return search_sheet(self.evidence, self.grey.shape, ratio, self.options, effort)

    def mend(self, sheet: Sheet) -> Sheet:
        """Seek the missing sides anew, one at a time (rule 4)."""
        for _ in range(_MOST_MENDED):
            missing = sheet.missing(self.options)
            if not 0 < len(missing) <= _MOST_MENDED:
                break
            before = sheet.worth
            for name in missing:
                for found in search_side(
                    self.evidence,
                    self.grey.shape,
                    sheet.corners,
                    SIDES.index(name),
                    sheet.fit.lens,
                ):
                    sheet = _better(sheet, self.follow(found, sheet.worth)) or sheet
            if sheet.worth == before:
                break
        return sheet

    def follow(self, found: FoundSheet, more_than: float) -> Sheet | None:
        """Follow the edges of one reading and weigh it; None as soon as it is not worth more.

        A wrong reading may send corners past the range of numbers; the result is then None.
        """
        try:
            with np.errstate(all="ignore"):
                sheet = self._followed(found, more_than)
        except np.linalg.LinAlgError:
            return None
        if sheet is None:
            return None
        sound = np.isfinite(sheet.worth) and np.isfinite(sheet.fit.parameters).all()
        empty = self.about_px is not None and not sheet.holds_most(self.about_px)
        return sheet if sound and not empty else None

    def _followed(self, found: FoundSheet, more_than: float) -> Sheet | None:
        scale = self._scale(found)
        step_px = fine_step_px(scale, self.least_px)
        sides = refine_sheet(self.grey, found, scale, step_px)
        corners = _crossings(found)
        fit = self._fit(sides, corners, found.lens)
        bends = bends_of(sides, fit, step_px)
        ends = fit.sheet_corners[np.array(CORNERS)]
        sides = follow_sheet(self.grey, ends, fit.lens, step_px, bends)
        most = np.array([len(each) for each in sides]) / PROFILES
        if _worth(most) <= more_than:
            return None
        fit = self._fit(sides, fit.sheet_corners, fit.lens)
        bends = bends_of(sides, fit, step_px)
        unmet = unmet_px(sides, fit, bends)
        share = np.array([np.sum(each < step_px) / PROFILES for each in unmet])
        if _worth(share) <= more_than:
            return None
        false = leads(self.grey, fit, scale, bends) | shadows(self.grey, fit, scale)
        misfit = 0.0
        if self.size_mm is not None:
            longer_px = max(self.grey.shape)
            misfit = camera_misfit(fit.warp.matrix, fit.lens.centre_px, longer_px)
        worth = _worth(share) - 0.5 * float(false.sum()) - _MISFIT_WEIGHT * misfit
        return Sheet(sides, fit, share, false, self._turn_doubt(fit), worth)

    def _scale(self, found: FoundSheet) -> float:
        """Return rough px per mm."""
        if self.size_mm is not None:
            return found.longest_px / max(self.size_mm)
        return self.px_per_mm or found.longest_px / _GUESSED_LONGER_MM

    def _turn_doubt(self, fit: Fit) -> bool:
        """Return whether a camera might as well see a sheet of the given size lying across."""
        if self.size_mm is None or abs(np.log(self.size_mm[0] / self.size_mm[1])) < _SQUARE:
            return False
        misfits = _misfits(fit.sheet_corners, fit.lens, self.size_mm, max(self.grey.shape))
        return abs(misfits[0] - misfits[1]) < _TURN_TOLD

    def _fit(self, sides: Sides, corners: Array, lens: Lens) -> Fit:
        size = _oriented(corners, lens, self.size_mm, max(self.grey.shape))
        return fit_sides(sides, corners, size, lens, self.options)


def _worth(seen_share: Array) -> float:
    """Return what a reading is worth at most whose sides (4,) are seen so far."""
    return float(seen_share.mean() + seen_share.min())


def _better(first: Sheet | None, second: Sheet | None) -> Sheet | None:
    """Return the reading that is worth more; the first of equals."""
    if first is None or second is None:
        return second if first is None else first
    return second if second.worth > first.worth else first


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
    upright, turned = _misfits(corners, lens, size_mm, longer_px)
    return size_mm if upright <= turned else (size_mm[1], size_mm[0])


def _misfits(
    corners: Array, lens: Lens, size_mm: tuple[float, float], longer_px: int
) -> tuple[float, float]:
    """Return how ill a camera can see the sheet with its sides as given, and exchanged."""
    upright, across = (
        camera_misfit(homography(rectangle(*size), corners), lens.centre_px, longer_px)
        for size in (size_mm, (size_mm[1], size_mm[0]))
    )
    return upright, across


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
