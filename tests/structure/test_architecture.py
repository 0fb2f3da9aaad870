"""The house keeps its order: what may import what, and what only some rooms may do."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.structure import house
from tests.structure.house import (
    NAME,
    PACKAGE,
    TOP,
    by_room,
    called,
    files_of,
    imported,
    inside,
    lines_of,
    no_faults,
    nodes,
    package_rooms,
    shown,
)

# From the bottom up; a module imports only from lower storeys or its own. The options of all stages
# stand on the tables of the trade (stock), so that a default may be taken from there.
STOREYS: tuple[tuple[str, ...], ...] = (
    ("errors", "texts", "_version", ""),
    ("units",),
    ("geometry",),
    ("reading", "model", "findings", "trade", "guide"),
    ("options", "inputs", "output"),
    ("record",),
    ("imaging", "fitting", "paneling"),
    ("parting", "laying"),
    ("joining",),
    ("packing", "leading", "matching"),
    ("correcting", "glazing", "archiving", "comparing", "collection"),
    ("stages", "documents", "demo"),
    ("workflows",),
    ("reviewing",),
    ("cli",),
    ("__main__",),
)
STOREY = {part: number for number, parts in enumerate(STOREYS) for part in parts}

# Inside one storey these rooms may not lean on each other.
SEPARATE = ({"stages", "documents", "demo"}, {"parting", "laying"})

ONLY_IN = {
    "click": ("cli/",),
    "rich": ("cli/",),
    "starlette": ("reviewing/",),
    "uvicorn": ("reviewing/server.py",),
    "simplejpeg": ("stages/load/jpeg_data.py",),
    "ezdxf": (),  # Only docs/dxf_frame.py and tests use it.
    "openpyxl": (
        "documents/formats/",
        "documents/lists/",
        "documents/matches/",
        "glazing/table.py",
    ),
    "cv2": (
        "stages/",
        "imaging/",
        "fitting/",
        "parting/",
        "matching/",
        "documents/kept_rubbing.py",
        "documents/overlay.py",
        "documents/targets.py",
        "workflows/batch.py",
    ),
}

ROOT_MODULES = 10
"""More of them at the top of the package hide the rooms from a newcomer."""

each_room = pytest.mark.parametrize("room", package_rooms())


def part_of(path: Path) -> str:
    """Name the part of the package a module belongs to: ``stages`` for ``stages/lead.py``."""
    first = inside(path).split("/")[0].removesuffix(".py")
    return "" if first == "__init__" else first


def own_imports(path: Path) -> Iterator[tuple[list[str], int]]:
    for name, line in imported(path):
        parts = name.split(".")
        if parts[0] == NAME:
            yield parts[1:], line


def test_every_module_lies_in_one_room_of_the_package() -> None:
    modules = {path for path in PACKAGE.rglob("*.py") if "__pycache__" not in path.parts}
    in_rooms = [path for room in package_rooms() for path in files_of(room)]
    assert sorted(in_rooms) == sorted(modules)
    assert TOP in package_rooms() and len(by_room()) > len(package_rooms()) > 20


def upward(path: Path) -> Iterator[str]:
    """Find imports that run upward, or between rooms that do not know each other."""
    here = part_of(path)
    if here not in STOREY:
        yield f"{shown(path)}:1 has no storey; give it one in STOREYS and in DEVELOPERS.md"
    elif here:  # The front door looks into the rooms only when asked; see the test of its laziness.
        for parts, line in own_imports(path):
            there = parts[0] if parts[0] in STOREY else ""
            where = f"{shown(path)}:{line} imports {'.'.join(parts)}"
            if STOREY[there] > STOREY[here]:
                yield f"{where}, which stands higher"
            if here != there and any({here, there} <= rooms for rooms in SEPARATE):
                yield f"{where}, but {here} and {there} do not know each other"


@each_room
def test_imports_run_downward(room: str) -> None:
    no_faults(upward, files_of(room))


def of_other_stages(path: Path) -> Iterator[str]:
    own = inside(path).split("/")[1].removesuffix(".py")
    for parts, line in own_imports(path):
        if parts[0] == "stages" and parts[1] != own:
            yield f"{shown(path)}:{line} imports {'.'.join(parts)}"


def test_no_stage_imports_another() -> None:
    no_faults(of_other_stages, files_of("stages"))


def test_the_top_of_the_package_is_short() -> None:
    assert len(list(PACKAGE.glob("*.py"))) <= ROOT_MODULES


def libraries_out_of_place(path: Path) -> Iterator[str]:
    for name, line in imported(path):
        rooms = ONLY_IN.get(name.split(".")[0])
        if rooms is not None and not inside(path).startswith(rooms):
            yield f"{shown(path)}:{line} imports {name}; only {', '.join(rooms)} may"


@each_room
def test_libraries_stay_in_their_rooms(room: str) -> None:
    no_faults(libraries_out_of_place, files_of(room))


def test_one_module_alone_runs_a_network() -> None:
    """Another that did would need its own weights, its own rounding and its own checks."""
    knows = set()
    for path in files_of(*package_rooms()):
        names = [name for name, _ in imported(path)]
        names += [ast.unparse(n) for n in nodes(path) if isinstance(n, ast.Attribute)]
        if any(name.startswith("cv2.dnn") for name in names):
            knows.add(inside(path))
    assert knows == {"imaging/lead_network.py"}


FRONT_DOOR = {"print", "exit", "quit", "input", "breakpoint"}


def only_for_the_command_line(path: Path) -> Iterator[str]:
    for node in nodes(path):
        if isinstance(node, ast.Call) and ast.unparse(node.func) in FRONT_DOOR:
            yield f"{shown(path)}:{node.lineno} calls {ast.unparse(node.func)}"
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            name = f"{node.value.id}.{node.attr}"
            if name in {"sys.exit", "sys.stdout", "sys.stderr", "os.environ", "os.getenv"}:
                yield f"{shown(path)}:{node.lineno} uses {name}"


@each_room
def test_only_the_command_line_prints_exits_and_reads_the_environment(room: str) -> None:
    paths = [path for path in files_of(room) if part_of(path) != "__main__"]
    if room != "cli":
        no_faults(only_for_the_command_line, paths)


def clock_and_chance(path: Path) -> Iterator[str]:
    """Find the time of day and unseeded chance, which would make two runs differ."""
    for name, line in imported(path):
        if name.split(".")[0] in {"random", "secrets", "uuid", "datetime"}:
            yield f"{shown(path)}:{line} imports {name}"
    for node in nodes(path):
        if isinstance(node, ast.Attribute):
            dotted = ast.unparse(node)
            if dotted in {"time.time", "np.random.rand", "np.random.seed"}:
                yield f"{shown(path)}:{node.lineno} uses {dotted}"
    for name, call in called(path):
        if name.endswith("default_rng") and not call.args:
            yield f"{shown(path)}:{call.lineno} makes chance without a seed"


@each_room
def test_no_clock_and_no_chance_in_results(room: str) -> None:
    no_faults(clock_and_chance, files_of(room))


ONE_WRITER = {
    ("csv.writer", "csv.DictWriter"): "documents/formats/cells.py",
    (".write_bytes", ".write_text"): "output.py",
}
"""What writes cells of lists and files, by the module that alone may: it keeps out what does harm.
"""


def other_writers(path: Path) -> Iterator[str]:
    for name, call in called(path):
        for ends, where in ONE_WRITER.items():
            if name.endswith(ends) and inside(path) != where:
                yield f"{shown(path)}:{call.lineno} calls {name}; only {where} may"


def cells_past_the_writer(path: Path) -> Iterator[str]:
    """Find cells of workbooks that get a value past `put`, which keeps formulas out of them."""
    if inside(path) == "documents/formats/workbook.py":
        return
    for node in nodes(path):
        for target in node.targets if isinstance(node, ast.Assign) else ():
            if ast.unparse(target).endswith("cell.value"):
                yield f"{shown(path)}:{node.lineno} gives a cell its value; use `put`"
    for name, call in called(path):
        gives = len(call.args) > 2 or any(word.arg == "value" for word in call.keywords)
        if name == "sheet.append" or (name == "sheet.cell" and gives):
            yield f"{shown(path)}:{call.lineno} gives a cell its value; use `put`"


@each_room
def test_one_module_writes_cells_and_one_writes_files(room: str) -> None:
    no_faults(other_writers, files_of(room))
    no_faults(cells_past_the_writer, files_of(room))


def other_openers(path: Path) -> Iterator[str]:
    """Find files read past `inputs/files.py`, which waits for no pipe; the program's own may be."""
    if inside(path) in {"inputs/files.py", "guide/pages.py"}:
        return
    for name, call in called(path):
        own = "files(" in name or name.startswith(("Image.", "os."))
        reads = name == "open" or name.endswith((".read_bytes", ".read_text", ".open"))
        if reads and not own:
            yield f"{shown(path)}:{call.lineno} calls {name}; only inputs/files.py may"


