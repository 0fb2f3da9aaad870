"""The filled-in sheet of pieces: cells of a workbook, its parts and bytes, and separated values.

The proof reads the sheet with openpyxl and `csv`: what was typed about a piece must stand beside
its number in the list that the run writes.
"""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Mapping
from datetime import date
from functools import cache, partial
from random import Random
from typing import Any

from openpyxl import load_workbook
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

from benchmarks.hostile.fields import NUMBERS, as_csv, cell_spoilt
from benchmarks.hostile.kinds.references import cells_of
from benchmarks.hostile.material import Material
from benchmarks.hostile.mutate import bytes_spoilt, nasty_text, shown
from benchmarks.hostile.trial import Kind, Results, Trial, Wanted

TYPED = ("state", "action", "glass", "thickness_mm", "grain_deg", "decoration", "remark")
"""The columns that people fill in, by their headings."""
_ENTRIES = {
    1: ("whole", "keep", "", "", "", "plain", "a note"),
    2: ("missing", "replace", "ruby", "3", "90", "painted", "with a face"),
    3: ("broken", "replace", "green", "1/8 in", "", "painted + silver stain", ""),
    4: ("cracked", "edge-bond", "", "3 mm", "0", "", "=1+1"),
}
_FOLDER = "results"

Typed = Mapping[int, tuple[str, ...]]


@cache
def _book(material: Material) -> bytes:
    """Return the sheet of the results, filled in."""
    book: Any = load_workbook(io.BytesIO(material.read("results/pieces.xlsx")))
    sheet = book["pieces"]
    columns = {str(cell.value).replace(" ", "_"): cell.column for cell in sheet[1]}
    rows = {sheet.cell(k, columns["number"]).value: k for k in range(2, sheet.max_row + 1)}
    for number, entry in _ENTRIES.items():
        for name, text in zip(TYPED, entry, strict=True):
            cell = sheet.cell(rows[number], columns[name])
            cell.value = text or None
            if text:
                cell.data_type = "s"
    return _saved(book)


def _saved(book: Any) -> bytes:
    held = io.BytesIO()
    book.save(held)
    return held.getvalue()


@cache
def _list(material: Material) -> bytes:
    """Return the list of the results, filled in."""
    rows = cells_of(material.read("results/pieces.csv")) or []
    places = [rows[0].index(name) for name in TYPED]
    for row in rows[1:]:
        for at, text in zip(places, _ENTRIES[int(row[0])], strict=True):
            row[at] = f"'{text}" if text.startswith("=") else text
    return as_csv(rows)


def _plain(text: object) -> str:
    """Return what a cell says, without what makes no difference in it."""
    said = "" if text is None else str(text)
    words = " ".join(said.lstrip("'").casefold().replace("-", " ").split())
    number = words.removesuffix("mm").strip()
    try:
        return f"{float(number):g}"
    except ValueError:
        return words


def _typed(rows: list[list[Any]]) -> dict[int, dict[str, str]]:
    heads = [_plain(head).replace(" ", "_") for head in rows[0]]
    found = {}
    for row in rows[1:]:
        said = dict(zip(heads, row, strict=False))
        if str(said.get("number") or "").strip():
            number = int(float(said["number"]))
            found[number] = {n: _plain(said[n]) for n in TYPED if n in said and _plain(said[n])}
    return found


def _kept(results: Results, content: bytes) -> str:
    """Prove that all that was typed stands in the list that was written."""
    try:
        if content.startswith(b"PK"):
            book: Any = load_workbook(io.BytesIO(content))
            sheet = next(s for s in book.worksheets if s.title.strip().casefold() == "pieces")
            rows = [list(row) for row in sheet.iter_rows(values_only=True)]
        else:
            text = content.decode("utf-8-sig")
            separator = max(",;\t", key=text.split("\n")[0].count)
            rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator))
        said = _typed([row for row in rows if any(cell not in (None, "") for cell in row)])
    except Exception as fault:  # whatever a reader of others raises: it does not read the sheet
        return f"a sheet was read that others do not read: {type(fault).__name__}: {fault}"
    folder = results.desk / _FOLDER
    written = _typed(cells_of((folder / "pieces.csv").read_bytes()) or [[]])
    for number, entry in said.items():
        for name, text in entry.items():
            if written.get(number, {}).get(name) != text:
                return f"piece {number}, {name}: typed {shown(text)}, kept {written.get(number)}"
    return ""


def _lists(name: str, content: bytes, damage: str, wanted: Wanted = Wanted.EITHER) -> Trial:
    return Trial(
        ("lists", _FOLDER, "--pieces", name, "--quiet"),
        damage,
        (_FOLDER,),
        {name: content},
        writes=(_FOLDER,),
        names=(name,),
        wanted=wanted,
        proof=partial(_kept, content=content),
    )


def _within(name: str, content: bytes, damage: str, wanted: Wanted = Wanted.EITHER) -> Trial:
    """Return the trial of a sheet in the folder, which other commands carry over."""
    return Trial(
        ("redraw", _FOLDER, "--mirrored", "--quiet"),
        damage,
        (_FOLDER,),
        {f"{_FOLDER}/{name}": content},
        writes=(_FOLDER,),
        names=(name,),
        wanted=wanted,
        proof=partial(_kept, content=content),
    )


