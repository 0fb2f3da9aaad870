"""Accuracy on rendered rubbings: ``python -m benchmarks.accuracy --tiers clean --seeds 101,102``.

Rubbings are rendered once and kept. Each is read by the program itself, through its command
line, and its record is scored against the truth. ``--reading`` reads without drawing the other
documents, which costs less and scores the same. ``--chain`` scores the plain library chain
instead, as a reference. ``--hand second`` takes rubbings of the second renderer, ``both`` those of
both. ``--render`` only renders what is not there yet.
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

from benchmarks.cases import (
    RENDERERS,
    ROOT,
    Rubbing,
    case_arguments,
    cases,
    designs_of,
    fingerprint,
    rendered,
)
from benchmarks.scoring import Score, refused, score
from benchmarks.tables import case_line, table

LONGEST_S = 600.0
READ_BY = {
    "program": "rubbing2pattern",
    "reading": "rubbing2pattern without its documents",
    "chain": "the plain library chain",
}


def read(
    folder: Path, out: Path, *, only_reading: bool = False
) -> tuple[dict[str, Any] | None, str, float]:
    """Run the program on a rendering; return its record or None, why not, and the seconds."""
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    out = out.resolve()
    if only_reading:
        command = [sys.executable, "-m", "benchmarks.reader", str(out)]
    else:
        command = [sys.executable, "-m", "rubbing2pattern", "trace", truth["image"]]
        command += [*truth["reference"], "-o", str(out), "--overwrite"]
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


def measure(rubbing: Rubbing, version: str, out: Path, by: str) -> Score:
    """Render, read and score one rubbing; `by` is a key of `READ_BY`."""
    folder = rendered(rubbing, version)
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    if by == "chain":
        from benchmarks.chain import traced

        began = time.perf_counter()
        record: dict[str, Any] | None = traced(folder, truth)
        why, took = "", time.perf_counter() - began
    else:
        # Records without documents lie apart: the program replaces only folders of its own.
        place = out / ("readings" if by == "reading" else "records") / rubbing.name
        record, why, took = read(folder, place, only_reading=by == "reading")
    result = score(record, truth) if record is not None else refused(truth, why)
    return replace(result, seconds=took)


def main() -> None:
    """Read the command line, measure, print a line per rubbing and the table."""
    args = _arguments()
    hands = list(RENDERERS) if args.hand == "both" else [args.hand]
    tiers, captures = args.tiers.split(","), args.captures.split(",")
    todo = [r for hand in hands for r in _cases(args, hand)]
    versions = {hand: fingerprint(hand) for hand in hands}
    if args.render:
        for k, rubbing in enumerate(todo, start=1):
            print(f"{k}/{len(todo)} {rendered(rubbing, versions[rubbing.hand])}", flush=True)
        return
    scores: dict[Rubbing, Score] = {}
    with ThreadPoolExecutor(args.jobs) as pool:
        work = {r: pool.submit(measure, r, versions[r.hand], args.out, args.by) for r in todo}
        for rubbing, result in work.items():
            scores[rubbing] = result.result()
            print(case_line(rubbing.name, scores[rubbing]), flush=True)
    designs = sorted({r.design for r in todo})
    text = (
        f"Accuracy of {READ_BY[args.by]}; seeds {args.seeds}; designs {', '.join(designs)}\n\n"
        f"{table(columns_of(scores, hands, tiers, captures))}"
    )
    print("\n" + text)
    (args.out / ("chain.md" if args.by == "chain" else "accuracy.md")).write_text(
        text, encoding="utf-8"
    )


def columns_of(
    scores: dict[Rubbing, Score], hands: list[str], tiers: list[str], captures: list[str]
) -> dict[tuple[str, str, str], list[Score]]:
    """Return the scores by hand, tier and capture; "all" where there are several captures."""
    columns = {}
    for hand in hands:
        for t in tiers:
            here = {r: s for r, s in scores.items() if (r.hand, r.tier) == (hand, t)}
            for c in captures:
                columns[hand, t, c] = [s for r, s in here.items() if r.capture == c]
            if len(captures) > 1:
                columns[hand, t, "all"] = list(here.values())
    return columns


def _cases(args: argparse.Namespace, hand: str) -> list[Rubbing]:
    """Return the cases of one hand: all its designs, or those it has of the ones named."""
    known = designs_of(hand)
    asked = known if args.designs == "all" else args.designs.split(",")
    designs = [d for d in asked if d in known or args.hand != "both"]
    if lost := set(designs) - set(known):
        sys.exit(f"the {hand} hand draws no {', '.join(sorted(lost))}; it draws {', '.join(known)}")
    seeds = [int(s) for s in args.seeds.split(",")]
    return cases(args.tiers.split(","), args.captures.split(","), designs, seeds, args.out, hand)


def _arguments() -> argparse.Namespace:
    parser = case_arguments("accuracy", __doc__, "clean,everyday", "101,102,103")
    parser.add_argument("--hand", choices=(*RENDERERS, "both"), default="first")
    parser.add_argument("--render", action="store_true", help="render only; read nothing")
    by = parser.add_mutually_exclusive_group()
    by.add_argument(
        "--reading",
        dest="by",
        action="store_const",
        const="reading",
        default="program",
        help="read without writing documents",
    )
    by.add_argument(
        "--chain", dest="by", action="store_const", const="chain", help="score the library chain"
    )
    return parser.parse_args()


if __name__ == "__main__":
    main()
