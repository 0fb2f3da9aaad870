"""The doubts of a panel, each with its cures.

Rules:

1. A cure is edits that can be made as they are, the likeliest first.
2. That all is right as drawn, which dismisses the findings, is the last, or the first where it is
   the likeliest.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.findings import Code, Finding, Kind, Severity
from rubbing2pattern.inputs.edits import Edit, edit_of
from rubbing2pattern.model import Panel
from rubbing2pattern.reviewing.cures_of_border import border_open
from rubbing2pattern.reviewing.cures_of_leads import doubtful_joint, doubtful_lead
from rubbing2pattern.reviewing.cures_of_pieces import (
    inward_corner,
    no_piece,
    possible_lead,
    side,
    widths,
)
from rubbing2pattern.reviewing.grouping import grouped
from rubbing2pattern.reviewing.making import Made, Rubbing, known
from rubbing2pattern.units import Unit

_EVEN = 0.5
"""Probability from which a lead is likelier one than none."""
_MOST_CURES = 6
"""Buttons of a doubt at most; more are no choice."""


@dataclass(frozen=True, slots=True)
class Cure:
    """A way to settle a doubt: plain words, and the edits that do it."""

    words: str
    edits: tuple[Edit, ...]


@dataclass(frozen=True, slots=True)
class Doubt:
    """Findings that are one doubt, what it is in words, and its cures, the likeliest first."""

    findings: tuple[Finding, ...]
    words: str
    cures: tuple[Cure, ...]


RIGHT: Mapping[Code, str] = {
    Code.DOUBTFUL_LEAD: "It is a lead",
    Code.BRIDGED_GAP: "It runs through here",
    Code.FREE_END: "It is a strap and ends here",
    Code.POSSIBLE_LEAD: "No lead runs here",
    Code.INWARD_CORNER: "The glass is cut so",
    Code.SLIVER_PIECE: "It is a piece of glass",
    Code.SMALL_PIECE: "It is a piece of glass",
    Code.DOUBTFUL_JOINT: "They meet as drawn",
    Code.LEAD_OFF: "It runs as drawn",
    Code.BORDER_OPEN: "The border is so",
    Code.WIDTH_UNCERTAIN: "The width is as drawn",
    Code.WIDTH_BETWEEN_STOCK: "The width is as measured",
}
"""What dismisses a finding, in words; of any other code it has been seen to."""
_SEEN = "Seen to, nothing to change"
_LIKELY_RIGHT = frozenset({Kind.BRIDGED_GAP, Kind.DOUBTFUL_JOINT, Kind.LINES_CROSS})
"""Doubts of which most turn out to be right as drawn."""


def queue(panel: Panel, units: Unit, rubbing: Rubbing = None) -> tuple[Doubt, ...]:
    """Return the doubts of a panel, most harmful first.

    Parameters
    ----------
    panel, units : the panel, and in what its sentences are.
    rubbing : shows where a lead that is not drawn may run; without it no cure draws one.
    """
    return tuple(_doubt(panel, findings, units, rubbing) for findings in grouped(panel))


def _doubt(panel: Panel, findings: tuple[Finding, ...], units: Unit, rubbing: Rubbing) -> Doubt:
    first = findings[0]
    words = first.sentence(units)
    if len(findings) > 1 and first.severity is Severity.NOTE:
        words = f"{len(findings)} places of one kind, the first: {words}"
    found = [] if first.severity is Severity.NOTE else [*_cures(panel, findings, rubbing)]
    saying = RIGHT.get(first.code, _SEEN)
    why = f"{saying[0].lower()}{saying[1:]}: looked at on the review page"
    dismissed = tuple(edit_of("dismiss", {"name": f.id, "why": why}) for f in findings)
    right = Cure(saying, dismissed)
    if first.kind in _LIKELY_RIGHT or first.numbers.get("chance", 0.0) > _EVEN:  # rule 2
        return Doubt(findings, words, (right, *found[: _MOST_CURES - 1]))
    return Doubt(findings, words, (*found[: _MOST_CURES - 1], right))


def _cures(panel: Panel, findings: tuple[Finding, ...], rubbing: Rubbing) -> Iterator[Cure]:
    """Yield the cures that change the net; those that name a part which is gone are left out."""
    seen: set[str] = set()
    for finding in _open_as_one(findings):
        if not known(panel, finding):
            continue
        for words, edits in _MAKERS.get(finding.code, _nothing)(panel, finding, rubbing):
            if words in seen:
                continue
            seen.add(words)
            try:
                yield Cure(words, tuple(edit_of(kind, fields) for kind, fields in edits))
            except UsageFault:
                continue


def _open_as_one(findings: tuple[Finding, ...]) -> Iterator[Finding]:
    """Yield findings of one doubt, those of leads beside one gap of the border as one.

    A piece that was lost comes first: its area shows how the gap was closed.
    """
    yield from (f for f in findings if f.kind is Kind.GLASS_LIES_OPEN)
    findings = tuple(f for f in findings if f.kind is not Kind.GLASS_LIES_OPEN)
    beside = [f for f in findings if f.kind is Kind.BORDER_OPEN]
    every = dict.fromkeys(name for finding in beside for name in finding.cames)
    for finding in findings:
        if finding not in beside:
            yield finding
        elif finding is beside[0]:
            yield replace(finding, cames=tuple(every))


def _nothing(panel: Panel, finding: Finding, rubbing: Rubbing) -> Made:
    yield from ()


_MAKERS: Mapping[Code, Callable[[Panel, Finding, Rubbing], Made]] = {
    Code.DOUBTFUL_LEAD: doubtful_lead,
    Code.BRIDGED_GAP: doubtful_lead,
    Code.FREE_END: doubtful_lead,
    Code.BORDER_OPEN: border_open,
    Code.DOUBTFUL_JOINT: doubtful_joint,
    Code.POSSIBLE_LEAD: possible_lead,
    Code.INWARD_CORNER: inward_corner,
    Code.SLIVER_PIECE: no_piece,
    Code.SMALL_PIECE: no_piece,
    Code.NO_GLASS_LEFT: no_piece,
    Code.WIDTH_UNCERTAIN: widths,
    Code.WIDTH_BETWEEN_STOCK: widths,
    Code.SIDE_NOT_STATED: side,
}
