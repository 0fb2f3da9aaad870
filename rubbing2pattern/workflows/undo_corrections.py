"""The last file of corrections taken back: the folder as it was before it.

A folder keeps the record from before its first corrections. The files after it are applied again.
Only when that gives the panel in the folder, to the byte, was the one before the last there.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from rubbing2pattern.errors import InputUnreadable, RubbingError, UsageFault
from rubbing2pattern.glazing.carry import carried_back
from rubbing2pattern.glazing.entries import Vanished
from rubbing2pattern.glazing.folder import Known, held_in
from rubbing2pattern.inputs.corrections import corrections_from
from rubbing2pattern.model import AppliedCorrections, Panel
from rubbing2pattern.output import UNCORRECTED_NAME
from rubbing2pattern.record.panel import panel_of, record_from_text, record_of, record_text
from rubbing2pattern.units import Unit
from rubbing2pattern.workflows.corrected_panel import Corrected, apply_corrections
from rubbing2pattern.workflows.folders import KeptFolder, in_units, kept_folder, rewrite


@dataclass(frozen=True, slots=True)
class Undone:
    """What came of taking corrections back.

    Attributes
    ----------
    file : what was taken back.
    corrected, panel : the panel with it, and without.
    overlay : False when no overlay could be drawn, because no rubbing was kept.
    written_about_gone : what a person wrote about pieces that the corrections had made.
    warnings : what of the folder's options is not used, or under another name; a sentence each.
    units : of the lists in the folder.
    """

    file: AppliedCorrections
    corrected: Panel
    panel: Panel
    overlay: bool
    written_about_gone: tuple[Vanished, ...]
    warnings: tuple[str, ...]
    units: Unit


def undo_folder(folder: Path | str, *, units: Unit | None = None) -> Undone:
    """Take the last file of corrections of a folder back; it is replaced whole or not at all.

    What was written on the sheets since stays with its pieces; settings of the documents stay.

    Parameters
    ----------
    folder : as `correct_folder` left it.
    units : of the lists, from now on; None leaves them.

    Raises
    ------
    InputUnreadable
        The folder cannot be read, or what it keeps does not give its panel again.
    UsageFault
        There is nothing that can be taken back.
    OutputNotWritten
        The folder cannot be replaced.
    """
    kept = kept_folder(folder)
    first = _first(kept)
    last = _applied_again(kept, first)
    filled = held_in(kept.place, Known.of(kept.panel), kept.options.glass)
    back = carried_back(filled, last.numbers, {piece.number for piece in last.before.pieces})
    options = in_units(kept.options, units)
    file = kept.panel.corrections[-1]
    copies = {name: content for name, content in kept.copies.items() if name != file.file}
    if last.before.corrections == first.corrections:
        del copies[UNCORRECTED_NAME]
    rewrite(kept, last.before, back.filled, options=options, copies=copies)
    return Undone(
        file,
        kept.panel,
        last.before,
        kept.rubbing is not None,
        back.vanished,
        kept.warnings,
        options.documents.units,
    )


def _first(kept: KeptFolder) -> Panel:
    """Return the panel from before the first file that can be taken back."""
    if not kept.panel.corrections:
        raise UsageFault(f"{kept.place} holds no corrections that could be undone")
    if UNCORRECTED_NAME not in kept.copies:
        raise UsageFault(
            f"{kept.place} keeps no {UNCORRECTED_NAME}: it was corrected by an earlier version, or "
            "the file was deleted; trace the rubbing again into another folder and apply the "
            "earlier files there"
        )
    source = str(kept.place / UNCORRECTED_NAME)
    return panel_of(record_from_text(kept.copies[UNCORRECTED_NAME], source))


def _applied_again(kept: KeptFolder, first: Panel) -> Corrected:
    """Return what the last file did; proved by the panel that is there."""
    now = first
    done: Corrected | None = None
    try:
        for file in kept.panel.corrections[len(first.corrections) :]:
            said = corrections_from(kept.copies[file.file], file.file).corrections
            done = apply_corrections(now, said, options=kept.options, sha256=file.sha256)
            now = done.panel
    except RubbingError as fault:
        raise _differs(kept) from fault
    if done is None or _text(now) != _text(kept.panel):
        raise _differs(kept)
    return done


def _differs(kept: KeptFolder) -> InputUnreadable:
    return InputUnreadable(
        f"{kept.place / UNCORRECTED_NAME} and the corrections beside it do not give the panel of "
        f"{kept.place} again: one of them was changed, or another version of the program applied "
        "them; nothing was changed. Trace the rubbing again into another folder and apply the "
        "earlier files there"
    )


def _text(panel: Panel) -> str:
    return record_text(record_of(panel, {}))
