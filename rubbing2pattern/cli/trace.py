"""The command `trace`: one rubbing becomes a folder with its pattern."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from rubbing2pattern.cli.run import run_one
from rubbing2pattern.cli.shared import (
    folder_option,
    options_of,
    output_options,
    paper_options,
    pattern_options,
    reference_of,
    reference_options,
)


@click.command()
@click.argument("image", type=click.Path(path_type=Path))
@reference_options
@folder_option()
@click.option(
    "--panel", default="panel", show_default=True, help="Identifier of the panel, as in n4 3b."
)
@click.option(
    "--seen-from",
    type=click.Choice(["inside", "outside"]),
    help="Side of the window on which the paper lay.",
)
@pattern_options
@paper_options
@output_options
@click.option(
    "--discard-corrections",
    is_flag=True,
    help="With --overwrite: discard the corrections made in FOLDER.",
)
def trace(image: Path, folder: Path, panel: str, seen_from: str | None, **given: Any) -> int:
    """Trace the rubbing in IMAGE and write its pattern into FOLDER.

    IMAGE is a scan or a photograph (JPEG, PNG or TIFF). Give exactly one reference for its scale:
    --dpi, --ruler, --marks, --sheet or --targets.
    """
    reference = reference_of(given)
    options = options_of(given)
    side = seen_from or "unstated"
    return run_one(image, reference, folder, options, panel=panel, seen_from=side, **given)
