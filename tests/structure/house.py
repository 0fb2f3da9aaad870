"""The house as tests of structure see it: its rooms, their files, and faults with file and line.

A test of structure is one case for each room, not for each file: its rule is a generator that
yields a line for every fault, ``FILE:LINE what is wrong``, and `no_faults` shows them all at once.
"""

from __future__ import annotations

import ast
from collections.abc import Callable, Iterable, Iterator
from functools import cache
from pathlib import Path

from tests.running import ROOT

PACKAGE = ROOT / "rubbing2pattern"
NAME = PACKAGE.name
TESTS = ROOT / "tests"

WORKSHOPS = ("benchmarks", "docs", "training")
"""Folders with programs beside the package and its tests; each is one room."""

TOP = "top"
"""The room of the modules that lie at the top of the package, or of the tests."""

Rule = Callable[[Path], Iterable[str]]


def shown(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def inside(path: Path) -> str:
    return path.relative_to(PACKAGE).as_posix()


def room_of(path: Path) -> str:
    """Name the room of a file: ``stages`` for ``stages/lead.py``, ``tests/stages`` for its test."""
    top, *rest = path.relative_to(ROOT).parts
    first = rest[0] if len(rest) > 1 else TOP
    if top == NAME:
        return first
    return f"{top}/{first}" if top == TESTS.name else top


@cache
def by_room() -> dict[str, tuple[Path, ...]]:
    """Return all files of Python by their room, rooms and files in order."""
    tops = [PACKAGE, TESTS, *(ROOT / name for name in WORKSHOPS)]
    found: dict[str, list[Path]] = {}
    for path in sorted(p for top in tops for p in top.rglob("*.py")):
        if "__pycache__" not in path.parts:
            found.setdefault(room_of(path), []).append(path)
    return {room: tuple(paths) for room, paths in found.items()}


def files_of(*rooms: str) -> tuple[Path, ...]:
    return tuple(path for room in rooms for path in by_room()[room])


def package_rooms() -> list[str]:
    return [room for room, paths in by_room().items() if paths[0].is_relative_to(PACKAGE)]


def rooms_of_tests() -> list[str]:
    return [room for room, paths in by_room().items() if paths[0].is_relative_to(TESTS)]


def no_faults(rule: Rule, paths: Iterable[Path]) -> None:
    """Check that a rule finds nothing in any of the files; show all that it finds."""
    looked_at = list(paths)
    assert looked_at, "the room has no files"
    found = [fault for path in looked_at for fault in rule(path)]
    assert not found, "\n".join(["", *found])


def lines_of(faults: Iterable[str]) -> list[int]:
    """Return the lines that faults name, for tests that show that a rule sees what it should."""
    return [int(fault.split(":")[1].split()[0]) for fault in faults]


@cache
def text_of(path: Path) -> str:
    return path.read_text(encoding="utf-8")


@cache
def tree(path: Path) -> ast.Module:
    return ast.parse(text_of(path))


@cache
def nodes(path: Path) -> tuple[ast.AST, ...]:
    """Return all parts of a module, so that each file is walked through only once."""
    return tuple(ast.walk(tree(path)))


def imported(path: Path) -> Iterator[tuple[str, int]]:
    """Every dotted name a module imports, with its line; `from a import b` gives a.b."""
    for node in nodes(path):
        if isinstance(node, ast.Import):
            yield from ((alias.name, node.lineno) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{shown(path)}:{node.lineno} has a relative import"
            yield from ((f"{node.module}.{alias.name}", node.lineno) for alias in node.names)


def called(path: Path) -> Iterator[tuple[str, ast.Call]]:
    """Every call in a module, with what is called as it is written there."""
    for node in nodes(path):
        if isinstance(node, ast.Call):
            yield ast.unparse(node.func), node
