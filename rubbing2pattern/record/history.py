"""The parts of the record about doubts and corrections: findings, dismissals, what persons changed.

Lengths are rounded to 0.001 mm, as everywhere in the record.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from rubbing2pattern.findings import Finding
from rubbing2pattern.geometry.frame import Frame
from rubbing2pattern.model import AppliedCorrections, Change, Dismissal
from rubbing2pattern.output import RUBBING_NAME
from rubbing2pattern.record import fields

LENGTH_PLACES = 3
"""Decimal places of a length, a thousandth of a millimetre."""


def finding_part(finding: Finding) -> fields.FindingPart:
    """Return the part of a finding."""
    return fields.FindingPart(**_finding_fields(finding))


def findings_of(parts: Iterable[fields.FindingPart]) -> tuple[Finding, ...]:
    """Return the findings of their parts."""
    return tuple(Finding(f.code, f.severity, f.message, f.at, tuple(f.pieces)) for f in parts)


def dismissed_parts(dismissed: Iterable[Dismissal]) -> list[fields.DismissedPart]:
    """Return the parts of dismissed findings."""
    return [
        fields.DismissedPart(**_finding_fields(d.finding), by=d.by, date=d.date, why=d.why)
        for d in dismissed
    ]


def dismissed_of(parts: Sequence[fields.DismissedPart]) -> tuple[Dismissal, ...]:
    """Return the dismissed findings of their parts."""
    return tuple(
        Dismissal(finding, part.by, part.date, part.why)
        for finding, part in zip(findings_of(parts), parts, strict=True)
    )


def corrections_parts(history: Iterable[AppliedCorrections]) -> list[fields.CorrectionsPart]:
    """Return the parts of what persons changed."""
    return [
        fields.CorrectionsPart(
            by=c.by,
            date=c.date,
            remark=c.remark,
            file=c.file,
            sha256=c.sha256,
            changes=[
                fields.ChangePart(
                    table=change.table,
                    index=change.index,
                    given=dict(change.given),
                    did=change.did,
                )
                for change in c.changes
            ],
            pieces_new=list(c.pieces_new),
            pieces_gone=list(c.pieces_gone),
            cames_new=list(c.cames_new),
            cames_gone=list(c.cames_gone),
            joints_new=list(c.joints_new),
        )
        for c in history
    ]


def corrections_of(parts: Iterable[fields.CorrectionsPart]) -> tuple[AppliedCorrections, ...]:
    """Return what persons changed of its parts."""
    return tuple(
        AppliedCorrections(
            part.by,
            part.date,
            part.remark,
            part.file,
            part.sha256,
            tuple(Change(c.table, c.index, c.given, c.did) for c in part.changes),
            tuple(part.pieces_new),
            tuple(part.pieces_gone),
            tuple(part.cames_new),
            tuple(part.cames_gone),
            tuple(part.joints_new),
        )
        for part in parts
    )


def rubbing_part(frame: Frame | None) -> fields.RubbingPart | None:
    """Return the part of the kept rubbing."""
    if frame is None:
        return None
    return fields.RubbingPart(
        file=RUBBING_NAME,
        px_per_mm=frame.px_per_mm,
        left_mm=frame.left_mm,
        top_mm=frame.top_mm,
        width_px=frame.width_px,
        height_px=frame.height_px,
    )


def rubbing_of(part: fields.RubbingPart | None) -> Frame | None:
    """Return the grid of the kept rubbing."""
    if part is None:
        return None
    return Frame(part.px_per_mm, part.left_mm, part.top_mm, part.width_px, part.height_px)


def _finding_fields(finding: Finding) -> dict[str, Any]:
    at = finding.at
    return {
        "code": finding.code,
        "severity": finding.severity,
        "message": finding.message,
        "at": None if at is None else tuple(round(v, LENGTH_PLACES) + 0.0 for v in at),
        "pieces": [int(number) for number in finding.pieces],
    }
