"""Where the sheet lies in the picture, roughly: four sides and a first value for the lens."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.options.rectify import RectifyOptions
from rubbing2pattern.reading import Grey
from rubbing2pattern.stages.rectify.edge_evidence import Evidence
from rubbing2pattern.stages.rectify.edge_profiles import across
from rubbing2pattern.stages.rectify.edge_tracks import Reach, Tracks, best_tracks, log_slopes
from rubbing2pattern.stages.rectify.lens import Lens
from rubbing2pattern.stages.rectify.quads import SIDES, Quads, possible_quads

_LENSES = (-0.12, -0.08, -0.04, 0.0, 0.04, 0.08, 0.12)
"""Bends of a lens (k1) that are tried at first, from pincushion to barrel."""
_REACH = Reach(shift_px=8, left_px=8, turn_px=8, bow_px=6)
_PROFILES, _SAMPLES = 48, 3
"""Profiles across each side in the coarse search, and samples of each."""
_COARSE_WEIGHT = 0.3
"""What the coarse score counts beside that of followed edges."""
_QUADS_KEPT = 60
"""Best sheets of each lens whose edges are followed."""
_SAME = 0.03
"""Distance of corners, of the longer side, within which two finds are one."""
_START_STEP_PX = 16.0
"""Step at which a missing side is looked for across the sheet."""
_STARTS_KEPT = 4
"""Best places of a missing side that are followed."""
CORNERS = ((3, 0), (0, 1), (1, 2), (2, 3))
"""First and last corner of each side, so that the sheet lies to the right of the way."""


@dataclass(frozen=True, slots=True)
class FoundSheet:
    """A quadrilateral that may be the sheet, in pixels of the full picture.

    Attributes
    ----------
    lens : rough.
    ends : (4, 2, 2) ideal start and end of each side, in the order of `SIDES`.
    tracks : of the edges along the sides.
    score : how well it fits, to compare with others.
    """

    lens: Lens
    ends: Array
    tracks: Tracks
    score: float

    @property
    def longest_px(self) -> float:
        """Length of the longest side."""
        return longest(self.ends)


def longest(ends: Array) -> float:
    """Return the length of the longest of some lines (L, 2, 2)."""
    return float(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1).max())


@dataclass(frozen=True, slots=True)
class Effort:
    """How many lines of a kind, trial lenses and readings are followed up."""

    lines: int
    lenses: int
    sheets: int


QUICK = Effort(5, 2, 5)
THOROUGH = Effort(7, 4, 8)


def search_sheet(
    evidence: Evidence,
    shape: tuple[int, ...],
    ratio: float | None,
    options: RectifyOptions,
    effort: Effort,
) -> Iterator[FoundSheet]:
    """Find the four sides of the sheet roughly, the likeliest reading first.

    Strategy: for a few trial lenses, straight lines of evidence are combined to quadrilaterals
    (`possible_quads`). For the best lenses every line's edge is then followed on a finer
    picture from which leads are removed: the edge of a sheet is sharp and runs true, the margin of
    a rubbing and the grain of wood do not. The quadrilaterals with the clearest edges are taken.

    Parameters
    ----------
    evidence : of a picture of `shape`.
    ratio : one side of the sheet over the other, either way, or None when unknown.
    options : `least_sheet_share`.
    effort : quick, or thorough for a sheet that hardly differs from the ground.
    """
    coarse = evidence.brightness.along_x.shape
    found = []
    for k1 in _LENSES:
        quads = possible_quads(
            evidence.brightness,
            evidence.texture,
            Lens.of(coarse, k1),
            effort.lines,
            options.least_sheet_share,
            ratio,
        )
        if len(quads.index):
            sides = quads.evidence()
            found.append((quads, sides, quads.score(sides)))
    found.sort(key=lambda each: -float(each[2].max()))
    likely = []
    for quads, sides, score in found[: effort.lenses]:
        total = _followed(evidence, quads, score) + _COARSE_WEIGHT * sides.mean(axis=1)
        for index in np.argsort(-total, kind="stable")[:_QUADS_KEPT]:
            corners = quads.lens.seen(quads.corners[index] + quads.lens.centre_px)
            likely.append((float(total[index]), quads.lens.k1, corners))
    likely.sort(key=lambda each: -each[0])
    kept = _distinct(likely, max(coarse))[: effort.sheets]
    return (_sheet(evidence, *each, shape) for each in kept)


def _followed(evidence: Evidence, quads: Quads, score: Array) -> Array:
    """Follow the edge along every line and weigh the quadrilaterals anew, (N,)."""
    coarse, closed = evidence.brightness.along_x.shape, evidence.closed.shape
    order = np.argsort(-score, kind="stable")
    ends, owner = [], []
    for side, (first, last) in enumerate(CORNERS):
        # A line is followed between its corners in the best quadrilateral that has it.
        line, best = np.unique(quads.index[order, side], return_index=True)
        corners = quads.corners[order[best]] + quads.lens.centre_px
        ends.append(np.stack((corners[:, first], corners[:, last]), axis=1))
        owner += [(side, int(each)) for each in line]
    lens = Lens.of(closed, quads.lens.k1)
    tracks = _tracks(evidence.closed, rescaled(np.concatenate(ends), coarse, closed), lens)
    clearness = np.zeros((len(SIDES), max(len(each.at) for each in quads.lines)))
    for (side, number), clear in zip(owner, tracks.clearness, strict=True):
        clearness[side, number] = clear
    return quads.score(clearness[np.arange(len(SIDES)), quads.index])


def _distinct(
    likely: list[tuple[float, float, Array]], longer_px: int
) -> list[tuple[float, float, Array]]:
    """Keep the first few whose corners, as seen, differ from those of all before."""
    kept: list[tuple[float, float, Array]] = []
    for each in likely:
        if all(np.abs(each[2] - other[2]).max() > _SAME * longer_px for other in kept):
            kept.append(each)
    return kept


def _sheet(
    evidence: Evidence, score: float, k1: float, corners: Array, shape: tuple[int, ...]
) -> FoundSheet:
    """Follow the edges once more, between the corners of one quadrilateral."""
    coarse, closed = evidence.brightness.along_x.shape, evidence.closed.shape
    lens = Lens.of(closed, k1)
    ideal = lens.ideal(rescaled(corners, coarse, closed))
    ends = ideal[np.array(CORNERS)]
    tracks = _tracks(evidence.closed, ends, lens)
    factor = max(shape) / max(closed)
    return FoundSheet(
        Lens.of(shape, k1),
        rescaled(ends, closed, shape),
        Tracks(tracks.shape * factor, tracks.clearness),
        score,
    )


def search_side(
    evidence: Evidence, shape: tuple[int, ...], corners: Array, side: int, lens: Lens
) -> list[FoundSheet]:
    """Seek one side anew where the other three are known; the clearest readings first.

    Between the two neighbouring sides the edge is followed from every starting line, 16 px of the
    reduced picture apart, from a third of the way to the rim of the picture.

    Parameters
    ----------
    corners : (4, 2) ideal corners in px of the full picture.
    side : number of the side in `SIDES`.
    lens : of the full picture.
    """
    closed = evidence.closed.shape
    small = rescaled(corners, shape, closed)
    own = Lens.of(closed, lens.k1)
    first, last = CORNERS[side]
    before, after = small[(first - 1) % 4], small[(last + 1) % 4]
    ways = np.stack((small[first] - before, small[last] - after))
    length_px = float(np.linalg.norm(ways, axis=1).mean())
    if not _START_STEP_PX < length_px < 4.0 * max(closed):
        return []
    step = _START_STEP_PX / length_px
    shares = np.arange(0.35, 3.0, step)[:, None]
    ends = np.stack((before + shares * ways[0], after + shares * ways[1]), axis=1)
    middle = own.seen(ends.mean(axis=1))
    rim = np.array(closed[::-1]) - 1.0
    ends = ends[((middle > 0.0) & (middle < rim)).all(axis=1)]
    if not len(ends):
        return []
    tracks = _tracks(evidence.closed, ends, own)
    factor = max(shape) / max(closed)
    found = []
    for row in np.argsort(-tracks.clearness, kind="stable")[:_STARTS_KEPT]:
        new = small.copy()
        new[first], new[last] = ends[row]
        moved = np.zeros((4, 3))
        moved[side] = tracks.shape[row] * factor
        clearness = np.where(np.arange(4) == side, tracks.clearness[row], 1.0)
        sides = rescaled(new[np.array(CORNERS)], closed, shape)
        score = float(tracks.clearness[row])
        found.append(FoundSheet(lens, sides, Tracks(moved, clearness), score))
    return found


def _tracks(closed: Grey, ends: Array, lens: Lens) -> Tracks:
    offsets = np.arange(-_REACH.half_px - 2, _REACH.half_px + 3, dtype=np.float64)
    profiles = across(closed, ends, offsets, lens, _PROFILES, _SAMPLES)
    return best_tracks(log_slopes(profiles), _REACH)


def rescaled(points: Array, old: tuple[int, ...], new: tuple[int, ...]) -> Array:
    """Map pixels (..., 2) of a picture of shape `old` to those of the same picture at `new`."""
    factor = np.array((new[1] / old[1], new[0] / old[0]))
    return np.asarray((points + 0.5) * factor - 0.5)
