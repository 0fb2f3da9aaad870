"""The house keeps its order: what may import what, how long a file may be, what it may say."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "rubbing2pattern"
NAME = PACKAGE.name

LONGEST_FILE = 450
LONGEST_FUNCTION = 60

# From the bottom up; a module imports only from lower storeys or its own. The options of all stages
# stand on the tables of the trade (stock), so that a default may be taken from there.
STOREYS: tuple[tuple[str, ...], ...] = (
    ("errors", "_version", ""),
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
    ("cli",),
    ("__main__",),
)
STOREY = {room: number for number, rooms in enumerate(STOREYS) for room in rooms}

# Inside one storey these rooms may not lean on each other.
SEPARATE = ({"stages", "documents", "demo"}, {"parting", "laying"})

ONLY_IN = {
    "click": ("cli/",),
    "rich": ("cli/",),
    "ezdxf": ("documents/formats/dxf.py",),
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


def modules() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


def python_files() -> list[Path]:
    found = [
        *PACKAGE.rglob("*.py"),
        *(ROOT / "tests").rglob("*.py"),
        *(ROOT / "benchmarks").rglob("*.py"),
        *(ROOT / "docs").rglob("*.py"),
        *(ROOT / "training").rglob("*.py"),
    ]
    return sorted(p for p in found if "__pycache__" not in p.parts)


def shown(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def inside(path: Path) -> str:
    return path.relative_to(PACKAGE).as_posix()


def room(path: Path) -> str:
    """Name the part of the package a module belongs to: ``stages`` for ``stages/lead.py``."""
    first = inside(path).split("/")[0].removesuffix(".py")
    return "" if first == "__init__" else first


@cache
def tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def imported(path: Path) -> Iterator[tuple[str, int]]:
    """Every dotted name a module imports, with its line; `from a import b` gives a.b."""
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.Import):
            yield from ((alias.name, node.lineno) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{shown(path)}:{node.lineno} has a relative import"
            yield from ((f"{node.module}.{alias.name}", node.lineno) for alias in node.names)


def own_imports(path: Path) -> Iterator[tuple[list[str], int]]:
    for name, line in imported(path):
        parts = name.split(".")
        if parts[0] == NAME:
            yield parts[1:], line


@pytest.mark.parametrize("path", modules(), ids=inside)
def test_imports_run_downward(path: Path) -> None:
    here = room(path)
    assert here in STOREY, f"{inside(path)} has no storey; give it one in STOREYS and DEVELOPERS.md"
    if here == "":
        return  # The front door looks into the rooms only when asked; see the test of its laziness.
    for parts, line in own_imports(path):
        there = parts[0] if parts[0] in STOREY else ""
        where = f"{shown(path)}:{line} imports {'.'.join(parts)}"
        assert STOREY[there] <= STOREY[here], f"{where}, which stands higher"
        if any({here, there} <= rooms for rooms in SEPARATE):
            assert here == there, f"{where}, but {here} and {there} do not know each other"


@pytest.mark.parametrize("path", modules(), ids=inside)
def test_no_stage_imports_another(path: Path) -> None:
    if room(path) != "stages":
        return
    own = inside(path).split("/")[1].removesuffix(".py")
    for parts, line in own_imports(path):
        other = parts[0] == "stages" and parts[1] != own
        assert not other, f"{shown(path)}:{line} imports {'.'.join(parts)}"


def test_the_top_of_the_package_is_short() -> None:
    assert len(list(PACKAGE.glob("*.py"))) <= ROOT_MODULES


@pytest.mark.parametrize("path", modules(), ids=inside)
def test_libraries_stay_in_their_rooms(path: Path) -> None:
    for name, line in imported(path):
        rooms = ONLY_IN.get(name.split(".")[0])
        if rooms is not None:
            assert inside(path).startswith(rooms), f"{shown(path)}:{line} imports {name}"


def test_one_module_alone_runs_a_network() -> None:
    """Another that did would need its own weights, its own rounding and its own checks."""
    knows = set()
    for path in modules():
        names = [name for name, _ in imported(path)]
        names += [ast.unparse(n) for n in ast.walk(tree(path)) if isinstance(n, ast.Attribute)]
        if any(name.startswith("cv2.dnn") for name in names):
            knows.add(inside(path))
    assert knows == {"imaging/lead_network.py"}


@pytest.mark.parametrize("path", modules(), ids=inside)
def test_only_the_command_line_prints_exits_and_reads_the_environment(path: Path) -> None:
    if room(path) in ("cli", "__main__"):
        return
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            where = f"{shown(path)}:{node.lineno} calls {node.func.id}"
            assert node.func.id not in {"print", "exit", "quit", "input", "breakpoint"}, where
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            name = f"{node.value.id}.{node.attr}"
            where = f"{shown(path)}:{node.lineno} uses {name}"
            forbidden = {"sys.exit", "sys.stdout", "sys.stderr", "os.environ", "os.getenv"}
            assert name not in forbidden, where


@pytest.mark.parametrize("path", modules(), ids=inside)
def test_no_clock_and_no_chance_in_results(path: Path) -> None:
    """The time of day and unseeded chance would make two runs differ."""
    for name, line in imported(path):
        where = f"{shown(path)}:{line} imports {name}"
        assert name.split(".")[0] not in {"random", "secrets", "uuid", "datetime"}, where
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.Attribute):
            dotted = ast.unparse(node)
            where = f"{shown(path)}:{node.lineno} uses {dotted}"
            assert dotted not in {"time.time", "np.random.rand", "np.random.seed"}, where
        if isinstance(node, ast.Call) and ast.unparse(node.func).endswith("default_rng"):
            assert node.args, f"{shown(path)}:{node.lineno} makes chance without a seed"


@pytest.mark.parametrize("path", python_files(), ids=shown)
def test_files_and_functions_keep_to_one_idea(path: Path) -> None:
    lines = len(path.read_text(encoding="utf-8").splitlines())
    assert lines <= LONGEST_FILE, f"{shown(path)} has {lines} lines"
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            length = (node.end_lineno or node.lineno) - node.lineno + 1
            where = f"{shown(path)}:{node.lineno} {node.name} has {length} lines"
            assert length <= LONGEST_FUNCTION, where


# What is drawn on paper or on a terminal has sizes and colours; they are geometry, named where they
# are used, and a look at the page shows whether they are right.
DRAWN = ("documents/", "cli/")


def is_number(node: ast.expr) -> bool:
    """Tell whether an expression is made of numbers alone: one, several, or their product."""
    parts = [n for n in ast.walk(node) if isinstance(n, ast.Constant | ast.Name | ast.Call)]
    plain = [n.value for n in parts if isinstance(n, ast.Constant)]
    return len(plain) == len(parts) > 0 and all(type(v) in (int, float) for v in plain)


def unexplained(path: Path) -> Iterator[tuple[str, int]]:
    """Numbers at the top of a module without a docstring under them or a remark beside them."""
    lines, body = path.read_text(encoding="utf-8").splitlines(), tree(path).body
    for node, after in zip(body, [*body[1:], None], strict=True):
        if not isinstance(node, ast.Assign | ast.AnnAssign) or node.value is None:
            continue
        said = isinstance(after, ast.Expr) and isinstance(after.value, ast.Constant)
        remark = "#" in lines[node.lineno - 1] or lines[node.lineno - 2].startswith("#")
        if is_number(node.value) and not said and not remark:
            yield ast.unparse(node), node.lineno


@pytest.mark.parametrize("path", modules(), ids=inside)
def test_every_number_says_what_it_is_and_why(path: Path) -> None:
    if inside(path).startswith(DRAWN):
        return
    for told, line in unexplained(path):
        raise AssertionError(f"{shown(path)}:{line} {told}: say unit and reason under it")


def test_a_number_without_a_word_is_seen(tmp_path: Path) -> None:
    path = tmp_path / "some.py"
    path.write_text('A = 2 * 3.0\n"""Why."""\nB = -1.0  # why\nC = 4, 5\nD = {"a": 1}\nE = 6\n')
    assert [told for told, _ in unexplained(path)] == ["C = (4, 5)", "E = 6"]


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


@pytest.mark.parametrize("path", modules(), ids=inside)
def test_types_that_pass_on_are_frozen(path: Path) -> None:
    if inside(path).startswith(WORKBENCHES):
        return
    for node in ast.walk(tree(path)):
        if not isinstance(node, ast.ClassDef):
            continue
        for mark in node.decorator_list:
            if "dataclass" in ast.unparse(mark):
                where = f"{shown(path)}:{node.lineno} {node.name}"
                assert "frozen=True" in ast.unparse(mark), f"{where} can be changed"


def text_files() -> list[Path]:
    kinds = {".py", ".md", ".toml", ".yaml", ".json", ".csv", ".cfg", ""}
    tops = ["rubbing2pattern", "tests", "docs", "benchmarks", "training", "test_images", ".ci"]
    found = [p for top in tops for p in (ROOT / top).rglob("*") if p.is_file()]
    found += [p for p in ROOT.iterdir() if p.is_file() and p.name not in ("LICENSE", ".git")]
    hidden = {"__pycache__", "out"}
    return sorted(p for p in found if p.suffix in kinds and not hidden & set(p.parts))


# A folder of some machine at the start of a path, or an address on a network.
MACHINE_PATH = re.compile(r"(?<![\w.~/$}])/(?:home|Users|root|tmp|opt|mnt|work|media)/\w")
ADDRESS = re.compile(r"https?://([\w.-]+)")
# Names of vocabularies, never fetched; purl.org is that of Dublin Core.
NAMESPACES = {"www.w3.org", "json-schema.org", "www.apache.org", "purl.org"}


@pytest.mark.parametrize("path", text_files(), ids=shown)
def test_nothing_depends_on_one_machine_or_one_network(path: Path) -> None:
    for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
        where = f"{shown(path)}:{number}: {line.strip()[:100]}"
        assert not MACHINE_PATH.search(line), where
        hosts = set(ADDRESS.findall(line))
        assert hosts <= NAMESPACES, where
