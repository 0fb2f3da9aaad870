"""The shape of the leaf, flat or round, by how dark it shows from its middle to its edge.

Legend for shapes: N profiles, M offsets, W windows of profiles, G distances from the middle.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.model import Profile
from rubbing2pattern.options.measure import MeasureOptions
from rubbing2pattern.reading import Grid
from rubbing2pattern.stages.measure.width import Edges

_STEP_MM = 0.1
"""Step of the profiles from the middle of a lead outwards."""
_FROM_MIDDLE_MM: Array = np.arange(0.0, 10.05, _STEP_MM)


@dataclass(frozen=True, slots=True)
class Leaf:
    """What the mean profile of a size of lead says.

    Attributes
    ----------
    profile : shape of the leaf.
    hidden_mm : face width less the width that shows; 0 unless the leaf is round.
    uncertainty_mm : of that, one standard deviation.
    """

    profile: Profile
    hidden_mm: float
    uncertainty_mm: float


def half_profiles(means: Sequence[Grid], off: Array, found: Edges) -> Grid:
    """Return the density from the middle outwards on either side, (2 W, G), height 1.

    Every window is centred on its own two edges, so that a lead line slightly off the middle does
    not soften them; windows without two edges are left out.

    Parameters
    ----------
    means : (M,) mean of every window at the offsets `off`.
    found : their edges.
    """
    halves = []
    for mean, left, right, top in zip(means, *(each.tolist() for each in found), strict=True):
        if not math.isnan(top):
            middle, plain = 0.5 * (left - right), mean.astype(np.float64)
            for way in (1.0, -1.0):
                halves.append(np.interp(middle + way * _FROM_MIDDLE_MM, off, plain) / top)
    return np.array(halves, dtype=np.float32).reshape(-1, len(_FROM_MIDDLE_MM))


def leaf_of(halves: Grid, width_mm: float, options: MeasureOptions) -> Leaf:
    """Estimate the shape of the leaf from the half profiles of one size of lead.

    Parameters
    ----------
    halves : (2 W, G) as from `half_profiles`.
    width_mm : width at half height.

    Strategy, from the geometry of paper over lead (docs/lead-lines.md):

    1. pressure on a flat leaf is even or crowds to the edges, on a round one it falls from the
       crown, so the fall from the middle to two thirds of the way out distinguishes them;
       where its sign is not sure the leaf stays unknown;
    2. over a crown the drop, and with it the loss of darkness, grows by the square of the distance
       from the middle; this parabola is fitted where the edge's softness does not reach;
    3. beyond the edge the paper hangs free and darkness ends, so the edge of the face is where the
       profile is half as dark as the parabola drawn on to there, not half as dark as the crown;
    4. where the parabola has lost more than `edge_loss` by then, the paper parts from the lead
       before its edge, which cannot be seen: the face is at least as wide as the foot of what
       shows, that is taken, and the uncertainty covers what a round leaf may hide.
    """
    unknown = Leaf(Profile.UNKNOWN, 0.0, 0.5 * options.most_hidden_mm)
    half = 0.5 * width_mm
    if options.profile == Profile.FLAT:
        return Leaf(Profile.FLAT, 0.0, options.hang_mm)
    if len(halves) < options.least_halves:
        if options.profile == Profile.ROUND:
            return replace(unknown, profile=Profile.ROUND)
        return unknown
    fall, sigma = _fall(halves, half, options)  # rule 1
    if options.profile != Profile.ROUND:
        if fall + 2.0 * sigma < options.flat_fall:
            return Leaf(Profile.FLAT, 0.0, options.hang_mm)
        if fall - 2.0 * sigma < options.flat_fall:
            return unknown
    hidden_mm, distinct = hidden(np.median(halves, axis=0), half, options)
    doubt_mm = math.hypot(options.hang_mm, options.hidden_doubt * hidden_mm)
    if not distinct:
        doubt_mm = max(doubt_mm, unknown.uncertainty_mm)
    return Leaf(Profile.ROUND, hidden_mm, doubt_mm)


def _fall(halves: Grid, half_mm: float, options: MeasureOptions) -> tuple[float, float]:
    """Return how much paler the flank is than the middle, as a share, and its uncertainty."""
    flank_mm = max(min(0.65 * half_mm, half_mm - options.soft_mm), 0.4 * half_mm)
    near = 0.25 * half_mm >= _FROM_MIDDLE_MM
    flank = np.abs(_FROM_MIDDLE_MM - flank_mm) <= 0.75 * _STEP_MM
    middle = halves[:, near].mean(axis=1)
    falls = 1.0 - halves[:, flank].mean(axis=1) / np.maximum(middle, 0.05)
    spread = 1.4826 * float(np.median(np.abs(falls - np.median(falls))))
    # Both sides of a window lie in the same blotches, so a pair counts as one reading.
    return float(np.median(falls)), spread / math.sqrt(max(0.5 * len(falls), 1.0))


def hidden(mean: Grid | Array, half_mm: float, options: MeasureOptions) -> tuple[float, bool]:
    """Return how much wider the face is than the width at half height, and whether its edge shows.

    Parameters
    ----------
    mean : (G,) half profile.
    half_mm : distance from the middle to half height, about.
    """
    reach = half_mm + 2.0 >= _FROM_MIDDLE_MM
    u, density = _FROM_MIDDLE_MM[reach], np.asarray(mean, dtype=np.float64)[reach]
    density = density - density[u >= half_mm].min()
    inner = u <= max(half_mm - options.soft_mm, 0.6 * half_mm)
    square = (u / half_mm) ** 2
    bend, crown = np.polyfit(square[inner], density[inner], 1)  # rule 2
    if bend >= 0.0 or crown <= 0.0:
        return 0.0, True
    density = density / crown
    leaf = np.clip(1.0 + bend / crown * square, options.foot, 1.0)
    shown = _last_above(density, u, half_mm, np.full_like(u, 0.5))
    edge = _last_above(density, u, half_mm, 0.5 * leaf)  # rule 3
    foot = _last_above(density, u, half_mm, np.full_like(u, options.foot))
    if shown is None or edge is None or foot is None:
        return 0.0, False
    distinct = float(np.interp(edge, u, leaf)) >= 1.0 - options.edge_loss
    added = 2.0 * ((edge if distinct else foot) - shown)  # rule 4
    return float(np.clip(added, 0.0, options.most_hidden_mm)), distinct


def _last_above(density: Array, u: Array, half_mm: float, level: Array) -> float | None:
    """Return where the profile falls through a level, nearest to the edge as first seen."""
    over = density - level
    falls = np.nonzero((over[:-1] >= 0.0) & (over[1:] < 0.0))[0]
    if not falls.size:
        return None
    i = falls[np.abs(u[falls] - half_mm).argmin()]
    return float(u[i] + _STEP_MM * over[i] / (over[i] - over[i + 1]))
