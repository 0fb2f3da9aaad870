"""The command `redraw`: the documents again for other paper, another printer, or mirrored."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rubbing2pattern.cli.run import warn
from rubbing2pattern.cli.set_option import settings_option
from rubbing2pattern.cli.shared import drawing_settings, print_options, rewriting_options
from rubbing2pattern.cli.stdout import show_summary
from rubbing2pattern.cli.summary import files_of
from rubbing2pattern.errors import EXIT_DONE, EXIT_FINDINGS
from rubbing2pattern.units import Unit

if TYPE_CHECKING:
    from rubbing2pattern.options import Options
    from rubbing2pattern.workflows.printing import Redrawn

_HEAD = 13


def _print_options(command: Any) -> Any:
    return print_options(command, default="as before")


@click.command()
@click.argument("folder", type=click.Path(path_type=Path))
@_print_options
@click.option(
    "--mirrored/--as-rubbed",
    default=None,
    help="Draw the pattern as seen from the other side, or back as rubbed.  [as before]",
)
@settings_option(
    "Change an option of paper, documents or templates; 'help' lists them.", of="redraw"
)
@rewriting_options
def redraw(
    folder: Path,
    paper: str | None,
    print_scale: str | None,
    mirrored: bool | None,
    settings: tuple[str, ...],
    units: Unit | None,
    strict: bool,
    as_json: bool,
    **given: Any,
) -> int:
    """Write the documents in FOLDER anew for other paper, another printer, or mirrored.

    The rubbing is not read again: the panel, its corrections and the entries on its sheets stay
    as they are. An option that is not given keeps its last value.
    """
    from rubbing2pattern.workflows.printing import redraw_folder

    settings = (*settings, *drawing_settings(given))
    if units is not None:
        settings = (*settings, f"documents.units={units}")
    done = redraw_folder(
        folder, papers=paper, print_scale=print_scale, mirrored=mirrored, settings=settings
    )
    warn(done.warnings)
    if as_json:
        text = json.dumps(_summary(done, folder), indent=2, ensure_ascii=False)
    else:
        text = "\n".join(_table(done, folder))
    show_summary(text, folder)
    return EXIT_FINDINGS if strict and done.panel.findings else EXIT_DONE


def _summary(done: Redrawn, folder: Path) -> dict[str, Any]:
    paper = done.options.paper
    return {
        "panel": done.panel.name,
        "pieces": len(done.panel.pieces),
        "papers": _papers(done.options),
        "print_scale": {"across": paper.print_across, "up": paper.print_up},
        "mirrored": paper.mirrored,
        "corrections": len(done.panel.corrections),
        "warnings": list(done.warnings),
        "folder": str(folder),
        "files": files_of(folder),
    }


def _table(done: Redrawn, folder: Path) -> list[str]:
    counts = [(len(done.panel.pieces), "piece"), (len(done.panel.corrections), "correction")]
    counted = ", ".join(f"{n} {what}{'' if n == 1 else 's'}" for n, what in counts)
    rows = [
        ("panel", f"{done.panel.name}, {counted}"),
        ("paper", ", ".join(_papers(done.options)) or "no tiles"),
        ("print scale", _changed(_scale(done.before), _scale(done.options))),
        ("drawn", _changed(_side(done.before), _side(done.options))),
    ]
    lines = [f"{head:<{_HEAD}}{said}" for head, said in rows]
    return [*lines, "", f"The pattern lies in {folder}", f"  {', '.join(files_of(folder))}"]


def _papers(options: Options) -> list[str]:
    return [sheet.name for sheet in options.paper.sheets(options.documents.units)]


def _scale(options: Options) -> str:
    return f"{options.paper.print_across:g} x {options.paper.print_up:g}"


def _side(options: Options) -> str:
    return "mirrored" if options.paper.mirrored else "as rubbed"


def _changed(before: str, now: str) -> str:
    return now if before == now else f"{now}, before {before}"
