"""The commands `archive` and `verify`: a package for keeping, and its check."""

from __future__ import annotations

import json
from pathlib import Path

import click

from rubbing2pattern.cli.run import warn
from rubbing2pattern.cli.shared import json_option, silent_option, strict_option
from rubbing2pattern.cli.stdout import show
from rubbing2pattern.errors import EXIT_DONE, EXIT_FINDINGS, InputUnreadable, UsageFault

_FOLDER = click.Path(path_type=Path)


@click.command()
@click.argument("folders", nargs=-1, required=True, type=_FOLDER)
@click.option(
    "-o",
    "--output",
    "bag",
    required=True,
    type=_FOLDER,
    metavar="BAG",
    help="Folder of the package; it appears whole or not at all.",
)
@click.option(
    "--about",
    "about_file",
    type=_FOLDER,
    metavar="FILE.toml",
    help="Description of the panels: title, building, place, date, who, publisher, rights, "
    "condition, language, packed.",
)
@click.option(
    "--image",
    "images",
    multiple=True,
    metavar="PANEL=FILE",
    help="The original picture of a panel; its checksum is compared. With one panel: FILE.",
)
@click.option(
    "--overwrite",
    is_flag=True,
    help="Replace a package of this program, unless it was changed since it was packed.",
)
@strict_option
@json_option
@silent_option
def archive(
    folders: tuple[Path, ...],
    bag: Path,
    about_file: Path | None,
    images: tuple[str, ...],
    overwrite: bool,
    strict: bool,
    as_json: bool,
) -> int:
    """Pack FOLDERS of results into a package for keeping (BagIt, RFC 8493)."""
    from rubbing2pattern.inputs.about import NOTHING_SAID, read_about
    from rubbing2pattern.workflows.archive import archive_folders

    about = read_about(about_file) if about_file else NOTHING_SAID
    pictures = _images(images, folders)
    done = archive_folders(folders, bag, about=about, images=pictures, overwrite=overwrite)
    warn(done.warnings)
    if as_json:
        summary = {
            "panels": done.panels,
            "files": done.files,
            "findings": done.findings,
            "notes": done.notes,
            "warnings": done.warnings,
            "bag": str(bag),
        }
        text = json.dumps(summary, indent=2, ensure_ascii=False)
    else:
        lines = [f"panels  {', '.join(done.panels)}", f"files   {done.files}"]
        if done.notes:
            lines += ["", "Not in the package:", *(f"  {note}" for note in done.notes)]
        lines += ["", f"The package lies in {bag}; check it now and again with: verify {bag}"]
        text = "\n".join(lines)
    show(text, f"the package lies in {bag}, but the summary cannot be shown")
    return EXIT_FINDINGS if strict and done.findings else EXIT_DONE


@click.command()
@click.argument("bag", type=_FOLDER)
@strict_option
@json_option
@silent_option
def verify(bag: Path, strict: bool, as_json: bool) -> int:
    """Check a package BAG: its sums, its records, and that they still give the same drawings."""
    from rubbing2pattern.workflows.archive import verify_bag

    found = verify_bag(bag)
    if as_json:
        summary = {
            "panels": found.panels,
            "findings": found.findings,
            "faults": found.faults,
            "bag": str(bag),
        }
        text = json.dumps(summary, indent=2, ensure_ascii=False)
    else:
        faults = [f"  {fault}" for fault in found.faults]
        text = "\n".join(faults) or f"All is well: {', '.join(found.panels)}"
    verdict = "is not as it was packed" if found.faults else "is as it was packed"
    show(text, f"{bag} {verdict}, but the summary cannot be shown")
    if found.faults:
        more = f" (and {len(found.faults) - 1} more)" if len(found.faults) > 1 else ""
        raise InputUnreadable(f"{bag} {verdict}: {found.faults[0]}{more}")
    return EXIT_FINDINGS if strict and found.findings else EXIT_DONE


def _images(given: tuple[str, ...], folders: tuple[Path, ...]) -> dict[str, Path]:
    from rubbing2pattern.output import RECORD_NAME
    from rubbing2pattern.record.panel import read_record

    found: dict[str, Path] = {}
    for text in given:
        name, sign, path = text.partition("=")
        if not sign and len(folders) == 1:
            name, path = read_record(folders[0] / RECORD_NAME).panel.name, text
        elif not sign:
            raise UsageFault(f"--image {text!r}: write PANEL=FILE, for there are several panels")
        if name in found:
            raise UsageFault(f"--image: the panel {name!r} is given two pictures")
        found[name] = Path(path)
    return found
