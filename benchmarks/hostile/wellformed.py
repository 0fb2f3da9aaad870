"""Whether what the program wrote is whole and harmless, as readers of others find."""

from __future__ import annotations

import io
import json
import math
import xml.etree.ElementTree as ET
from collections.abc import Callable, Iterable, Mapping
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import jsonschema
from PIL import Image

from benchmarks.cases import ROOT
from benchmarks.hostile.mutate import UNFIT, shown
from tests.hostile import live_cells, live_cells_of_book

Reader = Callable[[bytes], str]
"""Says what is wrong with a file."""

SCHEMAS = {
    "panel.json": "panel.schema.json",
    "matches.json": "matches.schema.json",
    "comparison.json": "comparison.schema.json",
}
"""Records and the pages of docs/ that say what they hold (JSON Schema 2020-12)."""
_OUTLINE_MM = 0.05
"""By how much an end of a lead may lie beside its joint, and a length beside that of its path."""
_AREA_SHARE = 0.005
"""By which share of itself an area may differ from that of its outline."""


def fault_of(name: str, content: bytes) -> str:
    """Say what is wrong with a file that the program wrote; nothing when it is right."""
    # A single document may be asked for under any name.
    path = Path("a.pdf") if content.startswith(b"%PDF-") else Path(name)
    readers: list[Reader] = []
    # A stamp of a collection has the name of its panel, which may be any.
    if path.name in SCHEMAS and path.parent.name != "stamps":
        readers.append(lambda data: record_fault(path.name, data))
    elif path.suffix in _READERS:
        readers.append(_READERS[path.suffix])
    if path.suffix in _TEXTS:
        readers.append(_text)
    for reader in readers:
        try:
            fault = reader(content)
        except Exception as error:  # whatever a reader of others raises: it does not read the file
            fault = f"{type(error).__name__}: {error}"
        if fault:
            return f"{name}: {shown(fault, 300)}"
    return ""


def _text(content: bytes) -> str:
    # Separated values have the ends of lines that RFC 4180 gives them.
    found = UNFIT.search(content.decode("utf-8").replace("\r\n", "\n"))
    return f"holds U+{ord(found[0]):04X} at {found.start()}" if found else ""


