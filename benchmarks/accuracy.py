"""Accuracy on rendered rubbings: ``python -m benchmarks.accuracy --tiers clean --seeds 101,102``.

Rubbings are rendered once and kept. Each is read by the program itself, through its command
line, and its record is scored against the truth. ``--chain`` scores the plain library chain
instead, as a reference.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Any

from benchmarks.cases import ROOT, Rubbing, case_arguments, cases, fingerprint, rendered
from benchmarks.scoring import Score, refused, score
from benchmarks.tables import case_line, table
from tests.rendering.designs import DESIGNS

LONGEST_S = 600.0


def read(folder: Path, out: Path) -> tuple[dict[str, Any] | None, str, float]:
    """Run the program on a rendering; return its record or None, why not, and the seconds."""
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    command = [sys.executable, "-m", "rubbing2pattern", "trace", truth["image"]]
    command += [*truth["reference"], "-o", str(out.resolve()), "--overwrite"]
    paths = [str(ROOT), os.environ.get("PYTHONPATH", "")]
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(p for p in paths if p)}
    began = time.perf_counter()
    try:
        run = subprocess.run(
            command, cwd=folder, env=env, capture_output=True, text=True, timeout=LONGEST_S
        )
    except subprocess.TimeoutExpired:
        return None, f"longer than {LONGEST_S:.0f} s", LONGEST_S
    took = time.perf_counter() - began
    if run.returncode:
        lines = run.stderr.strip().splitlines() or [""]
        return None, f"exit {run.returncode}: {lines[-1][:160]}", took
    record = json.loads((out / "panel.json").read_text(encoding="utf-8"))
    return record, "", took


def measure(rubbing: Rubbing, version: str, out: Path, *, chain: bool) -> Score:
    """Render, read and score one rubbing."""
    folder = rendered(rubbing, version)
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    if chain:
        from benchmarks.chain import traced

        began = time.perf_counter()
        record: dict[str, Any] | None = traced(folder, truth)
        why, took = "", time.perf_counter() - began
    else:
        record, why, took = read(folder, out / "records" / rubbing.name)
    result = score(record, truth) if record is not None else refused(truth, why)
    return replace(result, seconds=took)


def main() -> None:
    """Read the command line, measure, print a line per rubbing and the table."""
    args = _arguments()
    designs = sorted(DESIGNS) if args.designs == "all" else args.designs.split(",")
    seeds = [int(s) for s in args.seeds.split(",")]
    tiers, captures = args.tiers.split(","), args.captures.split(",")
    todo = cases(tiers, captures, designs, seeds, args.out)
    version = fingerprint()
    scores: dict[Rubbing, Score] = {}
    with ThreadPoolExecutor(args.jobs) as pool:
        work = {r: pool.submit(measure, r, version, args.out, chain=args.chain) for r in todo}
        for rubbing, result in work.items():
            scores[rubbing] = result.result()
            print(case_line(rubbing.name, scores[rubbing]), flush=True)
    columns = {}
    for t in tiers:
        for c in captures:
            columns[t, c] = [s for r, s in scores.items() if (r.tier, r.capture) == (t, c)]
        if len(captures) > 1:
            columns[t, "all"] = [s for r, s in scores.items() if r.tier == t]
    what = "the plain library chain" if args.chain else "rubbing2pattern"
    text = (
        f"Accuracy of {what}; seeds {args.seeds}; designs {', '.join(designs)}\n\n{table(columns)}"
    )
    print("\n" + text)
    (args.out / ("chain.md" if args.chain else "accuracy.md")).write_text(text, encoding="utf-8")


def _arguments() -> argparse.Namespace:
    parser = case_arguments("accuracy", __doc__, "clean,everyday", "101,102,103")
    parser.add_argument("--chain", action="store_true", help="score the plain library chain")
    return parser.parse_args()


if __name__ == "__main__":
    main()
