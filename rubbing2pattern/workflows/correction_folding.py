"""Edits made one after the other, folded into one file of corrections where it says the same.

A file means the panel as it was before the file, an edit the panel that its maker saw. A file that
takes an edit in is tried: it holds only when it makes the same net, under the same names, as the
edit makes of the panel that was seen.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import shapely

from rubbing2pattern.correcting.by_finding import explicit
from rubbing2pattern.correcting.changes import Changes, told
from rubbing2pattern.correcting.doubts import meant
from rubbing2pattern.correcting.folding import Folding, as_lead, labels
from rubbing2pattern.correcting.names import numbers_for, renumbered
from rubbing2pattern.correcting.same_net import names_in
from rubbing2pattern.errors import UsageFault
from rubbing2pattern.findings import Finding
from rubbing2pattern.findings.names import same_doubt
from rubbing2pattern.inputs.correction_tables import Dismiss, Renumber
from rubbing2pattern.inputs.edits import Edit, corrections_of
from rubbing2pattern.model import Panel
from rubbing2pattern.options import Options
from rubbing2pattern.paneling.reading_order import reading_order
from rubbing2pattern.workflows.corrected_panel import (
    ENDS_FREELY,
    PanelBefore,
    did_dismiss,
    did_renumber,
    refuse_undone,
)

_HEAD = ("not saved", "2000-01-01")
"""Who and when, of corrections that were not saved yet."""
_SAME_PLACE_MM = 0.01
"""How far findings may lie from each other that are one: places made anew differ by a rounding."""
_UNSAVED = "not saved"
"""Stands for the digest of their file."""
Edits = tuple[Edit, ...]


@dataclass(frozen=True, slots=True)
class Made:
    """A panel that edits made.

    Attributes
    ----------
    before : the panel before the last file of them.
    edits : of that file; none when nothing was changed.
    work : how its leads were changed.
    panel : what came of it.
    now : the same, open to further edits.
    said : what the last edits did, a sentence each.
    """

    before: PanelBefore
    edits: Edits
    work: Changes
    panel: Panel
    now: PanelBefore
    said: tuple[str, ...] = ()


def nothing_made(before: PanelBefore) -> Made:
    """Return a panel as it is."""
    return Made(before, (), Changes(before), before.panel, before)


def made_further(so_far: Made, new: Edits) -> Made:
    """Make further edits, in the same file where one file can say it, else in the next.

    Parameters
    ----------
    so_far : what was made; the edits mean its panel.
    new : the edits, which are made all at once.

    Raises
    ------
    UsageFault
        One of them cannot be made of the panel that it means.
    """
    now = so_far.now
    new = tuple(Edit(e.kind, part) for e in new for part in explicit(e.table, now.panel))
    corrections = corrections_of(new, *_HEAD)
    alone = now.changed(corrections)
    for edits in _candidates(so_far, new, alone) if so_far.edits else ():
        found = _same(so_far, edits, alone, new)
        if found is not None:
            also = _said_of_names(now, found.panel, new)
            return replace(found, said=(*told(alone.changes, alone.notes), *also))
    panel = now.finished(alone, corrections, _UNSAVED).panel
    return replace(_made(now, new, alone, panel), said=told(alone.changes, alone.notes))


def _made(before: PanelBefore, edits: Edits, work: Changes, panel: Panel) -> Made:
    return Made(before, edits, work, panel, PanelBefore(panel, before.all_options))


def _same(so_far: Made, edits: Edits, alone: Changes, new: Edits) -> Made | None:
    """Return what edits make as one file, or None when that is not what the new ones make alone.

    Rules:

    1. The nets and the side are the same; what a person saw keeps its id.
    2. The pieces have the numbers that they would have; a lead that divides a piece does so.
    3. What was dismissed stays so, and what the new edits dismiss is dismissed too.
    """
    before, now = so_far.before, so_far.now
    try:
        corrections = corrections_of(edits, *_HEAD)
        work = before.changed(corrections)
        names = names_in(work.net, alone.net, now.net)
        if names is None or work.seen_from != alone.seen_from:  # rule 1
            return None
        if not edits:
            return nothing_made(before)
        panel = before.finished(work, corrections, _UNSAVED).panel
        refuse_undone(alone, panel, names)
        seen = _renumbered(now.panel, new)
    except UsageFault:
        return None
    if not _same_numbers(panel, seen, now.all_options):  # rule 2
        return None
    return _made(before, edits, work, panel) if _same_dismissed(panel, so_far, new) else None


def _same_numbers(panel: Panel, seen: Panel, options: Options) -> bool:
    """Return whether the pieces of a panel have the numbers that those seen before hand on."""
    places = np.array([piece.label_at for piece in panel.pieces])
    bounds = shapely.bounds([piece.outline for piece in panel.pieces])
    order = reading_order(places, bounds[:, 3] - bounds[:, 1], options.pieces.row_share)
    # As they are read, and not by number: of two equal halves the first keeps the number.
    read = [replace(panel.pieces[k], number=n) for n, k in enumerate(order, start=1)]
    numbers = numbers_for(read, seen, options.correct.same_share)
    return all(numbers[n] == panel.pieces[k].number for n, k in enumerate(order, start=1))


def _renumbered(panel: Panel, new: Edits) -> Panel:
    """Return a panel with the numbers that edits give."""
    numbers = {e.table.piece: e.table.number for e in new if isinstance(e.table, Renumber)}
    if None in numbers:
        raise UsageFault("a piece that the edits themselves make")
    return renumbered(panel, {a: b for a, b in numbers.items() if a is not None})


def _same_dismissed(panel: Panel, so_far: Made, new: Edits) -> bool:
    """Rule 3; free ends are dismissed with the leads that end there."""
    now = so_far.now
    wanted = [(d.finding, d.why) for d in now.panel.dismissed if not d.why.endswith(ENDS_FREELY)]
    for edit in new:
        if isinstance(edit.table, Dismiss):
            found = meant(edit.table, now.panel, panel.findings, now.options.reach_mm)
            wanted += [(finding, edit.table.why) for finding in found]
    # A name of before the file is that of one doubt for good; others are given anew.
    lasting = {f.id for f in (*so_far.before.panel.findings, *_dismissed(so_far.before.panel))}
    return all(
        any(
            d.why == why
            and d.finding.code is finding.code
            and (
                (d.finding.id == finding.id and finding.id in lasting)
                or same_doubt(d.finding, finding, _SAME_PLACE_MM)
            )
            for d in panel.dismissed
        )
        for finding, why in wanted
    )


def _dismissed(panel: Panel) -> Iterator[Finding]:
    return (dismissal.finding for dismissal in panel.dismissed)


def _said_of_names(now: PanelBefore, panel: Panel, new: Edits) -> Iterator[str]:
    """Yield what edits do that change no lead, in the words of the panel that they mean."""
    for edit in new:
        match edit.table:
            case Renumber(piece=piece, number=number):
                yield did_renumber(piece or number, number)
            case Dismiss():
                yield did_dismiss(
                    meant(edit.table, now.panel, panel.findings, now.options.reach_mm)
                )


def _candidates(so_far: Made, new: Edits, alone: Changes) -> Iterator[Edits]:
    """Yield files that may say the same as one file and new edits after it, the shortest first."""
    folding = Folding(so_far.work, so_far.edits, so_far.now.panel)
    for edit, label in zip(new, labels(new), strict=True):
        folding.take(edit, alone, label)
    tried: list[Edits] = []
    for edits in (folding.edits, (*so_far.edits, *new)):
        for candidate in (edits, tuple(map(as_lead, edits))):
            if candidate not in tried:
                tried.append(candidate)
                yield candidate
