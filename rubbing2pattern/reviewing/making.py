"""What the makers of cures share: the parts that a finding names, and how an edit is told."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from rubbing2pattern.documents.kept_rubbing import KeptRubbing
from rubbing2pattern.findings import Finding
from rubbing2pattern.model import Came, Joint, Panel, Piece

Fields = Mapping[str, Any]
Made = Iterator[tuple[str, list[tuple[str, Fields]]]]
"""Cures: their words, and the kinds and fields of their edits."""
Rubbing = KeptRubbing | None


def came_of(panel: Panel, name: str) -> Came:
    """Return a came by its id."""
    return next(came for came in panel.cames if came.id == name)


def joint_of(panel: Panel, name: str) -> Joint:
    """Return a joint by its id."""
    return next(joint for joint in panel.joints if joint.id == name)


def piece_of(panel: Panel, finding: Finding) -> Piece | None:
    """Return the first piece that a finding names, if it is there."""
    number = finding.pieces[0] if finding.pieces else None
    return next((piece for piece in panel.pieces if piece.number == number), None)


def known(panel: Panel, finding: Finding) -> bool:
    """Tell whether all leads that a finding names are there."""
    return {came.id for came in panel.cames}.issuperset(finding.cames)


def taken_out(came: Came) -> tuple[str, Fields]:
    """Return the edit that takes a lead out."""
    return "remove_lead", {"came": came.id, **({"border": True} if came.border else {})}
