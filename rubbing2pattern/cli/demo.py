"""The command `demo`: the main job on the shipped rubbing."""

from __future__ import annotations

from importlib.resources import as_file, files
from pathlib import Path
from typing import Any

import click

from rubbing2pattern.cli.run import run_one
from rubbing2pattern.cli.shared import folder_option, output_options
from rubbing2pattern.trade.stock import stock_in


@click.command()
@folder_option(default="demo-output")
@output_options
@click.option(
    "--discard-corrections",
    is_flag=True,
    help="With --overwrite: discard the corrections made in FOLDER.",
)
def demo(folder: Path, **given: Any) -> int:
    """Trace the shipped rubbing and write its pattern into FOLDER."""
    from dataclasses import replace

    from rubbing2pattern.demo import PANEL, PICTURE, SEEN_FROM, SHEET
    from rubbing2pattern.inputs.reference import parse_reference
    from rubbing2pattern.options import Options

    units, options = given["units"], Options()
    options = replace(
        options,
        documents=replace(options.documents, units=units),
        pieces=replace(options.pieces, stock=stock_in(units)),
    )
    reference = parse_reference(sheet=SHEET)
    with as_file(files("rubbing2pattern.demo") / PICTURE) as image:
        return run_one(image, reference, folder, options, panel=PANEL, seen_from=SEEN_FROM, **given)
