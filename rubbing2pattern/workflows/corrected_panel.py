"""Corrections made on a panel: from what a person says to a panel with its names.

The frame stays: a corrected panel is not levelled anew, so places of the one before still hold.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

from rubbing2pattern.correcting.before import Before
from rubbing2pattern.correcting.changes import Changes
from rubbing2pattern.correcting.doubts import (
    about_what_stays,
    lying_open,
    meant,
    of_reading,
    still_true,
    without_dismissed,
)
from rubbing2pattern.correcting.names import names_for, renamed, renumbered
from rubbing2pattern.correcting.net import Net
from rubbing2pattern.correcting.one_lead import id_number, place_text
from rubbing2pattern.errors import NoLeadFound, UsageFault
from rubbing2pattern.findings import Code, Finding, Point
from rubbing2pattern.findings.names import named
from rubbing2pattern.glazing.entries import Vanished
from rubbing2pattern.inputs.correction_tables import Corrections, Dismiss, Renumber
from rubbing2pattern.inputs.edits import corrections_text
from rubbing2pattern.model import AppliedCorrections, Dismissal, Panel
from rubbing2pattern.options import Options
from rubbing2pattern.output import CORRECTIONS_NAMES
from rubbing2pattern.record.panel import rounded_panel
from rubbing2pattern.stages.audit import audit
from rubbing2pattern.stages.pieces import cut_pieces
from rubbing2pattern.units import Unit

_MOST_FAULTS = 3
"""Faults that a message lists; the others are counted."""
_AT_END_MM = 0.5
"""How far a free end may lie from the place a person gave for it."""
ENDS_FREELY = " says that it ends freely"
"""Why a finding is dismissed about the free end of a lead that a person laid."""
_OF_CROSSINGS = (Code.DOUBTFUL_JOINT, Code.DOUBTFUL_LEAD, Code.POSSIBLE_LEAD)


@dataclass(frozen=True, slots=True)
class Corrected:
    """What came of corrections.

    Attributes
    ----------
    before, panel : the panel as it was, and corrected.
    overlay : False when no overlay could be drawn, because no rubbing was kept.
    numbers : number now of every piece that is still there, by the number it had.
    written_about_gone : what a person wrote about pieces that are gone.
    warnings : what of the folder's options is not used, or under another name; a sentence each.
    units : of the lists in the folder.
    notes : how places were understood, by table and index, as in ``add_lead 2``.
    """

    before: Panel
    panel: Panel
    overlay: bool = True
    numbers: Mapping[int, int] = field(default_factory=dict)
    written_about_gone: tuple[Vanished, ...] = ()
    warnings: tuple[str, ...] = ()
    units: Unit = "mm"
    notes: Mapping[str, str] = field(default_factory=dict)

    @property
    def applied(self) -> AppliedCorrections:
        """What the last file did."""
        return self.panel.corrections[-1]

    @property
    def kept(self) -> tuple[int, ...]:
        """Numbers of the pieces that are still there under the number they had."""
        now = {piece.number for piece in self.panel.pieces}
        return tuple(piece.number for piece in self.before.pieces if piece.number in now)


def apply_corrections(
    panel: Panel, corrections: Corrections, *, options: Options = Options(), sha256: str = ""
) -> Corrected:
    """Apply corrections to a panel, all of them or none.

    Parameters
    ----------
    panel : the panel, as a record gives it back.
    corrections : what a person says.
    options : those with which the panel was read; stages before cutting are not run again.
    sha256 : of the file of corrections; without one, of the text that `corrections_text` writes.

    Raises
    ------
    UsageFault
        A correction that cannot be made. The message names its table, its index and the reason.
    """
    return PanelBefore(panel, options).apply(corrections, sha256)


class PanelBefore(Before):
    """A panel to which any number of corrections may be applied, each to it as it is.

    Attributes
    ----------
    all_options : those with which the panel was read.
    """

    def __init__(self, panel: Panel, options: Options) -> None:
        super().__init__(panel, options.correct)
        self.all_options = options

    @cached_property
    def cut_again(self) -> Panel:
        """The panel cut from its own net."""
        return _cut(self.net.copy(), self.panel, self.all_options)

    @cached_property
    def of_reading(self) -> tuple[Finding, ...]:
        """Findings that only the picture could give.

        What cutting and auditing find again in the panel as it is is not of the reading.
        """
        options = self.all_options.audit
        again = audit(self.cut_again, options).findings
        return tuple(of_reading(self.panel.findings, again, options.same_place_mm))

    @cached_property
    def crossings(self) -> frozenset[tuple[Code, Point | None]]:
        """Where leads of the panel cross already."""
        return frozenset((f.code, f.at) for f in self.cut_again.findings)

    def apply(self, corrections: Corrections, sha256: str = "") -> Corrected:
        """Apply corrections; see `apply_corrections`."""
        digest = sha256 or hashlib.sha256(corrections_text(corrections).encode()).hexdigest()
        _refuse_repeated(self.panel, digest)
        return self.finished(self.changed(corrections), corrections, digest)

    def changed(self, corrections: Corrections) -> Changes:
        """Make the changes of leads and joints that corrections ask for, before pieces are cut."""
        work = Changes(self)
        work.make(corrections)
        _raise(work.faults)
        return work

    def finished(self, work: Changes, corrections: Corrections, sha256: str) -> Corrected:
        """Cut and audit a net that was changed, and make the other corrections."""
        panel, options = self.panel, self.all_options
        cut = replace(_cut(work.net, panel, options), seen_from=work.seen_from)
        self._refuse_crossed(cut)
        held = still_true(
            self.of_reading, work.before, work.net, options.audit.touch_mm, options.correct
        )
        lost = lying_open(panel, cut)
        findings = (*about_what_stays(held, cut), *lost, *cut.findings)
        corrected = _audited(replace(cut, findings=findings), panel, options)
        refuse_undone(work, corrected)
        corrected = _dismissed(work, corrected, panel, corrections, options)
        numbers = _renumbering(work, corrected, corrections)
        present = {piece.number for piece in corrected.pieces}
        now = {n: numbers.get(n, n) for n in self.pieces if n in present}
        if numbers:
            corrected = _audited(renumbered(corrected, numbers), panel, options)
        left = without_dismissed(corrected.findings, corrected.dismissed)
        corrected = replace(corrected, findings=left)
        _raise(work.faults)
        corrected = _with_history(work, corrected, panel, corrections, sha256, numbers)
        return Corrected(panel, rounded_panel(corrected, corrected), numbers=now, notes=work.notes)

    def _refuse_crossed(self, cut: Panel) -> None:
        """Refuse changes after which leads cross where there is no joint; cutting reports these."""
        for f in cut.findings:
            if f.at is None or f.code not in _OF_CROSSINGS:
                continue
            if (f.code, f.at) not in self.crossings:
                raise UsageFault(
                    f"nothing was changed: leads would cross at {place_text(f.at)} where there is "
                    "no joint; check whether a lead is moved across another, or too near one"
                )


def _refuse_repeated(panel: Panel, digest: str) -> None:
    for applied in panel.corrections:
        if applied.sha256 == digest:
            raise UsageFault(
                f"these corrections were applied already, by {applied.by} on {applied.date} "
                f"({applied.file})"
            )


def _raise(faults: list[str]) -> None:
    if faults:
        more = len(faults) - _MOST_FAULTS
        also = f"; and {more} more" if more > 0 else ""
        raise UsageFault(f"nothing was changed: {'; '.join(faults[:_MOST_FAULTS])}{also}")


def _cut(net: Net, before: Panel, options: Options) -> Panel:
    """Cut a net into pieces and give everything the names it had."""
    doubled = net.doubled()
    if doubled is not None:
        raise UsageFault(f"nothing was changed: {doubled[1]} would lie on {doubled[0]}")
    heart_mm, clearance_mm = before.heart_mm, before.clearance_mm
    # The widths of the record hold what callipers add already.
    given = replace(options.pieces, heart_mm=heart_mm, clearance_mm=clearance_mm, calipers=())
    try:
        cut = cut_pieces(net.lead_net(), given)
    except (NoLeadFound, ValueError) as fault:
        raise UsageFault(f"nothing was changed: {fault}") from fault
    names = names_for(cut, before, net, options.correct.same_share)
    # So that nothing depends on whether a panel was written between.
    rounded = rounded_panel(renamed(cut, names, before, net), before)
    # What cutting finds gets its names after the audit.
    return replace(rounded, findings=tuple(replace(f, id="") for f in rounded.findings))


def _audited(panel: Panel, before: Panel, options: Options) -> Panel:
    """Audit a panel; its findings have the names of the same doubts before, or new ones."""
    audited = audit(panel, options.audit)
    known = (*before.findings, *(d.finding for d in before.dismissed))
    used = [name for c in before.corrections for name in (*c.findings_new, *c.findings_gone)]
    near_mm = options.audit.same_place_mm
    return replace(audited, findings=named(audited.findings, known, used, same_place_mm=near_mm))


def refuse_undone(
    work: Changes, corrected: Panel, names_now: Mapping[str, str] | None = None
) -> None:
    """Refuse leads that cannot be drawn, and those that should divide a piece but do not.

    `names_now` are the ids of leads in the corrected panel by those in the changed net, where they
    differ.
    """
    cames = {came.id: came for came in corrected.cames}
    for label, number, laid in work.laid:
        names = [name if names_now is None else names_now[name] for name in laid]
        missing = [name for name in names if name not in cames]
        if missing:
            work.faults.append(f"{label}: the lead crosses others so that it cannot be drawn")
        elif number is not None and all(len(cames[name].pieces) < 2 for name in names):
            work.faults.append(f"{label}: the lead does not part piece {number}")
    _raise(work.faults)


def _dismissed(
    work: Changes, corrected: Panel, before: Panel, corrections: Corrections, options: Options
) -> Panel:
    """Move findings that are dismissed, and free ends that are said to be so, to the dismissed."""
    who = (corrections.by, corrections.date)
    dismissed = list(corrected.dismissed)
    for label, place in work.free_ends:
        ends = [f for f in corrected.findings if f.code is Code.FREE_END and f.at]
        dismissed += [
            Dismissal(f, *who, f"{label}{ENDS_FREELY}")
            for f in ends
            if f.at and math.dist(f.at, place) < _AT_END_MM
        ]

    names: dict[str, str] = {}

    def dismiss(label: str, table: Dismiss) -> str:
        found = meant(table, before, corrected.findings, options.correct.reach_mm)
        if table.named is not None and table.named in names:
            raise UsageFault(f"finding {table.named} is dismissed already by {names[table.named]}")
        dismissed.extend(Dismissal(f, *who, table.why) for f in found if f.id not in names)
        names.update({f.id: label for f in found})
        return did_dismiss(found)

    for index, table in enumerate(corrections.dismiss, start=1):
        work.try_one("dismiss", index, table, dismiss)
    return replace(corrected, dismissed=tuple(dismissed))


def did_dismiss(found: Sequence[Finding]) -> str:
    """Return what was done when findings were dismissed."""
    return f"{', '.join(f.id for f in found)} {found[0].code.value} dismissed"


def did_renumber(number: int, now: int) -> str:
    """Return what was done when a piece got another number."""
    return f"piece {number} is now {now}"


def _renumbering(work: Changes, corrected: Panel, corrections: Corrections) -> dict[int, int]:
    """Return new numbers by old ones; every number stays one piece's."""
    present = {piece.number: piece for piece in corrected.pieces}
    numbers: dict[int, int] = {}

    def renumber(label: str, table: Renumber) -> str:
        number = table.piece
        if number is None:
            number = _piece_at(corrected, table)
        if number not in present:
            what = "is gone after the other changes" if number in work.pieces else "is not there"
            raise UsageFault(f"piece {number} {what}")
        if number in numbers:
            raise UsageFault(f"piece {number} is renumbered twice")
        if table.number in numbers.values():
            raise UsageFault(f"number {table.number} is given twice")
        numbers[number] = table.number
        return did_renumber(number, table.number)

    for index, table in enumerate(corrections.renumber, start=1):
        work.try_one("renumber", index, table, renumber)
    for old, new in numbers.items():
        if new in present and new not in numbers:
            work.faults.append(
                f"renumber: number {new} for piece {old} belongs to another piece; renumber that "
                "one as well"
            )
    _raise(work.faults)
    return numbers


