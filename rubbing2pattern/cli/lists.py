"""The command `lists`: the filled-in sheet of pieces comes back."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rubbing2pattern.cli.carried import vanished_lines
from rubbing2pattern.cli.run import warn
from rubbing2pattern.cli.set_option import settings_option
from rubbing2pattern.cli.shared import rewriting_options
from rubbing2pattern.cli.stdout import show_summary
from rubbing2pattern.cli.summary import files_of
from rubbing2pattern.errors import EXIT_DONE, EXIT_FINDINGS, UsageFault
from rubbing2pattern.units import Unit, inch_form, parse_sheet

if TYPE_CHECKING:
    from rubbing2pattern.workflows.lists import Listed

_HEAD = 11
_MOST = 10


@click.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option(
    "--pieces",
    "sheet",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="The filled-in sheet: pieces.xlsx or pieces.csv of FOLDER, or a copy. With --matches it "
    "may be left out: then pieces.xlsx of FOLDER.",
)
@click.option(
    "--matches",
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    help="Results of match: pieces without loose glass are replaced, unless the sheet gives "
    "another action.",
)
@click.option(
    "--glass-sheet",
    metavar="SIZE",
    help="Size of a sheet of glass as it is sold: 600x900mm, 24x36in.  [600x900mm]",
)
@settings_option(
    "Change an option of glass, templates, leading or documents; 'help' lists them.", of="lists"
)
@rewriting_options
def lists(
    folder: Path,
    sheet: Path | None,
    matches: Path | None,
    glass_sheet: str | None,
    settings: tuple[str, ...],
    units: Unit | None,
    strict: bool,
    as_json: bool,
) -> int:
    """Check the filled-in sheet of pieces and write the lists it gives into FOLDER.

    Every cell is checked first; if one is wrong, nothing is written. Writes the list of glass to
    buy, templates of the pieces to replace and the firings of the kiln. Your entries stay on
    pieces.xlsx and pieces.csv.
    """
    from rubbing2pattern.workflows.lists import list_folder

    if glass_sheet is not None:
        settings = (*settings, *_sheet_settings(glass_sheet))
    if units is not None:
        settings = (*settings, f"documents.units={units}")
    if sheet is None and matches is None:
        raise UsageFault("the lists need a source: give --pieces FILE, or --matches")
    done = list_folder(folder, sheet, settings, matches)
    warn(done.warnings)
    if as_json:
        text = json.dumps(_summary(done, folder), indent=2, ensure_ascii=False)
    else:
        text = "\n".join(_table(done, folder))
    show_summary(text, folder)
    return EXIT_FINDINGS if strict and (done.panel.findings or done.doubts) else EXIT_DONE


def _sheet_settings(text: str) -> tuple[str, str]:
    """Return the size of a sheet of glass as settings."""
    from rubbing2pattern.options.glass import GlassOptions

    try:
        width_mm, height_mm = parse_sheet(text)
    except UsageFault as fault:
        raise UsageFault(f"--glass-sheet: {fault}") from fault
    try:
        GlassOptions(sheet_width_mm=width_mm, sheet_height_mm=height_mm)
    except UsageFault as fault:
        raise UsageFault(
            f"--glass-sheet {text!r} is {width_mm:g} x {height_mm:g} mm: {fault}; for "
            f"inches write --glass-sheet {inch_form(text)}"
        ) from fault
    return f"glass.sheet_width_mm={width_mm!r}", f"glass.sheet_height_mm={height_mm!r}"


def _summary(done: Listed, folder: Path) -> dict[str, Any]:
    return {
        "panel": done.panel.name,
        "pieces": len(done.panel.pieces),
        "written_about": sorted(done.merged.filled.entries),
        "replaced": [new.number for order in done.orders for new in order.pieces],
        "glass": [
            {
                "glass": order.glass,
                "thickness": order.thickness,
                "pieces": [new.number for new in order.pieces],
                "area_with_waste_mm2": round(order.area_with_waste_mm2, 1),
                "sheets": order.sheets.sheets,
                "fit_on_no_sheet": list(order.too_large),
            }
            for order in done.orders
        ],
        "firings": [
            {
                "firing": firing.number,
                "decoration": firing.decoration.value,
                "temperature_f": firing.temperature_f,
                "pieces": list(firing.pieces),
                "shelves": firing.loads,
            }
            for firing in done.firings
        ],
        "kept_of_the_folder": [{"piece": n, "column": c} for n, c in done.merged.kept],
        "changed": [
            {"piece": n, "column": c, "old": old, "new": new}
            for n, c, old, new in done.merged.changed
        ],
        "no_glass_found": list(done.to_cut),
        "vanished": [row.number for row in done.vanished],
        "doubts": list(done.doubts),
        "warnings": list(done.warnings),
        "folder": str(folder),
        "files": files_of(folder),
    }


def _table(done: Listed, folder: Path) -> list[str]:
    filled = done.merged.filled
    replaced = sum(len(order.pieces) for order in done.orders)
    rows = [
        ("panel", f"{done.panel.name}, {len(done.panel.pieces)} pieces"),
        ("written", f"about {len(filled.entries)} of them; {replaced} to be replaced"),
        *_matched(done),
        *(("glass" if k == 0 else "", _glass(order)) for k, order in enumerate(done.orders)),
        *(
            ("kiln" if k == 0 else "", f"firing {f.number}, {f.decoration}: {_count(f.pieces)}")
            for k, f in enumerate(done.firings)
        ),
    ]
    lines = [f"{head:<{_HEAD}}{said}" for head, said in rows]
    kept = [f"piece {n}, {c}" for n, c in done.merged.kept]
    changed = [f"piece {n}, {c}: {old!r} is now {new!r}" for n, c, old, new in done.merged.changed]
    lines += _section("Empty on the sheet, kept as the folder has it:", kept)
    lines += _section("Changed:", changed)
    lines += vanished_lines(row.number for row in done.vanished)
    lines += _section("Look at:", list(done.doubts))
    return [*lines, "", f"The lists lie in {folder}", f"  {', '.join(files_of(folder))}"]


def _matched(done: Listed) -> list[tuple[str, str]]:
    if not done.to_cut:
        return []
    return [("matches", f"no loose glass for {', '.join(map(str, done.to_cut))}: to be cut")]


def _section(head: str, lines: list[str]) -> list[str]:
    if not lines:
        return []
    more = [f"  and {len(lines) - _MOST} more"] if len(lines) > _MOST else []
    return ["", head, *(f"  {line}" for line in lines[:_MOST]), *more]


def _glass(order: Any) -> str:
    name = ", ".join(part for part in (order.glass or "glass not stated", order.thickness) if part)
    sheets = order.sheets.sheets
    large = f"; fit on no sheet: {', '.join(map(str, order.too_large))}" if order.too_large else ""
    return f"{name}: {_count(order.pieces)}, {sheets} sheet{'' if sheets == 1 else 's'}{large}"


def _count(pieces: tuple[Any, ...]) -> str:
    return f"{len(pieces)} piece{'' if len(pieces) == 1 else 's'}"
