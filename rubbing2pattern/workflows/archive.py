"""The archive package of finished panels, and its check."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any

from rubbing2pattern._version import __version__
from rubbing2pattern.archiving.bag import DECLARATION, PAYLOAD, faults_of, is_own, write_bag
from rubbing2pattern.archiving.readable import KINDS, fault_of
from rubbing2pattern.archiving.readme import Packed, readme_text
from rubbing2pattern.archiving.same_drawing import same_dxf, same_svg
from rubbing2pattern.documents.archive import ARCHIVE_DOCUMENTS, ORIGINALS, Packing
from rubbing2pattern.documents.document import document_of, files_of, known_columns, plain
from rubbing2pattern.documents.drawing.pattern import panel_marks, sheet_drawing
from rubbing2pattern.documents.formats.dxf import dxf_text
from rubbing2pattern.documents.formats.svg import svg_text
from rubbing2pattern.documents.registry import DOCUMENTS, OWN_NAMES
from rubbing2pattern.errors import InputUnreadable, OutputNotWritten, RubbingError, UsageFault
from rubbing2pattern.inputs.about import NOTHING_SAID, About, dublin_core
from rubbing2pattern.inputs.files import content_of
from rubbing2pattern.leading import plan_lead
from rubbing2pattern.model import Panel
from rubbing2pattern.output import RECORD_NAME, whole_folder
from rubbing2pattern.record.panel import panel_of, read_record
from rubbing2pattern.texts import printable
from rubbing2pattern.trade.window_numbers import in_order, window_number
from rubbing2pattern.workflows.folders import KeptFolder, damaged_documents, kept_folder
from rubbing2pattern.workflows.kept_options import options_of

DRAWINGS = {"pattern.svg": same_svg, "pattern.dxf": same_dxf}
"""What `verify` draws again from the record, and how two drawings of a kind are compared."""

_LONGEST_NAME = 100
"""Letters of a folder's name; file systems take 255 bytes, and Windows 260 letters of a path."""
_DIGEST_LETTERS = 8
"""Of the checksum that distinguishes longer names; 32 bits are plenty for one package's panels."""
_UNSAFE = re.compile(r"[^\w .+-]", re.ASCII)


@dataclass(frozen=True, slots=True)
class Archived:
    """What an archive package holds.

    Attributes
    ----------
    place : its folder.
    panels : names of the panels, in the order of their numbers.
    files : number of files in its payload.
    notes : what is missing, one sentence each.
    findings : number of findings of all panels.
    warnings : what of the folders' options this version does not use, or under another name.
    """

    place: Path
    panels: tuple[str, ...]
    files: int
    notes: tuple[str, ...]
    findings: int = 0
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Verified:
    """What the check of a package found.

    Attributes
    ----------
    panels : names of the panels whose records could be read.
    faults : what is wrong, one sentence each; none when all is well.
    findings : number of findings of those panels.
    """

    panels: tuple[str, ...]
    faults: tuple[str, ...]
    findings: int = 0


def archive_folders(
    folders: Sequence[Path | str],
    bag: Path | str,
    *,
    about: About = NOTHING_SAID,
    images: Mapping[str, Path | str] | None = None,
    overwrite: bool = False,
) -> Archived:
    """Pack folders of results into an archive package, which appears whole or not at all.

    Parameters
    ----------
    folders : of results, as `write_reading` or later commands left them.
    bag : folder of the package; without `overwrite` it must not exist.
    about : what a person says about the panels.
    images : original pictures by name of the panel; checked against the record's sum.
    overwrite : replaces a package of this program, if every file in it is as it was packed.

    Raises
    ------
    InputUnreadable
        A folder, its record or a picture cannot be read, or holds a link.
    UsageFault
        Two panels have one name, or a picture does not belong to any of them.
    OutputNotWritten
        `bag` exists and is not replaced, or it cannot be written.
    """
    read = (kept_folder(folder, replaced=False) for folder in folders)
    kept = sorted(read, key=lambda k: in_order(k.panel.name))
    if not kept:
        raise UsageFault("give at least one folder of results to pack")
    pictures = {name: Path(path) for name, path in (images or {}).items()}
    _check_names([k.panel.name for k in kept], pictures)
    files: dict[str, bytes] = {}
    panels: dict[str, tuple[Packed, ...]] = {}
    notes: list[str] = []
    for one in kept:
        _check_documents(one)
        name = _folder_name(one.panel.name)
        own = _files_of(one, pictures.get(one.panel.name), notes)
        files |= {f"{name}/{path}": content for path, content in own.items()}
        panels[name] = tuple(_packed(path, own[path]) for path in sorted(own))
    names = [k.panel.name for k in kept]
    files["dublin-core.xml"] = dublin_core(about, names, [k.panel.seen_from for k in kept])
    files["README.txt"] = readme_text(panels, notes)
    place = Path(bag)
    if overwrite:
        _check_replaceable(place)
    with whole_folder(place, ("*",), overwrite=overwrite, record=DECLARATION) as partial:
        write_bag(partial, files, _info(about, names), place)
    findings = sum(len(k.panel.findings) for k in kept)
    warnings = tuple(f"{one.panel.name}: {said}" for one in kept for said in one.warnings)
    return Archived(place, tuple(names), len(files), tuple(notes), findings, warnings)


