"""What holds for every file: its length, its numbers, and nothing of one machine in it."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.running import ROOT
from tests.structure import house
from tests.structure.house import (
    PACKAGE,
    by_room,
    files_of,
    inside,
    lines_of,
    no_faults,
    nodes,
    package_rooms,
    room_of,
    shown,
    tree,
)

LONGEST_FILE = 450
LONGEST_FUNCTION = 60


def too_long(path: Path) -> Iterator[str]:
    lines = len(house.text_of(path).splitlines())
    if lines > LONGEST_FILE:
        yield f"{shown(path)}:{lines} lines; at most {LONGEST_FILE}, so split it by ideas"
    for node in nodes(path):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            length = (node.end_lineno or node.lineno) - node.lineno + 1
            if length > LONGEST_FUNCTION:
                yield f"{shown(path)}:{node.lineno} {node.name} has {length} lines"


@pytest.mark.parametrize("room", by_room())
def test_files_and_functions_keep_to_one_idea(room: str) -> None:
    no_faults(too_long, files_of(room))


# What is drawn on paper or on a terminal has sizes and colours; they are geometry, named where they
# are used, and a look at the page shows whether they are right.
DRAWN = ("documents/", "cli/")


def is_number(node: ast.expr) -> bool:
    """Tell whether an expression is made of numbers alone: one, several, or their product."""
    parts = [n for n in ast.walk(node) if isinstance(n, ast.Constant | ast.Name | ast.Call)]
    plain = [n.value for n in parts if isinstance(n, ast.Constant)]
    return len(plain) == len(parts) > 0 and all(type(v) in (int, float) for v in plain)


def unexplained(path: Path) -> Iterator[str]:
    """Numbers at the top of a module without a docstring under them or a remark beside them."""
    if inside(path).startswith(DRAWN):
        return
    lines, body = house.text_of(path).splitlines(), tree(path).body
    for node, after in zip(body, [*body[1:], None], strict=True):
        if not isinstance(node, ast.Assign | ast.AnnAssign) or node.value is None:
            continue
        said = isinstance(after, ast.Expr) and isinstance(after.value, ast.Constant)
        remark = "#" in lines[node.lineno - 1] or lines[node.lineno - 2].startswith("#")
        if is_number(node.value) and not said and not remark:
            yield f"{shown(path)}:{node.lineno} {ast.unparse(node)}: say unit and reason under it"


@pytest.mark.parametrize("room", package_rooms())
def test_every_number_says_what_it_is_and_why(room: str) -> None:
    no_faults(unexplained, files_of(room))


def test_a_number_without_a_word_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    source = 'A = 2 * 3.0\n"""Why."""\nB = -1.0  # why\nC = 4, 5\nD = {"a": 1}\nE = 6\n'
    monkeypatch.setattr(house, "text_of", lambda path: source)
    assert lines_of(unexplained(PACKAGE / "stages" / "numbers.py")) == [4, 6]


def test_what_is_too_long_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    long = "def much():\n" + "    pass\n" * LONGEST_FUNCTION
    monkeypatch.setattr(house, "text_of", lambda path: "A = 1\n" + long)
    assert lines_of(too_long(PACKAGE / "stages" / "much.py")) == [2]
    monkeypatch.setattr(house, "text_of", lambda path: "\n" * (LONGEST_FILE + 1))
    assert lines_of(too_long(PACKAGE / "stages" / "more.py")) == [LONGEST_FILE + 1]


TEXTS = {".py", ".md", ".toml", ".yaml", ".json", ".csv", ".cfg", ""}
TOPS = ("rubbing2pattern", "tests", "docs", "benchmarks", "training", "test_images", ".ci")


def texts_by_room() -> dict[str, list[Path]]:
    found = [p for top in TOPS for p in (ROOT / top).rglob("*") if p.is_file()]
    found += [p for p in ROOT.iterdir() if p.is_file() and p.name not in ("LICENSE", ".git")]
    hidden = {"__pycache__", "out"}
    rooms: dict[str, list[Path]] = {}
    for path in sorted(p for p in found if p.suffix in TEXTS and not hidden & set(p.parts)):
        room = "root" if path.parent == ROOT else room_of(path)
        rooms.setdefault(room, []).append(path)
    return rooms


# A folder of some machine at the start of a path, or an address on a network.
MACHINE_PATH = re.compile(r"(?<![\w.~/$}])/(?:home|Users|root|tmp|opt|mnt|work|media)/\w")
ADDRESS = re.compile(r"https?://([\w.-]+)")
# Names of vocabularies, never fetched; purl.org is that of Dublin Core.
NAMESPACES = {"www.w3.org", "json-schema.org", "www.apache.org", "purl.org"}


def of_one_machine(path: Path) -> Iterator[str]:
    for number, line in enumerate(house.text_of(path).splitlines(), 1):
        if MACHINE_PATH.search(line) or not set(ADDRESS.findall(line)) <= NAMESPACES:
            yield f"{shown(path)}:{number} {line.strip()[:100]}"


@pytest.mark.parametrize("room", texts_by_room())
def test_nothing_depends_on_one_machine_or_one_network(room: str) -> None:
    no_faults(of_one_machine, texts_by_room()[room])


def test_a_path_of_one_machine_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    lines = ["see /", "home/anna/x", "a\nb http:/", "/example.org/ and http:/", "/www.w3.org/"]
    monkeypatch.setattr(house, "text_of", lambda path: "".join(lines))
    assert lines_of(of_one_machine(PACKAGE / "stages" / "here.py")) == [1, 2]
