"""An existing folder of results, read so that it can be written anew without losing anything."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import shapely
from shapely.geometry import Polygon

from rubbing2pattern.documents import document_files
from rubbing2pattern.documents.kept_rubbing import KeptRubbing, read_rubbing
from rubbing2pattern.documents.registry import OWN_NAMES
from rubbing2pattern.documents.source import Glazing
from rubbing2pattern.errors import InputUnreadable
from rubbing2pattern.glazing.carry import Carried, carried_over
from rubbing2pattern.glazing.entries import Filled
from rubbing2pattern.glazing.folder import LIST_NAME, WORKBOOK_NAME, Known, held_in
from rubbing2pattern.glazing.work import GlassWork
from rubbing2pattern.inputs.corrections import LARGEST_FILE_BYTES
from rubbing2pattern.inputs.files import content_of
from rubbing2pattern.model import Panel
from rubbing2pattern.options import Options
from rubbing2pattern.output import (
    RECORD_NAME,
    RUBBING_NAME,
    UNCORRECTED_NAME,
    check_folder,
    whole_folder,
    write_files,
)
from rubbing2pattern.record.fields import PanelRecord
from rubbing2pattern.record.panel import panel_of, read_record
from rubbing2pattern.units import Unit
from rubbing2pattern.workflows.holding import refuse_held
from rubbing2pattern.workflows.kept_options import kept_options, with_settings_now
from rubbing2pattern.workflows.provenance import program_now

_GRID_MM = 1e-3
"""Grid on which outlines are laid over each other, a rounding of the record."""


@dataclass(frozen=True, slots=True)
class KeptFolder:
    """What a folder of results holds.

    Attributes
    ----------
    place : the folder.
    record, panel, options : its record, the panel in it, and the options it was read with.
    rubbing : the kept rubbing, or None in a folder without one.
    copies : the files of corrections that were applied, and the record from before, by name.
    warnings : what of its options is not used here, or under another name; a sentence each.
    """

    place: Path
    record: PanelRecord
    panel: Panel
    options: Options
    rubbing: KeptRubbing | None
    copies: Mapping[str, bytes]
    warnings: tuple[str, ...] = ()


def kept_folder(folder: Path | str, *, replaced: bool = True) -> KeptFolder:
    """Read a folder of results, as `write_reading` or `rewrite` left it.

    Without `replaced` it is only read, and may be one that nobody can write to.

    Raises
    ------
    InputUnreadable
        The folder's record, kept rubbing or copies of corrections cannot be read.
    OutputNotWritten
        The folder cannot be replaced, or another process has it open for review.
    """
    place = Path(folder)
    record = read_record(place / RECORD_NAME)
    held = kept_options(record.provenance)
    panel = panel_of(record)
    copies = {c.file: _copy(place / c.file, c.sha256) for c in panel.corrections}
    if copies and (place / UNCORRECTED_NAME).is_file():
        copies[UNCORRECTED_NAME] = content_of(place / UNCORRECTED_NAME)
    if replaced:
        refuse_held(place)
        check_folder(place, overwrite=True, discard_corrections=True)
    rubbing = None if panel.rubbing is None else read_rubbing(place / RUBBING_NAME, panel.rubbing)
    return KeptFolder(place, record, panel, held.options, rubbing, copies, held.warnings)


def record_digest(folder: Path) -> str:
    """Return the SHA-256 of the record in a folder, hexadecimal: another one is another panel."""
    return hashlib.sha256(content_of(folder / RECORD_NAME)).hexdigest()


def in_units(options: Options, units: Unit | None) -> Options:
    """Return options whose documents are in a unit; None leaves theirs."""
    if units is None:
        return options
    return replace(options, documents=replace(options.documents, units=units))


def rewrite(
    kept: KeptFolder,
    panel: Panel,
    filled: Filled,
    *,
    options: Options,
    copies: Mapping[str, bytes],
    work: GlassWork | None = None,
) -> None:
    """Write a folder anew, whole or not at all.

    Parameters
    ----------
    kept : content of the folder.
    panel : the panel that takes the place of its own.
    filled : what is written about the pieces of `panel`.
    options : those of `kept`, or with other settings of the documents; these are written into the
        record, so that the next time gives the same documents.
    copies : files of corrections to keep, by name.
    work : the lists that follow from `filled` with these options, if they were made already.

    Raises
    ------
    OutputNotWritten
        The disk refuses a step.
    """
    files = documents_again(kept, panel, filled, options=options, copies=copies, work=work)
    with whole_folder(kept.place, OWN_NAMES, overwrite=True, discard_corrections=True) as partial:
        write_files(files, partial, partial)


def documents_again(
    kept: KeptFolder,
    panel: Panel,
    filled: Filled,
    *,
    options: Options,
    copies: Mapping[str, bytes],
    work: GlassWork | None = None,
) -> dict[str, bytes]:
    """Return the documents of a folder made anew, by file name; parameters as for `rewrite`."""
    provenance = kept.record.provenance
    if options != kept.options:
        provenance = with_settings_now(provenance, options)
    return document_files(
        panel,
        kept.rubbing,
        provenance,
        options.documents,
        options.paper,
        glazing=Glazing(filled, options.glass, options.templates, work),
        leading=options.leading,
        copies=copies,
    )


def damaged_documents(kept: KeptFolder) -> list[str]:
    """Return the names of the documents in a folder that are not what its record gives.

    The sheets that people fill in are left out, for a spreadsheet writes them in its own way. The
    same program with the same libraries gives the same bytes; nothing can be said of a folder of
    another one, and none is named.

    Raises
    ------
    InputUnreadable
        A sheet of the folder has problems.
    """
    provenance = kept.record.provenance
    if any(provenance.get(name) != now for name, now in program_now().items()):
        return []
    filled = held_in(kept.place, Known.of(kept.panel), kept.options.glass)
    again = documents_again(kept, kept.panel, filled, options=kept.options, copies=kept.copies)
    paths = {name: kept.place / name for name in again if name not in (WORKBOOK_NAME, LIST_NAME)}
    return [n for n, path in paths.items() if path.is_file() and content_of(path) != again[n]]


def typed_in(folder: Path | str, options: Options) -> tuple[Panel, Filled] | None:
    """Return the panel of a folder and what a person wrote on its sheets, or None without sheets.

    Raises
    ------
    InputUnreadable
        A sheet that has problems, or the record with its pieces cannot be read.
    """
    place = Path(folder)
    if not any((place / name).is_file() for name in (WORKBOOK_NAME, LIST_NAME)):
        return None
    panel = panel_of(read_record(place / RECORD_NAME))
    return panel, held_in(place, Known.of(panel), options.glass)


def carried_to(panel: Panel, typed: tuple[Panel, Filled] | None, options: Options) -> Carried:
    """Carry what was written about one panel over to another reading of it, by number.

    A piece is where it was when both share `correct.same_share` of the area that they cover.
    """
    if typed is None:
        return Carried()
    before, filled = typed
    old = {piece.number: piece.outline for piece in before.pieces}
    now = {piece.number: piece.outline for piece in panel.pieces}
    numbers = {number: number for number in old if number in now}
    least = options.correct.same_share
    moved = [n for n in numbers if n in filled.entries and _shared(old[n], now[n]) < least]
    return carried_over(filled, numbers, moved)


def _shared(one: Polygon, other: Polygon) -> float:
    """Return the area in both, by the area in either."""
    # On a grid: outlines that agree to a few parts of a rounding have no right overlap without one.
    both = shapely.intersection(one, other, grid_size=_GRID_MM).area
    either = one.area + other.area - both
    return float(both / either) if either > 0.0 else 0.0


def _copy(path: Path, sha256: str) -> bytes:
    """Return a copy of corrections applied before; it must be what was applied."""
    content = content_of(path, LARGEST_FILE_BYTES, "a file of corrections")
    if hashlib.sha256(content).hexdigest() != sha256:
        raise InputUnreadable(
            f"{path} was changed after it was applied; put further corrections into another file"
        )
    return content