def verify_bag(bag: Path | str) -> Verified:
    """Check an archive package.

    Rules:

    1. it is a whole bag, every sum as it was;
    2. every record in it can be read, by its schema, older ones too;
    3. every JSON, XML and SVG file of the program's own in it can be read;
    4. the record still gives the drawings that lie beside it: byte for byte when this version of
       the program made them, within 0.01 mm when another did.

    Raises
    ------
    InputUnreadable
        There is no bag.
    """
    place = Path(bag)
    faults = [*faults_of(place), *_unreadable(place)]
    names, findings = [], 0
    for path in sorted((place / PAYLOAD).glob(f"*/{RECORD_NAME}")):
        inside = path.relative_to(place).as_posix()
        if path.is_symlink() or path.parent.is_symlink():
            continue
        try:
            record = read_record(path)
            panel = panel_of(record)
            differing = _wrong_drawings(path.parent, panel, record.provenance)
        except RubbingError as fault:
            faults.append(f"{inside}: {fault}")
            continue
        names.append(panel.name)
        findings += len(panel.findings)
        faults += [
            f"{inside} does not give {drawing} as it lies there; it was made by version "
            f"{_version(record.provenance)}, this is {__version__}"
            for drawing in differing
        ]
    if not names and not faults:
        faults.append(f"{place} holds no record of a panel")
    return Verified(tuple(sorted(names, key=in_order)), tuple(faults), findings)


def _unreadable(place: Path) -> Iterator[str]:
    """Yield what is wrong with files that have a form; pictures of a person are none of ours."""
    for path in sorted((place / PAYLOAD).rglob("*")):
        inside = path.relative_to(place)
        own = ORIGINALS not in inside.parts[:-1] and path.suffix in KINDS
        if own and path.is_file() and not path.is_symlink():
            fault = fault_of(inside.as_posix(), content_of(path))
            if fault:
                yield printable(fault, lines=False)


def _check_replaceable(place: Path) -> None:
    """Refuse to replace a path that is not this program's package, or a changed package."""
    if not place.exists() or (place.is_dir() and not any(place.iterdir())):
        return
    if not (place / DECLARATION).is_file() or not is_own(place):
        raise OutputNotWritten(
            f"{place} is not a package of this program and is not replaced, even with "
            "--overwrite; choose another -o BAG"
        )
    faults = faults_of(place)
    if faults:
        raise OutputNotWritten(
            f"{place} is not as it was packed and is not replaced, even with --overwrite: "
            f"{faults[0]}; move it away, or choose another -o BAG"
        )


def _check_documents(kept: KeptFolder) -> None:
    """Refuse to pack what `verify` would not call well, or what was damaged since it was made."""
    wrong = _wrong_drawings(kept.place, kept.panel, kept.record.provenance)
    wrong = wrong or damaged_documents(kept)
    if wrong:
        raise InputUnreadable(
            f"{kept.place / wrong[0]} is not what the record beside it gives: it was changed, is "
            f"damaged or missing; write it anew with: redraw {kept.place} "
            f"{'--mirrored' if kept.options.paper.mirrored else '--as-rubbed'}"
        )


def _drawn(panel: Panel, provenance: Mapping[str, Any], *, scale: bool) -> dict[str, bytes]:
    """Draw a pattern again, as `DRAWINGS` names it; without `scale` as before there was one."""
    options = options_of(provenance)
    if not scale:
        options = replace(options, documents=replace(options.documents, edge_scale=False))
    plan = plan_lead(panel, options.leading)
    mirrored = options.paper.mirrored
    marks = panel_marks(panel, options.documents, mirrored=mirrored, strips=plan.strips)
    drawing = sheet_drawing(marks, panel, provenance, options.documents)
    return {"pattern.svg": svg_text(drawing).encode(), "pattern.dxf": dxf_text(drawing).encode()}


