"""What a run costs, in figures that travel: ``python -m benchmarks.speed --runs 3``.

Every row is one call of the command line in a process of its own. Its processor time (of all its
threads and of the processes it starts), its wall time and its peak memory are those that the
operating system counted, so the start of Python is in them. Before each run OpenCV decodes the same
picture in another process: the ratio of both compares machines. Rows take turns, and the medians of
all turns are printed. A second table has the stages of one reading: processor time, wall time
and calls of Python functions (counted in a run of their own, which they slow down).
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

from benchmarks.cases import ROOT
from benchmarks.speed_cases import ROWS, Job, Row

DECODE = """
import sys, time, cv2
begun = time.process_time()
cv2.imread(sys.argv[1], cv2.IMREAD_GRAYSCALE)
print(time.process_time() - begun)
"""


@dataclass(frozen=True, slots=True)
class Cost:
    """What one run took: processor and wall time in seconds, peak memory in MB."""

    processor_s: float
    wall_s: float
    peak_mb: float


def environment() -> dict[str, str]:
    """Return the environment of a run: compiled modules are kept, as on any installation."""
    kept = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    return {**kept, "PYTHONPATH": str(ROOT)}


def timed(job: Job) -> Cost:
    """Run one call of the command line and return what it cost.

    Raises
    ------
    SystemExit
        when the call fails; what it said is printed.
    """
    job.before()
    command = [sys.executable, "-m", "rubbing2pattern", *job.words]
    begun = time.perf_counter()
    with subprocess.Popen(
        command, env=environment(), stdout=subprocess.PIPE, stderr=subprocess.STDOUT
    ) as run:
        assert run.stdout
        said = run.stdout.read()
        _, status, used = os.wait4(run.pid, 0)
        wall = time.perf_counter() - begun
        run.returncode = os.waitstatus_to_exitcode(status)
    if run.returncode:
        sys.exit(f"{' '.join(command)}: exit {run.returncode}\n{said.decode()}")
    return Cost(used.ru_utime + used.ru_stime, wall, used.ru_maxrss / 1024.0)


def decoded(picture: Path) -> float:
    """Return the processor seconds in which OpenCV decodes a picture."""
    call = [sys.executable, "-c", DECODE, str(picture)]
    return float(subprocess.run(call, check=True, capture_output=True, text=True).stdout)


def line_of(row: Row, costs: list[Cost], decodings: list[float]) -> str:
    """Return a row of the table."""
    middle = Cost(*(statistics.median(getattr(c, name) for c in costs) for name in Cost.__slots__))
    ratio = f"{middle.processor_s / statistics.median(decodings):.1f}" if decodings else ""
    return (
        f"| {row.name} | {row.about} | {middle.processor_s:.2f} | {middle.wall_s:.2f} | {ratio} | "
        f"{middle.peak_mb:.0f} | {row.wanted} |"
    )


def stage_table(job: Job) -> str:
    """Return the stages of one reading as a table."""
    times, calls = (
        json.loads(
            subprocess.run(
                [sys.executable, "-m", "benchmarks.stages", *more, *job.words[1:]],
                check=True,
                env=environment(),
                stdout=subprocess.PIPE,
            ).stdout
        )
        for more in ([], ["--calls"])
    )
    lines = ["| stage | processor, s | wall, s | calls |", "| --- | --- | --- | --- |"]
    for name, (processor, wall, _) in times.items():
        lines.append(f"| {name} | {processor:.2f} | {wall:.2f} | {calls[name][2]:,} |")
    return "\n".join(lines)


def main() -> None:
    """Read the command line, run all rows in turn and print the tables."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.speed", description=__doc__)
    parser.add_argument("--out", type=Path, default=ROOT / "benchmarks" / "out" / "speed")
    parser.add_argument("--rows", default=",".join(r.name for r in ROWS), help="with commas")
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--stages", default="scan-140,photo-12", help="rows shown stage by stage")
    args = parser.parse_args()
    by_name = {row.name: row for row in ROWS}
    rows = [by_name[name] for name in args.rows.split(",")]
    jobs = {row.name: row.prepare(args.out.resolve()) for row in rows}
    costs: dict[str, list[Cost]] = {row.name: [] for row in rows}
    decodings: dict[str, list[float]] = {row.name: [] for row in rows}
    for _ in range(args.runs):
        for row in rows:
            picture = jobs[row.name].picture
            if picture:
                decodings[row.name].append(decoded(picture))
            costs[row.name].append(timed(jobs[row.name]))
    print("| row | what | processor, s | wall, s | times decoding | peak, MB | wanted |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for row in rows:
        print(line_of(row, costs[row.name], decodings[row.name]))
    for name in filter(None, args.stages.split(",")):
        if name in jobs:
            print(f"\n{name}\n\n{stage_table(jobs[name])}")


if __name__ == "__main__":
    main()