def _piece_at(panel: Panel, table: Renumber) -> int:
    assert table.at is not None
    piece = panel.piece_at(table.at)
    if piece is None:
        raise UsageFault(f"there is no piece at {place_text(table.at)}")
    return piece.number


def _with_history(
    work: Changes,
    corrected: Panel,
    before: Panel,
    corrections: Corrections,
    digest: str,
    numbers: Mapping[int, int],
) -> Panel:
    """Return the panel with a further entry in its history."""
    came_before, came_now = _ids(before.cames), _ids(corrected.cames)
    findings_before, findings_now = _ids(before.findings), _ids(corrected.findings)
    number_of: Any = {piece.number for piece in before.pieces}
    now = {piece.number for piece in corrected.pieces}
    entry = AppliedCorrections(
        corrections.by,
        corrections.date,
        corrections.remark,
        CORRECTIONS_NAMES.replace("*", str(len(before.corrections) + 1)),
        digest,
        tuple(work.changes),
        tuple(sorted(now - number_of)),
        tuple(sorted(number_of - now)),
        tuple(sorted(came_now - came_before, key=id_number)),
        tuple(sorted(came_before - came_now, key=id_number)),
        tuple(sorted(_ids(corrected.joints) - _ids(before.joints), key=id_number)),
        tuple(sorted(findings_now - findings_before, key=id_number)),
        tuple(sorted(findings_before - findings_now, key=id_number)),
    )
    return replace(corrected, corrections=(*before.corrections, entry))


def _ids(parts: Any) -> set[str]:
    return {part.id for part in parts}
