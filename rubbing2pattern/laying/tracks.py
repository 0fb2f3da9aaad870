"""First look: where the leads of a raw net run, how wide each is, and where each runs alone.

Legend: E edges of the net, N places along all of them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rubbing2pattern.fitting.ragged import Ints, quantiles
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.imaging.profiles import grid_across, grid_values
from rubbing2pattern.laying.ridge import ridge_deviation, ridge_near
from rubbing2pattern.laying.rows import (
    Ink,
    Mask,
    Rows,
    best_paths,
    ink_across,
    peaks,
    pieces_of,
    rows_along,
)
from rubbing2pattern.options.laying import LayingOptions
from rubbing2pattern.reading import Grid, LeadMap, Rubbing


@dataclass(frozen=True, slots=True)
class Tracks:
    """Edges as measured.

    Attributes
    ----------
    rows : places along the raw paths.
    centre : (N, 2) middle of the lead in mm.
    seen : (N,) fall of density at its edges over the local strength, about 1 on good lead.
    local_mm : (N,) width of the dark; more than the lead's where leads run together.
    width_mm : (E,) width of the lead where it runs alone.
    ridge : (N, 2) place of the map's ridge in mm.
    ridge_mm : (N,) its deviation; infinite where there is none.
    """

    rows: Rows
    centre: Array
    seen: Array
    local_mm: Array
    width_mm: Array
    ridge: Array
    ridge_mm: Array

    def alone(self, options: LayingOptions) -> Mask:
        """Say where the lead is seen and the dark is not wider than it, (N,)."""
        width = self.width_mm[self.rows.owner]
        limit = width * (1.0 + options.merged) + options.merged_mm
        return np.asarray((self.local_mm <= limit) & (self.seen > options.seen_above))


def tracked(
    paths: list[Array],
    rubbing: Rubbing,
    lead: LeadMap,
    options: LayingOptions,
) -> Tracks:
    """Centre every edge on its lead.

    Strategy: a box of the lead's width is slid across every profile, and the best smooth path
    through the scores is taken for all edges at once; the two edges of the leaf are then found on
    either side of it. The width is first guessed from the map, then read, and stays near what the
    map has where it is narrow: a pale hollow band reads too narrow, a short lead that ends under a
    wide leaf too wide.
    """
    rows = rows_along(paths, options.step_mm, 3.0)
    predicted = grid_values(lead.maps.width_mm, lead, rows.base)
    guess = np.clip(_by_edge(predicted, rows, 0.5), 2.5, 22.0)
    narrow = _by_edge(predicted, rows, 0.2)
    least, most = options.least_share * narrow, options.most_share * narrow
    half = options.search_mm + 0.5 * float(guess.max()) + 3.0 * options.strip_mm
    ink = ink_across(rows, rubbing, lead, half, options.profile_step_mm, options.along_mm)
    reach = round(options.search_mm / ink.step_mm)
    searched = len(ink.off_mm) // 2 + np.arange(-reach, reach + 1)
    extra = grid_across(lead.maps.centre, lead, rows.base, rows.normal, ink.off_mm[searched])
    for _ in range(2):
        shift = _centred(rows, ink, guess, extra, searched)
        local = _dark_span(rows, ink, shift, guess)
        guess = np.clip(_lone_width(rows, local, guess), least, most).clip(2.0, 24.0)
    width = guess[rows.owner]
    place, fall = edges_near(ink, shift, 0.5 * width, options)
    both = 0.5 * (place[0] + place[1])
    seen = np.minimum(*fall) / ink.strength
    ridge = ridge_near(rows, lead, options, options.ridge_near_mm)
    return Tracks(
        rows,
        rows.base + both[:, None] * rows.normal,
        seen,
        local,
        guess,
        rows.base + ridge.off_mm[:, None] * rows.normal,
        ridge_deviation(ridge, rows, pieces_of(rows), options),
    )


def _by_edge(values: Array | Grid, rows: Rows, share: float) -> Array:
    """Quantile of the inner half of every edge, (E,)."""
    counts = np.diff(rows.first)[rows.owner]
    here = np.arange(len(values)) - rows.first[rows.owner]
    inner = (here >= counts // 4) & (here < counts - counts // 4)
    return quantiles(values[inner], rows.owner[inner], rows.lines, share)


def _centred(rows: Rows, ink: Ink, guess: Array, extra: Grid, at: Ints) -> Array:
    """Offset of the best path of a box through columns of all profiles, (N,) mm."""
    step = ink.step_mm
    width = guess[rows.owner]
    half = np.maximum(1, np.round(0.42 * width / step)).astype(np.int64)[:, None]
    gap = np.round((0.5 * width + 0.4) / step).astype(np.int64)[:, None]
    flank = np.maximum(3, np.round(0.3 * width / step)).astype(np.int64)[:, None]
    core = ink.mean(at - half, at + half + 1)
    left = ink.mean(at + gap, at + gap + flank)
    right = ink.mean(at - gap - flank, at - gap)
    score = (core - np.maximum(left, right)) / ink.strength[:, None] + extra
    return np.asarray(ink.off_mm[at[best_paths(score, rows, 0.05)]], dtype=np.float64)


def _dark_span(rows: Rows, ink: Ink, shift: Array, guess: Array) -> Array:
    """Return the width of the dark around the middle, (N,) mm.

    The search begins at 0.3 of the width from the middle, so that a hollow band is not two.
    """
    step, m = ink.step_mm, ink.density.shape[1]
    zero = len(ink.off_mm) // 2 + np.round(shift / step).astype(np.int64)
    width = guess[rows.owner]
    half = np.maximum(1, np.round(0.4 * width / step)).astype(np.int64)[:, None]
    gap = np.round((0.5 * width + 0.6) / step).astype(np.int64)[:, None]
    core = ink.mean(zero[:, None] - half, zero[:, None] + half + 1)[:, 0]
    side = [ink.mean(zero[:, None] + a, zero[:, None] + a + 5)[:, 0] for a in (gap, -gap - 5)]
    top = _by_edge(core, rows, 0.5)[rows.owner]
    foot = _by_edge(np.minimum(*side), rows, 0.3)[rows.owner]
    level = foot + 0.5 * (top - foot)
    start = np.maximum(1, np.round(0.3 * width / step)).astype(np.int64)
    span = np.arange(m // 2)
    reach = []
    for way in (1, -1):
        column = zero[:, None] + way * (start[:, None] + span)
        pale = np.take_along_axis(ink.density, np.clip(column, 0, m - 1), 1) < level[:, None]
        pale |= (column <= 0) | (column >= m - 1)
        reach.append((start + pale.argmax(axis=1)) * step)
    return np.asarray(reach[0] + reach[1] - step)


def _lone_width(rows: Rows, local: Array, guess: Array) -> Array:
    """Width where an edge runs alone: the lower third outside the solder of its ends, (E,)."""
    length = rows.length_mm
    reach = np.minimum(0.8 * guess + 1.0, 0.3 * length)[rows.owner]
    inner = (rows.along_mm >= reach) & (rows.along_mm <= length[rows.owner] - reach)
    lower = quantiles(local[inner], rows.owner[inner], rows.lines, 0.35)
    return np.where(np.isnan(lower), guess, lower)


def edges_near(
    ink: Ink, middle_mm: Array, half_mm: Array, options: LayingOptions
) -> tuple[Array, Array]:
    """Return where the leaf's left and right edge are found, (2, N) mm, and the fall there, (2, N).

    Parameters
    ----------
    middle_mm, half_mm : (N,) offset of the middle, and how far from there both are expected.
    """
    zero, reach = len(ink.off_mm) // 2, round(options.edge_mm / ink.step_mm)
    steps = ink.steps(options.strip_mm)
    place, height = [], []
    for way in (1, -1):
        expected = zero + np.round((middle_mm + way * half_mm) / ink.step_mm).astype(np.int64)
        column, fall = peaks(way * steps, expected - reach, expected + reach)
        place.append((column - zero) * ink.step_mm)
        height.append(fall)
    return np.array(place), np.array(height, dtype=np.float64)
