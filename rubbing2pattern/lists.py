"""A filled-in sheet of pieces comes back: checked, kept, and turned into the workshop's lists."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from rubbing2pattern.folders import kept_folder, rewrite
from rubbing2pattern.glazing.carry import Merged, merged
from rubbing2pattern.glazing.check import Checked
from rubbing2pattern.glazing.entries import Vanished
from rubbing2pattern.glazing.folder import Known, held_in, read_sheet
from rubbing2pattern.glazing.kiln import Firing
from rubbing2pattern.glazing.new_glass import GlassOrder
from rubbing2pattern.glazing.work import glass_work
from rubbing2pattern.model import Panel
from rubbing2pattern.options.setting import with_settings_of

GROUPS = ("glass", "templates", "leading", "documents")
"""Groups of options that may be set for the lists; others belong to the reading or to paper."""


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
    """

    panel: Panel
    merged: Merged
    vanished: tuple[Vanished, ...]
    doubts: tuple[str, ...]
    orders: tuple[GlassOrder, ...]
    firings: tuple[Firing, ...]


def list_folder(folder: Path | str, sheet: Path | str, settings: Iterable[str] = ()) -> Listed:
    """Read a filled-in sheet of pieces and write the lists; the folder is replaced whole or not.

    Rules:

    1. Every cell is checked first; with any problem nothing is written.
    2. What the sheet leaves empty and the folder's own sheets say is kept. Where both say
       something the given sheet holds.
    3. A word is taken back by emptying its cell on the sheet in the folder and giving that one.
    4. A row of a piece that corrections took away goes to the second sheet.

    Parameters
    ----------
    folder : of results.
    sheet : ``pieces.xlsx`` or ``pieces.csv``, or a copy of it.
    settings : options of `GROUPS` as texts, ``glass.waste_share=0.3``; the record keeps them.

    Raises
    ------
    InputUnreadable
        The folder cannot be read, or the sheet has problems; all are told, by row and column.
    UsageFault
        A setting that is none of the lists.
    OutputNotWritten
        The folder cannot be replaced.
    """
    kept, path = kept_folder(folder), Path(sheet)
    options = with_settings_of(GROUPS, kept.options, settings, "the lists")
    known = Known.of(kept.panel)
    given = read_sheet(path, known, options.glass)  # rule 1
    held = held_in(kept.place, known, options.glass, but=path)
    both = merged(given.filled, held)  # rules 2 to 4
    work = glass_work(kept.panel, both.filled, options.glass)
    rewrite(kept, kept.panel, both.filled, options=options, copies=kept.copies, work=work)
    new = _vanished_now(given, held.vanished)
    return Listed(kept.panel, both, new, given.doubts, work.orders, work.firings)


def _vanished_now(given: Checked, before: tuple[Vanished, ...]) -> tuple[Vanished, ...]:
    return tuple(row for row in given.filled.vanished if row not in before)
