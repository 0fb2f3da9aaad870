"""Records: of panels and of matches, spoilt byte by byte and field by field.

A record is not signed: another number in it makes another record. So the proof asks whether what
was accepted can be the record of any panel: JSON as RFC 8259 has it, as its schema says, all
numbers finite, every name there once and what it names too, lengths and areas as its own lines
have them.
"""

from __future__ import annotations

import json
from functools import partial
from random import Random

from benchmarks.hostile.fields import as_json, field_spoilt
from benchmarks.hostile.material import Material
from benchmarks.hostile.mutate import bytes_spoilt
from benchmarks.hostile.trial import Kind, Results, Trial, Wanted
from benchmarks.hostile.wellformed import record_fault

_RECORD, _MATCHES = "again/panel.json", "matches/matches.json"
_SETTLED = "corrections.toml"
_CHANGE = b'by = "A. Glazier"\ndate = 2026-11-26\n[[set_width]]\ncame = "C1"\nwidth_mm = 7\n'

COMMANDS: dict[str, tuple[str, ...]] = {
    "redraw": ("redraw", "again", "--mirrored"),
    "correct": ("correct", "again", _SETTLED),
    "lists": ("lists", "again", "--pieces", "again/pieces.xlsx"),
    "archive": ("archive", "again", "-o", "out"),
    "compare": ("compare", "again", "results", "-o", "out"),
    "compare to": ("compare", "results", "again", "-o", "out"),
}
"""Commands that read a record of a panel."""


def _possible(results: Results, content: bytes, name: str) -> str:
    fault = record_fault(name, content)
    return f"accepted a record that cannot be: {fault}" if fault else ""


def _panel(content: bytes, damage: str, command: str, wanted: Wanted = Wanted.EITHER) -> Trial:
    return Trial(
        (*COMMANDS[command], "--quiet"),
        damage,
        ("again", "results"),
        {_RECORD: content, _SETTLED: _CHANGE},
        writes=("out",) if "-o" in COMMANDS[command] else ("again",),
        # A record may be possible and its pattern too large for any page.
        names=("panel.json", "again", "the record's", "the pattern needs a page"),
        wanted=wanted,
        proof=partial(_possible, content=content, name="panel.json"),
    )


def _panel_bytes(material: Material, chance: Random) -> Trial:
    content, damage = bytes_spoilt(material.read(_RECORD), chance)
    return _panel(content, damage, chance.choice(list(COMMANDS)))


def _panel_fields(material: Material, chance: Random) -> Trial:
    datum, damage = field_spoilt(json.loads(material.read(_RECORD)), chance)
    return _panel(as_json(datum), damage, chance.choice(list(COMMANDS)))


def _matches(content: bytes, damage: str, wanted: Wanted = Wanted.EITHER) -> Trial:
    return Trial(
        ("lists", "results", "--matches", "matches", "--quiet"),
        damage,
        ("results", "matches"),
        {_MATCHES: content},
        writes=("results",),
        names=("matches",),
        wanted=wanted,
        proof=partial(_possible, content=content, name="matches.json"),
    )


def _matches_spoilt(material: Material, chance: Random) -> Trial:
    content = material.read(_MATCHES)
    if chance.random() < 0.4:
        return _matches(*bytes_spoilt(content, chance))
    datum, damage = field_spoilt(json.loads(content), chance)
    return _matches(as_json(datum), damage)


KINDS = (
    Kind(
        "records-bytes",
        "the record of a panel spoilt byte by byte, for redraw, correct, lists, archive, compare",
        lambda material: _panel(material.read(_RECORD), "nothing", "redraw", Wanted.ACCEPTED),
        _panel_bytes,
    ),
    Kind(
        "records-fields",
        "the record of a panel with fields of another kind, size or number",
        lambda material: _panel(material.read(_RECORD), "nothing", "compare", Wanted.ACCEPTED),
        _panel_fields,
    ),
    Kind(
        "matches",
        "the record of matches, bytes and fields, for lists",
        lambda material: _matches(material.read(_MATCHES), "nothing", Wanted.ACCEPTED),
        _matches_spoilt,
    ),
)
