"""What is doubtful: a finding holds place, ids and figures; `kinds` holds the words.

A sentence is made from a finding only when it is shown, in the units asked for.
"""

from __future__ import annotations

from rubbing2pattern.findings.codes import GRAVEST_FIRST, OF_SHAPE, Code, Severity
from rubbing2pattern.findings.finding import Finding, Point, finding_of
from rubbing2pattern.findings.kinds import Kind

__all__ = [
    "GRAVEST_FIRST",
    "OF_SHAPE",
    "Code",
    "Finding",
    "Kind",
    "Point",
    "Severity",
    "finding_of",
]
