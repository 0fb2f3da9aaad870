"""The command `compare`: two rubbings of one panel, and what changed between them."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rubbing2pattern.cli.renamed import RenamedOption, former_option
from rubbing2pattern.cli.set_option import settings_option
from rubbing2pattern.cli.shared import output_options
from rubbing2pattern.cli.stdout import show_summary
from rubbing2pattern.cli.summary import files_of
from rubbing2pattern.errors import EXIT_DONE, EXIT_FINDINGS
from rubbing2pattern.output import COMPARISON_NAME, check_folder
from rubbing2pattern.units import Unit

if TYPE_CHECKING:
    from rubbing2pattern.comparing.found import Comparison
    from rubbing2pattern.options.documents import DocumentOptions

_FOLDER = click.Path(path_type=Path)
_HEAD = 9
_MOST = 12


@click.command()
@click.argument("before", type=_FOLDER)
@click.argument("after", type=_FOLDER)
@click.option(
    "-o",
    "--output",
    "folder",
    type=_FOLDER,
    metavar="FOLDER",
    help="Folder for drawing, list, table and record; without it only the summary is printed.",
)
@former_option("--panel")
@click.option(
    "--select",
    "panel",
    cls=RenamedOption,
    former="--panel",
    metavar="NAME",
    help="Name of the panel when a package holds several.  [that of the other folder]",
)
@settings_option("Change an option of compare or documents; 'help' lists them.", of="compare")
@output_options
def compare(
    before: Path,
    after: Path,
    folder: Path | None,
    panel: str | None,
    settings: tuple[str, ...],
    units: Unit,
    overwrite: bool,
    strict: bool,
    as_json: bool,
    quiet: bool,
) -> int:
    """Compare two rubbings of one panel, in folders of results or packages.

    BEFORE and AFTER are laid over each other, turned and mirrored where needed. The summary
    lists leads that moved, changed their width, were lost or were added, and how far the border
    sags and bows. With --strict the exit code is 8 when anything changed.
    """
    if folder is not None:
        check_folder(folder, overwrite=overwrite, record=COMPARISON_NAME)
    # The libraries behind comparing take a second to load; help and refusals do not wait for it.
    from rubbing2pattern.options import Options
    from rubbing2pattern.options.setting import with_settings_of
    from rubbing2pattern.workflows.compare import GROUPS, compare_folders, write_comparison

    given = [*settings, f"documents.units={units}"]
    options = with_settings_of(GROUPS, Options(), given, "comparing")
    found = compare_folders(before, after, panel=panel, options=options)
    if folder is not None:
        write_comparison(found, folder, options=options, overwrite=overwrite)
    if as_json:
        text = json.dumps(_summary(found, folder), indent=2, ensure_ascii=False)
    else:
        text = "\n".join(_table(found, folder, options.documents))
    show_summary(text, before if folder is None else folder)
    return EXIT_FINDINGS if strict and found.differs else EXIT_DONE


def _summary(found: Comparison, folder: Path | None) -> dict[str, Any]:
    from rubbing2pattern.documents.comparison.record import comparison_record

    record = comparison_record(found, {}).model_dump(mode="json")
    kept = ("before", "after", "registration", "differs", "lone_leads", "lone_joints", "sides",
            "notes")  # fmt: skip
    summary = {name: record[name] for name in kept}
    summary["moved"] = [lead for lead in record["leads"] if lead["moved"]]
    summary["widths"] = [lead for lead in record["leads"] if lead["width_changed"]]
    summary["joints_moved"] = [joint for joint in record["joints"] if joint["moved"]]
    summary["pieces"] = [line for line in record["pieces"] if line["fate"] != "same"]
    for lead in summary["lone_leads"]:
        del lead["path"]
    if folder is not None:
        summary |= {"folder": str(folder), "files": files_of(folder)}
    return summary


def _table(found: Comparison, folder: Path | None, options: DocumentOptions) -> Iterator[str]:
    from rubbing2pattern.documents.comparison.sentences import (
        bow_text,
        changes_by_kind,
        line_of,
        panels_sentence,
        registration_sentence,
    )

    yield panels_sentence(found)
    yield registration_sentence(found, options)
    yield from found.notes
    yield ""
    changes = list(changes_by_kind(found, options))
    if not changes:
        yield "Nothing changed above the uncertainty of both rubbings."
    for kind, said in changes:
        for k in range(0, min(len(said), _MOST)):
            yield f"{kind if k == 0 else '':<{_HEAD}}{said[k]}"
        if len(said) > _MOST:
            yield f"{'':<{_HEAD}}and {len(said) - _MOST} more"
    yield ""
    yield "Sag and bow of the border, before and after:"
    for side in found.sides:
        now, was = (bow_text(side, bow.most_mm, options) for bow in (side.after, side.before))
        yield f"  {side.name:<{_HEAD}}{was} and {now}, from its {line_of(side)}"
    if folder is not None:
        yield ""
        yield f"The comparison lies in {folder}"
        yield f"  {', '.join(files_of(folder))}"
