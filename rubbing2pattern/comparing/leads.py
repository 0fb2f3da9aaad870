"""Which came runs where which one ran: moved leads, changed widths, lost and added leads.

Legend for shapes: N places on a came, M of them on a stretch.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely

from rubbing2pattern.comparing.found import Fate, LeadPair, LoneLead
from rubbing2pattern.comparing.places import Bools, Indices, Places, ways
from rubbing2pattern.comparing.registering import Registration
from rubbing2pattern.geometry.curves import Point, as_point
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.model import Came, Panel
from rubbing2pattern.options.compare import CompareOptions

_BEYOND_MM = 0.5
"""A place may lie so far beyond the end of the other came."""
_ASLANT = 0.3
"""Of the way to the other came, at most so much along it."""
_LONE_SHARE = 0.8
"""With so much of it alone, a came is alone as a whole."""
_ALIKE = 0.98
"""Share of the greatest distance from which places are off alike."""
_PAIRED_SHARE = 0.5
"""Share of the shorter lead that must lie beside the other, where that is less than a length."""
_DETERMINED = 0.15
"""Ways in which a lead does not show its move well, by the ratio of singular values."""


@dataclass(frozen=True, slots=True)
class _Beside:
    """The places of a came before that lie beside a came after.

    Attributes
    ----------
    before, after : indices of the cames.
    places : (M,) indices among the places of the came before.
    gaps : (M, 2) from each place to the came after.
    cells : (M,) the cell of the came after in which that end lies.
    """

    before: int
    after: int
    places: Indices
    gaps: Array
    cells: Indices

    @property
    def away_mm(self) -> float:
        """Mean distance."""
        return float(np.mean(np.hypot(*self.gaps.T)))


@dataclass(frozen=True, slots=True)
class PairedLeads:
    """All leads of both: those that belong together, and those alone."""

    pairs: tuple[LeadPair, ...]
    lone: tuple[LoneLead, ...]


def pair_leads(
    before: Panel, after: Panel, found: Registration, options: CompareOptions
) -> PairedLeads:
    """Say which came runs where which one ran.

    Rules:

    1. a place on a came before lies beside a came after when that runs about the same way, right
       across from it, within `reach_mm`;
    2. pairs of cames are taken in the order of their distance, and each bit of lead is given away
       once, so that of two leads side by side each keeps its own;
    3. a pair must have `least_length_mm` in common, or half of the shorter came;
    4. what is left over is lost or added, unless it is a bit at the end of a came no longer than
       `least_length_mm` and what the leads that meet there moved.
    """
    one = Places.of(before.cames, options.step_mm)
    other = Places.of(after.cames, options.step_mm).moved(found.motion)
    taken = np.zeros(len(one.at), dtype=bool)
    given = np.zeros(len(other.at), dtype=bool)
    pairs: list[LeadPair] = []
    beside = sorted(_besides(one, other, options), key=lambda b: (b.away_mm, b.before, b.after))
    sure = _Doubt(before, after, found, options)
    for near in beside:  # rule 2
        start, own_start = int(one.first[near.before]), int(other.first[near.after])
        free = ~taken[start + near.places] & ~given[own_start + near.cells]
        if not _enough(free, near, one, other, options):  # rule 3
            continue
        for part in _runs(free, near.places):
            taken[start + near.places[part]] = True
            cells = near.cells[part]
            given[own_start + cells.min() : own_start + cells.max() + 1] = True
        pairs.append(_pair(near, free, one, before, after, sure))
    moved = _moves_at_joints(pairs, before, after)
    lone = [
        *_lone(Fate.LOST, before, one, taken, moved[0], options),
        *_lone(Fate.ADDED, after, other, given, moved[1], options),
    ]
    order = {came.id: k for k, came in enumerate(before.cames)}
    own = {came.id: k for k, came in enumerate(after.cames)}
    pairs.sort(key=lambda p: (order[p.before], own[p.after]))
    return PairedLeads(tuple(pairs), tuple(lone))


def _besides(one: Places, other: Places, options: CompareOptions) -> Iterator[_Beside]:
    tree = shapely.STRtree(other.lines)
    ends = tree.query(one.lines, predicate="dwithin", distance=options.reach_mm)
    for i, j in sorted(zip(*ends.tolist(), strict=True)):
        near = _beside(i, j, one, other, options)
        if near is not None:
            yield near


def _beside(i: int, j: int, one: Places, other: Places, options: CompareOptions) -> _Beside | None:
    own = one.of_came(i)
    at, way = one.at[own], one.way[own]
    line = other.lines[j]
    length = float(shapely.length(line))
    along = shapely.line_locate_point(line, shapely.points(at))
    gaps = shapely.get_coordinates(shapely.line_interpolate_point(line, along)) - at
    lines = np.full(len(at), line, dtype=object)
    there = ways(lines, along)
    away = np.hypot(*gaps.T)
    lengthwise = np.abs(np.sum(gaps * there, axis=1))
    ok = away <= options.reach_mm  # rule 1
    ok &= np.abs(np.sum(way * there, axis=1)) >= math.cos(math.radians(options.turn_deg))
    ok &= lengthwise <= np.maximum(_BEYOND_MM, _ASLANT * away)
    if not ok.any():
        return None
    count = int(other.first[j + 1] - other.first[j])
    cells = np.clip((along[ok] / length * count).astype(int), 0, count - 1)
    return _Beside(i, j, np.flatnonzero(ok), gaps[ok], cells)


def _enough(
    free: Bools, near: _Beside, one: Places, other: Places, options: CompareOptions
) -> bool:
    cell = float(one.cell_mm[one.first[near.before]])
    shorter = min(
        float(shapely.length(one.lines[near.before])),
        float(shapely.length(other.lines[near.after])),
    )
    least = min(options.least_length_mm, _PAIRED_SHARE * shorter)
    return bool(free.any()) and float(free.sum()) * cell >= least


def _runs(free: Bools, places: Indices) -> Iterator[Indices]:
    """Yield the indices of free places that follow each other without a break."""
    here = np.flatnonzero(free)
    yield from np.split(here, np.flatnonzero(np.diff(places[here]) > 1) + 1)


@dataclass(frozen=True, slots=True)
class _Doubt:
    """How far the place of a lead can be trusted, of both rubbings together."""

    before: Panel
    after: Panel
    found: Registration
    options: CompareOptions

    def of_move(self, came: Came, own: Came, at: Point) -> float:
        """Return one standard deviation of a move at a place."""
        spread = [self._ends(self.before, came), self._ends(self.after, own)]
        far = math.dist(at, as_point(self.found.middle))
        scale = math.hypot(
            self.before.scale.relative_uncertainty, self.after.scale.relative_uncertainty
        )
        return math.hypot(*spread, self.found.uncertainty_mm, far * scale)

    def _ends(self, panel: Panel, came: Came) -> float:
        ends = [j.uncertainty_mm for j in panel.joints if j.id in (came.start, came.end)]
        return math.sqrt(sum(u * u for u in ends) / len(ends)) if ends else 0.0

    def is_move(self, amount_mm: float, uncertainty_mm: float) -> bool:
        """Return whether an amount is above the doubt; an unknown one is ignored."""
        least = max(self.options.least_move_mm, self.options.sure * uncertainty_mm)
        return amount_mm >= least

    def is_wider(self, amount_mm: float, uncertainty_mm: float) -> bool:
        """Return whether a change of width is above the doubt."""
        least = max(self.options.least_width_mm, self.options.sure * uncertainty_mm)
        return abs(amount_mm) >= least


def _pair(
    near: _Beside, free: Bools, one: Places, before: Panel, after: Panel, doubt: _Doubt
) -> LeadPair:
    came, own = before.cames[near.before], after.cames[near.after]
    start = int(one.first[near.before])
    places = start + near.places[free]
    at, gaps = one.at[places], near.gaps[free]
    far = _steadied(np.hypot(*gaps.T))
    k = _in_the_middle(far)
    most_at = as_point(at[k])
    uncertainty = doubt.of_move(came, own, most_at)
    width_sd = math.hypot(came.face_width_uncertainty_mm, own.face_width_uncertainty_mm)
    return LeadPair(
        came.id,
        own.id,
        float(free.sum() * one.cell_mm[start]),
        _frozen(at),
        _shift(gaps, one.way[places]),
        float(far.max()),
        most_at,
        as_point(at[k] + gaps[k]),
        uncertainty,
        doubt.is_move(float(far.max()), uncertainty),
        came.face_width_mm,
        own.face_width_mm,
        width_sd,
        came.stock,
        own.stock,
        doubt.is_wider(own.face_width_mm - came.face_width_mm, width_sd),
    )


def _in_the_middle(far: Array) -> int:
    """Return where a lead is off most; of places that are off alike, the most central."""
    most = np.flatnonzero(far >= _ALIKE * far.max())
    return int(most[np.argmin(np.abs(most - 0.5 * (len(far) - 1)))])


def _frozen(points: Array) -> Array:
    points = points.copy()
    points.setflags(write=False)
    return points


def _steadied(amounts: Array) -> Array:
    """Return the median of each amount (M,) and its neighbours: one odd place is not a move."""
    if len(amounts) < 3:
        return amounts
    ends = np.concatenate((amounts[:1], amounts, amounts[-1:]))
    return np.asarray(np.median(np.stack((ends[:-2], ends[1:-1], ends[2:])), axis=0))


def _shift(gaps: Array, way: Array) -> Point:
    """Return the shift that explains the distances across a lead best.

    Across direction n the shift s shows as n . s. A straight lead shows only that part; a
    curved one, whose n differ, shows all of it.
    """
    across = np.column_stack((-way[:, 1], way[:, 0]))
    shift, *_ = np.linalg.lstsq(across, np.sum(gaps * across, axis=1), rcond=_DETERMINED)
    return as_point(shift)


def _moves_at_joints(
    pairs: list[LeadPair], before: Panel, after: Panel
) -> tuple[dict[str, float], dict[str, float]]:
    """Return how far the leads that meet at each joint moved at most, before and after."""
    most: tuple[dict[str, float], dict[str, float]] = ({}, {})
    for panel, moves, side in ((before, most[0], "before"), (after, most[1], "after")):
        cames = {came.id: came for came in panel.cames}
        for pair in pairs:
            came = cames[getattr(pair, side)]
            for joint in (came.start, came.end):
                moves[joint] = max(moves.get(joint, 0.0), pair.most_mm)
    return most


def _lone(
    fate: Fate,
    panel: Panel,
    places: Places,
    paired: Bools,
    moved_mm: dict[str, float],
    options: CompareOptions,
) -> Iterator[LoneLead]:
    for k, came in enumerate(panel.cames):
        own = places.of_came(k)
        alone = ~paired[own]
        cell = float(places.cell_mm[own.start])
        at = places.at[own]
        if alone.mean() >= _LONE_SHARE:
            length = float(len(at) * cell)
            if length >= options.least_length_mm:
                yield LoneLead(fate, came.id, True, length, _frozen(at), came.face_width_mm)
            continue
        for run in _runs(alone, np.arange(len(at))):
            least = options.least_length_mm  # rule 4
            if len(run) and run[0] == 0:
                least += moved_mm.get(came.start, 0.0)
            if len(run) and run[-1] == len(at) - 1:
                least += moved_mm.get(came.end, 0.0)
            if len(run) >= 2 and len(run) * cell > least:
                length = float(len(run) * cell)
                yield LoneLead(fate, came.id, False, length, _frozen(at[run]), came.face_width_mm)
