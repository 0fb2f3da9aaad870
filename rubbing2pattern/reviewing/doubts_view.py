"""The doubts of a panel as the page lists them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, TypeVar

from rubbing2pattern.documents.kept_rubbing import KeptRubbing
from rubbing2pattern.inputs.edits import Edit
from rubbing2pattern.model import Panel
from rubbing2pattern.reviewing.bodies import CureShown, DoubtShown
from rubbing2pattern.reviewing.cures import Doubt, queue
from rubbing2pattern.units import Unit

T = TypeVar("T")


def doubts_shown(panel: Panel, units: Unit, rubbing: KeptRubbing | None) -> list[DoubtShown]:
    """Return the doubts, most harmful first."""
    return [_shown(doubt, units) for doubt in queue(panel, units, rubbing)]


def _shown(doubt: Doubt, units: Unit) -> DoubtShown:
    findings = doubt.findings
    return DoubtShown(
        names=[f.id for f in findings],
        severity=findings[0].severity.value,
        code=findings[0].code.value,
        words=doubt.words,
        more=[f"{f.id}: {f.sentence(units)}" for f in findings] if len(findings) > 1 else [],
        places=[f.at for f in findings if f.at is not None],
        pieces=_unique(n for f in findings for n in f.pieces),
        cames=_unique(c for f in findings for c in f.cames),
        joints=_unique(j for f in findings for j in f.joints),
        cures=[
            CureShown(words=cure.words, edits=[edit_shown(e) for e in cure.edits])
            for cure in doubt.cures
        ],
    )


def edit_shown(edit: Edit) -> dict[str, Any]:
    """Return an edit as the page sends it back."""
    return {"kind": edit.kind, **edit.given}


def _unique(parts: Iterable[T]) -> list[T]:
    return [*dict.fromkeys(parts)]