def _cells(material: Material, chance: Random) -> Trial:
    book: Any = load_workbook(io.BytesIO(_book(material)))
    sheet, wanted = book["pieces"], Wanted.EITHER
    row, column = chance.randint(1, sheet.max_row), chance.randint(1, sheet.max_column)
    cell = sheet.cell(row, column)
    damage = f"{cell.coordinate} "
    match chance.choice(("value",) * 6 + ("formula", "merged", "row", "far", "title", "twin")):
        case "formula":
            cell.value = chance.choice(('=HYPERLINK("look")', "=1+1", "=CALL(1)"))
            damage, wanted = f"{damage}= {cell.value!r}", Wanted.REFUSED
        case "merged":
            sheet.merge_cells(start_row=row, end_row=row + 1, start_column=1, end_column=column)
            damage, wanted = f"{damage}merged", Wanted.REFUSED
        case "row":
            sheet.delete_rows(row)
            damage += "its row taken out"
        case "far":
            there = sheet.cell(chance.choice((900, 30_000, 1_048_576)), chance.choice((1, 16_384)))
            there.value = "x"
            damage, wanted = f"{there.coordinate} = 'x'", Wanted.REFUSED
        case "title":
            sheet.title = "other"
            damage, wanted = "the sheet called other", Wanted.REFUSED
        case "twin":
            sheet.append([cell.value for cell in sheet[row]])
            damage += "its row put in twice"
        case _:
            value = _cell_value(chance, cell.value)
            cell.value = value
            if isinstance(value, str):
                cell.data_type = "s"
            damage += f"= {shown(value)}"
    name = "pieces.xlsx"
    laid = _lists if chance.random() < 0.6 else _within
    return laid(name, _saved(book), damage, wanted)


def _cell_value(chance: Random, now: object) -> Any:
    if chance.random() < 0.3:
        number = chance.choice(NUMBERS)
        return number if isinstance(number, float) or abs(number) < 10**300 else 10**300
    if chance.random() < 0.1:
        return chance.choice((True, False, date(2026, 11, 25), date(1900, 1, 1)))
    text = nasty_text(chance, str(now or "whole"))
    return ILLEGAL_CHARACTERS_RE.sub("", text)[:32_767]


def _parts(material: Material, chance: Random) -> Trial:
    """Spoil the container of a workbook: its bytes, or one of its parts inside the ZIP."""
    content = _book(material)
    if chance.random() < 0.35:
        return _lists("pieces.xlsx", *bytes_spoilt(content, chance))
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        parts = {part: packed.read(part) for part in packed.namelist()}
    name = chance.choice([part for part in parts if parts[part]])
    wanted = Wanted.EITHER
    match chance.choice(("bytes", "bytes", "gone", "entities", "other", "path", "bomb")):
        case "gone":
            del parts[name]
            damage = f"{name} taken out"
        case "entities":
            levels = "".join(f'<!ENTITY e{k + 1} "{f"&e{k};" * 10}">' for k in range(9))
            parts[name] = f'<!DOCTYPE x [<!ENTITY e0 "ha">{levels}]><x>&e9;</x>'.encode()
            damage = f"{name} is entities of entities"
        case "other":
            other = chance.choice(list(parts))
            parts[name] = parts[other]
            damage = f"{name} became what {other} is"
        case "path":
            parts["../../escaped.xml"] = parts[name]
            damage = "a part with a path upward"
        case "bomb":
            parts["xl/media/bomb.bin"] = bytes(450_000_000)
            damage, wanted = "a part of 450 MB", Wanted.REFUSED
        case _:
            parts[name], damage = bytes_spoilt(parts[name], chance)
            damage = f"{name}: {damage}"
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as packed:
        for part, data in parts.items():
            packed.writestr(part, data)
    return _lists("pieces.xlsx", held.getvalue(), damage, wanted)


def _values(material: Material, chance: Random) -> Trial:
    content = _list(material)
    match chance.choice(("cell", "cell", "cell", "bytes", "encoding")):
        case "cell":
            rows, damage = cell_spoilt(cells_of(content) or [], chance)
            spoilt = as_csv(rows, chance.choice((",", ",", ";", "\t")))
        case "bytes":
            spoilt, damage = bytes_spoilt(content, chance)
        case code:
            code = chance.choice(("utf-16", "utf-8-sig", "cp037", "utf-32"))
            spoilt, damage = content.decode().encode(code), f"as {code}"
    laid = _lists if chance.random() < 0.6 else _within
    # What is typed into the program's own columns is not read, whatever it is.
    wanted = Wanted.REFUSED if cells_of(spoilt) is None else Wanted.EITHER
    return laid("pieces.csv", spoilt, damage, wanted)


KINDS = (
    Kind(
        "workbook-cells",
        "cells of the filled-in workbook: texts, numbers, formulas, merged, repeated, far away",
        lambda material: _lists("pieces.xlsx", _book(material), "nothing", Wanted.ACCEPTED),
        _cells,
    ),
    Kind(
        "workbook-parts",
        "the container of the workbook: bytes, parts, entities, paths, bombs",
        lambda material: _lists("pieces.xlsx", _book(material), "nothing", Wanted.ACCEPTED),
        _parts,
    ),
    Kind(
        "sheet-values",
        "the sheet as separated values: cells, bytes, encodings",
        lambda material: _lists("pieces.csv", _list(material), "nothing", Wanted.ACCEPTED),
        _values,
    ),
)
