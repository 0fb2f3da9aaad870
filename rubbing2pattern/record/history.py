"""The parts of the record about doubts and corrections: findings, dismissals, what persons changed.

Lengths are rounded to 0.001 mm, as everywhere in the record.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from rubbing2pattern.findings import Finding
from rubbing2pattern.findings.kinds import KINDS
from rubbing2pattern.findings.names import named
from rubbing2pattern.geometry.frame import Frame
from rubbing2pattern.model import AppliedCorrections, Change, Dismissal
from rubbing2pattern.output import RUBBING_NAME
from rubbing2pattern.record import fields

LENGTH_PLACES = 3
"""Decimal places of a length, a thousandth of a millimetre."""
_PLACES = {"mm": LENGTH_PLACES, "mm2": 2}
"""Decimal places of the figures of findings, by their unit."""
_OTHER_PLACES = 6
"""The same of shares and chances."""


def finding_part(finding: Finding) -> fields.FindingPart:
    """Return the part of a finding."""
    return fields.FindingPart(**_finding_fields(finding))


def doubts_of(
    record: fields.PanelRecord,
) -> tuple[tuple[Finding, ...], tuple[Dismissal, ...]]:
    """Return the findings of a record and the dismissed ones; all have names."""
    every = named([_finding_of(part) for part in (*record.findings, *record.dismissed)])
    count = len(record.findings)
    dismissed = (
        Dismissal(finding, part.by, part.date, part.why)
        for finding, part in zip(every[count:], record.dismissed, strict=True)
    )
    return every[:count], tuple(dismissed)


def dismissed_parts(dismissed: Iterable[Dismissal]) -> list[fields.DismissedPart]:
    """Return the parts of dismissed findings."""
    return [
        fields.DismissedPart(**_finding_fields(d.finding), by=d.by, date=d.date, why=d.why)
        for d in dismissed
    ]


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
            findings_new=list(c.findings_new),
            findings_gone=list(c.findings_gone),
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
            tuple(part.findings_new),
            tuple(part.findings_gone),
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
    rounded = replace(finding, numbers=_rounded(finding.numbers))
    at = finding.at
    return {
        "id": finding.id,
        "code": finding.code,
        "severity": finding.severity,
        "message": rounded.message,
        "at": None if at is None else tuple(round(v, LENGTH_PLACES) + 0.0 for v in at),
        "pieces": [int(number) for number in finding.pieces],
        "kind": finding.kind.key if finding.kind else "",
        "cames": list(finding.cames),
        "joints": list(finding.joints),
        "numbers": dict(rounded.numbers),
        "names": dict(finding.names),
    }


def _rounded(numbers: Mapping[str, float]) -> dict[str, float]:
    """Round by the unit in which a name ends."""
    return {
        name: round(number, _PLACES.get(name.rpartition("_")[2], _OTHER_PLACES)) + 0.0
        for name, number in numbers.items()
    }


def _finding_of(part: fields.FindingPart) -> Finding:
    """Return the finding of its part; the sentence stays as written where nothing makes it."""
    kind = KINDS.get(part.kind)
    finding = Finding(
        part.code,
        part.severity,
        "",
        part.at,
        tuple(part.pieces),
        kind,
        tuple(part.cames),
        tuple(part.joints),
        part.numbers,
        part.names,
        part.id,
    )
    if kind is None or not finding.is_complete:
        return replace(finding, kind=None, written=part.message)
    return finding
