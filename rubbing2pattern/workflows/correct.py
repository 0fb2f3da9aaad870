"""Corrections made on a folder of results, which is replaced whole or not at all."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from rubbing2pattern.documents.overlay import overlay_png
from rubbing2pattern.glazing.carry import carried_over
from rubbing2pattern.glazing.entries import Filled, Vanished
from rubbing2pattern.glazing.folder import Known, held_in
from rubbing2pattern.inputs.corrections import CorrectionsFile
from rubbing2pattern.output import UNCORRECTED_NAME
from rubbing2pattern.record.panel import record_text
from rubbing2pattern.units import Unit
from rubbing2pattern.workflows.corrected_panel import Corrected, apply_corrections
from rubbing2pattern.workflows.folders import KeptFolder, in_units, kept_folder, rewrite


def correct_folder(
    folder: Path | str, *files: CorrectionsFile, units: Unit | None = None
) -> Corrected:
    """Apply files of corrections to a folder of results, which is replaced whole or not at all.

    Parameters
    ----------
    folder : as `write_reading` or this function left it.
    files : one after the other; see `rubbing2pattern.inputs.corrections.read_corrections`.
    units : of the lists, from now on; None leaves them.

    Raises
    ------
    InputUnreadable
        The folder's record, kept rubbing or copies of corrections cannot be read, or its sheet of
        pieces has problems, so that what someone wrote on it would be lost.
    UsageFault
        A correction cannot be made.
    OutputNotWritten
        The folder cannot be replaced.
    """
    return correct_kept(kept_folder(folder), files, units=units)


def try_folder(folder: Path | str, file: CorrectionsFile) -> tuple[Corrected, bytes | None]:
    """Return what a file of corrections would make of a folder, and its overlay; write nothing.

    The overlay is None in a folder without a kept rubbing.

    Raises
    ------
    InputUnreadable, UsageFault
        As `correct_folder` does.
    """
    kept = kept_folder(folder, replaced=False)
    done, _ = _applied(kept, (file,))
    if kept.rubbing is None:
        return done, None
    return done, overlay_png(kept.rubbing, done.panel, kept.options.documents)


def correct_kept(
    kept: KeptFolder, files: Sequence[CorrectionsFile], *, units: Unit | None = None
) -> Corrected:
    """Apply files of corrections to a folder that was read; see `correct_folder`."""
    done, filled = _applied(kept, files)
    options = in_units(kept.options, units)
    copies = dict(kept.copies)
    copies.setdefault(UNCORRECTED_NAME, record_text(kept.record).encode())
    history = done.panel.corrections[len(kept.panel.corrections) :]
    copies |= {a.file: file.content for a, file in zip(history, files, strict=True)}
    rewrite(kept, done.panel, filled, options=options, copies=copies)
    return replace(done, units=options.documents.units)


def _applied(kept: KeptFolder, files: Sequence[CorrectionsFile]) -> tuple[Corrected, Filled]:
    """Return what files of corrections, one or more, make of a folder, and of its sheets."""
    filled = held_in(kept.place, Known.of(kept.panel), kept.options.glass)
    now = kept.panel
    numbers = {piece.number: piece.number for piece in now.pieces}
    vanished: list[Vanished] = []
    notes: Mapping[str, str] = {}
    for file in files:
        done = apply_corrections(now, file.corrections, options=kept.options, sha256=file.sha256)
        carried = carried_over(filled, done.numbers)
        filled, now = carried.filled, done.panel
        vanished += carried.vanished
        numbers = {n: done.numbers[m] for n, m in numbers.items() if m in done.numbers}
        notes = done.notes
    corrected = Corrected(
        kept.panel,
        now,
        overlay=kept.rubbing is not None,
        numbers=numbers,
        written_about_gone=tuple(vanished),
        warnings=kept.warnings,
        units=kept.options.documents.units,
        notes=notes,
    )
    return corrected, filled
