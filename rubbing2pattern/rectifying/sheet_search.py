"""Where the sheet lies in the picture, roughly: four sides and a first value for the lens."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rubbing2pattern.frame import Array
from rubbing2pattern.options.rectify import RectifyOptions
from rubbing2pattern.reading import Grey
from rubbing2pattern.rectifying.evidence import Evidence, gather
from rubbing2pattern.rectifying.lens import Lens
from rubbing2pattern.rectifying.profiles import across
from rubbing2pattern.rectifying.quads import SIDES, Quads, possible_quads
from rubbing2pattern.rectifying.tracks import Reach, Tracks, best_tracks, log_slopes

_LENSES = (-0.12, -0.08, -0.04, 0.0, 0.04, 0.08, 0.12)
_LENSES_KEPT = 2
_LINES_OF_A_KIND = 5
_REACH = Reach(shift_px=8, turn_px=8, bow_px=6)
_PROFILES, _SAMPLES = 48, 3
_COARSE_WEIGHT = 0.3
_QUADS_KEPT = 60
_SHEETS_KEPT = 5
_SAME = 0.03
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


def search_sheet(grey: Grey, ratio: float | None, options: RectifyOptions) -> list[FoundSheet]:
    """Find the four sides of the sheet roughly, the likeliest reading first, at most five.

    Strategy: for a few trial lenses, straight lines of evidence are combined to quadrilaterals
    (`possible_quads`). For the two best lenses every line's edge is then followed on a finer
    picture from which leads are removed: the edge of a sheet is sharp and runs true, the margin of
    a rubbing and the grain of wood do not. The quadrilaterals with the clearest edges are taken.

    Parameters
    ----------
    grey : (H, W) picture.
    ratio : one side of the sheet over the other, either way, or None when unknown.
    options : `least_sheet_share`.
    """
    evidence = gather(grey)
    coarse = evidence.brightness.along_x.shape
    found = []
    for k1 in _LENSES:
        quads = possible_quads(
            evidence.brightness,
            evidence.texture,
            Lens.of(coarse, k1),
            _LINES_OF_A_KIND,
            options.least_sheet_share,
            ratio,
        )
        if len(quads.index):
            sides = quads.evidence()
            found.append((quads, sides, quads.score(sides)))
    found.sort(key=lambda each: -float(each[2].max()))
    likely = []
    for quads, sides, score in found[:_LENSES_KEPT]:
        total = _followed(evidence, quads, score) + _COARSE_WEIGHT * sides.mean(axis=1)
        for index in np.argsort(-total, kind="stable")[:_QUADS_KEPT]:
            corners = quads.lens.seen(quads.corners[index] + quads.lens.centre_px)
            likely.append((float(total[index]), quads.lens.k1, corners))
    likely.sort(key=lambda each: -each[0])
    return [_sheet(evidence, *each, grey.shape) for each in _distinct(likely, max(coarse))]


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
    return kept[:_SHEETS_KEPT]


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


def _tracks(closed: Grey, ends: Array, lens: Lens) -> Tracks:
    offsets = np.arange(-_REACH.half_px - 2, _REACH.half_px + 3, dtype=np.float64)
    profiles = across(closed, ends, offsets, lens, _PROFILES, _SAMPLES)
    return best_tracks(log_slopes(profiles), _REACH)


def rescaled(points: Array, old: tuple[int, ...], new: tuple[int, ...]) -> Array:
    """Map pixels (..., 2) of a picture of shape `old` to those of the same picture at `new`."""
    factor = np.array((new[1] / old[1], new[0] / old[0]))
    return np.asarray((points + 0.5) * factor - 0.5)
