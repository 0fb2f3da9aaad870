"""A batch killed in the middle of its rows, at any step, is resumed to the same bytes."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from functools import partial
from pathlib import Path

import pytest
from filelock import FileLock

from rubbing2pattern.inputs.collection_list import read_rows
from rubbing2pattern.workflows import batch
from tests.killing import killed_at
from tests.readings import read_once
from tests.running import PATIENCE_S, ended, python, run_here, started
from tests.workflows.collecting import collection, contents, of_killed_runs, workers_of

ROWS, KILLS = 4, 10
OPENING = 20
"""Steps on the disk before the first row, about."""

Undisturbed = tuple[Path, dict[str, bytes]]
Begin = Callable[[], subprocess.Popen[str]]
Begun = set[tuple[str, int, int]]


def do(place: Path, out: Path) -> None:
    """Do a list, or resume it, in this process."""
    done = run_here("batch", place, "-o", out, "--jobs", "1", "--resume", "--quiet")
    assert done.returncode == 0, done.stderr


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory: pytest.TempPathFactory) -> Undisturbed:
    """Make a list of rubbings, and do it with nothing killed."""
    home = tmp_path_factory.mktemp("undisturbed")
    place = collection(home / "in", ROWS)
    do(place, home / "whole")
    return place, contents(home / "whole")


def kill_ten_times(place: Path, home: Path) -> None:
    """Do a list, killed ten times on the way; print which rows each kill met.

    Kill k comes at (k + 1/2) / 10 of the steps of a row on the disk, counted from the first row
    that is not done; every fourth a row later, so that the list goes on.
    """
    # The rows share their readings: what is killed is what they do on the disk.
    batch.trace_rubbing = read_once
    os.fsync = lambda handle: None  # A killed process, unlike a power cut, loses no writes.
    do(place, home / "read")
    steps = killed_at(0, home, lambda: do(place, home / "counted"))
    assert steps is not None
    kill_at_each_step_of_the_opening(place, home)
    row = steps // (ROWS + 1)
    for k in range(KILLS):
        step = OPENING + round((k + 0.5) / KILLS * row) + (row if k % 4 == 3 else 0)
        assert killed_at(step, home, lambda: do(place, home / "out")) is None
        print(*[path.stem for path in home.glob("out/stamps/*.begun")], sep=",")
    assert killed_at(0, home, lambda: do(place, home / "out"))


def kill_at_each_step_of_the_opening(place: Path, home: Path) -> None:
    """Kill a run until it has made its folder; whatever is left, the next one gets on."""
    for step in range(1, OPENING):
        out = home / f"opened {step}"
        for at in (step, OPENING):
            assert killed_at(at, home, partial(do, place, out)) is None
            if at == step and (out / "stamps").exists():
                return


@pytest.mark.skipif(not hasattr(os, "fork"), reason="copies the process for each kill")
def test_killed_ten_times_in_the_middle_of_rows_it_comes_to_the_same_bytes(
    undisturbed: Undisturbed, tmp_path: Path
) -> None:
    place, whole = undisturbed
    done = python(
        "-m", "tests.workflows.test_batch_killed", place, tmp_path, OPENBLAS_NUM_THREADS="1"
    )
    assert done.returncode == 0, done.stderr
    met = done.stdout.splitlines()
    assert len(met) == KILLS and all(met) and len(set(met)) >= 3
    assert contents(tmp_path / "out") == whole
    assert not of_killed_runs(tmp_path / "out")


def kill_all(process: subprocess.Popen[str]) -> None:
    """Pull the plug: the process and all its workers, without a word."""
    with suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)


def kill_parent(process: subprocess.Popen[str]) -> None:
    """Kill the process that gives out the rows; its workers outlive it."""
    process.kill()
    process.wait()


def rows_at_work(out: Path) -> Begun:
    """Return which rows have been begun and not ended, each time anew."""
    begun: Begun = set()
    for path in out.glob("stamps/*.begun"):
        with suppress(FileNotFoundError):
            begun.add((path.name, path.stat().st_ino, path.stat().st_ctime_ns))
    return begun


@pytest.fixture
def begin(undisturbed: Undisturbed, tmp_path: Path) -> Iterator[Begin]:
    """Start or resume the list with two workers; at the end none of them is left."""
    runs = []

    def run() -> subprocess.Popen[str]:
        words = ("batch", undisturbed[0], "-o", tmp_path / "out", "--jobs", "2", "--resume")
        runs.append(started(*words, "--quiet"))
        return runs[-1]

    yield run
    for process in runs:
        kill_all(process)
        process.communicate()


def until_at_work(out: Path, process: subprocess.Popen[str], before: Begun) -> None:
    """Wait until a run is in the middle of rows."""
    while not rows_at_work(out) - before and process.poll() is None:
        time.sleep(0.01)
    assert process.poll() is None, ended(process)


def test_killed_with_its_workers_and_without_them_it_comes_to_the_same_bytes(
    undisturbed: Undisturbed, begin: Begin, tmp_path: Path
) -> None:
    out = tmp_path / "out"
    for kill in (kill_all, kill_parent):
        before = rows_at_work(out)
        process = begin()
        until_at_work(out, process, before)
        kill(process)
    process = begin()
    assert process.wait(PATIENCE_S) == 0, ended(process)
    # Workers that outlived their parent look once more at the rows that they were given.
    for _ in range(500):
        if not of_killed_runs(out):
            break
        time.sleep(0.02)
    assert contents(out) == undisturbed[1]
    assert not of_killed_runs(out)


def test_a_row_at_which_an_older_run_is_still_at_work_is_waited_for(
    undisturbed: Undisturbed, tmp_path: Path
) -> None:
    rows = read_rows(undisturbed[0])[:1]
    batch.run_batch(rows, tmp_path / "older")
    older, out = contents(tmp_path / "older"), tmp_path / "out"
    (out / "stamps").mkdir(parents=True)
    (out / "batch.json").write_bytes(older["batch.json"])
    at_work = threading.Event()

    def end_of_the_older_run() -> None:
        with FileLock(out / "stamps" / f"{rows[0].name}.begun"):
            at_work.set()
            while not (out / "pictures").exists():
                time.sleep(0.01)
            time.sleep(0.2)  # A run that did not wait would be in the middle of the row now.
            for name, content in older.items():
                (out / name).parent.mkdir(parents=True, exist_ok=True)
                (out / name).write_bytes(content)

    ending = threading.Thread(target=end_of_the_older_run)
    ending.start()
    at_work.wait()
    (outcome,) = batch.run_batch(rows, out, resume=True).outcomes
    ending.join()
    assert outcome.kept
    assert contents(out) == older and not of_killed_runs(out)


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="finds the workers in /proc")
def test_a_worker_that_is_killed_loses_nothing(
    undisturbed: Undisturbed, begin: Begin, tmp_path: Path
) -> None:
    out = tmp_path / "out"
    process = begin()
    until_at_work(out, process, set())
    workers = workers_of(process.pid)
    assert workers, ended(process)
    os.kill(workers[0], signal.SIGKILL)
    assert process.wait(PATIENCE_S) == 0, ended(process)
    assert contents(out) == undisturbed[1]
    assert not of_killed_runs(out)


if __name__ == "__main__":
    kill_ten_times(Path(sys.argv[1]), Path(sys.argv[2]))