def strict_json(content: bytes) -> Any:
    """Read JSON as RFC 8259 has it: no NaN, no infinities, no name twice, UTF-8."""

    def refuse(name: str) -> None:
        raise ValueError(f"{name} is no number of JSON")

    def table(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        held = dict(pairs)
        if len(held) < len(pairs):
            raise ValueError("a name is there twice")
        return held

    return json.loads(content.decode("utf-8"), parse_constant=refuse, object_pairs_hook=table)


def _json(content: bytes) -> str:
    strict_json(content)
    return ""


def _xml(content: bytes) -> str:
    ET.fromstring(content)
    return ""


def _csv(content: bytes) -> str:
    live = live_cells(content.decode("utf-8-sig"))
    return f"a spreadsheet would run {live[0]!r}" if live else ""


def _book(content: bytes) -> str:
    live = live_cells_of_book(content)
    return f"a spreadsheet would run {live[0]!r}" if live else ""


def _picture(content: bytes) -> str:
    with Image.open(io.BytesIO(content)) as picture:
        picture.load()
    return ""


def _pdf(content: bytes) -> str:
    whole = content.startswith(b"%PDF-") and content.rstrip().endswith(b"%%EOF")
    return "" if whole else "is no whole PDF"


def _dxf(content: bytes) -> str:
    return "" if content.split()[-2:] == [b"0", b"EOF"] else "is no whole DXF"


_READERS: dict[str, Reader] = {
    ".json": _json,
    ".svg": _xml,
    ".xml": _xml,
    ".csv": _csv,
    ".xlsx": _book,
    ".png": _picture,
    ".jpg": _picture,
    ".tif": _picture,
    ".pdf": _pdf,
    ".dxf": _dxf,
}
_TEXTS = (".json", ".svg", ".xml", ".csv", ".html", ".txt", ".toml")


def record_fault(name: str, content: bytes) -> str:
    """Say where a record is not JSON, is not as its schema says, or contradicts itself."""
    try:
        datum = strict_json(content)
    except (ValueError, RecursionError) as fault:
        return f"no JSON: {shown(fault)}"
    for fault in _validator(name).iter_errors(datum):
        where = ".".join(map(str, fault.absolute_path))
        return f"against its schema at {where or 'the top'}: {shown(fault.message)}"
    for number in _numbers(datum):
        if not math.isfinite(number):
            return "a number is not finite"
    return contradiction(datum) if name == "panel.json" else ""


@cache
def _validator(name: str) -> Any:
    text = (ROOT / "docs" / SCHEMAS[name]).read_text(encoding="utf-8")
    return jsonschema.Draft202012Validator(json.loads(text))


def _numbers(datum: Any) -> Iterable[float]:
    if isinstance(datum, dict):
        datum = list(datum.values())
    if isinstance(datum, list):
        for item in datum:
            yield from _numbers(item)
    elif isinstance(datum, float):
        yield datum


def contradiction(record: Mapping[str, Any]) -> str:
    """Say where a record of a panel says two things of one; lengths in mm.

    Names are there once and what they name is there; a lead begins and ends at its joints and is
    as long as its path; an area is that of its outline (the shoelace formula).
    """
    joints = {joint["id"]: joint for joint in record["joints"]}
    cames = {came["id"]: came for came in record["cames"]}
    pieces = {piece["number"]: piece for piece in record["pieces"]}
    for what, names in (("joints", joints), ("cames", cames), ("pieces", pieces)):
        if len(names) < len(record[what]):
            return f"one of the {what} is there twice"
    for came in cames.values():
        fault = _came_fault(came, joints, set(pieces))
        if fault:
            return f"{came['id']}: {fault}"
    for joint in joints.values():
        if not set(joint["cames"]) <= set(cames):
            return f"{joint['id']} names a came that is not there"
    for piece in pieces.values():
        fault = _piece_fault(piece, set(cames))
        if fault:
            return f"piece {piece['number']}: {fault}"
    return ""


def _came_fault(came: Mapping[str, Any], joints: Mapping[str, Any], pieces: set[int]) -> str:
    for end, place in (("start", came["path"][0]), ("end", came["path"][-1])):
        joint = joints.get(came[end])
        if joint is None:
            return f"its {end} is not there"
        if math.dist(place, (joint["x"], joint["y"])) > _OUTLINE_MM:
            return f"its {end} lies beside {joint['id']}"
    if not set(came["pieces"]) <= pieces:
        return "names a piece that is not there"
    if came["curve"]["kind"] == "line":
        along = math.dist(came["path"][0], came["path"][-1])
        if abs(along - came["length_mm"]) > _OUTLINE_MM:
            return f"is {came['length_mm']:g} mm long, its path {along:g} mm"
    return ""


def _piece_fault(piece: Mapping[str, Any], cames: set[str]) -> str:
    if not set(piece["cames"]) <= cames:
        return "names a came that is not there"
    for outline, holes, area in (
        ("outline", "holes", "centre_area_mm2"),
        ("cut_outline", "cut_holes", "cut_area_mm2"),
        ("sight_outline", "sight_holes", "sight_area_mm2"),
    ):
        if piece.get(outline.replace("outline", "parts")) or not piece[outline]:
            continue
        around = _area(piece[outline]) - sum(map(_area, piece[holes]))
        if abs(around - piece[area]) > max(1.0, _AREA_SHARE * around):
            return f"{area} is {piece[area]:g}, that of its {outline} {around:g}"
    return ""


def _area(ring: list[list[float]]) -> float:
    return 0.5 * abs(sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in pairwise(ring)))
