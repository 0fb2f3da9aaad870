"""The audit of a finished panel: every doubt with its place and its pieces, in a fixed order."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely

from rubbing2pattern.findings import GRAVEST_FIRST, Code, Finding, Severity
from rubbing2pattern.findings.names import same_doubt
from rubbing2pattern.model import Panel
from rubbing2pattern.options.audit import AuditOptions
from rubbing2pattern.stages.audit.checks import (
    check_joints,
    check_leads,
    check_parts,
    check_pieces,
    check_scale,
    check_side,
    check_widths,
)
from rubbing2pattern.stages.audit.notches import check_notches

_GRAVER = {
    Code.LEAD_OFF: (Code.DOUBTFUL_JOINT, Code.FREE_END, Code.DOUBTFUL_LEAD, Code.BRIDGED_GAP),
    Code.FREE_END: (Code.DOUBTFUL_JOINT,),
}
"""Doubts that include another of the same place."""


def audit(panel: Panel, options: AuditOptions) -> Panel:
    """Add what is doubtful about a panel to its findings, and put them all in order.

    Rules:

    1. Findings that came with the panel stay. One with a place but no pieces gets the pieces whose
       centre outlines lie within `touch_mm` of it; one that says that a lead may lie off its place
       those beside the lead there.
    2. One doubt, one finding: a lead that may lie off is reported with a graver doubt about that
       place, within `same_doubt_mm`, and a free end with the joint where its lead crosses another.
    3. Findings of one code within `same_place_mm` of each other are one: the gravest, of equals the
       one that came first, with the pieces of all. Without a place they must say the same; of a
       border that is cut off they make one wherever they lie, for it is cut along a whole side.
    4. The gravest come first; then those that mean the whole panel; then by the lowest piece
       touched, or the nearest where none is; then from the top and from the left.

    Auditing a panel again changes nothing.

    Parameters
    ----------
    panel : a numbered panel.
    options : limits of doubt.
    """
    made = (
        *check_scale(panel, options),
        *check_side(panel),
        *check_parts(panel),
        *check_pieces(panel, options),
        *check_notches(panel, options),
        *check_joints(panel, options),
        *check_leads(panel, options),
        *check_widths(panel, options),
    )
    placed = _with_pieces([*panel.findings, *made], panel, options.touch_mm)
    placed = _without_covered(placed, options.same_doubt_mm)
    merged = _merged(placed, options.same_place_mm)
    return replace(panel, findings=tuple(_in_order(merged, panel)))


def _with_pieces(findings: Sequence[Finding], panel: Panel, touch_mm: float) -> list[Finding]:
    """Rule 1."""
    outlines = shapely.STRtree([piece.outline for piece in panel.pieces])
    return [
        finding
        if finding.at is None or finding.pieces
        else replace(finding, pieces=_touched(outlines, panel, finding, touch_mm))
        for finding in findings
    ]


def _touched(
    outlines: shapely.STRtree, panel: Panel, finding: Finding, touch_mm: float
) -> tuple[int, ...]:
    if finding.code is Code.LEAD_OFF:
        paths = shapely.STRtree([shapely.LineString(came.path) for came in panel.cames])
        return tuple(sorted(panel.cames[int(paths.nearest(shapely.Point(finding.at)))].pieces))
    near = outlines.query(shapely.Point(finding.at), predicate="dwithin", distance=touch_mm)
    return tuple(sorted(panel.pieces[int(k)].number for k in near))


def _without_covered(findings: Sequence[Finding], same_doubt_mm: float) -> list[Finding]:
    """Rule 2."""

    def covered(finding: Finding) -> bool:
        graver = _GRAVER.get(finding.code, ())
        return any(
            f.code in graver
            and f.severity is not Severity.NOTE
            and f.at is not None
            and finding.at is not None
            and math.dist(finding.at, f.at) <= same_doubt_mm
            for f in findings
        )

    return [f for f in findings if not covered(f)]


def _merged(findings: Sequence[Finding], same_place_mm: float) -> list[Finding]:
    """Rule 3."""
    kept: list[Finding] = []
    for finding in sorted(findings, key=lambda f: GRAVEST_FIRST.index(f.severity)):
        for k, other in enumerate(kept):
            if _same(finding, other, same_place_mm):
                merged = other.touching(finding.pieces)
                kept[k] = replace(merged, id=other.id or finding.id)
                break
        else:
            kept.append(finding)
    return kept


def _same(a: Finding, b: Finding, same_place_mm: float) -> bool:
    if a.code is b.code is Code.BORDER_CUT_OFF:
        return a.message == b.message
    return same_doubt(a, b, same_place_mm)


def _in_order(findings: Sequence[Finding], panel: Panel) -> list[Finding]:
    """Rule 4."""
    outlines = np.array([piece.outline for piece in panel.pieces], dtype=object)

    def key(finding: Finding) -> tuple[int, int, float, float, str, str]:
        grave = GRAVEST_FIRST.index(finding.severity)
        if finding.at is None:
            first = min(finding.pieces, default=0)
            return (grave, first, 0.0, 0.0, finding.code, finding.message)
        x, y = finding.at
        if finding.pieces:
            first = min(finding.pieces)
        else:
            away = shapely.distance(outlines, shapely.Point(x, y))
            first = panel.pieces[int(np.argmin(away))].number
        return (grave, first, -y, x, finding.code, finding.message)

    return sorted(findings, key=key)
