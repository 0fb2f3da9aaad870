"""Pulled plugs, full disks and runs that meet: the old result or the new one, whole."""

from __future__ import annotations

import hashlib
import json
import multiprocessing
import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from rubbing2pattern.errors import OutputNotWritten
from rubbing2pattern.output import whole_folder
from rubbing2pattern.workflows import pipeline
from tests.killing import killed_at
from tests.readings import read_once
from tests.running import ended, python, run_here, started
from tests.workflows.collecting import DPI, contents, picture

LINUX = sys.platform.startswith("linux")
TRACE = ("trace", "--dpi", DPI, "--quiet")
LIMITS = (0, 5_000, 60_000)
KILLS = 12


def trace(image: Path, folder: Path, *more: str) -> subprocess.Popen[str]:
    """Start `trace`."""
    return started(*TRACE, image, "-o", folder, *more)


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


def do(image: Path, folder: Path, *more: str) -> None:
    """Trace into a folder, in this process."""
    done = run_here(*TRACE, image, "-o", folder, *more)
    assert done.returncode == 0, done.stderr


def limited(bytes_left: int, image: Path, folder: Path) -> tuple[int | None, str, str]:
    """Replace a result in a copy of this process, none of whose files may grow beyond a limit."""
    pipes = os.pipe(), os.pipe()
    there = tuple(handle for _, handle in pipes)
    fork = multiprocessing.get_context("fork")
    copy = fork.Process(target=_limited, args=(bytes_left, image, folder, there))
    copy.start()
    copy.join()
    for handle in there:
        os.close(handle)
    out, stderr = (os.fdopen(handle).read() for handle, _ in pipes)
    return copy.exitcode, out, stderr


def _limited(bytes_left: int, image: Path, folder: Path, there: tuple[int, ...]) -> None:
    import resource

    from rubbing2pattern.cli import entry

    for handle, own in enumerate(there, start=1):
        os.dup2(own, handle)
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (bytes_left, bytes_left))
    sys.argv = ["rubbing2pattern", *TRACE, str(image), "-o", str(folder), "--overwrite"]
    entry()


def without_room(image: Path, folder: Path) -> None:
    """Replace a result as often as there are limits; print how each went and what it left."""
    pipeline.trace_rubbing = read_once
    do(image, folder.parent / "read")
    for bytes_left in LIMITS:
        went = limited(bytes_left, image, folder)
        left = sorted(path.name for path in folder.parent.glob(".rubbing2pattern-*"))
        print(json.dumps([*went, digest(contents(folder)), left]), flush=True)


def digest(files: dict[str, bytes]) -> str:
    return hashlib.sha256(repr(sorted(files.items())).encode()).hexdigest()


@pytest.fixture(scope="module")
def tried(both: tuple[Path, dict[str, bytes], Path]) -> dict[int, list[Any]]:
    """Replace the result without room; the reading, which needs none, is done once."""
    folder, _, other = both
    done = python(
        "-m", "tests.workflows.test_steadiness", "room", other, folder, OPENBLAS_NUM_THREADS="1"
    )
    assert done.returncode == 0, done.stderr
    return dict(zip(LIMITS, map(json.loads, done.stdout.splitlines()), strict=True))


@pytest.mark.skipif(not LINUX, reason="sets the limit of a process")
@pytest.mark.parametrize("bytes_left", LIMITS)
def test_without_room_the_old_result_stays_and_the_reason_is_reported(
    both: tuple[Path, dict[str, bytes], Path], tried: dict[int, list[Any]], bytes_left: int
) -> None:
    """No file may grow beyond a limit: the system refuses as it does on a full disk."""
    code, out, stderr, now, left = tried[bytes_left]
    assert (code, out) == (6, ""), stderr
    assert stderr.startswith("rubbing2pattern: cannot write")
    assert len(stderr.splitlines()) <= 2
    assert now == digest(both[1])
    assert not left


def kill_while_replacing(image: Path, folder: Path, home: Path) -> None:
    """Replace a result again and again, killed at steps from the first to the last.

    Each kill comes twice. Prints after each whether the old result or the new one is there.
    """
    # The runs share their reading: what is killed is what they do on the disk.
    pipeline.trace_rubbing = read_once
    os.fsync = lambda handle: None  # A killed process, unlike a power cut, loses no writes.
    do(image, home / "read")
    old, new = contents(folder), contents(home / "read") | {"notes.txt": b"mine"}
    shutil.copytree(folder, home / "counted")
    steps = killed_at(0, home, lambda: do(image, home / "counted", "--overwrite"))
    assert steps is not None and contents(home / "counted") == new
    for k in range(KILLS):
        out = home / str(k) / folder.name
        shutil.copytree(folder, out)
        step = 1 + k * (steps - 1) // (KILLS - 1)
        for _ in range(2):  # The second run meets what the first one has left.
            assert killed_at(step, home, lambda out=out: do(image, out, "--overwrite")) is None
            print(("old", "new", "neither")[[old, new, contents(out)].index(contents(out))])


@pytest.mark.skipif(not LINUX, reason="changes places in one step")
def test_killed_while_it_replaces_a_result_leaves_the_old_or_the_new_one(
    both: tuple[Path, dict[str, bytes], Path], tmp_path: Path
) -> None:
    folder, _, other = both
    done = python(
        "-m",
        "tests.workflows.test_steadiness",
        "kill",
        other,
        folder,
        tmp_path,
        OPENBLAS_NUM_THREADS="1",
    )
    assert done.returncode == 0, done.stderr
    met = done.stdout.split()
    assert len(met) == 2 * KILLS and set(met) == {"old", "new"}


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


def test_a_folder_that_appears_at_the_last_moment_is_left_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another run puts its results there between the look and the rename."""
    place, rename = tmp_path / "out", Path.rename

    def late(partial: Path, target: Path) -> Path:
        target.mkdir()
        (target / "panel.json").write_text("{}", encoding="utf-8")
        return rename(partial, target)

    monkeypatch.setattr(Path, "rename", late)
    with (
        pytest.raises(OutputNotWritten, match="exists already"),
        whole_folder(place, ("a.txt",)) as partial,
    ):
        (partial / "a.txt").write_text("mine", encoding="utf-8")
    assert [p.name for p in tmp_path.iterdir()] == ["out"]
    assert [p.name for p in place.iterdir()] == ["panel.json"]


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


if __name__ == "__main__":
    work = {"room": without_room, "kill": kill_while_replacing}[sys.argv[1]]
    work(*map(Path, sys.argv[2:]))
