"""Packages for keeping, and the folders of results from which they are packed.

The proof of `verify`: what it calls well holds every file of the payload byte for byte; or its
manifests were written anew, and then every record, drawing and page of it can be read by readers of
others. The proof of `archive`: `verify`, and the library of the Library of Congress for bags, call
well what it packed.
"""

from __future__ import annotations

import hashlib
import logging
import os
import shutil
from collections.abc import Callable
from functools import cache, partial
from pathlib import Path
from random import Random

import bagit

from benchmarks.hostile import child
from benchmarks.hostile.material import Material
from benchmarks.hostile.mutate import bytes_spoilt, nasty_text, shown
from benchmarks.hostile.trial import Kind, Results, Trial, Wanted, nothing_more
from benchmarks.hostile.wellformed import fault_of

logging.getLogger("bagit").setLevel(logging.CRITICAL)

_BAG, _FOLDER = "package", "again"
_TAGS = ("bagit.txt", "bag-info.txt", "manifest-sha512.txt", "tagmanifest-sha512.txt")


@cache
def _files(material: Material, folder: str) -> tuple[str, ...]:
    top = material.folder / folder
    return tuple(sorted(str(p.relative_to(top)) for p in top.rglob("*") if p.is_file()))


def _untouched(results: Results) -> str:
    """Prove that the payload of a package that is called well is as it was packed."""
    for name in _files(results.material, _BAG):
        path = results.desk / _BAG / name
        # The last manifest is in no manifest: what else is the same has been compared with it.
        if name != _TAGS[-1] and (
            not path.is_file() or path.read_bytes() != results.material.read(f"{_BAG}/{name}")
        ):
            return f"{name} differs, but the package is called well"
    found = sum(len(names) for _, _, names in os.walk(results.desk / _BAG))
    return "" if found == len(_files(results.material, _BAG)) else "a file was put in"


def _readable(results: Results) -> str:
    """Prove that what the program knows in a package signed anew can be read."""
    data = results.desk / _BAG / "data"
    for path in sorted(data.rglob("*")):
        if path.suffix in (".json", ".svg", ".xml") and path.is_file():
            fault = fault_of(path.name, path.read_bytes())
            if fault:
                return f"called well: {fault}"
    return ""


def _verify(damage: str, **more: object) -> Trial:
    return Trial(("verify", _BAG, "--quiet"), damage, (_BAG,), writes=(), names=(_BAG,), **more)  # type: ignore[arg-type]


def _payload(material: Material, chance: Random) -> Trial:
    name = chance.choice(_files(material, _BAG))
    content, damage = bytes_spoilt(material.read(f"{_BAG}/{name}"), chance)
    return _verify(f"{name}: {damage}", files={f"{_BAG}/{name}": content}, proof=_untouched)


def _tags(material: Material, chance: Random) -> Trial:
    """Spoil a line of a tag file, and at times sign the tag files anew."""
    name = chance.choice(_TAGS)
    lines = material.read(f"{_BAG}/{name}").decode().splitlines()
    k = chance.randrange(len(lines))
    what = chance.choice(("gone", "twice", "text", "path", "upper", "spaces", "no end"))
    match what:
        case "gone":
            del lines[k]
        case "twice":
            lines.append(lines[k])
        case "text":
            lines[k] = nasty_text(chance, lines[k])
        case "path":
            start = lines[k].split(" ")[0]
            up = ("../notes.txt", "/etc/hostname", "data/../../notes.txt", "data/%2e%2e/x", "~/x")
            lines[k] = f"{start}  {chance.choice(up)}"
        case "upper":
            lines[k] = lines[k].upper()
        case "spaces":
            lines[k] = "  ".join(f" {lines[k]} ".split(" "))
    text = "\n".join(lines) + ("" if what == "no end" else "\n")
    spoilt = text.encode("utf-8", "surrogatepass")
    files: dict[str, bytes | None] = {f"{_BAG}/{name}": spoilt}
    if chance.random() < 0.5 and name != _TAGS[-1]:
        files[f"{_BAG}/{_TAGS[-1]}"] = _tag_sums(material, {name: spoilt})
        return _verify(f"{name}, line {k + 1}: {what}, signed anew", files=files, proof=_bag_is_one)
    return _verify(f"{name}, line {k + 1}: {what}", files=files, proof=_untouched)


def _tag_sums(material: Material, spoilt: dict[str, bytes]) -> bytes:
    parts = {name: spoilt.get(name) or material.read(f"{_BAG}/{name}") for name in _TAGS[:-1]}
    return "".join(f"{hashlib.sha512(d).hexdigest()}  {n}\n" for n, d in parts.items()).encode()


def _bag_is_one(results: Results) -> str:
    """Prove by another reader of bags that what is called well is a bag with its payload whole."""
    try:
        bagit.Bag(str(results.desk / _BAG)).validate()
    except Exception as fault:  # whatever it raises: it does not take the bag
        return f"called well, but another reader says {type(fault).__name__}: {shown(str(fault))}"
    for name in _files(results.material, _BAG):
        if name.startswith("data/"):
            path = results.desk / _BAG / name
            if path.read_bytes() != results.material.read(f"{_BAG}/{name}"):
                return f"{name} differs, but the package is called well"
    return ""


