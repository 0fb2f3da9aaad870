"""Repeated edits of one thing made one edit, as one file of corrections may say it.

Whether the one says what the several did is not decided here: who asks tries it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from itertools import count
from typing import Any

from rubbing2pattern.correcting.changes import Changes
from rubbing2pattern.geometry.curves import Point
from rubbing2pattern.inputs.correction_tables import (
    Dismiss,
    MoveJoint,
    MoveLead,
    RemoveLead,
    Renumber,
    SeenFrom,
    SetWidth,
    SplitPiece,
)
from rubbing2pattern.inputs.edits import Edit, edit_of
from rubbing2pattern.model import Panel
from rubbing2pattern.paneling.lines import point_along

_ENDS = ("from", "to")


def labels(edits: Iterable[Edit]) -> list[str]:
    """Return the labels of edits in one file: ``add_lead 2`` is the second of its kind."""
    counts: dict[str, count[int]] = {}
    return [f"{e.kind} {next(counts.setdefault(e.kind, count(1)))}" for e in edits]


def as_lead(edit: Edit) -> Edit:
    """Return a lead that divides a piece as a lead: its ends may lie on leads of the same file."""
    if not isinstance(edit.table, SplitPiece):
        return edit
    return edit_of("add_lead", {k: v for k, v in edit.given.items() if k != "piece"})


class Folding:
    """Takes edits of a panel into the edits that made it.

    Attributes
    ----------
    edits : what may say the same as all of them.
    """

    def __init__(self, work: Changes, edits: tuple[Edit, ...], panel: Panel) -> None:
        self.work, self.panel = work, panel
        self.held: list[tuple[str, Edit]] = list(zip(labels(edits), edits, strict=True))
        self.cames = {came.id: came for came in panel.cames}
        self.laid_by = {names[0]: label for label, _, names in work.laid if len(names) == 1}

    @property
    def edits(self) -> tuple[Edit, ...]:
        """The edits so far."""
        return tuple(edit for _, edit in self.held)

    def take(self, edit: Edit, alone: Changes, label: str) -> None:
        """Take an edit in.

        Parameters
        ----------
        edit : what is done to the panel.
        alone, label : how it changed the leads, and its label there.
        """
        target = alone.resolved.get(label, "")
        match edit.table:
            case SetWidth():
                self._set_width(edit, target)
            case MoveJoint():
                self._move_joint(edit, target)
            case MoveLead():
                self._move_lead(edit, target, alone, alone.shifts[label])
            case RemoveLead():
                self._remove_lead(edit, target)
            case Renumber():
                self._renumber(edit, edit.table)
            case SeenFrom():
                self._see_from(edit, edit.table)
            case Dismiss():
                self._append(self._by_place(edit, edit.table))
            case _:
                self._append(edit)

    def _append(self, edit: Edit) -> None:
        self.held.append(("", edit))

    def _about(self, target: str, *kinds: str) -> list[int]:
        """Return which edits so far are about a lead or joint."""
        return [
            k
            for k, (label, edit) in enumerate(self.held)
            if edit.kind in kinds and label and self.work.resolved.get(label) == target
        ]

    def _laid(self, target: str) -> int | None:
        """Return which edit so far laid a lead."""
        label = self.laid_by.get(target)
        return next((k for k, (own, _) in enumerate(self.held) if label and own == label), None)

    def _change(self, k: int, changes: Mapping[str, Any]) -> None:
        label, edit = self.held[k]
        self.held[k] = (label, edit_of(edit.kind, {**edit.given, **changes}))

    def _set_width(self, edit: Edit, target: str) -> None:
        given = {k: v for k, v in edit.given.items() if k not in ("came", "at")}
        laid = self._laid(target)
        for k in self._about(target, "set_width"):
            label, old = self.held[k]
            which = {n: v for n, v in old.given.items() if n in ("came", "at")}
            self.held[k] = (label, edit_of("set_width", {**which, **given}))
            return
        if laid is not None and given.keys() == {"width_mm"}:
            self._change(laid, given)
        elif target in self.work.before.leads:
            self._append(edit_of("set_width", {"came": target, **given}))
        else:
            middle = point_along(self.cames[target].path, 0.5)
            self._append(edit_of("set_width", {"at": list(middle), **given}))

    def _move_joint(self, edit: Edit, target: str) -> None:
        to = edit.given["to"]
        for k in self._about(target, "move_joint"):
            self._change(k, {"to": to})
            return
        for name in self.laid_by:
            lead, laid = self.work.net.leads.get(name), self._laid(name)
            if lead is None or laid is None or target in self.work.before.joints:
                continue
            for end, joint in zip(_ENDS, (lead.start, lead.end), strict=True):
                if joint == target:
                    self._change(laid, {end: to})
                    return
        self._append(edit_of("move_joint", {"joint": target, "to": to}))

    def _move_lead(self, edit: Edit, target: str, alone: Changes, by: Point) -> None:
        laid = self._laid(target)
        for k in self._about(target, "move_lead"):
            first = self.work.shifts[self.held[k][0]]
            both = [first[0] + by[0], first[1] + by[1]]
            self.held[k] = (self.held[k][0], edit_of("move_lead", {"came": target, "by": both}))
            return
        if laid is None or target not in alone.net.leads:
            self._append(edit)
            return
        given = self.held[laid][1].given
        lead = alone.net.leads[target]
        ends = [alone.net.at(lead.start), alone.net.at(lead.end)]
        first_end = (given["from"][0] + by[0], given["from"][1] + by[1])
        ends.sort(key=lambda end: math.dist(end, first_end))
        through = [[x + by[0], y + by[1]] for x, y in given.get("through", ())]
        self._change(laid, {"from": list(ends[0]), "to": list(ends[1]), "through": through})

    def _remove_lead(self, edit: Edit, target: str) -> None:
        laid = self._laid(target)
        gone = {*self._about(target, "set_width", "move_lead"), laid}
        self.held = [held for k, held in enumerate(self.held) if k not in gone]
        if laid is None:
            rest = {k: v for k, v in edit.given.items() if k != "at"}
            self._append(edit_of("remove_lead", {**rest, "came": target}))

    def _renumber(self, edit: Edit, table: Renumber) -> None:
        for k, (_, old) in enumerate(self.held):
            if isinstance(old.table, Renumber) and old.table.number == table.piece:
                if old.table.piece == table.number:
                    del self.held[k]
                else:
                    self._change(k, {"number": table.number})
                return
        self._append(edit)

    def _see_from(self, edit: Edit, table: SeenFrom) -> None:
        self.held = [held for held in self.held if not isinstance(held[1].table, SeenFrom)]
        if table.side != self.work.panel.seen_from:
            self._append(edit)

    def _by_place(self, edit: Edit, table: Dismiss) -> Edit:
        """Return what dismisses a finding by code and place, where only the edits made it."""
        known = {finding.id for finding in self.work.panel.findings}
        for finding in self.panel.findings:
            if finding.id == table.named and table.named not in known and finding.at is not None:
                at = list(finding.at)
                return edit_of("dismiss", {"code": finding.code.value, "at": at, "why": table.why})
        return edit