def _wrong_drawings(folder: Path, panel: Panel, provenance: Mapping[str, Any]) -> list[str]:
    """Return the drawings in a folder that its record does not give; missing ones among them."""
    drawn = _drawn(panel, provenance, scale=True)
    differing = _differing(folder, drawn, provenance)
    if differing:  # of before there was a scale along the edges
        drawn = _drawn(panel, provenance, scale=False)
        before = _differing(folder, drawn, provenance)
        differing = [drawing for drawing in differing if drawing in before]
    return differing


def _differing(
    folder: Path, drawn: Mapping[str, bytes], provenance: Mapping[str, Any]
) -> list[str]:
    """Return the drawings in a folder that are not as they were drawn again."""
    return [name for name in DRAWINGS if not _agrees(folder / name, drawn[name], provenance)]


def _agrees(path: Path, drawn: bytes, provenance: Mapping[str, Any]) -> bool:
    if path.is_symlink() or not path.is_file():
        return False
    beside = content_of(path)
    if beside == drawn or _version(provenance) == __version__:
        return beside == drawn
    return DRAWINGS[path.name](beside, drawn)


def _version(provenance: Mapping[str, Any]) -> str:
    program = provenance.get("program")
    return str(program.get("version", "?")) if isinstance(program, Mapping) else "?"


def _check_names(names: Sequence[str], images: Mapping[str, Path]) -> None:
    folders: dict[str, str] = {}
    for name in names:
        folder = _folder_name(name).casefold()
        if folder in folders:
            raise UsageFault(
                f"the panels {folders[folder]!r} and {name!r} would lie in one folder of the "
                "package; give each a name of its own, or pack them apart"
            )
        folders[folder] = name
    for name in images:
        if name not in names:
            raise UsageFault(
                f"a picture is given for the panel {name[:60]!r}, but there are only "
                f"{', '.join(names)}"
            )


def _folder_name(name: str) -> str:
    """Return a name for a folder that every system takes; letters of any script are spelt out."""
    plain = _UNSAFE.sub(lambda found: f"+{ord(found[0]):x}", name).strip(" .") or "panel"
    if len(plain) <= _LONGEST_NAME:
        return plain
    digest = hashlib.sha256(name.encode()).hexdigest()[:_DIGEST_LETTERS]
    return f"{plain[: _LONGEST_NAME - _DIGEST_LETTERS - 1].rstrip(' .')}+{digest}"


def _files_of(kept: KeptFolder, image: Path | None, notes: list[str]) -> dict[str, bytes]:
    found: dict[str, bytes] = {}
    place = kept.place
    for path in sorted(place.iterdir()):
        if path.is_symlink():
            raise InputUnreadable(f"{path} is a link; put the file itself there, or take it away")
        if path.is_file() and any(fnmatchcase(path.name, own) for own in OWN_NAMES):
            found[path.name] = content_of(path)
        elif path.is_file() or path.is_dir():
            called = printable(path.name, lines=False)
            notes.append(f"{kept.panel.name}: {called} is not one of the program's own files")
    straight = None if kept.rubbing is None else kept.rubbing.grey
    if straight is None:
        notes.append(f"{kept.panel.name}: the rubbing straight on was not kept in its folder")
    source = kept.record.provenance.get("image")
    known: Mapping[str, Any] = source if isinstance(source, Mapping) else {}
    originals = {}
    if image is None:
        notes.append(f"{kept.panel.name}: the original picture ({known.get('name', 'unnamed')})")
    else:
        content = content_of(image)
        if hashlib.sha256(content).hexdigest() != known.get("sha256"):
            raise UsageFault(
                f"{image} is not the picture that {kept.panel.name} was read from: its SHA-256 sum "
                "differs from the record's"
            )
        originals[f"{ORIGINALS}/{_folder_name(image.name)}"] = content
    packing = Packing(kept.panel, straight, originals)
    return found | files_of(ARCHIVE_DOCUMENTS, packing)


def _packed(name: str, content: bytes) -> Packed:
    document = document_of((*DOCUMENTS, *ARCHIVE_DOCUMENTS), name, content)
    if document is None:
        return Packed(name, "as it lay in the folder of results")
    columns = tuple((head, plain(holds)) for head, holds in known_columns(document, content))
    return Packed(name, plain(document.purpose), document.each, columns)


def _info(about: About, names: Sequence[str]) -> dict[str, str]:
    numbered = [name for name in names if window_number(name)]
    said = {
        "Source-Organization": about.publisher,
        "Contact-Name": about.who,
        "External-Description": about.title or f"Lead layout of {', '.join(names)}",
        "External-Identifier": "; ".join(numbered or names),
        "Bagging-Date": about.packed if len(about.packed) == 10 else "",
    }
    return {label: value for label, value in said.items() if value.strip()}