def _signed(material: Material, chance: Random) -> Trial:
    """Spoil a file of the payload and write all manifests anew, as a forger would."""
    names = [n for n in _files(material, _BAG) if n.startswith("data/")]
    known = [n for n in names if n.endswith((".json", ".svg", ".xml", ".dxf", ".toml"))]
    name = chance.choice(known if chance.random() < 0.7 else names)
    content, damage = bytes_spoilt(material.read(f"{_BAG}/{name}"), chance)
    held = {n: material.read(f"{_BAG}/{n}") for n in names} | {name: content}
    manifest = "".join(f"{hashlib.sha512(d).hexdigest()}  {n}\n" for n, d in held.items()).encode()
    info = material.read(f"{_BAG}/bag-info.txt").decode()
    old = next(line for line in info.splitlines() if line.startswith("Payload-Oxum"))
    oxum = f"Payload-Oxum: {sum(map(len, held.values()))}.{len(held)}"
    info_bytes = info.replace(old, oxum).encode()
    spoilt = {"manifest-sha512.txt": manifest, "bag-info.txt": info_bytes}
    tags = {f"{_BAG}/{n}": d for n, d in spoilt.items()}
    last = {f"{_BAG}/{_TAGS[-1]}": _tag_sums(material, spoilt)}
    files = {f"{_BAG}/{name}": content} | tags | last
    return _verify(f"{name}: {damage}, signed anew", files=files, proof=_readable)


def _tree(
    folder: str, chance: Random, names: tuple[str, ...]
) -> tuple[Callable[[Path], None], str]:
    """Return what puts, takes away or links something in a folder, and what that is."""
    name = chance.choice(names)
    what = chance.choice(
        ("gone", "renamed", "folder", "link", "link to a folder", "loop", "more", "empty", "top")
    )
    strange = nasty_text(chance).replace("\0", "").replace("/", "")[:80].strip(".") or "strange"

    def prepare(desk: Path) -> None:
        path = desk / folder / name
        match what:
            case "gone":
                path.unlink()
            case "renamed":
                path.rename(path.with_name(strange))
            case "folder":
                path.unlink()
                path.mkdir()
            case "link":
                path.rename(desk / "elsewhere")
                path.symlink_to(desk / "elsewhere")
            case "link to a folder":
                (desk / folder / "more").symlink_to(desk)
            case "loop":
                (desk / folder / "loop").symlink_to("loop")
            case "more":
                (path.parent / strange).write_bytes(b"more\n")
            case "empty":
                (desk / folder / "data" / "empty").mkdir(parents=True)
            case _:
                shutil.rmtree(desk / folder)
                (desk / folder).write_text("no folder\n", encoding="utf-8")

    return prepare, f"{folder}/{name}: {what} ({shown(strange)})"


def _entries(material: Material, chance: Random) -> Trial:
    prepare, damage = _tree(_BAG, chance, _files(material, _BAG))
    # RFC 8493 speaks of files alone: an empty folder is allowed.
    harmless = ": empty (" in damage
    return _verify(damage, prepare=prepare, proof=nothing_more if harmless else _untouched)


def _packed(results: Results) -> str:
    """Prove that a package that was just made is one."""
    ended = child.run(("verify", "out"), results.desk.parent)
    if ended.code != 0:
        return f"verify refuses what archive packed: {ended.said[:200]}"
    bagit.Bag(str(results.desk / "out")).validate()
    return ""


def _archive(damage: str, **more: object) -> Trial:
    words = ("archive", _FOLDER, "-o", "out", "--quiet")
    return Trial(words, damage, (_FOLDER,), proof=_packed, names=(_FOLDER,), **more)  # type: ignore[arg-type]


def _folder(material: Material, chance: Random) -> Trial:
    names = _files(material, _FOLDER)
    if chance.random() < 0.4:
        prepare, damage = _tree(_FOLDER, chance, names)
        return _archive(damage, prepare=prepare)
    name = chance.choice(names)
    content, damage = bytes_spoilt(material.read(f"{_FOLDER}/{name}"), chance)
    return _archive(f"{name}: {damage}", files={f"{_FOLDER}/{name}": content})


_whole = partial(_verify, "nothing", wanted=Wanted.ACCEPTED)

KINDS = (
    Kind(
        "package-bytes",
        "any file of a package spoilt byte by byte, for verify",
        lambda material: _whole(),
        _payload,
    ),
    Kind(
        "package-tags",
        "lines of manifests and tag files: missing, twice, other paths, other texts; signed anew",
        lambda material: _whole(),
        _tags,
    ),
    Kind(
        "package-signed",
        "a file of the payload spoilt and all manifests written anew",
        lambda material: _whole(),
        _signed,
    ),
    Kind(
        "package-entries",
        "files of a package taken away, put in, renamed, linked",
        lambda material: _whole(),
        _entries,
    ),
    Kind(
        "archived-folders",
        "a folder of results with a file spoilt, taken away, put in or linked, for archive",
        lambda material: _archive("nothing", wanted=Wanted.ACCEPTED),
        _folder,
    ),
)
