"""A collection of rubbings, one in ten broken: all done, killed at random and resumed to the same.

``python -m benchmarks.batch --count 200 --kills 10 --jobs 2``

Draws small panels with the renderer of the tests, breaks every tenth row in one of ten ways, runs
the list undisturbed, then again killed at random moments and resumed, and compares every byte. In
turn all its processes are killed, the parent alone, or one worker, after which it goes on. Prints
counts, reasons that are not as expected, and time.

``python -m benchmarks.batch --scaling`` prints instead how such a list scales with more workers.
"""

from __future__ import annotations

import argparse
import csv
import os
import shutil
import signal
import subprocess
import sys
import time
from collections import Counter
from contextlib import suppress
from pathlib import Path

import numpy as np

from benchmarks.batch_scaling import show_scaling
from benchmarks.cases import ROOT
from tests.workflows.collecting import (
    DPI,
    contents,
    listed,
    of_killed_runs,
    picture,
    workers_of,
)

BROKEN = (
    ("gone", 3),
    ("text", 3),
    ("cut short", 3),
    ("empty", 3),
    ("a folder", 3),
    ("no lead", 5),
    ("no reference", 2),
    ("two references", 2),
    ("bad option", 2),
    ("bad marks", 3),
)
"""What is the matter with a broken row, and the exit code that `trace` gives for it."""

VICTIMS = ("all", "parent", "worker")


def draw(home: Path, count: int) -> tuple[Path, dict[int, tuple[str, int]]]:
    """Draw the collection; return its list and what is broken by the number of the row."""
    home.mkdir(parents=True)
    rows: list[dict[str, str]] = []
    broken: dict[int, tuple[str, int]] = {}
    for k in range(count):
        image = home / f"{k + 1:03}.png"
        row = {"file": image.name, "panel": f"n{1 + k // 12} {1 + k % 12}a", "dpi": DPI}
        picture(image, 1 + k % 4, 1 + k // 4 % 3, lead_mm=4.0 + k % 5)
        if k % 10 == 7:
            what, code = BROKEN[k // 10 % len(BROKEN)]
            broken[k + 1] = (what, code)
            spoil(what, image, row)
        rows.append(row)
    return listed(home / "list.csv", rows), broken


def spoil(what: str, image: Path, row: dict[str, str]) -> None:
    """Break one row."""
    match what:
        case "gone":
            image.unlink()
        case "text":
            image.write_text("no picture\n", encoding="utf-8")
        case "cut short":
            image.write_bytes(image.read_bytes()[:1500])
        case "empty":
            image.write_bytes(b"")
        case "a folder":
            image.unlink()
            image.mkdir()
        case "no lead":
            shutil.copy(ROOT / "test_images" / "no-rubbing-wood.jpg", image)
        case "no reference":
            row["dpi"] = ""
        case "two references":
            row["sheet"] = "A4"
        case "bad option":
            row["set"] = "lead.grid_mm=-1"
        case "bad marks":
            row["dpi"] = ""
            row["marks"] = "there are none.csv"


def command(place: Path, folder: Path, jobs: int) -> subprocess.Popen[bytes]:
    """Start a run that goes on where an earlier one ended."""
    words = ["batch", str(place), "-o", str(folder), "--jobs", str(jobs), "--resume", "--quiet"]
    return subprocess.Popen(
        [sys.executable, "-m", "rubbing2pattern", *words],
        cwd=ROOT,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        start_new_session=True,
    )


def kill(process: subprocess.Popen[bytes], victim: str) -> str:
    """Kill all processes of a run, its parent or one worker; return which it was."""
    workers = workers_of(process.pid)
    if victim == "worker" and workers:
        os.kill(workers[0], signal.SIGKILL)
        return victim
    if victim == "parent":
        process.kill()
    else:
        victim = "all"
        with suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
    process.wait()
    return victim


def finished(place: Path, folder: Path, jobs: int) -> float:
    """Run to the end; return the seconds."""
    begun = time.perf_counter()
    process = command(place, folder, jobs)
    _, stderr = process.communicate()
    if process.returncode not in (0, 7):
        sys.exit(stderr.decode())
    return time.perf_counter() - begun


def main() -> None:
    """Draw, run, kill, compare and print."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.batch", description=__doc__)
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--kills", type=int, default=10)
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path, default=ROOT / "benchmarks" / "out" / "batch")
    parser.add_argument("--scaling", action="store_true", help="how a list scales, and no kills")
    given = parser.parse_args()
    shutil.rmtree(given.out, ignore_errors=True)
    place, broken = draw(given.out / "in", given.count)
    if given.scaling:
        show_scaling(place, given.out)
        return
    whole = given.out / "whole"
    seconds = finished(place, whole, given.jobs)
    rows = list(csv.DictReader((whole / "results.csv").open(encoding="utf-8")))
    wanted = [broken.get(k, ("", 0))[1] for k in range(1, given.count + 1)]
    wrong = [
        (row["row"], broken.get(int(row["row"])), row["exit"], row["reason"])
        for row, code in zip(rows, wanted, strict=True)
        if int(row["exit"]) != code
    ]
    done = sum(row["state"] == "done" for row in rows)
    print(f"{len(rows)} rows, {done} done, {len(rows) - done} failed, wanted {len(broken)}")
    print(f"reasons not as expected: {wrong or 'none'}")
    print(f"{seconds:.0f} s undisturbed, {seconds / len(rows):.2f} s a row, {given.jobs} jobs")

    rng = np.random.default_rng(given.seed)
    folder, killed = given.out / "killed", Counter[str]()
    runs: list[subprocess.Popen[bytes]] = []
    while killed.total() < given.kills:
        if not runs or runs[-1].poll() == -signal.SIGKILL:
            runs.append(command(place, folder, given.jobs))
        time.sleep(float(rng.uniform(0.05, 1.2)) * seconds / given.kills + 3.0)
        if runs[-1].poll() is not None:
            break  # It came to its end.
        killed[kill(runs[-1], VICTIMS[killed.total() % len(VICTIMS)])] += 1
    again = finished(place, folder, given.jobs)
    for process in runs:  # What outlived its parent.
        kill(process, "all")
        process.communicate()
    one, other = contents(whole), contents(folder)
    unlike = sorted(name for name in one.keys() | other.keys() if one.get(name) != other.get(name))
    print(f"killed {dict(killed)}, then {again:.0f} s to the end")
    print(f"{len(one)} files, {len(unlike)} unlike: {unlike[:5] or 'none'}")
    print(f"left by killed runs: {of_killed_runs(folder) or 'nothing'}")


if __name__ == "__main__":
    main()
