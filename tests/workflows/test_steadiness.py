"""Pulled plugs, full disks and runs that meet: the old result or the new one, whole."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path

import pytest

from tests.running import ended, started
from tests.workflows.collecting import DPI, contents, picture

LINUX = sys.platform.startswith("linux")


def trace(image: Path, folder: Path, *more: str, begin: str = "") -> subprocess.Popen[str]:
    """Start `trace`, after a line of Python that sets up its process."""
    code = f"{begin}\nfrom rubbing2pattern.cli import entry\nentry()"
    words = ["trace", image, "--dpi", DPI, "-o", folder, "--quiet", *more]
    return started(*words, code=code)


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, bytes], Path]:
    """Give a folder, what lies in it, and the picture of another panel."""
    home = tmp_path_factory.mktemp("steady")
    first, second = picture(home / "first.png"), picture(home / "second.png", 3, 1)
    folder = home / "n4 3b"
    out, stderr = ended(trace(first, folder))
    assert "n4 3b" in out, stderr
    (folder / "notes.txt").write_text("mine", encoding="utf-8")
    return folder, contents(folder), second


@pytest.mark.skipif(not LINUX, reason="sets the limit of a process")
@pytest.mark.parametrize("bytes_left", [0, 5_000, 60_000])
def test_without_room_the_old_result_stays_and_the_reason_is_reported(
    both: tuple[Path, dict[str, bytes], Path], bytes_left: int
) -> None:
    """No file may grow beyond a limit: the system refuses as it does on a full disk."""
    folder, before, other = both
    begin = (
        "import resource, signal; signal.signal(signal.SIGXFSZ, signal.SIG_IGN); "
        f"resource.setrlimit(resource.RLIMIT_FSIZE, ({bytes_left}, {bytes_left}))"
    )
    process = trace(other, folder, "--overwrite", begin=begin)
    out, stderr = ended(process)
    assert (process.returncode, out) == (6, ""), stderr
    assert stderr.startswith("rubbing2pattern: cannot write")
    assert len(stderr.splitlines()) <= 2
    assert contents(folder) == before
    assert not list(folder.parent.glob(".rubbing2pattern-*"))


@pytest.mark.skipif(not LINUX, reason="changes places in one step")
def test_killed_while_it_replaces_a_result_leaves_the_old_or_the_new_one(
    both: tuple[Path, dict[str, bytes], Path], tmp_path: Path
) -> None:
    folder, before, other = both
    out, stderr = ended(trace(other, tmp_path / "n4 3b"))
    assert out, stderr
    after = contents(tmp_path / "n4 3b") | {"notes.txt": b"mine"}
    kept = set(folder.parent.iterdir())
    for written in (0, 1, len(after) // 2, len(after) - 2, len(after) - 1, len(after)):
        process = trace(other, folder, "--overwrite")
        while process.poll() is None and files_beside(folder, kept) < written:
            time.sleep(0.001)
        process.kill()
        ended(process)
        assert contents(folder) in (before, after)
        kept = set(folder.parent.iterdir())


def files_beside(folder: Path, kept: set[Path]) -> int:
    """Count the files in the new hidden folder beside one that is being written; -1 without one."""
    for hidden in set(folder.parent.glob(".rubbing2pattern-*")) - kept:
        with suppress(OSError):  # It is no folder, or it goes while it is looked at.
            return sum(1 for _ in hidden.iterdir())
    return -1


def test_two_runs_into_one_folder_leave_one_whole_result(
    both: tuple[Path, dict[str, bytes], Path], tmp_path: Path
) -> None:
    _, _, other = both
    folder = tmp_path / "n4 3b"
    runs = [trace(other, folder, "--panel", name) for name in ("one", "two")]
    stderr = [ended(run)[1] for run in runs]
    assert sorted(run.returncode for run in runs) in ([0, 6],), stderr
    winner = next(k for k, run in enumerate(runs) if run.returncode == 0)
    assert f'"name": "{("one", "two")[winner]}"' in (folder / "panel.json").read_text("utf-8")
    assert "exists already" in stderr[1 - winner]
    assert not list(tmp_path.glob(".rubbing2pattern-*"))


@pytest.mark.skipif(not LINUX or os.geteuid() == 0, reason="rights do not bind the superuser")
def test_a_folder_that_may_only_be_read_is_reported(
    both: tuple[Path, dict[str, bytes], Path], tmp_path: Path
) -> None:
    _, _, other = both
    tmp_path.chmod(0o555)
    process = trace(other, tmp_path / "n4 3b")
    out, stderr = ended(process)
    tmp_path.chmod(0o755)
    assert (process.returncode, out) == (6, "")
    assert "not a folder that you may write to" in stderr
