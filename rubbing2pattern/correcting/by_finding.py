"""Corrections that name a finding instead of a place, with what they mean in its stead."""

from __future__ import annotations

from rubbing2pattern.correcting.doubts import finding_named
from rubbing2pattern.errors import UsageFault
from rubbing2pattern.inputs.correction_tables import (
    AddLead,
    MoveJoint,
    MoveLead,
    RemoveLead,
    Renumber,
    SetWidth,
    SplitPiece,
    Table,
)
from rubbing2pattern.model import Panel


def explicit(table: Table, panel: Panel) -> tuple[Table, ...]:
    """Return a correction without the name of a finding; others as they are.

    Rules:

    1. A width is set for every came that the finding names.
    2. A lead or a piece is the one that the sentence of the finding is about.
    3. Anything else means the place of the finding.

    Parameters
    ----------
    panel : before the file, whose findings are named.

    Raises
    ------
    UsageFault
        There is no such finding, or it has no place where one is needed.
    """
    name = getattr(table, "finding", None)
    kinds = AddLead | SplitPiece | RemoveLead | MoveLead | MoveJoint | SetWidth | Renumber
    if name is None or not isinstance(table, kinds):
        return (table,)
    finding = finding_named(name, panel)
    without = {"finding": None}
    if isinstance(table, SetWidth) and finding.cames:  # rule 1
        return tuple(table.model_copy(update={**without, "came": c}) for c in finding.cames)
    of_came = finding.kind is not None and finding.kind.names_a_came
    if isinstance(table, RemoveLead | MoveLead) and of_came:  # rule 2
        return (table.model_copy(update={**without, "came": finding.cames[0]}),)
    of_piece = finding.kind is not None and finding.kind.names_a_piece
    if isinstance(table, Renumber) and of_piece:
        return (table.model_copy(update={**without, "piece": finding.pieces[0]}),)
    if finding.at is None:
        raise UsageFault(f"finding {name} is about the whole panel and has no place")
    field = "start" if isinstance(table, AddLead | SplitPiece) else "at"
    return (table.model_copy(update={**without, field: finding.at}),)  # rule 3
