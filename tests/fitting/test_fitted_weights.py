"""The file of fitted weights: what is in it, damage that shows, and how a fit writes it anew."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from importlib import resources
from pathlib import Path

import numpy as np
import pytest

from benchmarks.doubt_fit import Cames, write_weights
from rubbing2pattern.errors import ProgramDamaged
from rubbing2pattern.fitting import fitted_weights as module
from rubbing2pattern.fitting.fitted_weights import (
    BOUNDARY_FIGURES,
    FILE_NAME,
    STRAY_FIGURES,
    fitted_weights,
    refitted,
)
from rubbing2pattern.inputs.reference import parse_reference
from rubbing2pattern.options import Options
from rubbing2pattern.workflows.provenance import made_with

TEXT = resources.files("rubbing2pattern.fitting").joinpath(FILE_NAME).read_text("utf-8")
NEW = tuple(0.5 * k - 1.0 for k in range(len(STRAY_FIGURES)))


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """Let the program find a copy of its file that may be harmed."""
    copy = tmp_path / FILE_NAME
    copy.write_text(TEXT, encoding="utf-8")
    monkeypatch.setattr(module.resources, "files", lambda _: tmp_path)
    fitted_weights.cache_clear()
    yield copy
    fitted_weights.cache_clear()


def test_every_figure_has_its_weight_and_every_part_says_on_what_it_was_fitted() -> None:
    held = json.loads(TEXT)
    weights = fitted_weights()
    for part, figures, given in (
        ("boundary", BOUNDARY_FIGURES, weights.boundary),
        ("stray", STRAY_FIGURES, weights.stray),
    ):
        assert tuple(held[part]["weights"].items()) == tuple(zip(figures, given, strict=True))
        assert "rubbings" in held[part]["fitted_on"]
    # More distance from the ridge makes a lead more doubtful, more distance asked for less so.
    assert weights.stray[1] > 0.0 < weights.stray[-1]


def test_the_record_says_with_which_weights_a_rubbing_was_read() -> None:
    written = made_with(parse_reference(dpi="150"), Options(), {})["fitted_weights"]
    held = json.loads(TEXT)
    assert written == {"name": FILE_NAME, "version": held["version"], "sha256": held["sha256"]}


def harmed(text: str, harm: str) -> str:
    held = json.loads(text)
    match harm:
        case "another weight":
            held["stray"]["weights"]["room"] += 0.001
        case "another version":
            held["version"] += 1
        case "a figure less":
            del held["boundary"]["weights"]["ink"]
        case "figures in another order":
            held["boundary"]["weights"] = dict(reversed(held["boundary"]["weights"].items()))
        case "not a number":
            held["stray"]["weights"]["room"] = float("nan")
        case "no checksum":
            del held["sha256"]
        case "cut short":
            return text[: len(text) // 2]
        case "empty":
            return ""
    return json.dumps(held)


@pytest.mark.parametrize(
    "harm",
    [
        "another weight",
        "another version",
        "a figure less",
        "figures in another order",
        "not a number",
        "no checksum",
        "cut short",
        "empty",
    ],
)
def test_a_damaged_file_is_refused_in_one_line_with_the_cure(file: Path, harm: str) -> None:
    file.write_text(harmed(TEXT, harm), encoding="utf-8")
    with pytest.raises(ProgramDamaged) as caught:
        fitted_weights()
    message = str(caught.value)
    assert FILE_NAME in message
    assert "damaged" in message
    assert "install the program again" in message
    assert "\n" not in message


def test_a_missing_file_is_named(file: Path) -> None:
    file.unlink()
    with pytest.raises(ProgramDamaged, match=f"{FILE_NAME}.*cannot be read.*install"):
        fitted_weights()


def test_line_ends_and_spaces_of_another_system_are_no_damage(file: Path) -> None:
    before = fitted_weights()
    file.write_bytes(TEXT.replace("\n", "\r\n").encode())
    fitted_weights.cache_clear()
    assert fitted_weights() == before


def test_a_fit_writes_the_file_that_is_read(file: Path) -> None:
    before = fitted_weights()
    args = argparse.Namespace(captures="scan", seeds="25,26", tiers="clean,hard")
    cames = [Cames("clean", 25, np.zeros((7, 8)), np.zeros(7))]
    write_weights(file, NEW, cames, args)
    fitted_weights.cache_clear()
    after = fitted_weights()
    assert after.version == before.version + 1
    assert after.stray == NEW
    assert after.boundary == before.boundary
    assert after.sha256 != before.sha256
    written = json.loads(file.read_text("utf-8"))["stray"]["fitted_on"]
    assert written.startswith("7 cames of 1 rubbings: scan of seeds 25,26, clean,hard")


@pytest.mark.parametrize("wrong", [NEW[:-1], (*NEW, 1.0), (*NEW[:-1], float("inf"))])
def test_weights_that_do_not_fit_the_figures_are_not_written(wrong: tuple[float, ...]) -> None:
    with pytest.raises(ValueError, match=r"zip|finite"):
        refitted("stray", wrong, "by hand", "nothing")


def test_the_file_is_written_as_a_fit_writes_it() -> None:
    """So that a new fit changes no line but those of its weights, its version and the checksum."""
    held = json.loads(TEXT)
    part = held["boundary"]
    again = refitted("boundary", fitted_weights().boundary, part["fitted_by"], part["fitted_on"])
    changed = [a for a, b in zip(TEXT.splitlines(), again.splitlines(), strict=True) if a != b]
    assert [line.split('"')[1] for line in changed] == ["version", "sha256"]
