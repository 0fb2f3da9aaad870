"""One rubbing from the command line: read it, write the results, print the summary."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rubbing2pattern.cli.carried import carried_lines, carried_summary
from rubbing2pattern.cli.progress import shown_progress
from rubbing2pattern.cli.stdout import show_summary
from rubbing2pattern.cli.summary import summary, table
from rubbing2pattern.errors import EXIT_DONE, EXIT_FINDINGS
from rubbing2pattern.output import check_folder
from rubbing2pattern.units import Unit

if TYPE_CHECKING:
    from rubbing2pattern.inputs.reference import Reference
    from rubbing2pattern.options import Options


def run_one(
    image: Path,
    reference: Reference,
    folder: Path,
    options: Options,
    *,
    panel: str,
    seen_from: str,
    units: Unit,
    overwrite: bool,
    strict: bool,
    as_json: bool,
    quiet: bool,
    discard_corrections: bool,
) -> int:
    """Read a rubbing, write its folder of results, print the summary and return the exit code."""
    replaces: dict[str, Any] = {"overwrite": overwrite, "discard_corrections": discard_corrections}
    check_folder(folder, **replaces)
    # The libraries behind the stages take a second to load; help and refusals do not wait for it.
    from rubbing2pattern.workflows.holding import refuse_held

    refuse_held(folder)
    from rubbing2pattern.workflows.folders import typed_in
    from rubbing2pattern.workflows.pipeline import trace_rubbing, write_reading

    typed_in(folder, options)  # Refuse a sheet that cannot be carried over before the long work.
    with shown_progress(quiet=quiet) as progress:
        reading = trace_rubbing(
            image,
            reference,
            name=panel,
            seen_from=seen_from,
            options=options,
            progress=progress,
        )
        carried = write_reading(reading, folder, options=options, **replaces)
    if as_json:
        results = summary(reading, folder) | {"written": carried_summary(carried)}
        text = json.dumps(results, indent=2, ensure_ascii=False)
    else:
        text = "\n".join([table(reading, folder, units), *carried_lines(carried)])
    show_summary(text, folder)
    return EXIT_FINDINGS if strict and reading.panel.findings else EXIT_DONE


def warn(warnings: Iterable[str]) -> None:
    """Write warnings to stderr, a line each."""
    for said in warnings:
        click.echo(f"rubbing2pattern: warning: {said}", err=True)
