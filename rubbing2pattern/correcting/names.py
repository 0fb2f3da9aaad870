"""Numbers and ids that stay: a panel cut anew takes over the names of the one before.

All lengths in mm.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from rubbing2pattern.correcting.net import Net
from rubbing2pattern.correcting.one_lead import id_number
from rubbing2pattern.model import Came, Joint, Panel, Piece
from rubbing2pattern.paneling.lines import point_along

_SAME_MM = 1e-4
"""Distance within which a joint is the same; rounding in the record moves none by more."""
_SHARE_PLACES = 2
"""Two halves of a piece are equal to a hundredth: the first in reading order keeps the number."""

_WORTH = 0.02
"""More than rounding a share to `_SHARE_PLACES` adds to it."""


@dataclass(frozen=True, slots=True)
class Names:
    """New names by the names of a panel cut anew."""

    pieces: Mapping[int, int]
    cames: Mapping[str, str]
    joints: Mapping[str, str]


def names_for(cut: Panel, before: Panel, net: Net, same_share: float) -> Names:
    """Return the names that a panel cut anew takes over, and new ones for what is new.

    Rules:

    1. A piece keeps the number of the piece before with which it shares most, when that is
       `same_share` of both together at least (intersection over union), the largest share first,
       of equal ones the lower number and the earlier piece in reading order.
    2. Other pieces get numbers that were never used in this panel, in reading order.
    3. Joints and cames have their ids from the net; what cutting added gets ids never used.

    Parameters
    ----------
    cut : the panel as cut from the net.
    before : the panel whose numbers stay.
    net : the net.
    same_share : as in rule 1.
    """
    joints, cames = _from_net(cut, net)
    return Names(numbers_for(cut.pieces, before, same_share), cames, joints)


def renamed(cut: Panel, names: Names, before: Panel, net: Net) -> Panel:
    """Return the panel under its names; whatever did not change is that of the panel before.

    Pieces, cames and joints are in the order of their names.
    """
    old_cames = {came.id: came for came in before.cames}
    cames = [_came(came, names, old_cames.get(names.cames[came.id]), net=net) for came in cut.cames]
    same = {name for name in names.cames.values() if net.unchanged(name)}
    old_pieces = {piece.number: piece for piece in before.pieces}
    pieces = [_piece(piece, names, old_pieces, same) for piece in cut.pieces]
    joints = [
        replace(
            joint,
            id=names.joints[joint.id],
            cames=tuple(sorted((names.cames[c] for c in joint.cames), key=id_number)),
        )
        for joint in cut.joints
    ]
    old_joints = {joint.id: joint for joint in before.joints}
    joints = [_joint(joint, old_joints.get(joint.id), same) for joint in joints]
    panel = replace(
        cut,
        name=before.name,
        seen_from=before.seen_from,
        heart_mm=before.heart_mm,
        clearance_mm=before.clearance_mm,
        placement=before.placement,
        level_angle_deg=before.level_angle_deg,
        joints=tuple(sorted(joints, key=lambda j: id_number(j.id))),
        cames=tuple(sorted(cames, key=lambda c: id_number(c.id))),
        pieces=tuple(sorted(pieces, key=lambda p: p.number)),
        findings=tuple(
            finding.renamed(
                cames=names.cames.__getitem__,
                joints=names.joints.__getitem__,
                pieces=names.pieces.__getitem__,
            )
            for finding in cut.findings
        ),
        dismissed=before.dismissed,
        corrections=before.corrections,
        rubbing=before.rubbing,
    )
    return _same_border(panel, before, same)


def numbers_for(pieces: Sequence[Piece], before: Panel, same_share: float) -> dict[int, int]:
    """Return the numbers of a panel before that pieces take over, and new ones: rules 1 and 2."""
    shares = [
        (-share, before.pieces[old].number, pieces[new].number)
        for new, old, share in _shares(pieces, before.pieces, same_share)
    ]
    numbers: dict[int, int] = {}
    for _, old, new in sorted(shares):
        if new not in numbers and old not in numbers.values():
            numbers[new] = old
    used = [piece.number for piece in before.pieces]
    used += [n for c in before.corrections for n in (*c.pieces_new, *c.pieces_gone)]
    following = 1 + max(used, default=0)
    for piece in sorted(pieces, key=lambda p: p.number):
        if piece.number not in numbers:
            numbers[piece.number] = following
            following += 1
    return numbers


def _shares(
    pieces: Sequence[Piece], before: Sequence[Piece], least: float
) -> Iterator[tuple[int, int, float]]:
    """Yield which new and which old piece share at least so much of the area of both, and it."""
    new, old = (np.array([p.outline for p in side], dtype=object) for side in (pieces, before))
    areas, old_areas = shapely.area(new), shapely.area(old)
    of, near = shapely.STRtree(old).query(new, predicate="intersects")
    # What they can share at most: neighbours that only touch are not worth laying over each other.
    low = np.maximum(shapely.bounds(new)[of, :2], shapely.bounds(old)[near, :2])
    high = np.minimum(shapely.bounds(new)[of, 2:], shapely.bounds(old)[near, 2:])
    most = np.minimum(np.prod(np.maximum(high - low, 0.0), axis=1), areas[of])
    most = np.minimum(most, old_areas[near])
    worth = most >= (least - _WORTH) * (areas[of] + old_areas[near] - most)
    of, near = of[worth], near[worth]
    shared = shapely.area(shapely.intersection(new[of], old[near]))
    found = shared / (areas[of] + old_areas[near] - shared)
    for k, m, share in zip(of.tolist(), near.tolist(), found.tolist(), strict=True):
        if round(share, _SHARE_PLACES) >= least:
            yield k, m, round(share, _SHARE_PLACES)


def _from_net(cut: Panel, net: Net) -> tuple[dict[str, str], dict[str, str]]:
    """Rule 3."""
    joints = {}
    names = sorted(net.joints, key=id_number)
    before = shapely.points([net.at(name) for name in names])
    now = shapely.points([(joint.x_mm, joint.y_mm) for joint in cut.joints])
    nearest = shapely.STRtree(before).nearest(now)
    away = shapely.distance(before[nearest], now)
    for joint, far_mm, k in zip(cut.joints, away, nearest, strict=True):
        joints[joint.id] = names[int(k)] if far_mm < _SAME_MM else f"J{net.next_joint}"
        net.next_joint += far_mm >= _SAME_MM
    leads = sorted(net.leads, key=id_number)
    lines = np.array([net.leads[name].line for name in leads], dtype=object)
    middles = shapely.STRtree(shapely.line_interpolate_point(lines, 0.5, normalized=True))
    places = shapely.points([point_along(came.path, 0.5) for came in cut.cames])
    of, near = middles.query(places, predicate="dwithin", distance=100.0 * _SAME_MM)
    cames: dict[str, str] = {}
    for number, came in enumerate(cut.cames):
        ends = {joints[came.start], joints[came.end]}
        fitting = [
            name
            for name in (leads[k] for k in np.sort(near[of == number]))
            if {net.leads[name].start, net.leads[name].end} == ends and name not in cames.values()
        ]
        cames[came.id] = fitting[0] if fitting else net.new_came()
    return joints, cames


def _came(came: Came, names: Names, old: Came | None, *, net: Net) -> Came:
    name = names.cames[came.id]
    start, end = names.joints[came.start], names.joints[came.end]
    pieces = tuple(names.pieces[n] for n in came.pieces)
    if old is not None and net.unchanged(name) and (old.start, old.end) == (start, end):
        if (old.pieces, old.border) == (pieces, came.border):
            return old
        return replace(old, pieces=pieces, border=came.border)
    mark = net.leads[name].corrected if name in net.leads else came.corrected
    return replace(came, id=name, start=start, end=end, pieces=pieces, corrected=mark)


def _piece(piece: Piece, names: Names, old_pieces: Mapping[int, Piece], same: set[str]) -> Piece:
    number = names.pieces[piece.number]
    cames = tuple(names.cames[c] for c in piece.cames)
    old = old_pieces.get(number)
    if old is not None and same.issuperset(cames) and sorted(cames) == sorted(old.cames):
        return old
    return replace(piece, number=number, cames=cames)


def _joint(joint: Joint, old: Joint | None, same: set[str]) -> Joint:
    if old is not None and same.issuperset(joint.cames) and set(joint.cames) == set(old.cames):
        return old
    return joint


def _same_border(panel: Panel, before: Panel, same: set[str]) -> Panel:
    """Take over outline and sizes where the border is as it was."""
    border = {came.id for came in panel.cames if came.border}
    if border != {came.id for came in before.cames if came.border} or not same.issuperset(border):
        return panel
    return replace(
        panel,
        outline=before.outline,
        width_mm=before.width_mm,
        height_mm=before.height_mm,
        outer_width_mm=before.outer_width_mm,
        outer_height_mm=before.outer_height_mm,
    )


def renumbered(panel: Panel, numbers: Mapping[int, int]) -> Panel:
    """Return the panel with other numbers for some of its pieces, in the order of the numbers."""

    def now(number: int) -> int:
        return numbers.get(number, number)

    pieces = [replace(p, number=now(p.number)) for p in panel.pieces]
    return replace(
        panel,
        pieces=tuple(sorted(pieces, key=lambda p: p.number)),
        cames=tuple(replace(c, pieces=tuple(map(now, c.pieces))) for c in panel.cames),
        findings=tuple(f.renamed(pieces=now) for f in panel.findings),
        dismissed=tuple(replace(d, finding=d.finding.renamed(pieces=now)) for d in panel.dismissed),
    )
