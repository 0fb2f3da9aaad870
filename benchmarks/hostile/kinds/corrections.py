"""Corrections, and what is said about a window: files in TOML, byte by byte and field by field.

The proof reads the file with Python's own reader: what it does not read must be refused; the record
must name as many changes of each kind as the file has, the same person and date; the file must lie
beside it byte for byte.
"""

from __future__ import annotations

import json
import math
import tomllib
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from functools import partial
from random import Random
from typing import Any

from benchmarks.hostile.fields import as_toml, field_spoilt
from benchmarks.hostile.material import Material
from benchmarks.hostile.mutate import UNFIT, bytes_spoilt
from benchmarks.hostile.trial import Kind, Results, Trial, Wanted

_FILE, _ABOUT = "corrections.toml", "about.toml"
_DC = "{http://purl.org/dc/elements/1.1/}"


def read_toml(content: bytes) -> dict[str, Any] | None:
    """Return what a file says, or None when it is not TOML."""
    try:
        return tomllib.loads(content.decode("utf-8-sig"))
    except (ValueError, RecursionError):
        return None


def leaves(datum: Any) -> Iterator[Any]:
    """Give every value and every name in nested data."""
    if isinstance(datum, dict):
        for key, item in datum.items():
            yield key
            yield from leaves(item)
    elif isinstance(datum, list):
        for item in datum:
            yield from leaves(item)
    else:
        yield datum


def senseless(content: bytes) -> bool:
    """Return whether a file is not TOML, or holds a number or a text that nobody can mean."""
    datum = read_toml(content)
    if datum is None:
        return True
    return any(
        (isinstance(leaf, float) and not math.isfinite(leaf))
        or (isinstance(leaf, str) and UNFIT.search(leaf))
        for leaf in leaves(datum)
    )


def _corrected(results: Results, content: bytes) -> str:
    said = read_toml(content) or {}
    folder = results.desk / "results"
    record = json.loads((folder / "panel.json").read_text(encoding="utf-8"))
    kept = record["corrections"][-1]
    if (folder / kept["file"]).read_bytes() != content:
        return "the copy beside the record is not the file"
    if (kept["by"], kept["date"]) != (str(said["by"]).strip(), str(said["date"])):
        return f"by {kept['by']!r} on {kept['date']!r} instead of {said['by']!r}, {said['date']!r}"
    tables = {key: len(item) for key, item in said.items() if isinstance(item, list)}
    done: dict[str, int] = {}
    for change in kept["changes"]:
        done[change["table"]] = done.get(change["table"], 0) + 1
    tables = {key: count for key, count in tables.items() if count}
    return "" if done == tables else f"made {done} of {tables}"


def _correct(content: bytes, damage: str, wanted: Wanted = Wanted.EITHER) -> Trial:
    if senseless(content):
        wanted = Wanted.REFUSED
    return Trial(
        ("correct", "results", _FILE, "--quiet"),
        damage,
        ("results",),
        {_FILE: content},
        writes=("results",),
        # What the panel does not allow is named by its table and number: "set_width 3: ...".
        names=(_FILE, "nothing was changed: "),
        wanted=wanted,
        proof=partial(_corrected, content=content),
    )


def _by_bytes(material: Material, chance: Random) -> Trial:
    return _correct(*bytes_spoilt(material.read(_FILE), chance))


def _by_fields(material: Material, chance: Random) -> Trial:
    datum, damage = field_spoilt(read_toml(material.read(_FILE)), chance)
    if chance.random() < 0.2:
        datum, more = field_spoilt(datum, chance) if datum else (datum, "")
        damage += f"; {more}"
    return _correct(as_toml(datum), damage)


def _described(results: Results, content: bytes) -> str:
    """Prove that what was said stands in the package as it was said."""
    said = read_toml(content) or {}
    page = ET.parse(results.desk / "out" / "data" / "dublin-core.xml")
    stands = {text for element in page.iter() if (text := (element.text or "").strip())}
    for name in ("title", "who", "publisher", "rights", "language"):
        if name in said and " ".join(said[name].split()) not in {
            " ".join(t.split()) for t in stands
        }:
            return f"{name} is not in the package as it was said"
    return ""


def _archive(content: bytes, damage: str, wanted: Wanted = Wanted.EITHER) -> Trial:
    if senseless(content):
        wanted = Wanted.REFUSED
    return Trial(
        ("archive", "again", "--about", _ABOUT, "-o", "out", "--quiet"),
        damage,
        ("again",),
        {_ABOUT: content},
        names=(_ABOUT,),
        wanted=wanted,
        proof=partial(_described, content=content),
    )


def _about(material: Material, chance: Random) -> Trial:
    content = material.read(_ABOUT)
    if chance.random() < 0.3:
        return _archive(*bytes_spoilt(content, chance))
    datum, damage = field_spoilt(read_toml(content), chance)
    return _archive(as_toml(datum), damage)


KINDS = (
    Kind(
        "corrections-bytes",
        "a file of corrections spoilt byte by byte",
        lambda material: _correct(material.read(_FILE), "nothing", Wanted.ACCEPTED),
        _by_bytes,
    ),
    Kind(
        "corrections-fields",
        "a file of corrections with fields of another kind, size or number",
        lambda material: _correct(material.read(_FILE), "nothing", Wanted.ACCEPTED),
        _by_fields,
    ),
    Kind(
        "about",
        "what is said about a window, for the package",
        lambda material: _archive(material.read(_ABOUT), "nothing", Wanted.ACCEPTED),
        _about,
    ),
)
