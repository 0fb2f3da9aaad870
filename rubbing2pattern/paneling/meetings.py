"""How cames meet at a joint, found from their number and their tangents."""

from __future__ import annotations

from collections.abc import Sequence

from rubbing2pattern.model import JointKind
from rubbing2pattern.paneling.lines import leaving_deg
from rubbing2pattern.reading import LeadNet

THROUGH_KINDS = (JointKind.TEE, JointKind.CROSSING)


def joint_kinds(net: LeadNet, through_deg: float, broken_deg: float) -> tuple[JointKind, ...]:
    """Return the kind of every joint of a net.

    Rules:

    1. One end of a came is an end, two ends of the same came a ring, two cames a corner.
    2. Of three cames and more, two run through when their tangents bend by no more than
       `through_deg`; none does when all pairs bend by more than `broken_deg`.
    3. Between the two limits the kind that came with the net decides; without one, nothing runs
       through.
    4. With a through-lead three cames are a tee and more a crossing; without one it is a meeting.
    """
    ends: list[list[tuple[int, float]]] = [[] for _ in net.joints]
    for c, came in enumerate(net.cames):
        ends[came.start].append((c, leaving_deg(came.curve)))
        ends[came.end].append((c, leaving_deg(came.curve.reversed())))
    return tuple(
        _kind(around, joint.kind, through_deg, broken_deg)
        for around, joint in zip(ends, net.joints, strict=True)
    )


def least_bend_deg(directions_deg: Sequence[float]) -> float:
    """Return by how much the straightest pair of cames bends at a joint, 0 for a straight run."""
    pairs = (
        abs((a - b) % 360.0 - 180.0)
        for i, a in enumerate(directions_deg)
        for b in directions_deg[:i]
    )
    return min(pairs, default=180.0)


def _kind(
    around: Sequence[tuple[int, float]], hint: str, through_deg: float, broken_deg: float
) -> JointKind:
    if len(around) == 1:  # rule 1
        return JointKind.END
    if len(around) == 2:
        return JointKind.RING if around[0][0] == around[1][0] else JointKind.CORNER
    bend_deg = least_bend_deg([direction for _, direction in around])
    runs_through = bend_deg <= through_deg or (bend_deg <= broken_deg and hint in THROUGH_KINDS)
    if not runs_through:  # rules 2 to 4
        return JointKind.MEETING
    return JointKind.TEE if len(around) == 3 else JointKind.CROSSING
