"""The training stands apart: it shares nothing with what it is tested by, nor with the wheel."""

from __future__ import annotations

import ast
import fnmatch
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
TRAINING = sorted((ROOT / "training").rglob("*.py"))
PACKAGE = sorted((ROOT / "rubbing2pattern").rglob("*.py"))
RENDERERS = sorted(
    [*(ROOT / "tests" / "rendering").rglob("*.py"), *(ROOT / "tests" / "second_hand").rglob("*.py")]
)


def shown(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def tops(path: Path) -> Iterator[str]:
    """Name the first part of everything a module imports, wherever it does."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name.split(".")[0] for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{shown(path)}:{node.lineno} has a relative import"
            yield (node.module or "").split(".")[0]


def test_there_is_a_training_to_look_at() -> None:
    assert {"train.py", "generator.py", "inputs.py"} <= {path.name for path in TRAINING}
    assert RENDERERS


@pytest.mark.parametrize("path", TRAINING, ids=shown)
def test_training_knows_neither_the_tests_nor_the_program(path: Path) -> None:
    assert not {"tests", "benchmarks", "rubbing2pattern"} & set(tops(path))


@pytest.mark.parametrize("path", TRAINING, ids=shown)
def test_training_imports_by_no_name_made_while_it_runs(path: Path) -> None:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call):
            called = ast.unparse(node.func).split(".")[-1]
            where = f"{shown(path)}:{node.lineno} calls {called}"
            assert called not in {"import_module", "__import__", "exec", "run_path"}, where


@pytest.mark.parametrize("path", RENDERERS, ids=shown)
def test_what_draws_the_tests_knows_nothing_of_the_training(path: Path) -> None:
    assert "training" not in set(tops(path))


@pytest.mark.parametrize("path", PACKAGE, ids=shown)
def test_the_program_needs_neither_training_nor_tests(path: Path) -> None:
    assert not {"training", "tests", "benchmarks", "torch", "onnx", "onnxruntime"} & set(tops(path))


def test_the_training_is_not_in_the_wheel_and_the_weights_are() -> None:
    told = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    wheel = told["tool"]["hatch"]["build"]["targets"]["wheel"]
    assert set(wheel) == {"only-include", "exclude", "sources"}  # nothing that forces more in
    assert wheel["only-include"] == ["rubbing2pattern", "docs"]
    assert not {"torch", "onnx", "onnxruntime"} & {
        name.split(">")[0].split("[")[0].strip() for name in told["project"]["dependencies"]
    }
    (weights,) = (ROOT / "rubbing2pattern").rglob("*.onnx.xz")
    # Hatchling leaves out of a wheel what git leaves out.
    ignored = (ROOT / ".gitignore").read_text(encoding="utf-8").splitlines()
    for line in ignored:
        pattern = line.strip().strip("/")
        assert not fnmatch.fnmatch(weights.name, pattern), f".gitignore: {line}"
