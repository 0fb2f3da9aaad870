"""Fragments put together: which of them fill an opening, and what is missing then.

A fragment is laid into what is still open of an opening. The edge of that hole is made of the cut
outline and of the broken edges of the parts already there, so one comparison serves a fragment
with a cut edge and one that has only neighbours.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias, cast

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon

from rubbing2pattern.geometry.frame import Array, Placement
from rubbing2pattern.matching.alike import groups_alike
from rubbing2pattern.matching.fragment_choice import Choice, chosen_with_margins
from rubbing2pattern.matching.fragment_edges import Glass
from rubbing2pattern.matching.fragment_joining import Borne, Part, borne_out, settled_together
from rubbing2pattern.matching.fragment_laying import Laying
from rubbing2pattern.matching.loose import Assembly, LoosePiece, Opening, Placed
from rubbing2pattern.matching.shapes import turned_over
from rubbing2pattern.options.fragments import FragmentOptions
from rubbing2pattern.options.match import MatchOptions

Area: TypeAlias = Polygon | MultiPolygon

_SLIVER_MM = 1.0
"""Half the width of slivers that are taken off a hole."""
_LEAST_AREA_MM2 = 30.0
"""Area of a hole that can hold a fragment."""
_TOO_LARGE = 1.1
"""Times the area of a hole from which a fragment is too large for it."""
_NEARLY = 0.9
"""Share of the area asked for from which a set is settled; settling moves it a little."""
_SAME_TURN = 0.97
"""Cosine of the turn within which a fragment lies the same way in two sets."""


@dataclass(frozen=True, slots=True)
class _State:
    """Some fragments in an opening, what is still open, and the sum of their values."""

    parts: tuple[Part, ...]
    hole: Area
    value: float

    @property
    def pieces(self) -> frozenset[int]:
        return frozenset(part.glass.piece for part in self.parts)


@dataclass(frozen=True, slots=True)
class _Joined:
    """Fragments settled together in an opening (an index)."""

    opening: int
    parts: tuple[Part, ...]
    borne: tuple[Borne, ...]

    def choice(self, options: FragmentOptions) -> Choice:
        """Return it for choosing; a gain that a stranger would have too is ignored."""
        return Choice(
            self.opening,
            frozenset(part.glass.piece for part in self.parts),
            sum(
                borne.value - _strangers_value(part.glass, options)
                for part, borne in zip(self.parts, self.borne, strict=True)
            ),
        )


def assemble(
    pieces: Sequence[LoosePiece],
    openings: Sequence[Opening],
    options: FragmentOptions,
    turning_over: bool = False,
) -> tuple[Assembly, ...]:
    """Return the openings that fragments fill, or fill in part, in the order of their numbers.

    Rules:

    1. in every opening the fragments that lie likeliest along its cut outline are laid first, then
       others into what is left open, several beginnings side by side;
    2. the likeliest sets of fragments are settled together by least squares;
    3. of all sets those are chosen that are likeliest together, each fragment and opening once;
    4. where the same set lies nearly as well in several openings, all of them are listed;
    5. a fragment whose place there is not likelier by `least_margin` than any way without it is
       left out, and so is one of whose edge too little meets its neighbours or the cut outline.

    Parameters
    ----------
    pieces : loose pieces that fit no opening as a whole; one that is cut off is not tried.
    openings : those still to be filled, in the panel's frame.
    turning_over : whether a fragment may be turned over.
    """
    glasses = [
        Glass.of(k, turned_over(piece.outline) if over else piece.outline, over, options)
        for k, piece in enumerate(pieces)
        for over in ((False, True) if turning_over else (False,))
        if piece.whole
    ]
    if not glasses or not openings:
        return ()
    laying = Laying(glasses, options)
    joined = []
    for k, states in enumerate(_grown(laying, openings, options)):
        cut = openings[k].cut
        for state in _best_of_each_set(states):
            if state.hole.area > (1.0 - _NEARLY * options.least_filled) * cut.area:
                continue
            parts = settled_together(state.parts, cut, options)
            joined.append(_Joined(k, parts, borne_out(parts, cut, options)))
    alike = _alike(openings, options)
    chosen = chosen_with_margins(
        [each.choice(options) for each in joined], alike, options.least_value, options.least_margin
    )
    found = []
    for each in chosen:
        opening = openings[joined[each.choice].opening]
        kept = _kept(joined[each.choice], each.doubtful, opening, options)
        if kept is not None:
            numbers = tuple(sorted(openings[k].number for k in each.openings))
            found.append(_assembly(kept, pieces, opening, numbers, options))
    return tuple(sorted(found, key=lambda assembly: assembly.number))


def _grown(
    laying: Laying, openings: Sequence[Opening], options: FragmentOptions
) -> list[list[_State]]:
    """Return the likeliest sets of fragments of every opening, of every count of parts.

    All openings grow by one part at a time. A set is not carried on when each of its fragments is
    part of a set elsewhere that is likelier by `elsewhere`.
    """
    found: list[list[_State]] = [[] for _ in openings]
    kept = [[_State((), opening.cut, 0.0)] for opening in openings]
    alone: list[dict[int, float]] = [{} for _ in openings]
    best: dict[int, float] = {}
    for _ in range(options.most_parts):
        kept = [
            _children(states, laying, single, options)
            for states, single in zip(kept, alone, strict=True)
        ]
        for state in itertools.chain(*kept):
            for piece in state.pieces:
                best[piece] = max(best.get(piece, -math.inf), state.value)
        kept = [
            [s for s in states if any(s.value > best[p] - options.elsewhere for p in s.pieces)]
            for states in kept
        ]
        for all_sets, states in zip(found, kept, strict=True):
            all_sets += states
    return found


def _best_of_each_set(states: Sequence[_State]) -> list[_State]:
    best: dict[frozenset[int], _State] = {}
    for state in states:
        known = best.get(state.pieces)
        if known is None or state.value > known.value:
            best[state.pieces] = state
    return list(best.values())


def _children(
    states: Sequence[_State], laying: Laying, alone: dict[int, float], options: FragmentOptions
) -> list[_State]:
    """Return the likeliest sets that are one of some sets and one fragment more.

    One half are those of greatest value; the other those that gain most by being together, above
    what each fragment is worth alone in that opening: small fragments that belong together are
    outweighed by large ones that do not. `alone` is filled when the first parts are laid.
    """
    added = [each for state in states for each in _added(state, laying, options)]
    if not alone:
        for each in added:
            alone[each.part.glass.piece] = max(alone.get(each.part.glass.piece, 0.0), each.value)
    kept: list[_Added] = []
    for together, count in ((False, options.kept_states), (True, 2 * options.kept_states)):
        for each in sorted(added, key=lambda e: (e.apart(alone, together), sorted(e.pieces))):
            if len(kept) == count:
                break
            if not any(each.is_like(other) for other in kept):
                kept.append(each)
    return [each.state() for each in kept]


@dataclass(frozen=True, slots=True, eq=False)
class _Added:
    """A state and one part more: the hole that is left is worked out only when it is wanted."""

    before: _State
    part: Part
    value: float

    @property
    def pieces(self) -> frozenset[int]:
        return self.before.pieces | {self.part.glass.piece}

    def apart(self, alone: Mapping[int, float], together: bool) -> float:
        """Return what it is worth apart, less its value: what is least comes first.

        Only what is gained by being `together` counts, or else the value alone.
        """
        worth = sum(alone.get(piece, 0.0) for piece in self.pieces) if together else 0.0
        return worth - self.value

    def is_like(self, other: _Added) -> bool:
        """Return whether both hold the same fragments turned the same way."""
        if self.pieces != other.pieces:
            return False
        turn = {part.glass.piece: part.turn for part in (*other.before.parts, other.part)}
        return all(
            math.cos(part.turn - turn[part.glass.piece]) > _SAME_TURN
            for part in (*self.before.parts, self.part)
        )

    def state(self) -> _State:
        """Return it as a state of its own."""
        left = _open(self.before.hole.difference(self.part.outline))
        return _State((*self.before.parts, self.part), left, self.value)


def _added(state: _State, laying: Laying, options: FragmentOptions) -> list[_Added]:
    """Return a state with one more part, each fragment in the ways in which it lies likeliest."""
    there = state.pieces
    room = _TOO_LARGE * state.hole.area
    allowed = [
        k
        for k, glass in enumerate(laying.glasses)
        if glass.piece not in there and glass.outline.area < room
    ]
    if not allowed or state.hole.is_empty:
        return []
    poses, value = laying.into(state.hole, allowed)
    found: list[_Added] = []
    seen: dict[int, int] = {}
    for k in np.flatnonzero(value > options.least_value):
        glass = laying.glasses[poses.glass[k]]
        if seen.get(glass.piece, 0) < options.kept_poses:
            seen[glass.piece] = seen.get(glass.piece, 0) + 1
            part = Part(glass, float(poses.turn[k]), poses.centre[k])
            found.append(_Added(state, part, state.value + float(value[k])))
    return found


def _open(area: Area) -> Area:
    """Return an area without slivers, and without parts too small for a fragment."""
    wide = area.buffer(-_SLIVER_MM, join_style="mitre").buffer(_SLIVER_MM, join_style="mitre")
    parts = [part for part in shapely.get_parts(wide) if part.area > _LEAST_AREA_MM2]
    return MultiPolygon([cast(Polygon, part) for part in parts])


def _alike(openings: Sequence[Opening], options: FragmentOptions) -> list[int]:
    """Return a label for each opening; openings that are alike bear the same."""
    label = list(range(len(openings)))
    for group in groups_alike(openings, replace(MatchOptions(), alike_mm=options.alike_mm)):
        for k in group.members:
            label[k] = group.members[0]
    return label


def _kept(
    joined: _Joined, doubtful: frozenset[int], opening: Opening, options: FragmentOptions
) -> _Joined | None:
    """Return a set without the fragments that are doubtful there; None if too little is left."""
    parts, borne = joined.parts, joined.borne
    while parts:
        keep = [
            part.glass.piece not in doubtful
            and b.met >= options.least_met
            and b.value >= _strangers_value(part.glass, options)
            for part, b in zip(parts, borne, strict=True)
        ]
        if all(keep):
            break
        parts = tuple(part for part, stays in zip(parts, keep, strict=True) if stays)
        parts = settled_together(parts, opening.cut, options)
        borne = borne_out(parts, opening.cut, options)
    if not parts or _filled(parts, opening) < options.least_filled:
        return None
    if _line_met(parts, borne) < options.least_met_line:
        return None
    return _Joined(joined.opening, parts, borne)


def _strangers_value(glass: Glass, options: FragmentOptions) -> float:
    return options.least_strength * glass.length_mm / options.steady_mm


def _line_met(parts: Sequence[Part], borne: Sequence[Borne]) -> float:
    """Return the share of the edge of all parts together that meets the cut outline.

    Edges where parts meet each other do not count: parts of a stranger meet each other as well.
    """
    length = np.array([part.glass.step_mm for part in parts])
    line = np.array([b.met_line for b in borne])
    inner = np.array([b.met - b.met_line for b in borne])
    return float(length @ line / max(length @ (1.0 - inner), 1e-9))


def _filled(parts: Sequence[Part], opening: Opening) -> float:
    covered = shapely.union_all([part.outline for part in parts]).intersection(opening.cut)
    return float(covered.area / opening.cut.area)


def _assembly(
    joined: _Joined,
    pieces: Sequence[LoosePiece],
    opening: Opening,
    numbers: tuple[int, ...],
    options: FragmentOptions,
) -> Assembly:
    order = sorted(range(len(joined.parts)), key=lambda k: joined.parts[k].glass.piece)
    parts = [joined.parts[k] for k in order]
    return Assembly(
        number=opening.number,
        parts=tuple(_placed(joined.parts[k], joined.borne[k], opening.number) for k in order),
        pieces=tuple(pieces[part.glass.piece].id for part in parts),
        filled=_filled(parts, opening),
        missing=_missing(parts, opening, options),
        numbers=numbers,
    )


def _missing(parts: Sequence[Part], opening: Opening, options: FragmentOptions) -> Area:
    half = 0.5 * options.missing_mm
    left = opening.cut.difference(shapely.union_all([part.outline for part in parts]))
    wide = left.buffer(-half).buffer(half * 1.05).intersection(left)
    areas = [p for p in shapely.get_parts(wide) if p.geom_type == "Polygon" and p.area > half**2]
    return areas[0] if len(areas) == 1 else MultiPolygon(areas)


def _placed(part: Part, borne: Borne, number: int) -> Placed:
    turn_deg = math.degrees(part.turn) % 360.0
    shift: Array = part.centre - Placement(turn_deg).apply([part.glass.centre])[0]
    return Placed(
        number=number,
        over=part.glass.over,
        placement=Placement(turn_deg, float(shift[0]), float(shift[1])),
        outline=shapely.orient_polygons(part.outline),
        rms_mm=borne.rms_mm,
        log_likelihood=borne.value,
    )
