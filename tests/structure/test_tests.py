"""The house of the tests: they lie as the package does, and hold on every machine at any hour."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from tests.structure import house
from tests.structure.house import (
    NAME,
    PACKAGE,
    TESTS,
    WORKSHOPS,
    called,
    files_of,
    imported,
    lines_of,
    no_faults,
    nodes,
    rooms_of_tests,
    shown,
)

OF_THEIR_OWN = (
    "structure",
    "rendering",
    "second_hand",
    "loose_glass",
    "second_bench",
    *WORKSHOPS,
)
"""Rooms of the tests that mirror no room of the package: the structure of the house, what draws
rubbings and glass for tests, and the workshops beside the package."""

each_room = pytest.mark.parametrize("room", rooms_of_tests())


def out_of_place(path: Path) -> Iterator[str]:
    """Find tests in a folder that the package lacks, or of a module that it lacks."""
    folder = path.relative_to(TESTS).parent
    if folder.parts[:1] and folder.parts[0] in OF_THEIR_OWN:
        return
    if not (PACKAGE / folder).is_dir():
        yield f"{shown(path)}:1 lies in {folder}, which {NAME} does not have"
    module = path.name.removeprefix("test_")
    if folder == Path() and path.name.startswith("test_") and not (PACKAGE / module).is_file():
        yield f"{shown(path)}:1 tests no module at the top of {NAME}; put it into a room"


@each_room
def test_tests_lie_as_the_package_does(room: str) -> None:
    """So `make quick ROOM=laying` finds the tests of a room by its name alone."""
    no_faults(out_of_place, files_of(room))


def imports_of_tests(path: Path) -> Iterator[str]:
    """Helpers taken from a module of tests: pytest would not see what fails in them."""
    for name, line in imported(path):
        parts = name.split(".")
        if parts[0] == TESTS.name and any(part.startswith("test_") for part in parts):
            yield f"{shown(path)}:{line} imports {name}; give helpers a module of their own"


@each_room
def test_no_test_imports_another(room: str) -> None:
    no_faults(imports_of_tests, files_of(room))


CLOCKS = {"time", "perf_counter", "process_time", "monotonic", "thread_time"}


def looks_at_a_clock(path: Path) -> Iterator[str]:
    """Clocks read and time limits set: on a busy machine either would fail.

    The one limit on children that hang, `PATIENCE_S`, is far beyond any load.
    """
    for name, line in imported(path):
        if name.removeprefix("time.").removesuffix("_ns") in CLOCKS and name.startswith("time."):
            yield f"{shown(path)}:{line} imports {name}"
    for node in nodes(path):
        dotted = ast.unparse(node) if isinstance(node, ast.Attribute) else ""
        if dotted.startswith("time.") and node.attr.removesuffix("_ns") in CLOCKS:
            yield f"{shown(path)}:{node.lineno} uses {dotted}"
    for name, call in called(path):
        for argument in call.keywords:
            limit = ast.unparse(argument.value)
            if argument.arg == "timeout" and limit != "PATIENCE_S":
                yield f"{shown(path)}:{call.lineno} gives {name} {limit} seconds"
            if argument.arg == "deadline" and limit != "None":
                yield f"{shown(path)}:{call.lineno} gives each example of {name} a time limit"


@each_room
def test_no_test_looks_at_a_clock(room: str) -> None:
    no_faults(looks_at_a_clock, files_of(room))


def test_no_example_has_a_time_limit() -> None:
    assert settings.default.deadline is None
    assert HealthCheck.too_slow in settings.default.suppress_health_check


def children_of_their_own(path: Path) -> Iterator[str]:
    """Children started with what the tests were started with: signals, input, environment."""
    for name, call in called(path):
        if name in {"subprocess.run", "subprocess.Popen"}:
            spread = [ast.unparse(k.value) for k in call.keywords if k.arg is None]
            if not any(each.startswith("settings(") for each in spread):
                yield f"{shown(path)}:{call.lineno} lacks **settings(); see tests/running.py"
        if name.startswith(("os.system", "os.popen", "os.fork", "os.spawn")):
            yield f"{shown(path)}:{call.lineno} calls {name}"


@each_room
def test_children_begin_as_at_a_terminal(room: str) -> None:
    no_faults(children_of_their_own, files_of(room))


SPOILT = """\
from tests.laying.test_laying import leads
from time import perf_counter_ns
import time
begun = time.monotonic()
process.wait(timeout=5.0)
ended(process, timeout=PATIENCE_S)
settings(deadline=200)
subprocess.run(["x"], **more, **settings())
subprocess.Popen(["x"], env={})
"""


def test_every_rule_sees_what_breaks_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(house, "text_of", lambda path: SPOILT)
    path = TESTS / "spoilt" / "test_spoilt.py"
    assert lines_of(imports_of_tests(path)) == [1]
    assert lines_of(looks_at_a_clock(path)) == [2, 4, 5, 7]
    assert lines_of(children_of_their_own(path)) == [9]
    assert lines_of(out_of_place(path)) == [1]
    assert lines_of(out_of_place(TESTS / "test_spoilt.py")) == [1]
