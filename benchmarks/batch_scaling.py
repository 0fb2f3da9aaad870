"""How a batch scales: by more processes than this machine has cores, and by a real cluster.

Processor seconds are measured, for those of a row are the same beside other work: of every row in
one warm process, of the start of a process, and of whole runs with one job, with two, and on a
Dask cluster of two processes. How long a run takes with N workers on N cores follows: the start of
the command until it has read the list, the libraries that it and its workers load at a time on
those cores, and the rows, each given to the worker that is free first, in the order of the list.
What rows take more side by side than alone is what the run with two jobs took more than that with
one, apart from its starts.
"""

from __future__ import annotations

import heapq
import os
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import cycle, islice, pairwise
from pathlib import Path

from distributed import LocalCluster

from benchmarks.cases import ROOT
from rubbing2pattern.collection.stamps import Outcome
from rubbing2pattern.inputs.collection_list import Row, read_rows
from rubbing2pattern.workflows.batch import run_batch

WORKERS = (1, 2, 4, 8)
MANY = 200
"""Rubbings of a longer list of the same kind, for which starts count less."""
_STARTS = 3
"""Trials of a start, of which the quickest counts: other work only makes it longer."""


@dataclass(frozen=True, slots=True)
class Run:
    """Seconds that a command took: of the clock, and of the processor with all its children."""

    clock_s: float
    processor_s: float


@dataclass(frozen=True, slots=True)
class Parts:
    """Processor seconds.

    Attributes
    ----------
    list_s : from the start of the command until it has read the list.
    start_s : until it can trace.
    worker_s : until a worker can.
    first_s : what a worker's first row takes more than it does later.
    rows_s : of each row.
    """

    list_s: float
    start_s: float
    worker_s: float
    first_s: float
    rows_s: tuple[float, ...]


def makespan_s(rows_s: Sequence[float], workers: int, ready_s: float) -> float:
    """Return when the last row is done, each given to the worker that is free first."""
    free = [ready_s] * workers
    for row_s in rows_s:
        heapq.heapreplace(free, free[0] + row_s)
    return max(free)


def clock_s(parts: Parts, workers: int, side_by_side: float) -> float:
    """Return how long a run takes with so many workers, each on a core of its own."""
    if workers == 1:
        return parts.start_s + parts.first_s + sum(parts.rows_s)
    rows_s = [side_by_side * row_s for row_s in parts.rows_s]
    loaded_s = (parts.start_s - parts.list_s + workers * parts.worker_s) / workers
    ready_s = parts.list_s + loaded_s + parts.first_s
    return makespan_s(rows_s, workers, ready_s)


def row_seconds(rows: Sequence[Row], folder: Path) -> list[float]:
    """Trace rows in this process and return the processor seconds of each."""
    ends = [time.process_time()]

    def on_row(outcome: Outcome, done: int, total: int) -> None:
        ends.append(time.process_time())

    run_batch(rows, folder, on_row=on_row)
    return [end - begin for begin, end in pairwise(ends)]


def timed(*words: str) -> Run:
    """Run Python with these words to its end."""
    children, begun = os.times(), time.perf_counter()
    done = subprocess.run([sys.executable, *words], cwd=ROOT, capture_output=True, check=False)
    if done.returncode not in (0, 7):
        sys.exit(done.stderr.decode())
    now = os.times()
    used_s = now.children_user + now.children_system
    used_s -= children.children_user + children.children_system
    return Run(time.perf_counter() - begun, used_s)


def _batch(place: Path, folder: Path, *more: str) -> Run:
    words = ("batch", str(place), "-o", str(folder), "--quiet", *more)
    return timed("-m", "rubbing2pattern", *words)


def _started(code: str) -> float:
    return min(timed("-c", code).processor_s for _ in range(_STARTS))


def measured(place: Path, out: Path) -> Parts:
    """Measure starts and rows, each alone."""
    rows = read_rows(place)
    (cold_s,) = row_seconds(rows[:1], out / "first")
    rows_s = row_seconds(rows, out / "rows")
    load = "import rubbing2pattern.workflows.batch"
    before = (
        "import rubbing2pattern.cli.main, rubbing2pattern.cli.batch, "
        "rubbing2pattern.inputs.collection_list, joblib"
    )
    starts_s = [_started(code) for code in (before, f"{before}; {load}", f"import joblib; {load}")]
    return Parts(*starts_s, max(0.0, cold_s - rows_s[0]), tuple(rows_s))


def on_cluster(place: Path, folder: Path) -> Run:
    """Run a list on a Dask cluster of two processes; what its workers use counts as well."""
    before = os.times()
    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
    ) as cluster:
        run = _batch(place, folder, "--scheduler", cluster.scheduler_address)
    now = os.times()
    used_s = now.children_user + now.children_system
    return Run(run.clock_s, used_s - before.children_user - before.children_system)


def show_scaling(place: Path, out: Path) -> None:
    """Measure, and print a table."""
    parts = measured(place, out)
    one = _batch(place, out / "one", "--jobs", "1")
    two = _batch(place, out / "two", "--jobs", "2")
    dask = on_cluster(place, out / "dask")
    both_s = parts.start_s + 2 * (parts.worker_s + parts.first_s)
    alone_s = one.processor_s - parts.start_s - parts.first_s
    side_by_side = max(1.0, (two.processor_s - both_s) / alone_s)
    total_s = sum(parts.rows_s)
    print(f"{len(parts.rows_s)} rows, {total_s:.1f} s of the processor, each alone")
    print(
        f"start {parts.start_s:.2f} s, of a worker {parts.worker_s:.2f} s, its first row "
        f"{parts.first_s:.2f} s more; side by side {side_by_side:.3f} times"
    )
    for name, run in (("one job", one), ("two jobs", two), ("two processes of Dask", dask)):
        print(f"{name}: {run.processor_s:.1f} s of the processor, {run.clock_s:.1f} s")
    print("| rubbings | workers | s | times one |\n| --- | --- | --- | --- |")
    for count in (len(parts.rows_s), MANY):
        like = replace(parts, rows_s=tuple(islice(cycle(parts.rows_s), count)))
        for workers in WORKERS:
            needed_s = clock_s(like, workers, side_by_side)
            times = clock_s(like, 1, side_by_side) / needed_s
            print(f"| {count} | {workers} | {needed_s:.1f} | {times:.2f} |")
