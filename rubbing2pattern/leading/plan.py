"""From the panel to the plan of its lead: strips, sticks, weights."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import accumulate

from rubbing2pattern.leading.cuts import Cut, cut_of
from rubbing2pattern.leading.cutting import Limits, cut_stock
from rubbing2pattern.leading.strips import EndCut, LeadOrder, LeadPlan, Strip, StripEnd
from rubbing2pattern.leading.through import End, Meeting, meetings
from rubbing2pattern.leading.weights import glass_kg, lead_kg, section_mm2
from rubbing2pattern.model import Came, Panel, Profile
from rubbing2pattern.options.leading import LeadingOptions

_PER_MM = 10
"""Sticks are divided in tenths of a millimetre; strips are rounded up to them."""
_NOTHING_MM = 1e-6
"""Shorter lengths come from rounding and count as 0."""


def plan_lead(panel: Panel, options: LeadingOptions) -> LeadPlan:
    """Plan the lead of a panel.

    Rules:

    1. At each joint it is decided what runs through: see `leading.through.meetings`.
    2. Cames that go on in each other make one strip; one that closes on itself is a ring, cut where
       its first came begins.
    3. A strip is as long as its lead lines, less what it stops short of the joints at its ends, or
       more by what a mitre goes beyond: see `leading.cuts`. One that is covered whole by the leads
       it joins is not cut.
    4. A strip longer than a stick gives is cut in parts, each as long as reaches the farthest joint
       that it can, where other leads and their solder hide the seam.
    5. Strips of one width and profile share sticks, those of the border only among themselves with
       `border_apart`. A width whose strips show one known profile only is of that profile. The
       sticks are the fewest: see `leading.cutting`.
    6. As much lead as `spare_share` of the strips is kept for what is miscut: in offcuts from which
       the longest of them could be cut again, and in sticks bought beyond where these do not do.

    Parameters
    ----------
    panel : the finished panel.
    options : how leads are cut, the stick, what is taken for weights.
    """
    meets = {meeting.joint: meeting for meeting in meetings(panel, options)}
    chains = _chains(panel.cames, meets)
    strips = _parted(_one_profile(_strips(panel, chains, meets, options)), panel, options)
    orders = []
    apart = options.border_apart
    kinds = {(s.stock_mm, s.stock, s.profile, apart and s.border) for s in strips}
    for kind in sorted(kinds):
        of = [s for s in strips if (s.stock_mm, s.stock, s.profile, apart and s.border) == kind]
        order, placed = _ordered(of, panel.heart_mm, options)
        orders.append(order)
        strips = [placed.get(strip.number, strip) for strip in strips]
    return LeadPlan(
        tuple(strips),
        tuple(orders),
        options.stick_mm,
        sum(order.lead_kg for order in orders),
        glass_kg(panel, options),
    )


@dataclass(frozen=True, slots=True)
class _Chain:
    """Cames along a strip, each with the end at which it begins; True when it closes."""

    starts: tuple[End, ...]
    ring: bool

    @property
    def last(self) -> End:
        return _far(self.starts[-1])


def _far(end: End) -> End:
    return end[0], 1 - end[1]


def _chains(cames: Sequence[Came], meets: Mapping[str, Meeting]) -> list[_Chain]:
    """Join the cames to strips (rule 2), in the order of the first came of each."""
    mate: dict[End, End] = {}
    for meeting in meets.values():
        for a, b in meeting.pairs:
            if cames[a[0]].stock_mm == cames[b[0]].stock_mm:
                mate |= {a: b, b: a}
    free = [(c, side) for c in range(len(cames)) for side in (0, 1) if (c, side) not in mate]
    seen: set[int] = set()
    chains = []
    for start in (*free, *((c, 0) for c in range(len(cames)))):  # What no end leads to is a ring.
        if start[0] in seen:
            continue
        along = [start]
        while (on := mate.get(_far(along[-1]))) is not None and on != start:
            along.append(on)
        seen |= {c for c, _ in along}
        chains.append(_Chain(tuple(along), start in mate))
    return sorted(chains, key=lambda chain: min(c for c, _ in chain.starts))


def _strips(
    panel: Panel,
    chains: Sequence[_Chain],
    meets: Mapping[str, Meeting],
    options: LeadingOptions,
) -> list[Strip]:
    number = {c: n for n, chain in enumerate(chains, start=1) for c, _ in chain.starts}
    strips = []
    for n, chain in enumerate(chains, start=1):
        cames = [panel.cames[c] for c, _ in chain.starts]
        joints = [_joint(panel.cames, end) for end in (*chain.starts, chain.last)]
        if chain.ring:
            cuts = [Cut(EndCut.CLOSED, 90.0, 0.0, (end,)) for end in (chain.last, chain.starts[0])]
        else:
            cuts = [
                cut_of(end, meets[joint], panel.cames, panel.heart_mm, options)
                for end, joint in ((chain.starts[0], joints[0]), (chain.last, joints[-1]))
            ]
        first, last = (
            StripEnd(
                joint, cut.cut, cut.angle_deg, cut.change_mm,
                tuple(dict.fromkeys(number[c] for c, _ in cut.meets)),
            )
            for joint, cut in zip((joints[0], joints[-1]), cuts, strict=True)
        )  # fmt: skip
        line_mm = sum(came.length_mm for came in cames)
        cut_mm = line_mm + first.change_mm + last.change_mm
        strips.append(
            Strip(
                n,
                tuple(came.id for came in cames),
                tuple(joints),
                _mean_width(cames),
                cames[0].stock,
                cames[0].stock_mm,
                _profile(cames),
                any(came.border for came in cames),
                line_mm,
                cut_mm if cut_mm > _NOTHING_MM else 0.0,  # rule 3
                (first, last),
                chain.ring,
            )
        )
    return strips


def _joint(cames: Sequence[Came], end: End) -> str:
    return cames[end[0]].end if end[1] else cames[end[0]].start


def _mean_width(cames: Sequence[Came]) -> float:
    weight = sum(came.length_mm for came in cames)
    if weight <= 0.0:
        return cames[0].face_width_mm
    return sum(came.face_width_mm * came.length_mm for came in cames) / weight


def _profile(cames: Sequence[Came]) -> Profile:
    """Return the profile of the greatest length, the first of equals; a known one if there is."""
    length = {
        shape: sum(came.length_mm for came in cames if came.profile is shape)
        for shape in (Profile.FLAT, Profile.ROUND)
    }
    return max(length, key=lambda shape: length[shape]) if any(length.values()) else Profile.UNKNOWN


def _one_profile(strips: Sequence[Strip]) -> list[Strip]:
    """Give strips of unknown profile that of their width, where it shows one only (rule 5)."""
    shown: dict[str, set[Profile]] = {}
    for strip in strips:
        shown.setdefault(strip.stock, set()).update({strip.profile} - {Profile.UNKNOWN})
    return [
        replace(strip, profile=next(iter(shown[strip.stock])))
        if strip.profile is Profile.UNKNOWN and len(shown[strip.stock]) == 1
        else strip
        for strip in strips
    ]


def _parted(strips: Sequence[Strip], panel: Panel, options: LeadingOptions) -> list[Strip]:
    """Divide strips that no stick gives in one (rule 4)."""
    longest_mm = (_room(options) - _up(options.allowance_mm)) / _PER_MM
    length = {came.id: came.length_mm for came in panel.cames}
    parted = []
    for strip in strips:
        # Places of the inner joints along the strip, from its first cut.
        run = accumulate(length[name] for name in strip.cames[:-1])
        places = list(
            zip((strip.ends[0].change_mm + at for at in run), strip.joints[1:], strict=False)
        )
        at_mm, parts, seams = 0.0, [], []
        while strip.cut_length_mm - at_mm > longest_mm:
            reach = [(at, j) for at, j in places if _NOTHING_MM < at - at_mm <= longest_mm]
            cut_mm, joint = max(reach, default=(at_mm + longest_mm, ""))
            parts.append(cut_mm - at_mm)
            seams.append(joint)
            at_mm = cut_mm
        if not strip.covered:
            parts.append(strip.cut_length_mm - at_mm)
        parted.append(replace(strip, parts_mm=tuple(parts), soldered_at=tuple(seams)))
    return parted


def _ordered(
    strips: Sequence[Strip], heart_mm: float, options: LeadingOptions
) -> tuple[LeadOrder, dict[int, Strip]]:
    """Divide the sticks of one width and profile; return also the strips with their sticks."""
    parts = [(strip.number, part_mm) for strip in strips for part_mm in strip.parts_mm]
    lengths = [_up(part_mm + options.allowance_mm) for _, part_mm in parts]
    room = _room(options)
    limits = Limits(
        options.most_fillings, options.most_patterns, options.most_rounds, options.most_nodes
    )
    cutting = cut_stock(lengths, room, limits)
    stick_of = {k: n for n, stick in enumerate(cutting.sticks, start=1) for k in stick}
    used: dict[int, list[int]] = {strip.number: [] for strip in strips}
    for k, (number, _) in enumerate(parts):
        used[number].append(stick_of[k])
    placed = {strip.number: replace(strip, sticks=tuple(used[strip.number])) for strip in strips}
    one, sticks = strips[0], len(cutting.sticks)
    section = section_mm2(one.stock_mm, one.profile, heart_mm, options)
    total_mm = sum(strip.cut_length_mm for strip in strips)
    offcuts = [room - sum(lengths[k] for k in stick) for stick in cutting.sticks]
    # Rule 6: an offcut that the longest strip can be cut from again is a spare.
    useful = sum(offcut for offcut in offcuts if offcut >= max(lengths, default=0))
    short = options.spare_share * sum(lengths) - useful
    to_buy = sticks + max(0, math.ceil(short / room - 1e-9))
    order = LeadOrder(
        one.stock,
        one.stock_mm,
        one.profile,
        one.border if options.border_apart else None,
        tuple(strip.number for strip in strips if not strip.covered),
        total_mm,
        sticks,
        cutting.least,
        to_buy,
        tuple(offcut / _PER_MM for offcut in offcuts),
        cutting.method,
        lead_kg(total_mm, section),
        lead_kg(to_buy * options.stick_mm, section),
    )
    return order, placed


def _up(length_mm: float) -> int:
    return max(1, math.ceil(length_mm * _PER_MM - 1e-6))


def _room(options: LeadingOptions) -> int:
    return math.floor(options.usable_mm * _PER_MM + 1e-6)
