"""Which findings are one doubt, and in what order doubts are settled.

Rules:

1. What is found about one lead, that it may be none, has gaps or ends freely, is one doubt; notes
   about it too. So are gaps of several leads that reach one joint, and a doubt about that joint.
2. Leads beside one gap of the border are one doubt, with what else is found about them, and with a
   piece that was lost there.
3. Widths of one kind and one stock size are one doubt, and so are all other notes of one kind.
4. The gravest come first, then those without which the net may change, then by name.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator

from rubbing2pattern.findings import GRAVEST_FIRST, Code, Finding, Kind, Severity
from rubbing2pattern.model import Panel
from rubbing2pattern.reviewing.cures_of_border import around_lost, gap_of
from rubbing2pattern.reviewing.making import came_of, known

_OF_ONE_LEAD = frozenset({Code.DOUBTFUL_LEAD, Code.BRIDGED_GAP, Code.FREE_END})
_OF_WIDTHS = frozenset({Code.WIDTH_UNCERTAIN, Code.WIDTH_BETWEEN_STOCK})
_CHANGES_NET = (
    Code.BORDER_OPEN,
    Code.SEPARATE_PARTS,
    Code.NO_GLASS_LEFT,
    Code.DOUBTFUL_LEAD,
    Code.POSSIBLE_LEAD,
    Code.FREE_END,
    Code.INWARD_CORNER,
    Code.SLIVER_PIECE,
    Code.SMALL_PIECE,
    Code.DOUBTFUL_JOINT,
    Code.BRIDGED_GAP,
    Code.LEAD_OFF,
)
_AT_JOINT_MM = 1.0
"""A gap that ends this near a joint reaches it: less than any lead's width."""


def grouped(panel: Panel) -> list[tuple[Finding, ...]]:
    """Return the findings that are one doubt each, the most harmful doubt and finding first."""
    ordered = sorted(panel.findings, key=_harm)
    grave = {f.cames[0] for f in ordered if _of_lead(f) and f.severity is not Severity.NOTE}
    groups: list[tuple[set[Hashable], list[Finding]]] = []
    for finding in ordered:
        shared: set[Hashable] = {*_shared(panel, finding, grave)}
        found = [finding]
        apart = [group for group in groups if group[0].isdisjoint(shared)]
        for group in groups:
            if not group[0].isdisjoint(shared):
                shared |= group[0]
                found = [*group[1], *found]
        groups = [*apart, (shared, found)]
    doubts = [tuple(sorted(found, key=_harm)) for _, found in groups]
    return sorted(doubts, key=lambda findings: _harm(findings[0]))


def _harm(finding: Finding) -> tuple[int, int, int, str]:
    """Rule 4."""
    code = finding.code
    net = _CHANGES_NET.index(code) if code in _CHANGES_NET else len(_CHANGES_NET)
    return GRAVEST_FIRST.index(finding.severity), net, len(finding.id), finding.id


def _of_lead(finding: Finding) -> bool:
    return finding.code in _OF_ONE_LEAD and bool(finding.cames)


def _shared(panel: Panel, finding: Finding, grave: set[str]) -> Iterator[Hashable]:
    """Yield what a finding shares with others that are one doubt with it.

    `grave` are the leads about which there is more than a note.
    """
    yield finding.id
    if _of_lead(finding) and (finding.severity is not Severity.NOTE or finding.cames[0] in grave):
        yield "lead", finding.cames[0]  # rule 1
        yield from (("joint", name) for name in _reached(panel, finding))
    elif finding.severity is Severity.NOTE and finding.kind is not None:
        yield "note", finding.kind.key  # rule 3
    elif finding.kind is Kind.DOUBTFUL_JOINT and finding.joints:
        yield "joint", finding.joints[0]
    elif finding.kind is Kind.GLASS_LIES_OPEN:  # rule 2
        yield from (("lead", came.id) for came in around_lost(panel, finding))
    elif finding.code is Code.BORDER_OPEN and known(panel, finding):
        yield from (("lead", name) for name in finding.cames)
        ends = gap_of(panel, finding)
        yield from [("gap", *(joint.id for joint in ends))] if ends else []
    elif finding.code in _OF_WIDTHS and finding.kind and finding.cames and known(panel, finding):
        yield "width", finding.kind.key, came_of(panel, finding.cames[0]).stock


def _reached(panel: Panel, finding: Finding) -> Iterator[str]:
    """Yield the joint that a gap of a lead reaches.

    A lead that is seen nowhere would tie the doubts at its two ends together, so it reaches none.
    """
    if finding.code is not Code.BRIDGED_GAP or not known(panel, finding):
        return
    came, low_mm = came_of(panel, finding.cames[0]), finding.numbers["from_mm"]
    high_mm = low_mm + finding.numbers["gap_mm"]
    starts, ends = low_mm <= _AT_JOINT_MM, high_mm >= came.length_mm - _AT_JOINT_MM
    if starts != ends:
        yield came.start if starts else came.end
