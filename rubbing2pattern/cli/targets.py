"""The command `targets`: the printed targets for photographs."""

from __future__ import annotations

from pathlib import Path

import click

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
def targets(file: Path, overwrite: bool) -> int:
    """Write the page of four targets to print and lay on the sheet."""
    from rubbing2pattern.documents.targets import targets_pdf

    write_whole(file, targets_pdf(), overwrite=overwrite)
    click.echo(f"The targets are in {file}; print at 100 % and measure the check length.")
    return 0
