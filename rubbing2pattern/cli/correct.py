"""The command `correct`: a person settles the doubts of a panel."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rubbing2pattern.cli.carried import vanished_lines
from rubbing2pattern.cli.run import warn
from rubbing2pattern.cli.shared import rewriting_options
from rubbing2pattern.cli.stdout import show, show_summary
from rubbing2pattern.cli.summary import files_of, finding_lines, panel_summary
from rubbing2pattern.errors import EXIT_DONE, EXIT_FINDINGS, UsageFault
from rubbing2pattern.output import write_whole
from rubbing2pattern.units import Unit

if TYPE_CHECKING:
    from rubbing2pattern.workflows.corrected_panel import Corrected
    from rubbing2pattern.workflows.undo_corrections import Undone

_HEAD = 11
_NO_OVERLAY = "No overlay: this folder keeps no rubbing.png; trace the rubbing again."


@click.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.argument("corrections", type=click.Path(path_type=Path), required=False)
@click.option("--dry-run", is_flag=True, help="Say what would be done; leave FOLDER as it is.")
@click.option(
    "-o",
    "--output",
    "overlay",
    type=click.Path(path_type=Path),
    metavar="FILE.png",
    help="With --dry-run: draw the overlay as it would be into a new file.",
)
@click.option("--overwrite", is_flag=True, help="Replace an existing FILE.png.")
@click.option("--undo", is_flag=True, help="Take the last file of corrections in FOLDER back.")
@rewriting_options
def correct(
    folder: Path,
    corrections: Path | None,
    dry_run: bool,
    overlay: Path | None,
    overwrite: bool,
    undo: bool,
    units: Unit | None,
    strict: bool,
    as_json: bool,
) -> int:
    """Apply the file CORRECTIONS (TOML) to the pattern in FOLDER.

    Either all corrections are made or none; 'rubbing2pattern help corrections' lists them.
    Unchanged parts keep their numbers and ids. The record says who changed what and when, and a
    copy of the file is kept.
    """
    _refuse_together(folder, corrections, dry_run, overlay, undo)
    if corrections is None:
        return _undo(folder, units, strict, as_json)
    from rubbing2pattern.inputs.corrections import read_corrections
    from rubbing2pattern.workflows.correct import correct_folder, try_folder

    file = read_corrections(corrections)
    if dry_run:
        done, png = try_folder(folder, file)
        done = replace(done, units=units or done.units)
        if overlay is not None and png is not None:
            write_whole(overlay, png, overwrite=overwrite)
    else:
        done = correct_folder(folder, file, units=units)
    warn(done.warnings)
    if as_json:
        more = {"dry_run": True, "overlay": overlay and str(overlay)} if dry_run else {}
        text = json.dumps(_summary(done, folder) | more, indent=2, ensure_ascii=False)
    else:
        text = "\n".join([*_table(done, done.units), *_ending(done, folder, dry_run, overlay)])
    if dry_run:
        show(text, "nothing was changed, but the summary cannot be shown")
    else:
        show_summary(text, folder)
    return EXIT_FINDINGS if strict and done.panel.findings else EXIT_DONE


def _refuse_together(
    folder: Path, corrections: Path | None, dry_run: bool, overlay: Path | None, undo: bool
) -> None:
    """Refuse options that do not go together."""
    if undo and (corrections is not None or dry_run):
        raise UsageFault("--undo takes the last file back; give no CORRECTIONS and no --dry-run")
    if not undo and corrections is None:
        raise UsageFault("give a file of CORRECTIONS, or --undo to take the last one back")
    if overlay is not None and not dry_run:
        raise UsageFault("-o goes with --dry-run; without it the overlay lies in FOLDER")
    if overlay is not None and folder.resolve() in overlay.resolve().parents:
        raise UsageFault(f"{overlay} lies in {folder}, which stays as it is; choose another -o")


def _undo(folder: Path, units: Unit | None, strict: bool, as_json: bool) -> int:
    """Take the last file of corrections back and sum up."""
    from rubbing2pattern.workflows.undo_corrections import undo_folder

    done = undo_folder(folder, units=units)
    warn(done.warnings)
    if as_json:
        undone = {
            "by": done.file.by,
            "date": done.file.date,
            "file": done.file.file,
            "written_about_gone": [row.number for row in done.written_about_gone],
        }
        summary = panel_summary(done.panel, folder) | {"undone": undone}
        text = json.dumps(summary | {"warnings": list(done.warnings)}, indent=2, ensure_ascii=False)
    else:
        text = "\n".join([*_undone_table(done), *_files(folder, done.overlay)])
    show_summary(text, folder)
    return EXIT_FINDINGS if strict and done.panel.findings else EXIT_DONE


def _undone_table(done: Undone) -> list[str]:
    file, before, now = done.file, done.corrected, done.panel
    rows = [
        ("panel", f"{now.name}, as before {file.file} of {file.by}, {file.date}"),
        ("pieces", f"{len(before.pieces)} before, {len(now.pieces)} now"),
        ("findings", f"{len(before.findings)} before, {len(now.findings)} now"),
    ]
    lines = [f"{head:<{_HEAD}}{said}" for head, said in rows]
    lines += ["", *finding_lines(now, done.units)]
    return lines + vanished_lines(row.number for row in done.written_about_gone)


def _ending(done: Corrected, folder: Path, dry_run: bool, overlay: Path | None) -> list[str]:
    """Return the last lines of a summary: what lies where."""
    if not dry_run:
        return _files(folder, done.overlay)
    if overlay is not None and not done.overlay:
        return ["", f"Nothing was changed. {_NO_OVERLAY}"]
    drawn = f" The overlay as it would be: {overlay}" if overlay is not None else ""
    return ["", f"Nothing was changed.{drawn}"]


def _files(folder: Path, overlay: bool) -> list[str]:
    lines = [] if overlay else ["", _NO_OVERLAY]
    return [*lines, "", f"The pattern lies in {folder}", f"  {', '.join(files_of(folder))}"]


def _summary(done: Corrected, folder: Path) -> dict[str, Any]:
    applied = done.applied
    return panel_summary(done.panel, folder) | {
        "corrections": {
            "by": applied.by,
            "date": applied.date,
            "file": applied.file,
            "changes": [
                {"table": c.table, "index": c.index, "did": c.did}
                | ({"meant": note} if (note := done.notes.get(f"{c.table} {c.index}")) else {})
                for c in applied.changes
            ],
            "pieces_kept": list(done.kept),
            "pieces_new": list(applied.pieces_new),
            "pieces_gone": list(applied.pieces_gone),
            "cames_new": list(applied.cames_new),
            "cames_gone": list(applied.cames_gone),
            "findings_before": len(done.before.findings),
            "findings_after": len(done.panel.findings),
            "dismissed": len(done.panel.dismissed) - len(done.before.dismissed),
            "written_about_gone": [row.number for row in done.written_about_gone],
        },
        "warnings": list(done.warnings),
    }


def _table(done: Corrected, unit: Unit) -> list[str]:
    from rubbing2pattern.correcting.changes import told

    applied, before, now = done.applied, done.before, done.panel
    dismissed = len(now.dismissed) - len(before.dismissed)
    rows = [
        ("panel", f"{now.name}, corrected by {applied.by}, {applied.date}"),
        *(
            ("changes" if k == 0 else "", f"{c.table} {c.index}: {did}")
            for k, (c, did) in enumerate(
                zip(applied.changes, told(applied.changes, done.notes), strict=True)
            )
        ),
        ("pieces", f"{len(before.pieces)} before, {len(now.pieces)} now"),
        ("kept", f"{len(done.kept)} numbers"),
        ("new", _numbers(applied.pieces_new)),
        ("gone", _numbers(applied.pieces_gone)),
        (
            "findings",
            f"{len(before.findings)} before, {len(now.findings)} now, {dismissed} dismissed",
        ),
    ]
    lines = [f"{head:<{_HEAD}}{said}" for head, said in rows]
    lines += ["", *finding_lines(now, unit)]
    lines += vanished_lines(row.number for row in done.written_about_gone)
    return lines


def _numbers(numbers: tuple[int, ...]) -> str:
    return ", ".join(map(str, numbers)) or "none"
