"""Two rubbings of one panel compared: before and after, or many years apart."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from rubbing2pattern._version import __version__
from rubbing2pattern.comparing.border import border_sides
from rubbing2pattern.comparing.found import Comparison
from rubbing2pattern.comparing.leads import pair_leads
from rubbing2pattern.comparing.notes import notes_of, ways_to_try
from rubbing2pattern.comparing.numbers import pair_joints, pair_pieces
from rubbing2pattern.comparing.registering import Registration, register
from rubbing2pattern.documents.comparison import COMPARISON_NAMES, comparison_documents
from rubbing2pattern.errors import InputUnreadable, UsageFault
from rubbing2pattern.inputs.files import content_of
from rubbing2pattern.model import Panel
from rubbing2pattern.options import Options
from rubbing2pattern.options.setting import SETTABLE
from rubbing2pattern.output import COMPARISON_NAME, RECORD_NAME, whole_folder, write_files
from rubbing2pattern.record.panel import panel_of, record_from_text
from rubbing2pattern.trade.window_numbers import window_number
from rubbing2pattern.workflows.provenance import options_parts

GROUPS = SETTABLE["compare"]
"""Groups of options that may be set for comparing."""
_LISTED = 12
"""Names of panels that a message lists; the others are counted."""


@dataclass(frozen=True, slots=True)
class _Found:
    """A record in a folder or a package."""

    panel: Panel
    place: Path
    sha256: str


def compare_panels(before: Panel, after: Panel, options: Options = Options()) -> Comparison:
    """Lay two rubbings of one panel over each other and say what differs.

    Parameters
    ----------
    before, after : the panel in both states, each in its own frame, in any turn to each other, and
        seen from either side.
    options : the group `compare` is used.

    Raises
    ------
    UsageFault
        They are two different panels.
    """
    for panel in (before, after):
        if not panel.cames or not panel.pieces:
            raise UsageFault(f"{panel.name} has no pieces of glass in leads to compare")
    own = options.compare
    found = _registered(before, after, options)
    leads = pair_leads(before, after, found, own)
    joints, lone_joints = pair_joints(before, after, leads.pairs, found, own)
    return Comparison(
        before,
        after,
        found,
        leads.pairs,
        leads.lone,
        joints,
        lone_joints,
        pair_pieces(before, after, found),
        border_sides(before, after, found, own),
        tuple(notes_of(before, after, found, own)),
    )


def compare_folders(
    before: Path | str,
    after: Path | str,
    *,
    panel: str | None = None,
    options: Options = Options(),
) -> Comparison:
    """Compare the records in two folders of results or packages for keeping.

    Parameters
    ----------
    before, after : folders; the record may lie anywhere in them.
    panel : name of the panel where a folder holds several; when only one of them does, the name
        of the other's is taken.

    Raises
    ------
    InputUnreadable
        There is no record, or it cannot be read.
    UsageFault
        It is not said which of several panels is meant, or they are two different panels.
    """
    found = [list(_records(Path(place))) for place in (before, after)]
    if panel is None:
        alone = [records[0].panel.name for records in found if len(records) == 1]
        panel = alone[0] if len(alone) == 1 else None
    one, other = (
        _chosen(records, Path(place), panel)
        for records, place in zip(found, (before, after), strict=True)
    )
    compared = compare_panels(one.panel, other.panel, options)
    return replace(compared, before_sha256=one.sha256, after_sha256=other.sha256)


def write_comparison(
    found: Comparison,
    folder: Path | str,
    *,
    options: Options = Options(),
    overwrite: bool = False,
) -> None:
    """Write the documents of a comparison into a folder, which appears whole or not at all.

    Raises
    ------
    OutputNotWritten
        When the folder exists and may not be replaced, or cannot be written.
    """
    provenance = {
        "program": {"name": "rubbing2pattern", "version": __version__},
        **options_parts(options),
    }
    place = Path(folder)
    with whole_folder(
        place, COMPARISON_NAMES, overwrite=overwrite, record=COMPARISON_NAME
    ) as partial:
        files = comparison_documents(found, provenance, options.documents)
        write_files(files, partial, place)


def _registered(before: Panel, after: Panel, options: Options) -> Registration:
    """Lay one over the other as the records say, and the other way if that fails."""
    ways = ways_to_try(before, after)
    try:
        return register(before, after, ways, options.compare)
    except UsageFault as fault:
        if len(ways) > 1:
            raise
        try:
            return register(before, after, (not ways[0],), options.compare)
        except UsageFault:
            raise fault from None


def _records(place: Path) -> Iterator[_Found]:
    """Yield the records in a folder, in the order of their places; links are not followed."""
    if place.is_file() or (place / RECORD_NAME).is_file():
        paths = [place if place.is_file() else place / RECORD_NAME]
    elif place.is_dir():
        paths = sorted(
            Path(base) / RECORD_NAME
            for base, _, names in os.walk(place)
            if RECORD_NAME in names and not (Path(base) / RECORD_NAME).is_symlink()
        )
    else:
        raise InputUnreadable(f"cannot read {place}: there is no such folder")
    if not paths:
        raise InputUnreadable(f"{place} holds no {RECORD_NAME}, nor do its subfolders")
    for path in paths:
        content = content_of(path)
        panel = panel_of(record_from_text(content, str(path)))
        yield _Found(panel, path, hashlib.sha256(content).hexdigest())


def _chosen(records: list[_Found], place: Path, name: str | None) -> _Found:
    if len(records) == 1:
        return records[0]
    names = ", ".join(record.panel.name for record in records[:_LISTED])
    more = f" and {len(records) - _LISTED} more" if len(records) > _LISTED else ""
    if name is None:
        raise UsageFault(f"{place} holds several panels: say which with --select ({names}{more})")
    number = window_number(name)
    fitting = [r for r in records if name in (r.panel.name, r.place.parent.name)]
    fitting = fitting or [r for r in records if number and window_number(r.panel.name) == number]
    if len(fitting) != 1:
        how = "several panels" if fitting else "no panel"
        raise UsageFault(
            f"{place} holds {how} of the name {name!r}: --select is one of {names}{more}"
        )
    return fitting[0]
