"""Which loose piece belongs to which number: all pieces to all openings at once."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.optimize import linear_sum_assignment

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.geometry.frame import Array, Placement
from rubbing2pattern.matching.alike import Group, groups_alike
from rubbing2pattern.matching.clearance import laid
from rubbing2pattern.matching.fitting import Pose, pose_in, poses
from rubbing2pattern.matching.loose import (
    LoosePiece,
    Match,
    Matches,
    Opening,
    Placed,
    Verdict,
)
from rubbing2pattern.matching.match_doubts import doubts
from rubbing2pattern.options.match import MatchOptions

_NEVER = -1e6
"""Gain, in log odds, of a place that is not open to a piece; the opposite of one that is fixed."""


@dataclass(frozen=True, slots=True)
class _Table:
    """What speaks for each piece in each group of openings that are alike.

    Attributes
    ----------
    gain : (P, G) log of the odds that a piece belongs there rather than nowhere.
    room : (G,) openings in each group.
    """

    gain: Array
    room: npt.NDArray[np.int64]


def assign(
    pieces: Sequence[LoosePiece],
    openings: Sequence[Opening],
    options: MatchOptions,
    known: Mapping[str, int] | None = None,
    turn_over: bool = False,
) -> Matches:
    """Match loose pieces with the numbered openings of a panel.

    Rules:

    1. openings that are alike form groups; a piece is matched with a group, never with one of it;
    2. of all ways to give every piece a place or none the likeliest is taken; a place counts the
       logarithm of the ratio of likelihoods of its best pose, and what is known beforehand: a share
       of strangers, and the rest equally likely everywhere;
    3. a margin says by how much the whole is less likely when a piece may not go to its group;
    4. numbers that a person gave are kept, however the glass lies there;
    5. pieces that are not seen whole are not matched.

    Parameters
    ----------
    pieces, openings : each with its own names, in any order.
    known : number by id of the piece, as a person says.
    turn_over : whether pieces may be turned over.

    Raises
    ------
    UsageFault
        `known` names a piece or a number that there is not, or one number more than once.
    """
    known = dict(known or {})
    _check_known(known, pieces, openings)
    groups = groups_alike(openings, options)
    whole = [piece for piece in pieces if piece.whole or piece.id in known]
    first = [openings[group.members[0]] for group in groups]
    found = {(p.piece, p.opening): p for p in poses(whole, first, options, turn_over)}
    group_of = {openings[k].number: g for g, group in enumerate(groups) for k in group.members}
    fixed = {k: group_of[known[p.id]] for k, p in enumerate(whole) if p.id in known}
    for k, g in fixed.items():
        if (k, g) not in found:
            found[k, g] = pose_in(k, whole[k], g, first[g], options, turn_over)
    table = _table(found, len(whole), groups, len(openings), fixed, options)
    given, total = _best(table)
    margins = _margins(table, given, total)
    seats = _seats(whole, given, groups, openings, known)
    matches = {piece.id: Match(piece, Verdict.CUT_OFF) for piece in pieces}
    for k, piece in enumerate(whole):
        margin, second = margins[k]
        match = Match(piece, Verdict.NO_PLACE, margin=margin, known=k in fixed)
        if given[k] >= 0:
            group = groups[given[k]]
            placed = _placed(piece, found[k, given[k]], group, seats[k], openings, options)
            other = None if second < 0 else first[second].number
            match = replace(match, verdict=verdict_of(placed), placed=placed, second=other)
            match = replace(match, numbers=_numbers(group, openings))
        matches[piece.id] = match
    return _summed_up([matches[piece.id] for piece in pieces], seats, groups, openings, options)


def _summed_up(
    matches: Sequence[Match],
    seats: Mapping[int, int],
    groups: Sequence[Group],
    openings: Sequence[Opening],
    options: MatchOptions,
) -> Matches:
    taken = set(seats.values())
    return Matches(
        tuple(matches),
        (),
        tuple(sorted(o.number for k, o in enumerate(openings) if k not in taken)),
        tuple(_numbers(group, openings) for group in groups if len(group.members) > 1),
        doubts(matches, options),
    )


def _numbers(group: Group, openings: Sequence[Opening]) -> tuple[int, ...]:
    return tuple(sorted(openings[k].number for k in group.members))


def _check_known(
    known: Mapping[str, int], pieces: Sequence[LoosePiece], openings: Sequence[Opening]
) -> None:
    ids, numbers = {piece.id for piece in pieces}, {opening.number for opening in openings}
    taken: dict[int, str] = {}
    for name, number in known.items():
        if name not in ids:
            raise UsageFault(f"a number is given for {name}, but there is no such loose piece")
        if number not in numbers:
            raise UsageFault(
                f"{name} is given the number {number}, but the panel has no such piece"
            )
        if number in taken:
            raise UsageFault(
                f"number {number} is given to {taken[number]} and to {name}; give it once"
            )
        taken[number] = name


def _table(
    found: Mapping[tuple[int, int], Pose],
    pieces: int,
    groups: Sequence[Group],
    openings: int,
    fixed: Mapping[int, int],
    options: MatchOptions,
) -> _Table:
    """Rule 2: one of `openings` places is as likely as another before anything is seen."""
    own = math.log((1.0 - options.stranger_share) / options.stranger_share / max(openings, 1))
    gain = np.full((pieces, len(groups)), _NEVER)
    for (k, g), pose in found.items():
        gain[k, g] = pose.log_likelihood + own + math.log(len(groups[g].members))
    for k, g in fixed.items():  # rule 4
        gain[k] = _NEVER
        gain[k, g] = -_NEVER
    return _Table(gain, np.array([len(group.members) for group in groups], np.int64))


def _best(table: _Table) -> tuple[list[int], float]:
    """Return the group of each piece, -1 for none, and the sum of the gains."""
    pieces = len(table.gain)
    if pieces == 0:
        return [], 0.0
    column = np.repeat(np.arange(len(table.room)), np.minimum(table.room, pieces))
    cost = np.hstack((-table.gain[:, column], np.zeros((pieces, pieces))))
    rows, seats = linear_sum_assignment(cost)
    given = [-1] * pieces
    for k, seat in zip(rows, seats, strict=True):
        if seat < len(column):
            given[int(k)] = int(column[seat])
    return given, -float(cost[rows, seats].sum())


def _margins(table: _Table, given: Sequence[int], total: float) -> list[tuple[float, int]]:
    """Rule 3: margin and second choice of every piece, -1 for none.

    A stranger's margin is what is lost when it must take the place that it fits best. A piece whose
    number a person gave has none.
    """
    found = []
    for k, g in enumerate(given):
        kept = table.gain[k].copy()
        if kept.max(initial=_NEVER) == -_NEVER:
            found.append((0.0, -1))
        elif g >= 0:
            table.gain[k, g] = _NEVER
            other, value = _best(table)
            found.append((total - value, other[k]))
        else:
            likeliest = int(kept.argmax()) if len(kept) else -1
            gain = float(kept[likeliest]) if likeliest >= 0 else _NEVER
            found.append((max(-gain, 0.0), likeliest if gain > _NEVER else -1))
        table.gain[k] = kept
    return found


def _seats(
    pieces: Sequence[LoosePiece],
    given: Sequence[int],
    groups: Sequence[Group],
    openings: Sequence[Opening],
    known: Mapping[str, int],
) -> dict[int, int]:
    """Return the opening in which each piece is drawn: known ones first, then what is free."""
    index = {opening.number: k for k, opening in enumerate(openings)}
    seats = {k: index[known[p.id]] for k, p in enumerate(pieces) if p.id in known}
    taken = set(seats.values())
    for k, g in enumerate(given):
        if g >= 0 and k not in seats:
            free = [m for m in groups[g].members if m not in taken]
            seats[k] = min(free, key=lambda m: openings[m].number)
            taken.add(seats[k])
    return seats


def _placed(
    piece: LoosePiece,
    pose: Pose,
    group: Group,
    seat: int,
    openings: Sequence[Opening],
    options: MatchOptions,
) -> Placed:
    """Carry a pose in the first opening of a group over to the member that is this piece's seat."""
    onto = group.placements[group.members.index(seat)]
    return laid(
        piece, replace(pose, placement=_after(pose.placement, onto)), openings[seat], options
    )


def _after(first: Placement, then: Placement) -> Placement:
    shift = then.apply([(first.dx_mm, first.dy_mm)])[0]
    return Placement((first.angle_deg + then.angle_deg) % 360.0, float(shift[0]), float(shift[1]))


def verdict_of(placed: Placed) -> Verdict:
    """Say what to do: glass that is too large can be grozed, glass that is short stays short."""
    if placed.over:
        return Verdict.OTHER_SIDE
    if placed.short_mm > 0.0:
        return Verdict.SHORT
    return Verdict.GROZE if placed.groze_mm > 0.0 else Verdict.FITS
