"""Bags by RFC 8493 (BagIt 1.0): written with SHA-512, and checked byte for byte.

The check is our own, so that it trusts nothing in a bag: every name in a manifest must lie inside,
links are refused, and files of any size are read in pieces.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator, Mapping
from pathlib import Path, PurePosixPath

from rubbing2pattern.errors import InputUnreadable
from rubbing2pattern.inputs.files import content_of, plain_file
from rubbing2pattern.output import write_files
from rubbing2pattern.texts import printable

DECLARATION = "bagit.txt"
INFO = "bag-info.txt"
MANIFEST = "manifest-sha512.txt"
TAG_MANIFEST = "tagmanifest-sha512.txt"
PAYLOAD = "data"
_OXUM = "Payload-Oxum"
"""Label of the size of the payload: octets and number of files."""
AGENT_LABEL, AGENT = "Bag-Software-Agent", "rubbing2pattern"

_DECLARED = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
_CHUNK = 1 << 20
"""Bytes that are read at a time for a sum, one megabyte."""
_LONGEST_LIST = 64_000_000
"""Bytes of a list of sums at most, 64 megabytes: a damaged one must not fill the memory."""
_ALGORITHMS = ("sha512", "sha256")


def write_bag(
    folder: Path, files: Mapping[str, bytes], info: Mapping[str, str], place: Path | None = None
) -> None:
    """Write a bag into an empty folder.

    Parameters
    ----------
    folder : where the bag is to be.
    files : content by path under ``data/``, with / between the parts.
    info : labels and values of ``bag-info.txt``, in order; the size of the payload is added.
    place : where a fault says that the bag lies, if not in `folder`.

    Raises
    ------
    OutputNotWritten
        A name leads out of the bag, or the disk refuses a file.
    """
    place = folder if place is None else place
    sums = {}
    for name in sorted(files):
        sums[f"{PAYLOAD}/{name}"] = hashlib.sha512(files[name]).hexdigest()
    size = sum(len(content) for content in files.values())
    labels = {**info, AGENT_LABEL: AGENT, _OXUM: f"{size}.{len(files)}"}
    tags = {
        DECLARATION: _DECLARED,
        INFO: "".join(f"{label}: {_one_line(value)}\n" for label, value in labels.items()),
        MANIFEST: _manifest(sums),
    }
    encoded = {name: text.encode() for name, text in tags.items()}
    encoded[TAG_MANIFEST] = _manifest(
        {name: hashlib.sha512(content).hexdigest() for name, content in sorted(encoded.items())}
    ).encode()
    write_files({f"{PAYLOAD}/{name}": files[name] for name in sorted(files)}, folder, place)
    write_files(encoded, folder, place)


def faults_of(folder: Path) -> list[str]:
    """Return the faults of a bag, each in one sentence; nothing when it is whole.

    Rules (RFC 8493, section 3):

    1. it declares version 1.0 and UTF-8, has a manifest of its payload, and one of its tag files;
    2. every file named lies inside the bag, is there, is not a link, and has the stated checksum;
    3. every file of the payload is named in every manifest of the payload; every tag file, except
       the manifests of tag files themselves, in one of those;
    4. ``bag-info.txt`` is lines of a label, a colon and a value, or lines that go on with spaces;
       the size and number of files agree with its ``Payload-Oxum``;
    5. a bag of this program has its manifests letter for letter as it writes them, for in a sum
       upper and lower case mean the same, and a changed letter would not be seen otherwise.

    Raises
    ------
    InputUnreadable
        There is no bag, or it cannot be read.
    """
    if not (folder / DECLARATION).is_file():
        raise InputUnreadable(f"{folder} is not a bag: {DECLARATION} is missing (RFC 8493)")
    try:
        faults = _declaration_faults(folder)
        there = dict(_files(folder, faults))
        manifests = _named(there, "manifest-")
        tags = _named(there, "tagmanifest-")
        for kind, found in (("manifest-sha512.txt", manifests), ("tagmanifest-sha512.txt", tags)):
            if not found:
                faults.append(f"there is no {kind}, so nothing can be checked by it")
        payload = {name for name in there if name.startswith(f"{PAYLOAD}/")}
        for name in manifests:
            faults += _manifest_faults(folder, name, there, payload)
        for name in tags:
            wanted = {n for n in there if n not in payload and n not in tags}
            faults += _manifest_faults(folder, name, there, wanted)
        faults += _info_faults(folder, payload)
    except OSError as fault:
        raise InputUnreadable(f"cannot read {folder}: {fault.strerror or fault}") from fault
    return [printable(fault, lines=False) for fault in faults]


def _declaration_faults(folder: Path) -> list[str]:
    text = _text(folder / DECLARATION)
    return [] if text == _DECLARED else [f"{DECLARATION} does not declare BagIt 1.0 in UTF-8"]


def _files(folder: Path, faults: list[str]) -> Iterator[tuple[str, Path]]:
    """Give every plain file of the bag by its path; links and other things are faults."""
    for root, folders, names in os.walk(folder, followlinks=False):
        folders.sort()
        for name in sorted([*names, *folders]):
            path = Path(root, name)
            inside = path.relative_to(folder).as_posix()
            if path.is_symlink():
                faults.append(f"{inside} is a link; a bag holds plain files")
            elif path.is_file():
                yield inside, path
            elif not path.is_dir():
                faults.append(f"{inside} is not a plain file")


def _named(there: Mapping[str, Path], start: str) -> list[str]:
    known = {f"{start}{algorithm}.txt" for algorithm in _ALGORITHMS}
    return sorted(name for name in there if name in known)


def _manifest_faults(
    folder: Path, manifest: str, there: Mapping[str, Path], wanted: set[str]
) -> list[str]:
    faults, listed = [], {}
    algorithm = manifest.rsplit("-", 1)[1].removesuffix(".txt")
    for number, line in enumerate(_text(folder / manifest).splitlines(), start=1):
        total, _, name = line.partition(" ")
        name = _decoded(name.lstrip(" *"))
        parts = PurePosixPath(name).parts
        if not name or name.startswith(("/", "~")) or ".." in parts or "\\" in name:
            faults.append(f"{manifest}, line {number}: {line[:80]!r} names no file inside the bag")
            continue
        if name in listed:
            faults.append(f"{manifest}, line {number}: {name} is named twice")
        listed[name] = total.lower()
    sums = {name: _sum(there[name], algorithm) for name in listed if name in there}
    for name, total in listed.items():
        if name not in sums:
            faults.append(f"{name} is missing")
        elif sums[name] != total:
            faults.append(f"{name} was changed: its {algorithm} checksum differs")
    if not faults and is_own(folder) and _manifest(sums) != _text(folder / manifest):
        faults.append(f"{manifest} was changed: its text differs from what this program writes")
    faults += [f"{name} is not named in {manifest}" for name in sorted(wanted - set(listed))]
    return faults


def is_own(folder: Path) -> bool:
    """Return whether a bag says that this program made it."""
    path = folder / INFO
    return path.is_file() and (AGENT_LABEL.lower(), AGENT) in _labels(_text(path))


def _info_faults(folder: Path, payload: set[str]) -> list[str]:
    path = folder / INFO
    if not path.is_file():
        return []
    text = _text(path)
    faults = [
        f"{INFO}, line {k}: no label with a colon"
        for k, line in enumerate(text.splitlines(), start=1)
        if line.strip() and ":" not in line and (k == 1 or line[0] not in " \t")
    ]
    stated = {value for label, value in _labels(text) if label == _OXUM.lower()}
    size = sum((folder / name).stat().st_size for name in payload)
    found = f"{size}.{len(payload)}"
    if stated and stated != {found}:
        faults.append(f"the payload is {found}, not as {_OXUM} says")
    return faults


def _labels(text: str) -> list[tuple[str, str]]:
    """Return labels and values of ``bag-info.txt``; case of a label has no meaning (RFC 8493)."""
    parts = (line.partition(":") for line in text.splitlines())
    return [(label.strip().lower(), value.strip()) for label, sign, value in parts if sign]


def _manifest(sums: Mapping[str, str]) -> str:
    return "".join(f"{total}  {_encoded(name)}\n" for name, total in sums.items())


def _encoded(name: str) -> str:
    """Write a name so that it keeps to its line (RFC 8493, section 2.1.3)."""
    return name.replace("%", "%25").replace("\r", "%0D").replace("\n", "%0A")


def _decoded(name: str) -> str:
    for code, letter in (("%0D", "\r"), ("%0d", "\r"), ("%0A", "\n"), ("%0a", "\n"), ("%25", "%")):
        name = name.replace(code, letter)
    return name


def _one_line(value: str) -> str:
    return " ".join(value.split())


def _text(path: Path) -> str:
    try:
        return content_of(path, _LONGEST_LIST, "a list of a bag").decode("utf-8")
    except UnicodeDecodeError:
        return ""


def _sum(path: Path, algorithm: str) -> str:
    found = hashlib.new(algorithm)
    with plain_file(path) as file:
        while chunk := file.read(_CHUNK):
            found.update(chunk)
    return found.hexdigest()
