"""The command `correct`: a person settles the doubts of a panel."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rubbing2pattern.cli.carried import vanished_lines
from rubbing2pattern.cli.run import warn
from rubbing2pattern.cli.shared import rewriting_options
from rubbing2pattern.cli.stdout import show_summary
from rubbing2pattern.cli.summary import files_of, finding_lines, panel_summary
from rubbing2pattern.errors import EXIT_DONE, EXIT_FINDINGS
from rubbing2pattern.units import Unit

if TYPE_CHECKING:
    from rubbing2pattern.workflows.corrected_panel import Corrected

_HEAD = 11


@click.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.argument("corrections", type=click.Path(path_type=Path))
@rewriting_options
def correct(
    folder: Path, corrections: Path, units: Unit | None, strict: bool, as_json: bool
) -> int:
    """Apply the file CORRECTIONS (TOML) to the pattern in FOLDER.

    Either all corrections are made or none; 'rubbing2pattern help corrections' lists them.
    Unchanged parts keep their numbers and ids. The record says who changed what and when, and a
    copy of the file is kept.
    """
    from rubbing2pattern.inputs.corrections import read_corrections
    from rubbing2pattern.workflows.correct import correct_folder

    done = correct_folder(folder, read_corrections(corrections), units=units)
    warn(done.warnings)
    if as_json:
        text = json.dumps(_summary(done, folder), indent=2, ensure_ascii=False)
    else:
        text = "\n".join(_table(done, folder, done.units))
    show_summary(text, folder)
    return EXIT_FINDINGS if strict and done.panel.findings else EXIT_DONE


def _summary(done: Corrected, folder: Path) -> dict[str, Any]:
    applied = done.applied
    return panel_summary(done.panel, folder) | {
        "corrections": {
            "by": applied.by,
            "date": applied.date,
            "file": applied.file,
            "changes": [
                {"table": c.table, "index": c.index, "did": c.did} for c in applied.changes
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


def _table(done: Corrected, folder: Path, unit: Unit) -> list[str]:
    applied, before, now = done.applied, done.before, done.panel
    dismissed = len(now.dismissed) - len(before.dismissed)
    rows = [
        ("panel", f"{now.name}, corrected by {applied.by}, {applied.date}"),
        *(
            ("changes" if k == 0 else "", f"{c.table} {c.index}: {c.did}")
            for k, c in enumerate(applied.changes)
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
    if not done.overlay:
        lines += ["", "No overlay: this folder keeps no rubbing.png; trace the rubbing again."]
    return [*lines, "", f"The pattern lies in {folder}", f"  {', '.join(files_of(folder))}"]


def _numbers(numbers: tuple[int, ...]) -> str:
    return ", ".join(map(str, numbers)) or "none"
