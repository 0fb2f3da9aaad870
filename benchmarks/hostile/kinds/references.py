"""References: marks, targets, callipers, and what is said of the scale on the command line.

The proof reads the list with Python's own reader: the record must hold what the list says, number
by number, and a panel of another size than the whole list gives needs a finding that says so.
"""

from __future__ import annotations

import csv
import io
import json
import re
from functools import partial
from random import Random
from typing import Any

from benchmarks.hostile.fields import as_csv, cell_spoilt
from benchmarks.hostile.material import DPI, Material
from benchmarks.hostile.mutate import UNFIT, bytes_spoilt, nasty_text, shown
from benchmarks.hostile.trial import Kind, Proof, Results, Trial, Wanted, nothing_more

NOT_TEXT = "the list is not text, but was read"
SAME_SIZE = 0.02
"""Share by which a panel may differ in size from the whole one without a word."""
_DPI_RANGE = (10.0, 20000.0)
"""Resolutions that the command's page gives."""
_LENGTH = re.compile(r"\s*([0-9.]+)\s*(mm|cm|m|in|inch|inches|\")?\s*")
_MM = {None: 1.0, "mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "inch": 25.4, "inches": 25.4}


def cells_of(content: bytes, separator: str = ",") -> list[list[str]] | None:
    """Return the rows of a list that say something, or None when it is not text."""
    try:
        text = content.decode("utf-8-sig")
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True))
    except (UnicodeDecodeError, csv.Error):
        return None
    return [row for row in rows if any(c.strip() for c in row) and row[0].strip()[:1] != "#"]


def list_spoilt(content: bytes, chance: Random) -> tuple[bytes, str]:
    """Return a list with a cell, some bytes, the separator or the encoding spoilt."""
    rows = cells_of(content) or []
    match chance.choice(("cell",) * 6 + ("bytes", "bytes", "separator", "encoding")):
        case "cell":
            spoilt, damage = cell_spoilt(rows, chance)
            return as_csv(spoilt), damage
        case "separator":
            separator = chance.choice((";", "\t", "|", ", "))
            return content.replace(b",", separator.encode()), f"separated by {separator!r}"
        case "encoding":
            code = chance.choice(("utf-16", "utf-16-le", "utf-32", "utf-7", "cp037"))
            return content.decode().encode(code), f"as {code}"
    return bytes_spoilt(content, chance)


def no_text(content: bytes) -> bool:
    """Return whether a list holds what no text may hold, or is none."""
    rows = cells_of(content)
    return rows is None or any(UNFIT.search(cell) for row in rows for cell in row)


def said_by(content: bytes) -> list[dict[str, str]] | None:
    """Return the rows of a list by the heads of its columns, or None when it is not text."""
    rows = cells_of(content)
    if rows is None or no_text(content):
        return None
    heads = [head.strip().lower() for head in rows[0]]
    return [dict(zip(heads, row, strict=False)) for row in rows[1:]]


def record_of(results: Results, folder: str = "out") -> dict[str, Any]:
    """Return the record that the run wrote."""
    text = (results.desk / folder / "panel.json").read_text(encoding="utf-8")
    record: dict[str, Any] = json.loads(text)
    return record


def _same_size(record: dict[str, Any], results: Results) -> str:
    """Prove that the panel has its size, or that a finding tells of the scale."""
    doubts = {finding["code"] for finding in record["findings"]}
    if doubts & {"reference-residual", "scale-uncertain", "sheet-not-flat"}:
        return ""
    whole = json.loads(results.material.read("results/panel.json"))["panel"]
    for side in ("width_mm", "height_mm"):
        if abs(record["panel"][side] / whole[side] - 1.0) > SAME_SIZE:
            return (
                f"{side} is {record['panel'][side]} instead of {whole[side]}, and nothing says so"
            )
    return ""


def _marks_proof(results: Results, content: bytes) -> str:
    record = record_of(results)
    said = said_by(content)
    if said is None:
        return NOT_TEXT
    expected = [
        ([float(row["pixel_x"]), float(row["pixel_y"])], [float(row["x_mm"]), float(row["y_mm"])])
        for row in said
    ]
    kept = record["provenance"]["reference"]["marks"]
    if [(mark["pixel"], mark["at_mm"]) for mark in kept] != expected:
        return "the record holds other marks than the list"
    return _same_size(record, results)


def _targets_proof(results: Results, content: bytes) -> str:
    record = record_of(results)
    said = said_by(content)
    if said is None:
        return NOT_TEXT
    expected = [(int(row["id"]), float(row["x_mm"]), float(row["y_mm"])) for row in said]
    kept = record["provenance"]["reference"]["positions"]
    if [(target["id"], target["x_mm"], target["y_mm"]) for target in kept] != expected:
        return "the record holds other targets than the list"
    return _same_size(record, results)