@each_room
def test_one_module_opens_files(room: str) -> None:
    no_faults(other_openers, files_of(room))


def past_the_one_way_to_stdout(path: Path) -> Iterator[str]:
    """Find what writes to stdout past `cli/stdout.py`, which knows what to do when it is full."""
    if inside(path) == "cli/stdout.py":
        return
    for name, call in called(path):
        to_stderr = any(word.arg == "err" for word in call.keywords)
        if name.startswith("click.echo") and not to_stderr:
            yield f"{shown(path)}:{call.lineno} calls {name}; use `show`"
        if name in {"click.version_option", "click.help_option"}:
            yield f"{shown(path)}:{call.lineno} calls {name}, which writes past `show`"


def test_one_module_writes_to_stdout() -> None:
    no_faults(past_the_one_way_to_stdout, files_of("cli"))


WORKBENCHES = (
    "imaging",
    "fitting",
    "paneling",
    "laying",
    "correcting",
    "glazing",
    "stages/rectify",
)
"""Rooms whose types stay inside one stage and may change while it works."""


def types_that_can_change(path: Path) -> Iterator[str]:
    if inside(path).startswith(WORKBENCHES):
        return
    for node in nodes(path):
        for mark in node.decorator_list if isinstance(node, ast.ClassDef) else ():
            if "dataclass" in ast.unparse(mark) and "frozen=True" not in ast.unparse(mark):
                yield f"{shown(path)}:{node.lineno} {node.name} can be changed"


