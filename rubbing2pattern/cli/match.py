"""The command `match`: loose pieces in photographs find their numbers."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rubbing2pattern.cli.lengths import length_mm
from rubbing2pattern.cli.photographs import (
    PhotographsCommand,
    photograph_options,
    photographed,
)
from rubbing2pattern.cli.progress import shown_progress
from rubbing2pattern.cli.renamed import RenamedOption, former_option
from rubbing2pattern.cli.set_option import settings_option
from rubbing2pattern.cli.shared import (
    folder_option,
    max_megapixels_option,
    output_options,
)
from rubbing2pattern.cli.stdout import show_summary
from rubbing2pattern.cli.summary import files_of, findings_head, findings_json
from rubbing2pattern.errors import EXIT_DONE, EXIT_FINDINGS
from rubbing2pattern.findings import GRAVEST_FIRST
from rubbing2pattern.output import MATCHES_NAME, check_folder
from rubbing2pattern.trade.cautions import GROZING
from rubbing2pattern.units import Unit, format_length

if TYPE_CHECKING:
    from rubbing2pattern.matching.loose import Match
    from rubbing2pattern.matching.several_panels import PanelMatched
    from rubbing2pattern.options import Options
    from rubbing2pattern.options.documents import DocumentOptions
    from rubbing2pattern.workflows.match import Matching

_HEAD = 11
_MOST = 12


@click.command(cls=PhotographsCommand)
@photograph_options
@former_option("--panel")
@click.option(
    "--results",
    "panel",
    cls=RenamedOption,
    former="--panel",
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    help="Folder of the panel, written by trace or correct; it is not changed.",
)
@click.option(
    "--against",
    multiple=True,
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    help="Another panel that the glass may belong to, or a folder with the folders of many. "
    "Give it once for each.",
)
@folder_option()
@click.option(
    "--known",
    type=click.Path(path_type=Path),
    metavar="FILE.csv",
    help="Numbers that you know: piece,number or pixel_x,pixel_y,number; optional column photo.",
)
@click.option("--turn-over", is_flag=True, help="Try every piece turned over as well.")
@click.option(
    "--face-up",
    type=click.Choice(["inside", "outside"]),
    help="Side of the glass that lies up.  [the side from which the panel is seen]",
)
@click.option(
    "--glass", metavar="LENGTH", callback=length_mm, help="Thickness of the glass, with --camera."
)
@click.option(
    "--camera", metavar="LENGTH", callback=length_mm, help="Height of the camera over the table."
)
@max_megapixels_option
@settings_option(
    "Change an option of load, rectify, loose, match, fragments or documents; 'help' lists them.",
    of="match",
)
@output_options
@click.pass_context
def match(
    ctx: click.Context,
    /,
    photos: tuple[Path, ...],
    panel: Path | None,
    against: tuple[Path, ...],
    folder: Path,
    known: Path | None,
    turn_over: bool,
    face_up: str | None,
    units: Unit,
    overwrite: bool,
    strict: bool,
    as_json: bool,
    quiet: bool,
    **given: Any,
) -> int:
    """Match loose pieces of glass in PHOTOS with the numbered pieces of a panel.

    PHOTOS show pieces laid apart on a light table, white paper or dark cloth. Give exactly one
    reference for their scale: --dpi, --ruler, --marks, --sheet or --targets. Or name each with
    --photo and let its own reference follow: --photo a.jpg --marks a.csv --photo b.jpg --targets
    t.csv.
    """
    places, references = photographed(ctx, photos, given)
    options = _options(given, units)
    check_folder(folder, overwrite=overwrite, record=MATCHES_NAME)
    # The libraries behind matching take a second to load; help and refusals do not wait for it.
    from rubbing2pattern.workflows.match import (
        match_pieces,
        panel_folders,
        read_known,
        write_matches,
    )

    panels = panel_folders([*([] if panel is None else [panel]), *against])
    if not panels:
        raise click.UsageError("Missing option '--results'; or give --against FOLDER.", ctx)
    numbers = None if known is None else read_known(known)
    with shown_progress(quiet=quiet) as progress:
        matching = match_pieces(
            places,
            references,
            panels,
            known=numbers,
            turn_over=turn_over,
            face_up=face_up or "unstated",
            options=options,
            progress=progress,
        )
        write_matches(matching, folder, options=options, overwrite=overwrite)
    if as_json:
        text = json.dumps(_summary(matching, folder), indent=2, ensure_ascii=False)
    else:
        text = "\n".join(_table(matching, folder, options.documents))
    show_summary(text, folder)
    return EXIT_FINDINGS if strict and matching.findings else EXIT_DONE


def _options(given: dict[str, Any], units: Unit) -> Options:
    from rubbing2pattern.options import Options
    from rubbing2pattern.options.setting import with_settings_of
    from rubbing2pattern.workflows.match import GROUPS

    settings = [*given.pop("settings"), f"documents.units={units}"]
    size_limit_mp = given.pop("max_megapixels")
    if size_limit_mp is not None:
        settings.append(f"load.size_limit_mp={size_limit_mp!r}")
    for name in ("glass", "camera"):
        length = given.pop(name)
        if length is not None:
            settings.append(f"loose.{name}_mm={length!r}")
    return with_settings_of(GROUPS, Options(), settings, "matching")


def _summary(matching: Matching, folder: Path) -> dict[str, Any]:
    matches = matching.matches
    shown = int if len(matching.panels) == 1 else matching.label
    return {
        "panel": matching.panel.name,
        "panels": [own.panel.name for own in matching.panels],
        "pieces": sum(len(own.panel.pieces) for own in matching.panels),
        "photos": [{"name": p.name, "loose_pieces": len(p.pieces)} for p in matching.photos],
        "loose_pieces": [
            {
                "piece": m.piece.id,
                "verdict": m.verdict.value,
                "numbers": list(map(shown, m.numbers)),
                "groze_mm": 0.0 if m.placed is None else round(m.placed.groze_mm, 3),
                "short_mm": 0.0 if m.placed is None else round(m.placed.short_mm, 3),
                "pattern": list(m.pattern),
            }
            for m in matches.matches
        ],
        "no_glass": list(map(shown, matches.unfilled)),
        "part_missing": list(map(shown, matching.parts_missing)),
        "alike": [list(map(shown, group)) for group in matches.groups],
        "findings": findings_json(matching.findings),
        "folder": str(folder),
        "files": files_of(folder),
    }


def _table(matching: Matching, folder: Path, options: DocumentOptions) -> list[str]:
    photos = ", ".join(f"{p.name} ({len(p.pieces)})" for p in matching.photos)
    rows = [
        *(("panel", _panel_text(own)) for own in matching.panels),
        ("loose", f"{len(matching.matches.matches)} pieces: {photos}"),
        *_verdicts(matching, options),
    ]
    cut = matching.labels(matching.matches.unfilled)
    rows.append(
        ("to cut", f"no glass was found for {cut}" if cut else "nothing: no number is left")
    )
    if cut and matching.unread:
        rows.append(("", f"look first where glass could not be read: {matching.unread} places"))
    if matching.parts_missing:
        broken = matching.labels(matching.parts_missing)
        rows.append(("", f"parts beside the fragments of {broken}"))
    lines = [f"{head:<{_HEAD}}{said}" for head, said in rows]
    if not matching.placed:
        lines = [_nothing_fits(matching), "", *lines]
    lines += ["", *_findings(matching, options.units)]
    if any(m.placed is not None and m.placed.groze_mm > 0.0 for m in matching.matches.matches):
        lines += ["", *GROZING]
    return [*lines, "", f"The matches lie in {folder}", f"  {', '.join(files_of(folder))}"]


def _panel_text(own: PanelMatched) -> str:
    named = f"{own.letter}: {own.panel.name}" if own.letter else own.panel.name
    side = f", {own.panel.side}" if own.panel.side else ""
    return f"{named}{side}, {len(own.panel.pieces)} pieces"


def _nothing_fits(matching: Matching) -> str:
    count = len(matching.matches.matches)
    what = (
        "The loose piece does not fit" if count == 1 else f"None of the {count} loose pieces fits"
    )
    title = f"{matching.title[0].lower()}{matching.title[1:]}"
    return f"{what} {title}. Is it the right panel, the right scale and side?"


def _verdicts(matching: Matching, options: DocumentOptions) -> Iterator[tuple[str, str]]:
    from rubbing2pattern.documents.matches.sentences import groups_named, numbers_text
    from rubbing2pattern.matching.loose import Verdict

    for verdict in Verdict:
        own = [m for m in matching.matches.matches if m.verdict is verdict]
        if not own:
            continue
        if verdict in (Verdict.NO_PLACE, Verdict.CUT_OFF):
            said = [m.piece.id for m in own]
        else:
            said = [
                f"{m.piece.id} in {numbers_text(m.numbers, matching)}{_amounts(m, options)}"
                for m in own
            ]
        more = f" and {len(said) - _MOST} more" if len(said) > _MOST else ""
        head = {Verdict.FRAGMENT: "fragments"}.get(verdict, verdict.value)
        yield head, f"{len(own)}: {', '.join(said[:_MOST])}{more}"
    for numbers, name in groups_named(matching).items():
        yield name, f"{matching.labels(numbers)}, all alike"


def _amounts(match: Match, options: DocumentOptions) -> str:
    placed = match.placed
    if placed is None:
        return ""
    parts = []
    if placed.groze_mm > 0.0:
        parts.append(f"groze {_length(placed.groze_mm, options)}")
    if placed.short_mm > 0.0:
        parts.append(f"short {_length(placed.short_mm, options)}")
    if match.pattern:
        parts.append(f"pattern? {' '.join(match.pattern)}")
    return f" ({', '.join(parts)})" if parts else ""


def _length(amount_mm: float, options: DocumentOptions) -> str:
    return format_length(amount_mm, options.units, denominator=64)


def _findings(matching: Matching, unit: Unit) -> list[str]:
    if not matching.findings:
        return ["No findings."]
    lines = [findings_head(matching.findings)]
    placed = [(finding, "") for finding in matching.matches.findings]
    placed += [(f, f" in {photo.where(f)}") for photo in matching.photos for f in photo.findings]
    for finding, where in sorted(placed, key=lambda f: GRAVEST_FIRST.index(f[0].severity)):
        said = finding.sentence(unit, matching.label)
        lines.append(f"  {finding.severity.value:<6}{finding.code}{where}: {said}")
    return lines
