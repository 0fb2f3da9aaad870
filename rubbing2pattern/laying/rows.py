"""Ragged rows: places along many lines at once, and the profiles of density across them.

Legend: E lines, N places of all lines one after another, M offsets across.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import shapely

from rubbing2pattern.fitting.ragged import Ints, firsts
from rubbing2pattern.geometry.curves import points_at, running_length, spaced
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.imaging.profiles import grid_values, offsets, sample
from rubbing2pattern.reading import Grid, LeadMap, Rubbing

Mask = npt.NDArray[np.bool_]

_CHUNK = 16
"""Places in a polyline that is looked up as one; any number gives the same result."""


@dataclass(frozen=True, slots=True)
class Rows:
    """Places along lines.

    Attributes
    ----------
    base, normal : (N, 2) places in mm and unit vectors to the left of the line.
    owner : (N,) number of the line.
    along_mm : (N,) running length on it.
    first : (E + 1,) index of the first place of every line.
    """

    base: Array
    normal: Array
    owner: Ints
    along_mm: Array
    first: Ints

    def of(self, line: int) -> slice:
        """Return where the places of a line lie."""
        return slice(int(self.first[line]), int(self.first[line + 1]))

    @property
    def lines(self) -> int:
        """Return how many lines there are."""
        return len(self.first) - 1

    @property
    def length_mm(self) -> Array:
        """Length of every line, (E,)."""
        return np.asarray(self.along_mm[self.first[1:] - 1])


def rows_along(paths: Sequence[Array], step_mm: float, turn_mm: float) -> Rows:
    """Return even places on polylines; a normal is square to the chord of `turn_mm` either way."""
    lengths = [running_length(p) for p in paths]
    counts = np.array([max(3, round(s[-1] / step_mm) + 1) for s in lengths], dtype=np.int64)
    first = np.concatenate(([0], np.cumsum(counts)))
    at = [spaced(0.0, s[-1], n) for s, n in zip(lengths, counts.tolist(), strict=True)]
    base = np.vstack([points_at(p, s, a) for p, s, a in zip(paths, lengths, at, strict=True)])
    owner = np.repeat(np.arange(len(paths)), counts)
    reach = max(1, round(turn_mm / step_mm))
    here = np.arange(len(base))
    before = np.maximum(here - reach, first[owner])
    after = np.minimum(here + reach, first[owner + 1] - 1)
    chord = base[after] - base[before]
    chord /= np.maximum(np.hypot(chord[:, 0], chord[:, 1]), 1e-9)[:, None]
    normal = np.column_stack((-chord[:, 1], chord[:, 0]))
    return Rows(base, normal, owner, np.concatenate(at), first)


@dataclass(frozen=True, slots=True)
class Ink:
    """Density across rows, averaged along them.

    Attributes
    ----------
    off_mm : (M,) offsets, positive to the left.
    density : (N, M).
    summed : (N, M + 1) running sums of `density`, 0 first.
    strength : (N,) density of lead nearby.
    """

    off_mm: Array
    density: Grid
    summed: Grid
    strength: Grid

    @property
    def step_mm(self) -> float:
        """Distance of two offsets."""
        return float(self.off_mm[1] - self.off_mm[0])

    def mean(self, low: Ints, high: Ints) -> Grid:
        """Mean density from columns `low` to before `high`, each (N, C)."""
        last = self.density.shape[1]
        a = np.clip(low, 0, last - 1)
        b = np.clip(high, a + 1, last)
        total = np.take_along_axis(self.summed, b, 1) - np.take_along_axis(self.summed, a, 1)
        return np.asarray(total / (b - a), dtype=np.float32)

    def steps(self, strip_mm: float) -> Grid:
        """Fall of density at every offset, from the strip before it to the one after, (N, M)."""
        k = max(1, round(strip_mm / self.step_mm))
        m = self.density.shape[1]
        column = np.arange(m)
        mid = self.summed[:, :-1] + 0.5 * self.density  # up to the middle of a column
        low, high = np.maximum(column - k, 0), np.minimum(column + k, m - 1)
        before = (mid - mid[:, low]) / np.maximum(column - low, 1)
        after = (mid[:, high] - mid) / np.maximum(high - column, 1)
        fall = before - after
        fall[:, :2] = fall[:, -2:] = 0.0
        return np.asarray(fall, dtype=np.float32)


def ink_across(
    rows: Rows,
    rubbing: Rubbing,
    lead: LeadMap,
    half_mm: float,
    step_mm: float,
    along_mm: float,
) -> Ink:
    """Sample the picture across rows; every profile is the mean of `along_mm` either way."""
    off = offsets(half_mm, step_mm)
    raw = sample(rubbing, lead, rows.base, rows.normal, off).density
    density = along_mean(raw, rows, along_mm)
    summed = np.zeros((len(raw), raw.shape[1] + 1), dtype=np.float32)
    np.cumsum(density, axis=1, out=summed[:, 1:])
    return Ink(off, density, summed, grid_values(lead.strength, lead, rows.base))


def along_mean(values: Grid, rows: Rows, along_mm: float) -> Grid:
    """Mean of values (N, M) over `along_mm` either way along each row."""
    total = np.zeros((len(values) + 1, values.shape[1]))
    np.cumsum(values, axis=0, out=total[1:])
    spacing = np.median(np.diff(rows.along_mm[rows.of(0)])) if len(rows.base) else 1.0
    reach = max(0, round(along_mm / max(float(spacing), 1e-6)))
    here = np.arange(len(values))
    low = np.maximum(here - reach, rows.first[rows.owner])
    high = np.minimum(here + reach + 1, rows.first[rows.owner + 1])
    mean = (total[high] - total[low]) / (high - low)[:, None]
    return np.asarray(mean, dtype=np.float32)


def best_paths(scores: Grid, rows: Rows, bend: float) -> Ints:
    """Return for every place the column on its line's path with the greatest sum of scores, (N,).

    All lines go together (dynamic programming, Bellman 1957); a step of d columns costs
    `bend` * d**2, and no step is wider than two.
    """
    counts = np.diff(rows.first)
    order = np.argsort(-counts, kind="stable")
    c = scores.shape[1]
    longest = int(counts[order[0]])
    total = scores[rows.first[order]].astype(np.float64)
    came_from = np.zeros((longest, len(order), c), dtype=np.int8)
    moves = (0, -1, 1, -2, 2)
    alive = np.searchsorted(-counts[order], -np.arange(longest), side="left")
    for i in range(1, longest):
        n = int(alive[i])
        padded = np.full((n, c + 4), -np.inf)
        padded[:, 2:-2] = total[:n]
        options = np.stack([padded[:, 2 + m : 2 + m + c] - bend * m * m for m in moves])
        came_from[i, :n] = options.argmax(axis=0)
        total[:n] = options.max(axis=0) + scores[rows.first[order[:n]] + i]
    out = np.zeros(len(scores), dtype=np.int64)
    column = total.argmax(axis=1)
    step = np.array(moves)
    for i in range(longest - 1, -1, -1):
        n = int(alive[i]) if i else len(order)
        out[rows.first[order[:n]] + i] = column[:n]
        if i:
            column[:n] += step[came_from[i, np.arange(n), column[:n]]]
    return out


def peaks(values: Grid, low: Ints, high: Ints) -> tuple[Array, Grid]:
    """Return the place of the greatest value in columns low .. high of every row, to a fraction.

    Parameters
    ----------
    values : (N, M).
    low, high : (N,) first and last column.

    Returns
    -------
    place, height : (N,) in columns, and the value there.
    """
    m = values.shape[1]
    span = int((high - low).max()) + 1
    column = low[:, None] + np.arange(span)
    inside = np.where(
        column <= high[:, None], np.take_along_axis(values, np.clip(column, 0, m - 1), 1), -np.inf
    )
    best = np.clip(low + inside.argmax(axis=1), 1, m - 2)
    rows = np.arange(len(values))
    a, b, c = values[rows, best - 1], values[rows, best], values[rows, best + 1]
    bow = np.minimum(a - 2.0 * b + c, -1e-9)
    return best + np.clip(0.5 * (a - c) / bow, -0.5, 0.5), b


class Pieces(NamedTuple):
    """Lines cut into short polylines, and the number of the line of each."""

    drawn: npt.NDArray[np.object_]
    owner: Ints


def pieces_of(rows: Rows) -> Pieces:
    """Cut the lines into short polylines without what bends them by less than 0.02 mm."""
    drawn, owner = cut_short(rows.base, rows.owner, rows.lines)
    return Pieces(shapely.simplify(drawn, 0.02), owner)


def cut_short(points: Array, owner: Ints, lines: int) -> Pieces:
    """Cut polylines into short ones, each of which begins where the one before it ends.

    Parameters
    ----------
    points, owner : (N, 2) points of all polylines, and the number of the polyline of each.
    """
    first = firsts(owner, lines)
    at = np.arange(len(points)) - first[owner]
    begins = np.flatnonzero((at % _CHUNK == 0) & (at < np.diff(first)[owner] - 1))
    counts = np.minimum(_CHUNK + 1, first[owner[begins] + 1] - begins)
    number = np.repeat(np.arange(len(begins)), counts)
    here = np.arange(len(number)) + (begins - firsts(number, len(begins))[:-1])[number]
    return Pieces(shapely.linestrings(points[here], indices=number), owner[begins])


def beside(places: Array, owner: Ints, pieces: Pieces, reach_mm: Array | float) -> Near:
    """Return which pieces of other lines lie within their reach of places, and how far from them.

    Parameters
    ----------
    places, owner : (N, 2), and the number of the line that each belongs to.
    reach_mm : of all pieces, or (P,) of each.
    """
    points, reach = shapely.points(places), np.broadcast_to(reach_mm, pieces.owner.shape)
    grown = shapely.bounds(pieces.drawn) + reach[:, None] * np.array([-1.0, -1.0, 1.0, 1.0])
    at, piece = shapely.STRtree(shapely.box(*grown.T)).query(points)
    other = pieces.owner[piece] != owner[at]
    at, piece = at[other], piece[other]
    far = shapely.distance(points[at], pieces.drawn[piece])
    near = far < reach[piece]
    return Near(at[near], piece[near], far[near])


class Near(NamedTuple):
    """Pairs of a point and a piece, by their indices, and their distance in mm."""

    point: Ints
    piece: Ints
    far_mm: Array
