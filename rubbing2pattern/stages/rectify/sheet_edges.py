"""The edges of the sheet to a tenth of a pixel: profiles on the full picture along rough sides."""

from __future__ import annotations

import math

import numpy as np

from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.reading import Grey, Grid
from rubbing2pattern.stages.rectify.edge_evidence import CLOSED_PX
from rubbing2pattern.stages.rectify.edge_profiles import across, peak_places, places
from rubbing2pattern.stages.rectify.edge_tracks import (
    Reach,
    Tracks,
    chosen,
    clearer,
    log_slopes,
    slopes,
    tracks_by_kind,
)
from rubbing2pattern.stages.rectify.lens import Lens
from rubbing2pattern.stages.rectify.sheet_search import FoundSheet, longest

PROFILES = 160
"""Profiles across each side; at most as many places are fitted."""
_SAMPLES_PX = 2.0
"""Distance of the samples that are averaged along a side for one profile."""
_MOST_SAMPLES = 16
"""Samples of a profile at most; more cost time and add little."""
_SHADOW_CLEARNESS = 0.6
"""Clearness, of the best edge's, from which an edge within reach of a shadow is the sheet's."""
_DOUBT = 0.015
"""What each step away from where an edge was found costs of its clearness."""
_MIXED_COST = 0.1
"""Share by which an edge that changes its direction must be clearer than one that does not."""
_SHADOW_MM = 7.0
"""How wide the shadow of a sheet may be."""
_FINE_REACH = Reach(shift_px=4, left_px=4, turn_px=2, bow_px=2)
_STEPS = 20
"""Steps inwards and outwards in which an edge is looked for."""
_ROUGH_PX = 1.5
"""How far off an edge may be after the coarse search, in pixels of its picture."""
_TOLERANCE = 2.0
"""Pixels by which the peak of a profile may lie off the track."""


Sides = tuple[Array, Array, Array, Array]
"""Places on the edges of the sheet: for each side (N, 2) seen pixels, N at most `PROFILES`."""


def refine_sheet(grey: Grey, found: FoundSheet, px_per_mm: float, fine_px: float) -> Sides:
    """Follow the four edges on the full picture, first in wide steps, then pixel by pixel.

    160 profiles on each side, each the mean over its part of the side. The track found on the
    reduced picture is right within a pixel or two of that picture, or lies at the outside of the
    sheet's shadow; the first pass searches that far, the second a few pixels about the first.

    1. Of two edges the nearer one is taken unless the other is clearer: it may be a lead's.
    2. Where it gets darker first and lighter again within 7 mm further in, the strip between is
       the sheet's shadow on a light ground, and the edge is the inner one.

    Parameters
    ----------
    px_per_mm : rough scale.
    fine_px : step of the last profiles (`fine_step_px`).
    """
    rough_px = _ROUGH_PX * max(grey.shape) / CLOSED_PX
    step_px = max(fine_px, (_SHADOW_MM * px_per_mm + rough_px) / _STEPS)
    outwards = math.ceil(rough_px / step_px)
    wide = Reach(_STEPS, outwards, turn_px=4, bow_px=4, doubt=_DOUBT)
    tracks = found.tracks
    for reach, step in ((wide, step_px), (_FINE_REACH, fine_px)):
        profiles = _profiles(grey, found.ends, found.lens, tracks, reach.half_px, step)
        kinds = tracks_by_kind(log_slopes(profiles), reach)
        best = _nearest_edge(*kinds, _SHADOW_MM * px_per_mm / step)
        tracks = Tracks(tracks.shape + best.shape * step, best.clearness)
    return _edges(grey, found.ends, found.lens, tracks, fine_px)


def _nearest_edge(lighter: Tracks, darker: Tracks, mixed: Tracks, shadow_steps: float) -> Tracks:
    near = [
        Tracks(each.shape, each.clearness - _DOUBT * np.abs(each.shape[:, 0]))
        for each in (lighter, darker, mixed)
    ]
    best = clearer(clearer(near[0], near[1]), near[2], _MIXED_COST)  # rule 1
    strip = lighter.shape[:, 0] - darker.shape[:, 0]
    shadow = (
        (strip > 1.0)
        & (strip < shadow_steps)
        & (np.abs(darker.shape[:, 0]) < shadow_steps)
        & (lighter.clearness > _SHADOW_CLEARNESS * (best.clearness + _DOUBT))
    )
    return chosen(shadow, lighter, best)  # rule 2


def fine_step_px(px_per_mm: float, least_px: float = 1.0) -> float:
    """Return the step of the finest profiles, or a sixth of a mm where that is more.

    No sheet is cut more truly than that. `least_px` is what the picture itself resolves.
    """
    return max(least_px, px_per_mm / 6.0)


def follow_sheet(grey: Grey, ends: Array, lens: Lens, fine_px: float, bends: Array) -> Sides:
    """Take the edges again along the ideal lines (4, 2, 2) of a better lens, bent by so much."""
    return _edges(grey, ends, lens, Tracks(bends, np.ones(4)), fine_px)


def levels(grey: Grey, ends: Array, lens: Lens, depths_px: Array, bends: Array) -> Grid:
    """Return the usual grey at some depths within each side (negative: outside), (4, D)."""
    track = Tracks(bends, np.ones(4)).offsets(2 * PROFILES)
    profiles = across(grey, ends, depths_px, lens, PROFILES, 2, track)
    return np.asarray(np.median(profiles, axis=1), dtype=np.float32)


def _profiles(
    grey: Grey, ends: Array, lens: Lens, tracks: Tracks, half_px: int, step_px: float
) -> Grid:
    """Return profiles (4, `PROFILES`, 2 * `half_px` + 5) about tracks."""
    along = int(np.clip(longest(ends) / PROFILES / _SAMPLES_PX, 1, _MOST_SAMPLES))
    offsets = np.arange(-half_px - 2, half_px + 3, dtype=np.float64) * step_px
    track = tracks.offsets(PROFILES * along)
    return across(grey, ends, offsets, lens, PROFILES, along, track)


def _edges(grey: Grey, ends: Array, lens: Lens, tracks: Tracks, step_px: float) -> Sides:
    """Take the clearest peak within two steps of each track, to a part of a step."""
    half = 6
    # A camera adds up light, so the place is where half of the light comes from either side.
    light = (_profiles(grey, ends, lens, tracks, half, step_px) / np.float32(255.0)) ** 2.2
    size = np.abs(slopes(light.astype(np.float32)))
    track = tracks.offsets(PROFILES)
    offset, clear = peak_places(size, _TOLERANCE)
    t = (np.arange(PROFILES) + 0.5) / PROFILES
    seen = lens.seen(places(ends, t, (track + step_px * offset)[..., None]))[:, :, 0]
    left, upper, right, lower = (seen[side][clear[side]] for side in range(4))
    return left, upper, right, lower
