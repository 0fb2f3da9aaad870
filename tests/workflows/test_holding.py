"""A folder under review is held: others are told by whom; a dead holder holds nothing."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from rubbing2pattern.errors import OutputNotWritten
from rubbing2pattern.workflows.holding import beside, held, refuse_held
from tests.reviewing.served import results
from tests.running import listing, refused, run_here as run, settings

HOLDER = """
import sys
from pathlib import Path
from rubbing2pattern.workflows.holding import held
with held(Path(sys.argv[1]), "the review page (process 4242)"):
    print("held", flush=True)
    sys.stdin.read()
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return results(tmp_path_factory.mktemp("held") / "n4 3b")


@pytest.fixture
def holder(folder: Path) -> Iterator[subprocess.Popen[str]]:
    """Return another process that holds the folder until its input ends."""
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
    with subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(folder)], **settings() | pipes
    ) as process:
        assert process.stdout is not None and process.stdout.readline() == "held\n"
        yield process
        process.kill()


def test_others_are_told_who_holds_a_folder(
    holder: subprocess.Popen[str], folder: Path, tmp_path: Path
) -> None:
    before = listing(folder)
    fix = tmp_path / "fix.toml"
    fix.write_text('by = "B"\ndate = 2026-11-24\n[[remove_lead]]\ncame = "C2"\n')
    for command in (
        ("correct", folder, fix),
        ("redraw", folder, "--paper", "A3"),
        ("lists", folder, "--pieces", folder / "pieces.csv"),
        ("trace", "none.jpg", "--dpi", "100", "--overwrite", "-o", folder),
        ("review", folder, "--no-browser"),
    ):
        refused(run(*command), 6, "open for review", "process 4242")
    assert listing(folder) == before


def test_a_dead_holder_holds_nothing(holder: subprocess.Popen[str], folder: Path) -> None:
    holder.kill()
    holder.wait()
    refuse_held(folder)
    assert not beside(folder, "lock").exists()
    with held(folder, "me"):
        refuse_held(folder)  # of this very process
        assert beside(folder, "lock").exists()
    assert not beside(folder, "lock").exists() and not beside(folder, "held").exists()


def test_a_note_that_is_spoilt_is_not_shown(holder: subprocess.Popen[str], folder: Path) -> None:
    beside(folder, "held").write_bytes(b"\xff\x1b[31m" + b"x" * 5_000)
    with pytest.raises(OutputNotWritten, match="another process") as caught:
        refuse_held(folder)
    assert "\x1b" not in str(caught.value)
