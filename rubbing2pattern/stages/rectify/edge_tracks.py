"""The smooth track that an edge makes through profiles taken across a line.

Legend: L lines, S profiles along each, D places across, P trial tracks. A track is the offset
``a + b t + c (t**2 - 1/3)`` px across, t from -1 to 1 along the line: a shift, a turn and a bow;
Legendre's next polynomials follow where a track has more terms.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.reading import Grid

_LEAST_SLOPE = 0.01
"""Least usual slope, in log light per step, against which peaks are judged."""
_BESIDE = 0.6
"""What a peak counts one step beside its place; tracks run between steps."""
_MIXED_COST = 0.1
"""Share by which an edge that changes its direction must be clearer than one that does not."""

_AT_ONCE = 16
"""Profiles whose peaks are added up together: what they hold stays near the processor."""


@dataclass(frozen=True, slots=True)
class Reach:
    """How far tracks are sought.

    Attributes
    ----------
    shift_px : largest shift to the right of the line; `left_px` the largest to the left.
    turn_px, bow_px : largest turn and bow; they are tried in steps of `step_px`.
    doubt : how much clearer an edge must be for each px that it lies further off.
    """

    shift_px: int
    left_px: int
    turn_px: int
    bow_px: int
    step_px: int = 2
    doubt: float = 0.0

    @property
    def half_px(self) -> int:
        """Half of the width of the strip in which tracks run."""
        return max(self.shift_px, self.left_px) + max(self.turn_px, self.bow_px) // 2


@dataclass(frozen=True, slots=True)
class Tracks:
    """The best track of every line.

    Attributes
    ----------
    shape : (L, T) a, b, c ... in px.
    clearness : (L,) mean over the profiles of how clear an edge the track meets, 0 .. 1.
    """

    shape: Array
    clearness: Array

    def offsets(self, count: int) -> Array:
        """Return the offsets at the middles of `count` equal parts, (L, count)."""
        return np.asarray(self.shape @ basis(_middles(count), self.shape.shape[1]).T)


def log_slopes(profiles: Grid) -> Grid:
    """Return slopes of ln(grey) across, (L, S, D) from (L, S, D + 4), smoothed by 1-2-1."""
    return slopes(np.log(profiles + np.float32(4.0)))


def slopes(level: Grid) -> Grid:
    """Return slopes across, (L, S, D) from (L, S, D + 4), smoothed by 1-2-1."""
    smooth = (level[..., :-2] + 2.0 * level[..., 1:-1] + level[..., 2:]) / 4.0
    return np.asarray((smooth[..., 2:] - smooth[..., :-2]) / 2.0, dtype=np.float32)


def peaks_across(size: Grid) -> Grid:
    """Return how clear an edge is at every place (L, S, D), 0 where the slope has no peak.

    A peak counts by its size against the usual slopes of the strip, and against the strongest one
    of its own profile.
    """
    wide = np.pad(size, ((0, 0), (0, 0), (1, 1)))
    peak = (size >= wide[..., :-2]) & (size >= wide[..., 2:]) & (size > 0)
    usual = np.maximum(np.median(size, axis=(1, 2), keepdims=True), _LEAST_SLOPE)
    strongest = np.maximum(size.max(axis=2, keepdims=True), 1e-6)
    clear = size / (size + usual) * np.sqrt(size / strongest)
    return np.asarray(np.where(peak, clear, 0.0), dtype=np.float32)


def best_tracks(slopes: Grid, reach: Reach) -> Tracks:
    """Return the track along which the clearest edges line up.

    Rules:

    1. All shifts, turns and bows within reach are tried; a peak one px beside counts less.
    2. An edge gets lighter, or darker, all along. One that does now this, now that, as paper on
       boards of two tones, must be the clearer for it.
    3. The best trial is then fitted to the peaks near it, nearer and nearer.

    Parameters
    ----------
    slopes : (L, S, D) with D = 2 * `reach.half_px` + 1.
    reach : what is tried.
    """
    lighter, darker, mixed = tracks_by_kind(slopes, reach)
    return clearer(clearer(lighter, darker), mixed, _MIXED_COST)  # rule 2


def tracks_by_kind(slopes: Grid, reach: Reach) -> tuple[Tracks, Tracks, Tracks]:
    """Return the best tracks of edges that get lighter across, darker, and either."""
    trials, index = _trials(reach, *slopes.shape[1:])
    doubts = (reach.doubt * np.abs(trials[:, 0])).astype(np.float32)

    def along(size: Grid) -> Tracks:
        peaks = peaks_across(size)
        return _settled(peaks, _best_trials(peaks, trials, index, doubts), reach.half_px)

    return along(np.maximum(slopes, 0.0)), along(np.maximum(-slopes, 0.0)), along(np.abs(slopes))


def clearer(first: Tracks, second: Tracks, cost: float = 0.0) -> Tracks:
    """Return of two tracks of each line the clearer one; the second must be so by `cost`."""
    better = second.clearness - cost > first.clearness
    return chosen(better, second, first)


def chosen(which: npt.NDArray[np.bool_], first: Tracks, second: Tracks) -> Tracks:
    """Return the first track of each line where `which` (L,) is true, else the second."""
    return Tracks(
        np.where(which[:, None], first.shape, second.shape),
        np.where(which, first.clearness, second.clearness),
    )


def basis(t: Array, terms: int = 3) -> Array:
    """Return the parts of a track at places t along its line, (N,) to (N, `terms`)."""
    found = np.polynomial.legendre.legvander(t, max(terms, 3) - 1)
    found[:, 2] /= 1.5
    return np.asarray(found[:, :terms])


def _middles(count: int) -> Array:
    """Return t at the middles of `count` equal parts."""
    return np.asarray((np.arange(count) + 0.5) / count * 2.0 - 1.0)


@lru_cache(maxsize=8)
def _trials(reach: Reach, profiles: int, depths: int) -> tuple[Array, npt.NDArray[np.int64]]:
    """Return the trial tracks (P, 3) that stay inside, and where each meets the profiles, (S, P).

    A place is its number among those of all profiles, one profile after the other.
    """
    step = reach.step_px
    parts = (
        np.arange(-reach.left_px, reach.shift_px + 1),
        np.arange(-reach.turn_px, reach.turn_px + 1, step),
        np.arange(-reach.bow_px, reach.bow_px + 1, step),
    )
    every = np.stack(np.meshgrid(*parts, indexing="ij"), axis=-1).reshape(-1, 3).astype(float)
    index = np.rint(every @ basis(_middles(profiles)).T).astype(np.int64) + reach.half_px
    inside = ((index >= 0) & (index < depths)).all(axis=1)
    trials, places = every[inside], index[inside].T + depths * np.arange(profiles)[:, None]
    for each in (trials, places):
        each.flags.writeable = False
    return trials, places


def _best_trials(peaks: Grid, trials: Array, index: npt.NDArray[np.int64], doubts: Grid) -> Tracks:
    """Add up the peaks along every trial, (P, L), and keep the best of each line (rule 1)."""
    wide = np.pad(peaks, ((0, 0), (0, 0), (1, 1)))
    spread = np.maximum(peaks, _BESIDE * np.maximum(wide[..., :-2], wide[..., 2:]))
    rows = np.moveaxis(spread, 0, 2).reshape(-1, len(peaks))
    total = np.zeros((len(trials), len(peaks)), dtype=np.float32)
    for first in range(0, len(index), _AT_ONCE):
        met = np.take(rows, index[first : first + _AT_ONCE], axis=0)
        met[0] += total
        total = met.sum(axis=0)
    which = np.argmax(total - peaks.shape[1] * doubts[:, None], axis=0)
    return Tracks(trials[which], total[which, np.arange(len(peaks))] / peaks.shape[1])


def _settled(peaks: Grid, tracks: Tracks, half_px: int) -> Tracks:
    """Fit every track to the peaks near it by weighted least squares (rule 3)."""
    terms = basis(_middles(peaks.shape[1]))
    place = np.arange(-half_px, half_px + 1, dtype=np.float64)
    shape = tracks.shape.copy()
    wide = peaks.astype(np.float64)
    near = wide
    for spread_px in (2.0, 1.5, 1.0, 0.8):
        away = place - (shape @ terms.T)[..., None]
        near = wide * np.exp(-0.5 * (away / spread_px) ** 2)
        weight = near.sum(axis=2)
        target = near @ place
        normal = np.einsum("ls,si,sj->lij", weight, terms, terms) + 1e-3 * np.eye(3)
        shape = np.linalg.solve(normal, (target @ terms + 1e-3 * shape)[..., None])[..., 0]
    return Tracks(shape, near.max(axis=2).mean(axis=1))