@each_room
def test_types_that_pass_on_are_frozen(room: str) -> None:
    no_faults(types_that_can_change, files_of(room))


SPOILT = """\
import random, click
from rubbing2pattern.stages import trace
from rubbing2pattern.workflows import batch
from rubbing2pattern.documents import overlay
import os
@dataclass(slots=True)
class Changing: ...
print(os.environ, np.random.default_rng())
csv.writer(stream)
Path("x").write_text("y")
sheet.append([1])
cell.value = "=1"
click.echo(path.read_text())
click.echo("x", err=True)
files("x").joinpath("y").read_text()
"""


def test_every_rule_sees_what_breaks_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """A rule that finds nothing wherever it looks would hold nothing."""
    monkeypatch.setattr(house, "text_of", lambda path: SPOILT)
    path = PACKAGE / "stages" / "spoilt.py"
    assert lines_of(upward(path)) == [3, 4]
    assert lines_of(of_other_stages(path)) == [2]
    assert lines_of(libraries_out_of_place(path)) == [1]
    assert lines_of(only_for_the_command_line(path)) == [8, 8]
    assert lines_of(clock_and_chance(path)) == [1, 8]
    assert lines_of(types_that_can_change(path)) == [7]
    assert lines_of(other_writers(path)) == [9, 10]
    assert lines_of(other_openers(path)) == [13]
    assert lines_of(past_the_one_way_to_stdout(path)) == [13]
    assert sorted(lines_of(cells_past_the_writer(path))) == [11, 12]
