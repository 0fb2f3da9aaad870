"""Where the end of a strip is cut: how far from the joint, and at what angle.

Along the direction in which a lead leaves its joint, its end is bounded by what it meets. At a
distance t from its middle, towards that side:

- the edge of a lead that runs through at an angle f, its half width being o, lies
  (o + t cos f) / sin f from the joint;
- the mitre with a lead that ends there too, at an angle f, lies t cot(f / 2) from it.

On each side the farther bound holds; the point of the cut nearest to the joint, or farthest beyond
it, is the longest point of the strip.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from rubbing2pattern.leading.strips import EndCut
from rubbing2pattern.leading.through import CORNER, OTHER, THROUGH, End, Meeting
from rubbing2pattern.model import Came
from rubbing2pattern.options.leading import ButtTo, LeadingOptions

_Bound = tuple[float, float]
"""Distance from the joint in the middle of the lead, and how much it grows with t."""


@dataclass(frozen=True, slots=True)
class Cut:
    """How one end is cut; `meets` are the ends it is soldered to."""

    cut: EndCut
    angle_deg: float
    change_mm: float
    meets: tuple[End, ...]


def cut_of(
    end: End, meeting: Meeting, cames: Sequence[Came], heart_mm: float, options: LeadingOptions
) -> Cut:
    """Return how an end is cut that does not go on in the same strip.

    Parameters
    ----------
    end : the end.
    meeting : the joint at which it lies.
    cames : of the panel; new lead is taken to have the width of its stock.
    heart_mm : thickness of the heart.
    """
    rank = meeting.rank[end]
    others = [e for e in meeting.rank if e != end]
    if not others:
        return Cut(EndCut.FREE, 90.0, 0.0, ())
    mate = next((b if a == end else a for a, b in meeting.pairs if end in (a, b)), None)
    if rank == THROUGH and mate is not None:
        kind = EndCut.CLOSED if mate[0] == end[0] else EndCut.JOIN
        return Cut(kind, 90.0, 0.0, (mate,))
    turn = {e: (meeting.directions_deg[e] - meeting.directions_deg[end]) % 360.0 for e in others}
    walls = [e for e in others if meeting.rank[e] < rank]
    equals = [e for e in others if meeting.rank[e] == rank]
    half = cames[end[0]].stock_mm / 2.0
    reach: dict[End, float] = {}
    for e in walls:
        whole = options.butt_to is ButtTo.LEAF
        reach[e] = (cames[e[0]].stock_mm if whole else heart_mm) / 2.0
    sharpest = options.sharpest_deg
    points, near = [], []
    for side in (turn, {e: 360.0 - turn[e] for e in others}):
        bounds = []
        for group, bound in ((walls, _wall(reach, sharpest)), (equals, _mitre)):
            if group:
                e = min(group, key=lambda e: (side[e], e))
                bounds.append(bound(e, side[e]))
                near.append(e)
        points.append(_longest(bounds, half))
    widest = max(cames[e[0]].stock_mm for e in (end, *others)) / 2.0
    change = min(-min(points), options.longest_mitre * widest)
    meets = tuple(dict.fromkeys(e for e in near if e in walls)) or tuple(dict.fromkeys(near))
    kind, angle = _kind(rank, len(walls), [turn[e] for e in (walls or equals)], options)
    return Cut(kind, max(angle, sharpest), change, meets)


def _wall(reach: Mapping[End, float], sharpest_deg: float) -> Callable[[End, float], _Bound]:
    def bound(e: End, turn_deg: float) -> _Bound:
        if turn_deg >= 180.0:  # It bends away: only the bend itself is in the way.
            return 0.0, 0.0
        f = math.radians(min(max(turn_deg, sharpest_deg), 180.0 - sharpest_deg))
        return reach[e] / math.sin(f), math.cos(f) / math.sin(f)

    return bound


def _mitre(_: End, turn_deg: float) -> _Bound:
    f = math.radians(min(max(turn_deg, 1.0), 359.0)) / 2.0
    return 0.0, math.cos(f) / math.sin(f)


def _longest(bounds: Sequence[_Bound], half_mm: float) -> float:
    """Return the least distance, for t from 0 to the half width, of the farthest bound."""
    at = [0.0, half_mm]
    for k, (a, grows) in enumerate(bounds):
        for b, other in bounds[:k]:
            if grows != other:
                at.append(min(max((b - a) / (grows - other), 0.0), half_mm))
    return min(max(a + grows * t for a, grows in bounds) for t in at)


def _kind(
    rank: int, walls: int, turns_deg: Sequence[float], options: LeadingOptions
) -> tuple[EndCut, float]:
    """Name the cut, and give its angle to the length of the strip."""
    left = min(turns_deg)
    right = 360.0 - max(turns_deg)
    if walls:
        slant = min(left, right, 90.0)
        corner = left + right < 180.0 - options.bend_deg
        return (EndCut.POINT if corner else EndCut.BUTT), slant
    if rank == CORNER or len(turns_deg) == 1:
        # The mitre with the one lead of the same rank, whatever butts between them.
        return EndCut.MITRE, min(left, right) / 2.0
    assert rank == OTHER
    return EndCut.POINT, min(left, right) / 2.0
