"""Lists: of rubbings for a batch, job files, and known numbers of loose pieces.

The proof of a batch counts with Python's own reader: the overview has a row for every row of the
list, and one that is done names a picture that is there. A row that fails has one of the exit codes
of a refusal.
"""

from __future__ import annotations

import csv
import json
from functools import partial
from random import Random
from typing import Any

from benchmarks.hostile.fields import as_toml, field_spoilt
from benchmarks.hostile.kinds.corrections import read_toml, senseless
from benchmarks.hostile.kinds.references import NOT_TEXT, cells_of, list_spoilt, no_text, said_by
from benchmarks.hostile.material import GLASS_DPI, Material
from benchmarks.hostile.mutate import bytes_spoilt, nasty_text
from benchmarks.hostile.trial import Kind, Results, Trial, Wanted

_LIST, _KNOWN, _JOB = "list.csv", "known.csv", "jobs/first.toml"
_PICTURE = "scan.png"
_MOST_ROWS = 300
"""Rows of a list that is tried."""


def _outcomes(results: Results) -> list[dict[str, str]]:
    path = results.desk / "out" / "results.csv"
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _row_faults(results: Results, count: int) -> str:
    rows = _outcomes(results)
    if len(rows) != count:
        return f"{len(rows)} rows in the overview, {count} in the list"
    for row in rows:
        if row["state"] != "done" and not row["reason"].strip():
            return f"row {row['row']} failed without a reason"
        if row["state"] == "done" and row["file"].rsplit("/", 1)[-1] != _PICTURE:
            return f"row {row['row']} is done, but its picture {row['file']!r} is not there"
    done = sum(row["state"] == "done" for row in rows)
    folders = len(list((results.desk / "out" / "panels").glob("*/panel.json")))
    return "" if folders == done else f"{done} rows done, but {folders} folders of results"


def _batch_proof(results: Results, content: bytes) -> str:
    rows = cells_of(content)
    if rows is None:
        return NOT_TEXT
    return _row_faults(results, len(rows) - 1)


def _batch(content: bytes, damage: str, wanted: Wanted = Wanted.EITHER) -> Trial:
    if no_text(content):
        wanted = Wanted.EITHER if cells_of(content) else Wanted.REFUSED
    return Trial(
        ("batch", _LIST, "-o", "out", "--jobs", "1", "--paper", "none", "--quiet"),
        damage,
        (_PICTURE,),
        {_LIST: content},
        names=(_LIST,),
        wanted=wanted,
        proof=partial(_batch_proof, content=content),
    )


def _batch_spoilt(material: Material, chance: Random) -> Trial:
    content = material.read(_LIST)
    if chance.random() < 0.3:
        columns = (
            "ruler",
            "marks",
            "sheet",
            "seen_from",
            "heart",
            "caliper",
            "set",
            "profile",
            "x",
        )
        column, text = chance.choice(columns), nasty_text(chance)
        rows = cells_of(content) or []
        cell = '"' + text.replace('"', '""') + '"'
        lines = [
            ",".join(rows[0]) + f",{column}",
            *(",".join(row) + f",{cell}" for row in rows[1:]),
        ]
        return _batch(
            "\n".join(lines).encode("utf-8", "surrogatepass"), f"{column} = {text[:40]!r}"
        )
    spoilt, damage = list_spoilt(content, chance)
    # Every row is a run of its own, to which the limit of time belongs.
    return _batch(b"\n".join(spoilt.split(b"\n")[:_MOST_ROWS]), damage)


def _job(content: bytes, damage: str, wanted: Wanted = Wanted.EITHER) -> Trial:
    if read_toml(content) is None:
        damage += " (not TOML)"
    return Trial(
        ("batch", "jobs", "-o", "out", "--jobs", "1", "--paper", "none", "--quiet"),
        damage,
        (_PICTURE, "jobs"),
        {_JOB: content},
        names=("first.toml", "jobs"),
        wanted=wanted,
        proof=partial(_job_proof, content=content),
    )


def _job_proof(results: Results, content: bytes) -> str:
    done = [row for row in _outcomes(results) if row["state"] == "done"]
    said = read_toml(content)
    meant = {key: item for key, item in (said or {}).items() if key != "note"}  # "nan" is a note
    if done and (said is None or senseless(as_toml(meant))):
        return "a job file that can have no meaning was done"
    return _row_faults(results, 1)


def _job_spoilt(material: Material, chance: Random) -> Trial:
    content = material.read(_JOB)
    if chance.random() < 0.4:
        return _job(*bytes_spoilt(content, chance))
    datum, damage = field_spoilt(read_toml(content), chance)
    return _job(as_toml(datum), damage)


def _known_proof(results: Results, content: bytes) -> str:
    """Prove that every number that is known was kept."""
    rows = said_by(content)
    if rows is None:
        return NOT_TEXT
    found: dict[str, Any] = json.loads((results.desk / "out" / "matches.json").read_bytes())
    numbers = {match["piece"]: match["numbers"] for match in found["pieces"]}
    for said in rows:
        name = said["piece"].strip().upper()
        if numbers.get(name) != [int(said["number"])]:
            return f"{name} is {numbers.get(name)}, but was known as {said['number']}"
    return ""


def _known(content: bytes, damage: str, wanted: Wanted = Wanted.EITHER) -> Trial:
    words = ("match", "glass.png", "--dpi", GLASS_DPI, "--results", "results", "--known", _KNOWN)
    return Trial(
        (*words, "-o", "out", "--quiet"),
        damage,
        ("glass.png", "results"),
        {_KNOWN: content},
        names=(_KNOWN,),
        wanted=Wanted.REFUSED if no_text(content) else wanted,
        proof=partial(_known_proof, content=content),
    )


KINDS = (
    Kind(
        "batch-lists",
        "the list of a collection: cells, rows, bytes, more columns, encodings",
        lambda material: _batch(material.read(_LIST), "nothing", Wanted.ACCEPTED),
        _batch_spoilt,
    ),
    Kind(
        "job-files",
        "job files of a collection, bytes and fields",
        lambda material: _job(material.read(_JOB), "nothing", Wanted.ACCEPTED),
        _job_spoilt,
    ),
    Kind(
        "known-numbers",
        "the list of known numbers of loose pieces",
        lambda material: _known(material.read(_KNOWN), "nothing", Wanted.ACCEPTED),
        lambda material, chance: _known(*list_spoilt(material.read(_KNOWN), chance)),
    ),
)
