"""A panel drawn again for other paper, for another printer or mirrored, from its folder alone."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.glazing.folder import Known, held_in
from rubbing2pattern.model import Panel
from rubbing2pattern.options import Options
from rubbing2pattern.options.paper import paper_given
from rubbing2pattern.options.setting import SETTABLE, with_settings_of
from rubbing2pattern.workflows.folders import kept_folder, rewrite

GROUPS = SETTABLE["redraw"]
"""Groups of options that may be set for it; others belong to the reading or the lists."""


@dataclass(frozen=True, slots=True)
class Redrawn:
    """What came of drawing again.

    Attributes
    ----------
    panel : the panel in the folder, as it was.
    before, options : those of the folder, before and now.
    warnings : what of the folder's options is not used, or under another name; a sentence each.
    """

    panel: Panel
    before: Options
    options: Options
    warnings: tuple[str, ...] = ()


def redraw_folder(
    folder: Path | str,
    *,
    papers: str | None = None,
    print_scale: str | None = None,
    mirrored: bool | None = None,
    settings: Iterable[str] = (),
) -> Redrawn:
    """Write the documents of a folder anew for other paper; it is replaced whole or not at all.

    The panel with its corrections, what was typed on the sheets, and every option that is not given
    stay as they are. Two check lengths are of a print made with the units the folder has now.

    Parameters
    ----------
    folder : of results.
    papers, print_scale : as texts, see `rubbing2pattern.options.paper`; None leaves them.
    mirrored : whether the pattern is drawn as seen from the other side; None leaves it.
    settings : options of `GROUPS` as texts, ``paper.overlap_mm=15``; the record keeps them.

    Raises
    ------
    UsageFault
        Nothing is given that could change the print, a text that cannot be read, or a setting
        of another group.
    InputUnreadable
        The folder cannot be read, or its sheet of pieces has problems, so that what someone wrote
        on it would be lost.
    OutputNotWritten
        The folder cannot be replaced.
    """
    settings = tuple(settings)
    if papers is None and print_scale is None and mirrored is None and not settings:
        raise UsageFault(
            "nothing to redraw: give --paper, --print-scale, --mirrored or --as-rubbed"
        )
    kept = kept_folder(folder)
    options = with_settings_of(GROUPS, kept.options, settings, "redrawing")
    check_length_mm = kept.options.documents.check_length_mm
    paper = paper_given(
        options.paper,
        check_length_mm,
        papers=papers,
        print_scale=print_scale,
        mirrored=mirrored,
    )
    options = replace(options, paper=paper)
    typed = held_in(kept.place, Known.of(kept.panel), kept.options.glass)
    rewrite(kept, kept.panel, typed, options=options, copies=kept.copies)
    return Redrawn(kept.panel, kept.options, options, kept.warnings)


Printed, print_folder = Redrawn, redraw_folder
"""Their former names."""
