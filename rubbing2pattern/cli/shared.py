"""Options that several commands have in common, as decorators, and what is made of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from rubbing2pattern.cli.lengths import length_mm, stock
from rubbing2pattern.cli.set_option import settings_option
from rubbing2pattern.guide.topics import see
from rubbing2pattern.inputs.reference import REFERENCES
from rubbing2pattern.trade.stock import stock_in
from rubbing2pattern.units import Unit

if TYPE_CHECKING:
    from rubbing2pattern.inputs.reference import Reference
    from rubbing2pattern.options import Options
    from rubbing2pattern.options.documents import DocumentOptions
    from rubbing2pattern.options.paper import PaperOptions

F = TypeVar("F", bound=Callable[..., Any])


max_megapixels_option = click.option(
    "--max-megapixels",
    type=float,
    metavar="N",
    help="Largest picture that is read.  [400]",
)


def reference_options(command: F, *, multiple: bool = False) -> F:
    """Add the five kinds of reference, of which exactly one is given, or one for each picture."""
    option = partial(click.option, multiple=multiple)
    return _with(
        command,
        option("--dpi", metavar="N", help="Flat scan of known resolution, for example 200."),
        option(
            "--ruler",
            metavar='"X,Y X,Y LENGTH"',
            help='Two marks, in pixels, and their distance: "577.8,2823.9 2038.3,2826.6 200mm".',
        ),
        option(
            "--marks",
            metavar="FILE.csv",
            help="Four or more reference marks: pixel_x,pixel_y,x_mm,y_mm.",
        ),
        option(
            "--sheet",
            metavar="SIZE",
            help="The whole sheet is visible and its edges are found: 614x774mm, A1, 24x36in.",
        ),
        option(
            "--targets",
            metavar="FILE.csv",
            help="Printed targets: id,x_mm,y_mm of their centres, or id_a,id_b,distance_mm.",
        ),
    )


def pattern_options(command: F) -> F:
    """Add what the pattern depends on."""
    return _with(
        command,
        click.option(
            "--heart",
            metavar="LENGTH",
            callback=length_mm,
            help="Thickness of the heart of the lead.  [1.6mm]",
        ),
        click.option(
            "--clearance",
            metavar="LENGTH",
            callback=length_mm,
            help="Gap between glass and heart, on each side.  [0.4mm]",
        ),
        click.option(
            "--stock",
            metavar="LIST",
            callback=stock,
            help='Widths of lead on sale: "4mm,5mm,1/4in".  [common sizes in the unit of --units]',
        ),
        click.option(
            "--profile",
            type=click.Choice(["flat", "round"]),
            help="Shape of the leaves, where it is known.  [estimated from the rubbing]",
        ),
        click.option(
            "--caliper",
            "calipers",
            multiple=True,
            metavar="FILE.csv|CAME=WIDTH",
            help="Widths measured on the lead: x_mm,y_mm,width_mm or came,width_mm; or C12=6.1mm.",
        ),
        max_megapixels_option,
        settings_option(f"Change any other threshold; 'help' lists them, or {see('options')}."),
    )


def paper_options(command: F) -> F:
    """Add how the pattern comes onto paper."""
    mirrored = click.option(
        "--mirrored", is_flag=True, help="Draw the pattern as seen from the other side."
    )
    return print_options(mirrored(command), default="A4; Letter with --units in")


def print_options(command: F, *, default: str) -> F:
    """Add the papers and what the printer does to lengths."""
    return _with(
        command,
        click.option(
            "--paper",
            metavar="LIST",
            help="Papers for the tiled pattern: A4, A3, Letter, Tabloid, 600x900mm; or none.  "
            f"[{default}]",
        ),
        click.option(
            "--print-scale",
            metavar="AxU|A,U",
            help="Size of a printed tile divided by its true size, across and up: 1.003x0.998; or "
            "its two check lengths as measured: 100.3mm,99.8mm.",
        ),
        click.option(
            "--lines",
            metavar="LIST",
            help="Extra lines on the pattern: heart, cut, sight, as in heart,cut; or none.  "
            f"[{'as before' if default == 'as before' else 'none'}]",
        ),
        click.option(
            "--ids",
            metavar="LIST",
            help="Ids written on the pattern: came, joint, as in came,joint; or none.  "
            f"[{'as before' if default == 'as before' else 'none'}]",
        ),
    )


def output_options(command: F) -> F:
    """Add how results are written and summed up, for a command that makes a folder."""
    return _with(
        command,
        units_option(default="mm"),
        click.option("--overwrite", is_flag=True, help="Replace the results of an earlier run."),
        strict_option,
        json_option,
        quiet_option,
    )


def rewriting_options(command: F) -> F:
    """Add how a folder of results is written anew and summed up; it keeps its unit."""
    return _with(command, units_option(default=None), strict_option, json_option, silent_option)


def units_option(*, default: Unit | None) -> Callable[[F], F]:
    """Add the unit of lists and summary; without a default that of the folder stays."""
    kept = "" if default else "  [as before]"
    return click.option(
        "--units",
        type=click.Choice(["mm", "in"]),
        default=default,
        show_default=default is not None,
        help=f"Unit of the lists and the summary; drawings are true to scale with either.{kept}",
    )


strict_option = click.option("--strict", is_flag=True, help="Exit with 8 when there are findings.")
json_option = click.option("--json", "as_json", is_flag=True, help="Summary as JSON on stdout.")
_QUIET_HELP = "No progress on stderr."
quiet_option = click.option("--quiet", is_flag=True, help=_QUIET_HELP)
silent_option = click.option("--quiet", is_flag=True, expose_value=False, help=_QUIET_HELP)
"""For commands that show no progress: scripts may give the flag to every command alike."""


def reference_of(given: dict[str, Any]) -> Reference:
    """Take the reference out of the parameters of a command."""
    from rubbing2pattern.inputs.reference import parse_reference

    return parse_reference(**{name: given.pop(name) for name in REFERENCES})


def options_of(given: dict[str, Any]) -> Options:
    """Take the options of a run out of the parameters of a command."""
    from rubbing2pattern.inputs.calipers import parse_calipers
    from rubbing2pattern.options import Options
    from rubbing2pattern.options.setting import with_settings

    options = with_settings(Options(), [*given.pop("settings"), *drawing_settings(given)])
    pieces = {"heart_mm": given.pop("heart"), "clearance_mm": given.pop("clearance")}
    pieces["stock"] = given.pop("stock") or stock_in(given["units"])
    pieces["calipers"] = parse_calipers(given.pop("calipers"))
    profile = given.pop("profile")
    measure = {} if profile is None else {"profile": profile}
    size_limit_mp = given.pop("max_megapixels")
    load = {} if size_limit_mp is None else {"size_limit_mp": size_limit_mp}
    chosen = {name: value for name, value in pieces.items() if value is not None}
    documents = replace(options.documents, units=given["units"])
    return replace(
        options,
        load=replace(options.load, **load),
        measure=replace(options.measure, **measure),
        pieces=replace(options.pieces, **chosen),
        documents=documents,
        paper=paper_of(given, options.paper, documents),
    )


def drawing_settings(given: dict[str, Any]) -> list[str]:
    """Take lines and ids on wish out of the parameters of a command, as settings."""
    texts = {name: given.pop(name) for name in ("lines", "ids")}
    return [
        f"documents.{name}={'' if text.strip().lower() == 'none' else text}"
        for name, text in texts.items()
        if text is not None
    ]


def paper_of(
    given: dict[str, Any], paper: PaperOptions, documents: DocumentOptions
) -> PaperOptions:
    """Take what `paper_options` added out of the parameters of a command."""
    from rubbing2pattern.options.paper import paper_given

    return paper_given(
        paper,
        documents.check_length_mm,
        papers=given.pop("paper"),
        print_scale=given.pop("print_scale"),
        mirrored=given.pop("mirrored") or None,
    )


def folder_option(*, default: str | None = None) -> Callable[[F], F]:
    """Add the folder of results; without a default it must be given."""
    given: dict[str, Any] = (
        {"required": True} if default is None else {"default": default, "show_default": True}
    )
    return click.option(
        "-o",
        "--output",
        "folder",
        type=click.Path(path_type=Path),
        metavar="FOLDER",
        help="Folder for the results; it appears whole or not at all.",
        **given,
    )


def _with(command: F, *decorators: Callable[[F], F]) -> F:
    for decorator in reversed(decorators):
        command = decorator(command)
    return command
