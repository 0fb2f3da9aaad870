"""Names of findings that stay, as F14: one found anew takes over that of the same doubt before."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import count

from rubbing2pattern.findings.finding import Finding


def named(
    findings: Sequence[Finding],
    before: Sequence[Finding] = (),
    used: Iterable[str] = (),
    *,
    same_place_mm: float = 0.0,
) -> tuple[Finding, ...]:
    """Return findings that all have a name, in the same order.

    Rules:

    1. A finding keeps the name that it has.
    2. One without takes the name of a finding before that is of its code and whose name no other
       has: of the nearest within `same_place_mm`; else of the one of its kind that names most of
       the same cames, or joints, or pieces, or other things.
    3. All others get the next numbers that were never used.

    Parameters
    ----------
    before : findings whose names may be taken over.
    used : further names that are not given again.
    """
    names = {k: finding.id for k, finding in enumerate(findings) if finding.id}
    pairs = [
        (likeness, k, old.id)
        for k, finding in enumerate(findings)
        for old in before
        if old.id and k not in names and (likeness := _likeness(finding, old, same_place_mm))
    ]
    for _, k, name in sorted(pairs):  # rule 2
        if k not in names and name not in names.values():
            names[k] = name
    taken = {*names.values(), *(old.id for old in before if old.id), *used}
    following = count(1 + max((int(name[1:]) for name in taken), default=0))
    return tuple(
        replace(finding, id=names.get(k) or f"F{next(following)}")
        for k, finding in enumerate(findings)
    )


def same_doubt(a: Finding, b: Finding, same_place_mm: float) -> bool:
    """Return whether two findings of a code are at one place, or say one thing of the panel."""
    if a.code is not b.code:
        return False
    if a.at is None or b.at is None:
        return a.at is b.at and a.message == b.message
    return math.dist(a.at, b.at) <= same_place_mm


def _likeness(finding: Finding, old: Finding, same_place_mm: float) -> tuple[int, float] | None:
    """Return how like two findings are, the least the most; None where they are not (rule 2)."""
    if same_doubt(finding, old, same_place_mm):
        away_mm = math.dist(finding.at, old.at) if finding.at and old.at else 0.0
        return (0, away_mm)
    if finding.kind is None or finding.kind is not old.kind:
        return None
    own, others = _subject(finding), _subject(old)
    shared = len(own & others)
    return (1, -float(shared)) if shared or not (own or others) else None


def _subject(finding: Finding) -> set[str | int]:
    """Return what a finding is about."""
    return {*(finding.cames or finding.joints or finding.pieces or finding.names.values())}
