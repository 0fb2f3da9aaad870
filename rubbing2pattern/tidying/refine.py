"""Centre a strand on its lead, to a fraction of a pixel, and see how wide and how sure it is.

Legend: N places along the strand, M offsets across, C shifts tried.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from rubbing2pattern.curves import running_length
from rubbing2pattern.frame import Array
from rubbing2pattern.imaging.profiles import (
    evenly,
    grid_values,
    left_normals,
    offsets,
    sample,
)
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.reading import Grid, LeadMap, Rubbing
from rubbing2pattern.tidying.web import Strand

Steps = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Track:
    """A strand as measured.

    Attributes
    ----------
    points : (N, 2) centres in mm.
    along_mm : (N,) running length.
    response : (N,) centre minus the darker flank over the local strength, about 1 on good lead.
    local_mm : (N,) width of the dark at each place; more than the lead's where leads run together.
    lone_mm : width where the lead runs alone, the lower quartile of `local_mm`.
    width_mm : full width at half the height of the mean profile.
    roughness_mm : how much the raw centres stray from a smooth line.
    asymmetry : difference of the two flanks over the contrast.
    known : (N,) True where a place counts although solder or another lead lies near.
    """

    points: Array
    along_mm: Array
    response: Array
    local_mm: Array
    lone_mm: float
    width_mm: float
    roughness_mm: float
    asymmetry: float
    known: npt.NDArray[np.bool_]

    @classmethod
    def unseen(cls, path: Array, width_mm: float) -> Track:
        """Return the track of a strand that nothing shows: its path, with no weight."""
        points = evenly(path, 0.75)
        along = running_length(points)
        none, wide = np.zeros(len(points)), np.full(len(points), 2.0 * width_mm)
        return cls(points, along, none, wide, width_mm, width_mm, 0.0, 0.0, none > 0)

    @property
    def seen_at_all(self) -> bool:
        """Whether any of it was measured."""
        return bool((self.response > 0.0).any())

    def then(self, other: Track) -> Track:
        """Return this track with another that begins where it ends."""
        on = other.along_mm + self.along_mm[-1] + 1e-6
        longer = self if self.along_mm[-1] >= other.along_mm[-1] else other
        return Track(
            np.vstack((self.points, other.points)),
            np.concatenate((self.along_mm, on)),
            np.concatenate((self.response, other.response)),
            np.concatenate((self.local_mm, other.local_mm)),
            longer.lone_mm,
            longer.width_mm,
            max(self.roughness_mm, other.roughness_mm),
            max(self.asymmetry, other.asymmetry),
            np.concatenate((self.known, other.known)),
        )

    def backwards(self) -> Track:
        """Return the track run the other way."""
        return Track(
            self.points[::-1],
            self.along_mm[-1] - self.along_mm[::-1],
            self.response[::-1],
            self.local_mm[::-1],
            self.lone_mm,
            self.width_mm,
            self.roughness_mm,
            self.asymmetry,
            self.known[::-1],
        )


def refine(
    strand: Strand,
    clear: tuple[float, float],
    rubbing: Rubbing,
    lead: LeadMap,
    options: TidyOptions,
) -> Track:
    """Return the measured track of a strand.

    Strategy: a box of the strand's width is slid across every profile and the best smooth path
    through the scores is taken; profiles aligned on it give a mean profile and the width, and both
    edges are then found at each place to a fraction of a step. `clear` is what to leave out at
    either end of the strand when the mean profile is made, in mm.
    """
    closed = strand.a == strand.b
    base = evenly(strand.path, options.step_mm)
    normal = left_normals(base, closed)
    off = offsets(options.profile_half_mm, options.profile_step_mm)
    profiles = sample(rubbing, lead, base, normal, off)
    step = float(np.hypot(*(base[1] - base[0])))
    wide = max(1.0, strand.width_mm / 5.0)
    smooth = _along(profiles.density, options.along_mm * wide / max(step, 1e-6), closed)
    strength = grid_values(lead.strength, lead, base)
    search = min(options.search_mm, 0.5 * strand.width_mm + 1.2)
    scores, shifts = _box_scores(smooth, off, strand.width_mm, search)
    raw = best_path(scores / strength[:, None], 0.05)
    along = running_length(base)
    inner = (along > clear[0]) & (along < along[-1] - clear[1])
    if inner.sum() < 3:
        inner = np.ones(len(base), dtype=bool)
    template, width = _template(smooth, off, shifts[raw], inner, strand.width_mm)
    top = float(np.percentile(template[np.abs(off) < 0.5 * width], 75.0))
    fine = _matched(smooth, off, shifts[raw], width, top)
    response = scores[np.arange(len(raw)), raw] / strength
    line = ndimage.gaussian_filter1d(shifts[raw], 5.0 / max(step, 1e-6), mode="nearest")
    rough = float(np.std((shifts[raw] - line)[inner]))
    points = base + fine[:, None] * normal
    local = _local_widths(smooth, off, fine, width, top)
    lone = float(np.clip(np.percentile(local[inner], 25.0), 1.0, width))
    return Track(
        points,
        along,
        response,
        local,
        lone,
        width,
        rough,
        _asymmetry(smooth, off, fine, width, inner),
        np.zeros(len(points), dtype=bool),
    )


def best_path(scores: Grid, bend: float) -> np.ndarray:
    """Return for each row the column of the path with the greatest sum of scores, (N,) int.

    Neighbouring rows differ by at most two columns; a step of d columns costs `bend` * d**2
    (dynamic programming, Bellman 1957).
    """
    n, c = scores.shape
    total = scores[0].astype(np.float64)
    came_from = np.zeros((n, c), dtype=np.int8)
    moves = (0, -1, 1, -2, 2)
    padded = np.full(c + 4, -np.inf)
    stack = np.empty((len(moves), c))
    for i in range(1, n):
        padded[2:-2] = total
        for j, m in enumerate(moves):
            stack[j] = padded[2 + m : 2 + m + c] - bend * m * m
        which = stack.argmax(axis=0)
        came_from[i] = which
        total = stack[which, np.arange(c)] + scores[i]
    path = np.empty(n, dtype=np.int64)
    path[-1] = int(total.argmax())
    for i in range(n - 1, 0, -1):
        path[i - 1] = path[i] + moves[came_from[i, path[i]]]
    return path


def _along(density: Grid, sigma: float, closed: bool) -> Grid:
    mode = "wrap" if closed else "nearest"
    return np.asarray(ndimage.gaussian_filter1d(density, sigma, axis=0, mode=mode))


def _box_scores(density: Grid, off: Array, width_mm: float, search_mm: float) -> tuple[Grid, Array]:
    """Centre mean less the darker flank for every shift, (N, C), and the shifts in mm, (C,)."""
    step = float(off[1] - off[0])
    zero = len(off) // 2
    reach = round(search_mm / step)
    half = max(1, round(0.42 * width_mm / step))
    gap = round((0.5 * width_mm + 0.4) / step)
    flank = max(2, round(max(1.2, 0.3 * width_mm) / step))
    limit = len(off) - 1
    total = np.concatenate(
        (np.zeros((len(density), 1), np.float32), np.cumsum(density, axis=1)), axis=1
    )

    def mean(first: Steps, last: Steps) -> Grid:
        a, b = np.clip(first, 0, limit), np.clip(last, 0, limit)
        b = np.maximum(b, a)
        return np.asarray((total[:, b + 1] - total[:, a]) / (b + 1 - a), dtype=np.float32)

    at: Steps = zero + np.arange(-reach, reach + 1, dtype=np.int64)
    core = mean(at - half, at + half)
    left = mean(at + gap, at + gap + flank)
    right = mean(at - gap - flank, at - gap)
    return core - np.maximum(left, right), np.asarray((at - zero) * step, dtype=np.float64)


def _template(
    density: Grid, off: Array, shift: Array, inner: np.ndarray, guess_mm: float
) -> tuple[Grid, float]:
    """Mirror mean of the aligned profiles and its full width at half height."""
    step = float(off[1] - off[0])
    aligned = _aligned(density[inner], np.round(shift[inner] / step).astype(np.int64))
    profile = np.median(aligned, axis=0)
    profile = 0.5 * (profile + profile[::-1])
    return profile.astype(np.float32), half_width(profile, off, guess_mm)


def _aligned(density: Grid, steps: np.ndarray) -> Grid:
    m = density.shape[1]
    columns = np.clip(np.arange(m)[None, :] + steps[:, None], 0, m - 1)
    return np.asarray(np.take_along_axis(density, columns, axis=1))


def half_width(profile: Array | Grid, off: Array, guess_mm: float) -> float:
    """Full width at half height of a profile centred on 0; height over its foot.

    The plateau is the mean of what lies above 0.8 of the greatest value near the middle, so that a
    hollow band (dark edges, paler middle) and a round lead are read alike.
    """
    zero = len(off) // 2
    step = float(off[1] - off[0])
    reach = round((0.5 * guess_mm + 1.0) / step)
    core = profile[zero - reach : zero + reach + 1]
    top = float(np.mean(core[core >= 0.8 * core.max()]))
    foot_range = round((0.5 * guess_mm + 3.0) / step)
    foot = float(np.min(profile[max(0, zero - foot_range) : zero + foot_range + 1]))
    level = foot + 0.5 * (top - foot)
    sides = []
    for direction in (1, -1):
        half = profile[zero::direction]
        above = np.nonzero(half[: foot_range + 1] >= level)[0]
        below = np.nonzero(half[: len(half)] < level)[0]
        after = below[below > (above[0] if above.size else 0)]
        # A hollow middle may dip under the level: the flank is the last crossing near the guess.
        near = after[after >= 0.3 * guess_mm / step] if after.size else after
        if not near.size or near[0] == 0:
            sides.append(0.5 * guess_mm)
            continue
        i = int(near[0])
        a, b = float(half[i - 1]), float(half[i])
        sides.append((i - 1 + (a - level) / max(a - b, 1e-9)) * step)
    return float(np.clip(sum(sides), 1.0, 20.0))


def _matched(density: Grid, off: Array, shift: Array, width_mm: float, top: float) -> Array:
    """Shift (N,) at which both edges of the lead fit best, to a fraction of a step by a parabola.

    Only strips on either side of the two edges count: the blotchy middle of a wide lead says
    nothing about where it runs. Ink beyond the plateau is cut off, so that solder weighs no more
    than lead.
    """
    step = float(off[1] - off[0])
    zero = len(off) // 2
    strip = min(1.6, 0.4 * width_mm)
    reach = min(zero - 8, round((0.5 * width_mm + strip) / step))
    x = np.abs(np.arange(-reach, reach + 1) * step) - 0.5 * width_mm
    # Soft ends of the strips, so that the kernel moves smoothly with the width.
    kernel = np.clip(-x / 0.3, -1.0, 1.0) * np.clip((strip - np.abs(x)) / step + 0.5, 0.0, 1.0)
    kernel = (kernel - kernel.mean()).astype(np.float32)
    lag = np.arange(-7, 8)
    base = np.round(shift / step).astype(np.int64)
    columns = zero + base[:, None] + np.arange(-reach - 7, reach + 8)[None, :]
    part = np.take_along_axis(density, np.clip(columns, 0, len(off) - 1), axis=1)
    part = np.minimum(part, top)
    score = np.lib.stride_tricks.sliding_window_view(part, 2 * reach + 1, axis=1) @ kernel
    best = np.clip(score.argmax(axis=1), 1, len(lag) - 2)
    rows = np.arange(len(density))
    a, b, c = score[rows, best - 1], score[rows, best], score[rows, best + 1]
    curve = np.minimum(a - 2 * b + c, -1e-9)
    sub = np.clip(0.5 * (a - c) / curve, -1.0, 1.0)
    return np.asarray((base + lag[best] + sub) * step, dtype=np.float64)


def _local_widths(density: Grid, off: Array, shift: Array, width_mm: float, top: float) -> Array:
    """Distance between the first places on either side that are paler than half of the plateau.

    The search begins at 0.3 of the width from the middle, so that a hollow band is not two.
    """
    step = float(off[1] - off[0])
    zero = len(off) // 2
    base = zero + np.round(shift / step).astype(np.int64)
    start = max(1, round(0.3 * width_mm / step))
    span = zero - 6 - start
    total = np.zeros(len(density))
    for side in (1, -1):
        columns = base[:, None] + side * np.arange(start, start + span)[None, :]
        pale = np.take_along_axis(density, np.clip(columns, 0, len(off) - 1), axis=1) < 0.5 * top
        first = np.where(pale.any(axis=1), pale.argmax(axis=1), span)
        total += (start + first) * step
    return total


def _asymmetry(
    density: Grid, off: Array, shift: Array, width_mm: float, inner: np.ndarray
) -> float:
    step = float(off[1] - off[0])
    aligned = _aligned(density[inner], np.round(shift[inner] / step).astype(np.int64)).mean(axis=0)
    zero = len(off) // 2
    a, b = round((0.5 * width_mm + 0.5) / step), round((0.5 * width_mm + 2.5) / step)
    b = min(b, zero)
    a = min(a, b - 1)
    left, right = aligned[zero + a : zero + b + 1].mean(), aligned[zero - b : zero - a + 1].mean()
    core = aligned[zero - a // 2 : zero + a // 2 + 1].mean()
    return float(abs(left - right) / max(core - min(left, right), 1e-3))
