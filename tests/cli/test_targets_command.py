"""The command `targets` sums up as the other commands do."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import click
import pytest

from rubbing2pattern.cli.main import main
from rubbing2pattern.documents.targets import CHECK_MM, IDS, SIDE_MM, targets_pdf
from tests.running import refused, run_here as run, settings


@pytest.mark.parametrize("flag", ["--json", "--quiet"])
def test_the_flag_has_one_meaning(flag: str) -> None:
    here, model = (
        next(p for p in main.commands[name].params if flag in p.opts)
        for name in ("targets", "trace")
    )
    assert isinstance(here, click.Option) and isinstance(model, click.Option)
    assert here.help == model.help and here.is_flag


def test_the_summary_for_programs(tmp_path: Path) -> None:
    file = tmp_path / "the targets für n4.pdf"
    result = run("targets", "-o", file, "--json", "--quiet")
    assert result.returncode == 0 and result.stderr == ""
    assert json.loads(result.stdout) == {
        "targets": list(IDS),
        "units": "mm",
        "side_mm": SIDE_MM,
        "check_length_mm": CHECK_MM,
        "file": str(file),
    }
    assert file.read_bytes() == targets_pdf()
    refused(run("targets", "-o", file, "--json"), 6, "--overwrite")


@pytest.mark.parametrize("flags", [[], ["--overwrite"]])
def test_a_pipe_or_a_loop_is_not_replaced(tmp_path: Path, flags: list[str]) -> None:
    """A device is what a pipe is, but nobody's test should try its luck with one."""
    pipe, loop = tmp_path / "pipe", tmp_path / "loop"
    os.mkfifo(pipe)
    loop.symlink_to(loop)
    refused(run("targets", "-o", pipe, *flags), 6, "is a device or a pipe and is not replaced")
    refused(run("targets", "-o", loop, *flags), 6, "is a link that leads back to itself")
    assert pipe.is_fifo() and loop.is_symlink()
    assert {path.name for path in tmp_path.iterdir()} == {"pipe", "loop"}


def test_a_message_shows_the_ends_of_a_long_name(tmp_path: Path) -> None:
    result = run("targets", "-o", tmp_path / ("n" * 5000))
    refused(result, 2, "too long for this system", "nnn...nnn")
    assert len(result.stderr) < 1500


def test_a_name_that_turns_the_line_round_is_written_out(tmp_path: Path) -> None:
    name = "a\u202efdp.exe"
    shown = run("targets", "-o", tmp_path / name)
    assert "a\\u202efdp.exe;" in shown.stdout and "\u202e" not in shown.stdout
    summary = run("targets", "-o", tmp_path / name, "--overwrite", "--json")
    assert "\u202e" not in summary.stdout
    assert json.loads(summary.stdout)["file"] == str(tmp_path / name)


def test_quiet_leaves_the_summary(tmp_path: Path) -> None:
    said = [
        run("targets", "-o", tmp_path / "t.pdf", "--overwrite", *flag) for flag in ([], ["--quiet"])
    ]
    assert said[0].stdout == said[1].stdout and "The targets are in" in said[1].stdout
    assert said[1].stderr == ""


def test_a_summary_that_cannot_be_shown_says_where_the_page_is(tmp_path: Path) -> None:
    if not Path("/dev/full").exists():
        pytest.skip("this system has no device that is always full")
    file = tmp_path / "t.pdf"
    with Path("/dev/full").open("w") as full:
        result = subprocess.run(
            [sys.executable, "-m", "rubbing2pattern", "targets", "-o", file],
            **settings(),
            stdout=full,
            stderr=subprocess.PIPE,
            check=False,
        )
    assert result.returncode == 6
    assert f"the targets are in {file}, but the summary cannot be shown" in result.stderr
    assert file.read_bytes() == targets_pdf()
