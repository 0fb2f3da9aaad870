"""The training stands apart: it shares nothing with what it is tested by, nor with the wheel."""

from __future__ import annotations

import fnmatch
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.running import ROOT
from tests.structure import house
from tests.structure.house import (
    Rule,
    called,
    files_of,
    imported,
    lines_of,
    no_faults,
    package_rooms,
    shown,
)

RENDERERS = ("tests/rendering", "tests/second_hand")


def imports_of(*tops: str) -> Rule:
    """Make the rule that a module imports nothing of these, wherever it does."""

    def rule(path: Path) -> Iterator[str]:
        for name, line in imported(path):
            if name.split(".")[0] in tops:
                yield f"{shown(path)}:{line} imports {name}"

    return rule


def test_there_is_a_training_to_look_at() -> None:
    assert {"train.py", "generator.py", "inputs.py"} <= {p.name for p in files_of("training")}


def test_training_knows_neither_the_tests_nor_the_program() -> None:
    no_faults(imports_of("tests", "benchmarks", "rubbing2pattern"), files_of("training"))


def by_names_made_while_it_runs(path: Path) -> Iterator[str]:
    for name, call in called(path):
        if name.split(".")[-1] in {"import_module", "__import__", "exec", "run_path"}:
            yield f"{shown(path)}:{call.lineno} calls {name}"


def test_training_imports_by_no_name_made_while_it_runs() -> None:
    no_faults(by_names_made_while_it_runs, files_of("training"))


@pytest.mark.parametrize("room", RENDERERS)
def test_what_draws_the_tests_knows_nothing_of_the_training(room: str) -> None:
    no_faults(imports_of("training"), files_of(room))


@pytest.mark.parametrize("room", package_rooms())
def test_the_program_needs_neither_training_nor_tests(room: str) -> None:
    foreign = ("training", "tests", "benchmarks", "torch", "onnx", "onnxruntime")
    no_faults(imports_of(*foreign), files_of(room))


def test_an_import_of_the_other_side_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    text = "import tests\nif 1:\n    from torch.nn import Linear\na.import_module('b')\n"
    monkeypatch.setattr(house, "text_of", lambda path: text)
    path = ROOT / "training" / "crossed.py"
    assert lines_of(imports_of("tests", "torch")(path)) == [1, 3]
    assert lines_of(by_names_made_while_it_runs(path)) == [4]


def test_the_training_is_not_in_the_wheel_and_the_weights_are() -> None:
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    wheel = settings["tool"]["hatch"]["build"]["targets"]["wheel"]
    assert set(wheel) == {"only-include", "exclude", "sources"}  # nothing that forces more in
    assert wheel["only-include"] == ["rubbing2pattern", "docs"]
    assert not {"torch", "onnx", "onnxruntime"} & {
        name.split(">")[0].split("[")[0].strip() for name in settings["project"]["dependencies"]
    }
    (weights,) = (ROOT / "rubbing2pattern").rglob("*.weights")
    # Hatchling leaves out of a wheel what git leaves out.
    ignored = (ROOT / ".gitignore").read_text(encoding="utf-8").splitlines()
    for line in ignored:
        pattern = line.strip().strip("/")
        assert not fnmatch.fnmatch(weights.name, pattern), f".gitignore: {line}"
