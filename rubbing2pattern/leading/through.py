"""Which lead runs through at each joint, and which end there.

The kind of a joint, and which cames were fitted as one run, were decided when the rubbing was read;
here it is decided which of the runs stays whole where not all can.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

from rubbing2pattern.model import Came, JointKind, Panel
from rubbing2pattern.options.leading import LeadingOptions
from rubbing2pattern.paneling.lines import leaving_deg

End = tuple[int, int]
"""An end of a came: its index in the panel, and 0 for its start or 1 for its end."""

THROUGH, CORNER, OTHER = 0, 1, 2
"""Ranks at a joint: an end butts against all ends of lower rank."""


@dataclass(frozen=True, slots=True)
class Meeting:
    """How the ends of cames lie to each other at a joint.

    Attributes
    ----------
    joint : its id.
    directions_deg : in which each end leaves the joint.
    rank : of each end.
    pairs : ends that go on in each other, whether in one strip or in two of different widths.
    """

    joint: str
    directions_deg: dict[End, float]
    rank: dict[End, int]
    pairs: tuple[tuple[End, End], ...]


def meetings(panel: Panel, options: LeadingOptions) -> tuple[Meeting, ...]:
    """Decide at every joint which pairs of cames run through.

    Rules:

    1. Only ends that bend by no more than `bend_deg` may go on in each other. Where the joint is a
       meeting, which no lead runs through, only the border may.
    2. Of several pairs the first goes through, by this order: the border; one width before two;
       a straight bend (`straight_deg`) before another; the longer straight run; the wider lead;
       the straighter; reading order.
    3. Another pair goes through as well when it lies on one side of the first, so that neither
       needs to be cut.
    4. A pair of two widths does not make one strip, but others butt against it all the same.
    5. Two border leads that make a corner meet in it, and others butt against them.
    6. A straight run follows at each joint the pairs of one width, those first that were fitted as
       one run, then the straightest.
    """
    cames = panel.cames
    ends: dict[str, dict[End, float]] = {joint.id: {} for joint in panel.joints}
    for c, came in enumerate(cames):
        ends[came.start][c, 0] = leaving_deg(came.curve)
        ends[came.end][c, 1] = leaving_deg(came.curve.reversed())
    run_mm = _straight_runs(cames, ends.values(), options.straight_deg)
    kinds = {joint.id: joint.kind for joint in panel.joints}
    return tuple(
        _meeting(name, kinds[name], around, cames, run_mm, options) for name, around in ends.items()
    )


def bend_deg(one_deg: float, other_deg: float) -> float:
    """Return by how much two ends that leave a joint bend, 0 for straight on."""
    return abs((one_deg - other_deg) % 360.0 - 180.0)


def _meeting(
    joint: str,
    kind: JointKind,
    around: dict[End, float],
    cames: Sequence[Came],
    run_mm: Sequence[float],
    options: LeadingOptions,
) -> Meeting:
    candidates = []
    for a, b in combinations(sorted(around), 2):
        one, two = cames[a[0]], cames[b[0]]
        border, bend = one.border and two.border, bend_deg(around[a], around[b])
        if bend > options.bend_deg or (kind is JointKind.MEETING and not border):  # rule 1
            continue
        same = one.stock_mm == two.stock_mm
        straight = bend <= options.straight_deg
        longest = round(max(run_mm[a[0]], run_mm[b[0]]), 1)
        order = (not border, not same, not straight, -longest, -one.stock_mm - two.stock_mm)
        candidates.append((*order, round(bend, 3), a, b))
    pairs: list[tuple[End, End]] = []
    for *_, a, b in sorted(candidates):  # rule 2
        if all(_beside((a, b), pair, around) for pair in pairs):  # rule 3
            pairs.append((a, b))
    rank = dict.fromkeys(around, OTHER)
    rank |= {end: THROUGH for pair in pairs for end in pair}
    rim = [end for end in around if cames[end[0]].border]
    if not pairs and len(rim) == 2 and len(around) > 2:  # rule 5
        rank |= dict.fromkeys(rim, CORNER)
    return Meeting(joint, around, rank, tuple(pairs))


def _beside(pair: tuple[End, End], taken: tuple[End, End], around: dict[End, float]) -> bool:
    """Return whether a pair lies on one side of another with which it shares no end."""
    if set(pair) & set(taken):
        return False
    base = around[taken[0]]
    across = (around[taken[1]] - base) % 360.0
    sides = {(around[end] - base) % 360.0 < across for end in pair}
    return len(sides) == 1


def _straight_runs(
    cames: Sequence[Came], joints: Iterable[dict[End, float]], straight_deg: float
) -> list[float]:
    """Return for each came the length of the straight run it is part of (rule 6 of `meetings`)."""
    root = list(range(len(cames)))

    def top(c: int) -> int:
        while root[c] != c:
            root[c] = root[root[c]]
            c = root[c]
        return c

    for around in joints:
        found = []
        for a, b in combinations(sorted(around), 2):
            one, two = cames[a[0]], cames[b[0]]
            bend = bend_deg(around[a], around[b])
            if one.stock_mm == two.stock_mm and bend <= straight_deg:
                found.append((one.strip != two.strip, round(bend, 3), a, b))
        taken: set[End] = set()
        for *_, a, b in sorted(found):
            if a not in taken and b not in taken:
                taken |= {a, b}
                root[top(a[0])] = top(b[0])
    length: dict[int, float] = {}
    for c, came in enumerate(cames):
        length[top(c)] = length.get(top(c), 0.0) + came.length_mm
    return [length[top(c)] for c in range(len(cames))]