def _calipers_proof(results: Results, content: bytes) -> str:
    rows = cells_of(content)
    if rows is None or no_text(content):
        return NOT_TEXT
    widths = {came["face_width_mm"] for came in record_of(results)["cames"]}
    for row in rows[1:]:
        length = _mm(row[-1])
        if length is not None and not any(abs(w - length) < 0.15 for w in widths):
            return f"no lead has the width {row[-1]!r}"
    return ""


def _mm(text: str) -> float | None:
    found = _LENGTH.fullmatch(text.casefold())
    try:
        return float(found[1]) * _MM[found[2]] if found else None
    except (ValueError, KeyError):
        return None


_PROOFS = {"marks": _marks_proof, "targets": _targets_proof, "caliper": _calipers_proof}
_FILES = {"marks": "marks.csv", "targets": "targets.csv", "caliper": "calipers.csv"}


def _trial(option: str, content: bytes, damage: str, wanted: Wanted = Wanted.EITHER) -> Trial:
    picture = "targets.png" if option == "targets" else "scan.png"
    name = _FILES[option]
    dpi = ("--dpi", DPI) if option == "caliper" else ()
    words = ("trace", picture, *dpi, f"--{option}", name, "-o", "out", "--paper", "none", "--quiet")
    proof: Proof = partial(_PROOFS[option], content=content)
    if no_text(content):
        wanted = Wanted.REFUSED
    # A scale that cannot be found names the reference, not its file.
    about = (name, option, "mark", "target", "scale", "picture", "lead")
    return Trial(
        words, damage, (picture,), {name: content}, proof=proof, names=about, wanted=wanted
    )


def _whole(option: str, material: Material) -> Trial:
    return _trial(option, material.read(_FILES[option]), "nothing", Wanted.ACCEPTED)


def _spoilt(option: str, material: Material, chance: Random) -> Trial:
    content, damage = list_spoilt(material.read(_FILES[option]), chance)
    return _trial(option, content, damage)


_SCALES = {"--dpi": DPI, "--ruler": "48,447 368,447 80mm", "--sheet": "104x124mm"}


def _scale_proof(results: Results, option: str, text: str) -> str:
    """Prove that the scale in the record is what the text says."""
    scale = record_of(results)["scale"]["px_per_mm"]
    if option == "--dpi":
        dpi = float(text)
        right = _DPI_RANGE[0] <= dpi <= _DPI_RANGE[1] and "_" not in text
        said = dpi / 25.4
    else:
        first, second, length = text.split(maxsplit=2)
        (x, y), (u, v) = ([float(n) for n in p.split(",")] for p in (first, second))
        length_mm = _mm(length)
        if length_mm is None:
            return f"{length!r} was taken for a length"
        right, said = length_mm > 0, ((x - u) ** 2 + (y - v) ** 2) ** 0.5 / length_mm
    if not right or abs(scale / said - 1.0) > 1e-4:
        return f"{option} {text!r} became {scale} pixels for a millimetre"
    return ""


def _scale(option: str, text: str, wanted: Wanted = Wanted.EITHER) -> Trial:
    words = ("trace", "scan.png", f"{option}={text}", "-o", "out", "--paper", "none", "--quiet")
    proof: Proof = nothing_more
    if option != "--sheet":
        proof = partial(_scale_proof, option=option, text=text)
    about = (option, "scale", "picture", "resolution", "sheet", "lead", "pixel", "length")
    damage = f"{option} {shown(text)}"
    return Trial(words, damage, ("scan.png",), names=about, proof=proof, wanted=wanted)


def _scale_spoilt(material: Material, chance: Random) -> Trial:
    option = chance.choice(list(_SCALES))
    text = _SCALES[option]
    if chance.random() < 0.5:
        numbers = re.findall(r"[0-9.]+", text)
        old = chance.choice(numbers)
        new = chance.choice(
            (
                "0",
                "-1",
                "1e9",
                "1e-9",
                "0.00001",
                "nan",
                "inf",
                "1e400",
                "9" * 5000,
                "",
                "12,5",
                "7",
            )
        )
        text = text.replace(old, new, 1)
    else:
        text = nasty_text(chance, text).replace("\0", "")
    return _scale(option, text)


KINDS = (
    *(
        Kind(
            what,
            f"the list of {what}: cells, rows, bytes, separators, encodings",
            partial(_whole, option),
            partial(_spoilt, option),
        )
        for what, option in (("marks", "marks"), ("targets", "targets"), ("calipers", "caliper"))
    ),
    Kind(
        "scales",
        "--dpi, --ruler and --sheet: other texts, absurd numbers",
        lambda material: _scale("--dpi", DPI, Wanted.ACCEPTED),
        _scale_spoilt,
    ),
)
