"""Fragments put together: which of them fill an opening, and what is missing then.

A fragment is laid into what is still open of an opening. The edge of that hole is made of the cut
outline and of the broken edges of the parts already there, so one comparison serves a fragment
with a cut edge and one that has only neighbours.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias, cast

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon

from rubbing2pattern.frame import Array, Placement
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
_LEAST_AREA_MM2 = 30.0
_TOO_LARGE = 1.1
_NEARLY = 0.9


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

    @property
    def choice(self) -> Choice:
        return Choice(
            self.opening,
            frozenset(part.glass.piece for part in self.parts),
            sum(borne.value for borne in self.borne),
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
    4. a fragment whose place is not likelier by `least_margin` than any way without it is left out,
       and so is one of whose edge too little meets its neighbours or the cut outline.

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
        for state in states:
            if state.hole.area > (1.0 - _NEARLY * options.least_filled) * cut.area:
                continue
            parts = settled_together(state.parts, cut, options)
            joined.append(_Joined(k, parts, borne_out(parts, cut, options)))
    alike = _alike(openings, options)
    chosen = chosen_with_margins(
        [each.choice for each in joined], alike, options.least_value, options.least_margin
    )
    kept = (
        _kept(joined[k], doubtful, openings[joined[k].opening], options) for k, doubtful in chosen
    )
    found = [_assembly(each, pieces, openings[each.opening], options) for each in kept if each]
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
    best: dict[int, float] = {}
    for _ in range(options.most_parts):
        kept = [_children(states, laying, options) for states in kept]
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


def _children(states: Sequence[_State], laying: Laying, options: FragmentOptions) -> list[_State]:
    """Return the likeliest sets that are one of some sets and one fragment more."""
    children: dict[frozenset[int], _State] = {}
    for state in states:
        for child in _added(state, laying, options)[: options.kept_states]:
            known = children.get(child.pieces)
            if known is None or child.value > known.value:
                children[child.pieces] = child
    likeliest = sorted(children.values(), key=lambda s: (-s.value, sorted(s.pieces)))
    return likeliest[: options.kept_states]


def _added(state: _State, laying: Laying, options: FragmentOptions) -> list[_State]:
    """Return a state with one more part, for each fragment where it lies likeliest, best first."""
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
    found: dict[int, _State] = {}
    for k in np.flatnonzero(value > options.least_value):
        glass = laying.glasses[poses.glass[k]]
        if glass.piece in found:
            continue
        part = Part(glass, float(poses.turn[k]), poses.centre[k])
        left = _open(state.hole.difference(part.outline))
        found[glass.piece] = _State((*state.parts, part), left, state.value + float(value[k]))
    return list(found.values())


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
            and b.value >= options.least_strength * part.glass.length_mm / options.steady_mm
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


def _line_met(parts: Sequence[Part], borne: Sequence[Borne]) -> float:
    """Return the share of the edge of all parts together that meets the cut outline.

    Where parts meet each other is no evidence for the opening: parts of a stranger do so as well.
    """
    length = np.array([part.glass.step_mm for part in parts])
    line = np.array([b.met_line for b in borne])
    inner = np.array([b.met - b.met_line for b in borne])
    return float(length @ line / max(length @ (1.0 - inner), 1e-9))


def _filled(parts: Sequence[Part], opening: Opening) -> float:
    covered = shapely.union_all([part.outline for part in parts]).intersection(opening.cut)
    return float(covered.area / opening.cut.area)


def _assembly(
    joined: _Joined, pieces: Sequence[LoosePiece], opening: Opening, options: FragmentOptions
) -> Assembly:
    order = sorted(range(len(joined.parts)), key=lambda k: joined.parts[k].glass.piece)
    parts = [joined.parts[k] for k in order]
    return Assembly(
        number=opening.number,
        parts=tuple(_placed(joined.parts[k], joined.borne[k], opening.number) for k in order),
        pieces=tuple(pieces[part.glass.piece].id for part in parts),
        filled=_filled(parts, opening),
        missing=_missing(parts, opening, options),
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
