"""The command `targets`: the printed targets for photographs."""

from __future__ import annotations

import json
from pathlib import Path

import click

from rubbing2pattern.cli.shared import json_option, silent_option
from rubbing2pattern.cli.stdout import show
from rubbing2pattern.errors import EXIT_DONE
from rubbing2pattern.output import write_whole


@click.command()
@click.option(
    "-o",
    "--output",
    "file",
    type=click.Path(path_type=Path),
    metavar="FILE.pdf",
    required=True,
    help="PDF to write.",
)
@click.option("--overwrite", is_flag=True, help="Replace an existing file.")
@json_option
@silent_option
def targets(file: Path, overwrite: bool, as_json: bool) -> int:
    """Write the page of four targets to print and lay on the sheet."""
    from rubbing2pattern.documents.targets import CHECK_MM, IDS, SIDE_MM, targets_pdf

    write_whole(file, targets_pdf(), overwrite=overwrite)
    if as_json:
        summary = {
            "targets": list(IDS),
            "units": "mm",
            "side_mm": SIDE_MM,
            "check_length_mm": CHECK_MM,
            "file": str(file),
        }
        text = json.dumps(summary, indent=2, ensure_ascii=False)
    else:
        text = f"The targets are in {file}; print at 100 % and measure the check length."
    show(text, f"the targets are in {file}, but the summary cannot be shown")
    return EXIT_DONE
