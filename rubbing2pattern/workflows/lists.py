"""A filled-in sheet of pieces comes back: checked, kept, and turned into the workshop's lists."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

from rubbing2pattern.documents.matches.fields import MatchesRecord
from rubbing2pattern.documents.matches.record import of_panel, read_matches
from rubbing2pattern.errors import UsageFault
from rubbing2pattern.findings import Code, Kind
from rubbing2pattern.glazing.carry import Merged, merged
from rubbing2pattern.glazing.check import Checked
from rubbing2pattern.glazing.entries import Action, Entry, Filled, State, Vanished
from rubbing2pattern.glazing.folder import WORKBOOK_NAME, Known, held_in, read_sheet
from rubbing2pattern.glazing.kiln import Firing
from rubbing2pattern.glazing.new_glass import GlassOrder
from rubbing2pattern.glazing.work import glass_work
from rubbing2pattern.model import Panel
from rubbing2pattern.options.setting import SETTABLE, with_settings_of
from rubbing2pattern.output import MATCHES_NAME
from rubbing2pattern.workflows.folders import kept_folder, rewrite

GROUPS = SETTABLE["lists"]
"""Groups of options that may be set for the lists; others belong to the reading or to paper."""

_SAME_AREA = 1e-3
"""A piece whose cut area has changed by a larger share is another one."""


@dataclass(frozen=True, slots=True)
class Listed:
    """What came of a filled-in sheet.

    Attributes
    ----------
    panel : the panel in the folder.
    merged : what is written now, with what was kept and changed of what the folder held.
    vanished : rows of the sheet whose piece corrections took away.
    doubts : what is odd about the sheet.
    orders, firings : the lists that were made.
    to_cut : numbers that are replaced because no loose glass was found for them.
    warnings : what of the folder's options is not used, or under another name; a sentence each.
    """

    panel: Panel
    merged: Merged
    vanished: tuple[Vanished, ...]
    doubts: tuple[str, ...]
    orders: tuple[GlassOrder, ...]
    firings: tuple[Firing, ...]
    to_cut: tuple[int, ...] = ()
    warnings: tuple[str, ...] = ()


def list_folder(
    folder: Path | str,
    sheet: Path | str | None = None,
    settings: Iterable[str] = (),
    matches: Path | str | None = None,
) -> Listed:
    """Read a filled-in sheet of pieces and write the lists; the folder is replaced whole or not.

    Rules:

    1. Every cell is checked first; with any problem nothing is written.
    2. What the sheet leaves empty and the folder's own sheets say is kept. Where both say
       something the given sheet holds.
    3. A word is taken back by emptying its cell on the sheet in the folder and giving that one.
    4. A row of a piece that corrections took away goes to the second sheet.
    5. A piece for which matching found no glass is missing and to be replaced, unless the sheets
       give another state or action; then that entry is kept and reported.

    Parameters
    ----------
    folder : of results.
    sheet : ``pieces.xlsx`` or ``pieces.csv``, or a copy of it; None takes the folder's own
        ``pieces.xlsx``.
    settings : options of `GROUPS` as texts, ``glass.waste_share=0.3``; the record keeps them.
    matches : folder of matched loose pieces of this panel.

    Raises
    ------
    InputUnreadable
        The folder or the matches cannot be read, or the sheet has problems; all are listed, by
        row and column.
    UsageFault
        A setting that the lists do not take, or matches of another panel, or of this one before it
        was changed.
    OutputNotWritten
        The folder cannot be replaced.
    """
    kept = kept_folder(folder)
    path = kept.place / WORKBOOK_NAME if sheet is None else Path(sheet)
    options = with_settings_of(GROUPS, kept.options, settings, "the lists")
    known = Known.of(kept.panel)
    given = read_sheet(path, known, options.glass)  # rule 1
    held = held_in(kept.place, known, options.glass, but=path)
    both = merged(given.filled, held)  # rules 2 to 4
    found = _Missing((), ())
    if matches is not None:
        found = _missing(kept.panel, Path(matches), both.filled)  # rule 5
        both = replace(both, filled=_with_missing(both.filled, found.to_cut))
    work = glass_work(kept.panel, both.filled, options.glass)
    rewrite(kept, kept.panel, both.filled, options=options, copies=kept.copies, work=work)
    new = _vanished_now(given, held.vanished)
    doubts = (*given.doubts, *found.doubts)
    made = (work.orders, work.firings, found.to_cut)
    return Listed(kept.panel, both, new, doubts, *made, kept.warnings)


@dataclass(frozen=True, slots=True)
class _Missing:
    """Numbers that get new glass because none was found, and where the sheet says otherwise."""

    to_cut: tuple[int, ...]
    doubts: tuple[str, ...]


def _missing(panel: Panel, folder: Path, filled: Filled) -> _Missing:
    """Look up the pieces without loose glass, and what is written about them."""
    every = read_matches(folder / MATCHES_NAME)
    record = of_panel(every, panel.name)
    if record is None:
        names = " and ".join(repr(own.name) for own in every.panels or [every.panel])
        raise UsageFault(f"{folder} has matches of panel {names}, not {panel.name!r}")
    areas_mm2 = {piece.number: piece.cut_area_mm2 for piece in panel.pieces}
    to_cut, doubts = [], []
    unread = _unread(record)
    for part in record.unfilled:
        now_mm2 = areas_mm2.get(part.number, -1.0)
        if abs(now_mm2 - part.cut_area_mm2) > _SAME_AREA * part.cut_area_mm2:
            raise UsageFault(
                f"piece {part.number} was changed after loose pieces were matched; match them "
                "again with this folder"
            )
        entry = filled.of(part.number)
        if entry.replaced:
            continue
        if entry.action is None and entry.state is State.MISSING:
            to_cut.append(part.number)
        elif entry.action is None and entry.state is None:
            why = _turned(record, part.number) or unread
            if why:
                doubts.append(f"piece {part.number}: no loose glass found, but {why}")
            else:
                to_cut.append(part.number)
        else:
            said = " and ".join(word for word in (entry.state, entry.action) if word)
            doubts.append(f"piece {part.number}: no loose glass found, but the sheet says {said}")
    doubts += [
        f"piece {part.number}: a part is missing beside its fragments"
        for part in record.assemblies
        if part.missing and not filled.of(part.number).replaced
    ]
    doubts += [
        f"piece {number}: the sheet says missing, but {part.piece} fits there"
        for part in record.pieces
        for number in part.numbers
        if len(part.numbers) == 1 and filled.of(number).state is State.MISSING
    ]
    return _Missing(tuple(to_cut), tuple(doubts))


def _unread(record: MatchesRecord) -> str:
    """Say what in the photographs may be glass and was not matched; empty where all was read."""
    codes = [finding.code for photo in record.photos for finding in photo.findings]
    places = codes.count(Code.GLASS_UNREAD) + codes.count(Code.GLASS_CUT_OFF)
    if not places:
        return ""
    where = "one place" if places == 1 else f"{places} places"
    return (
        f"{where} in the photographs could not be read; look there, then write missing on the sheet"
    )


def _turned(record: MatchesRecord, number: int) -> str:
    """Say which loose piece fits a number turned over; empty for none."""
    for finding in record.findings:
        if finding.kind == Kind.FITS_OVER.key and number in finding.pieces:
            return f"{finding.names['loose']} fits it turned over; look which face is painted"
    return ""


def _with_missing(filled: Filled, numbers: Iterable[int]) -> Filled:
    missing = Entry(State.MISSING, Action.REPLACE)
    new = {number: filled.of(number).completed(missing) for number in numbers}
    return replace(filled, entries=dict(sorted({**filled.entries, **new}.items())))


def _vanished_now(given: Checked, before: tuple[Vanished, ...]) -> tuple[Vanished, ...]:
    return tuple(row for row in given.filled.vanished if row not in before)
