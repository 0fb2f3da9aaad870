"""The doubts of a panel as the page lists them."""

from __future__ import annotations

from typing import Any

from rubbing2pattern.findings import Finding, Severity
from rubbing2pattern.inputs.edits import Edit, edit_of
from rubbing2pattern.model import Panel
from rubbing2pattern.reviewing.bodies import CureShown, DoubtShown
from rubbing2pattern.units import Unit

_ORDER = (Severity.WRONG, Severity.CHECK, Severity.NOTE)


def doubts_shown(panel: Panel, units: Unit) -> list[DoubtShown]:
    """Return the doubts, most harmful first."""
    ranked = sorted(panel.findings, key=lambda finding: _ORDER.index(finding.severity))
    return [_shown(finding, units) for finding in ranked]


def _shown(finding: Finding, units: Unit) -> DoubtShown:
    right = edit_of("dismiss", {"name": finding.id, "why": "looked at on the review page"})
    return DoubtShown(
        names=[finding.id],
        severity=finding.severity.value,
        code=finding.code.value,
        words=finding.sentence(units),
        more=[],
        places=[] if finding.at is None else [finding.at],
        pieces=[*finding.pieces],
        cames=[*finding.cames],
        joints=[*finding.joints],
        cures=[CureShown(words="It is right", edits=[edit_shown(right)])],
    )


def edit_shown(edit: Edit) -> dict[str, Any]:
    """Return an edit as the page sends it back."""
    return {"kind": edit.kind, **edit.given}
