"""Stated confidence against truth: ``python -m benchmarks.calibration --tiers hard --seeds 11,12``.

Rubbings are rendered once and kept. Each is read by the program itself, through its command line;
every came of its record is then right or wrong, and the share that is right is set beside the
confidence that the record states. A came is right when 80 % of its length lies within 2 mm of a
true lead line.
"""

from __future__ import annotations

import json
from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import LineString

from benchmarks.accuracy import read
from benchmarks.alignment import align, sample
from benchmarks.cases import Rubbing, case_arguments, cases, fingerprint, rendered
from tests.rendering.designs import DESIGNS

Array = npt.NDArray[np.float64]

NEAR_MM = 2.0
RIGHT_SHARE = 0.8
EDGES = (0.0, 0.2, 0.4, 0.6, 0.8, 0.9, 0.95, 0.98, 0.99, 0.995, 1.0)


def judged(record: dict[str, Any], truth: dict[str, Any]) -> Array:
    """Return for every came its stated confidence, 1 if it is right, and its length, (N, 3)."""
    traced = [np.array(came["path"], float) for came in record["cames"]]
    true = [np.array(came["path"], float) for came in truth["cames"]]
    if not traced:
        return np.zeros((0, 3))
    motion, _ = align(traced, true)
    lines = shapely.union_all([LineString(path) for path in true])
    rows = []
    for came, path in zip(record["cames"], traced, strict=True):
        away = shapely.distance(lines, shapely.points(sample(motion.apply(path), 0.5)))
        right = float((away <= NEAR_MM).mean()) >= RIGHT_SHARE
        rows.append((came["confidence"], float(right), LineString(path).length))
    return np.array(rows)


def reliability(rows: Array) -> str:
    """Return a table in Markdown: bins of stated confidence, mean stated, share right."""
    lines = ["| stated | cames | mean stated | right | wrong |", "| --- | --- | --- | --- | --- |"]
    for low, high in pairwise(EDGES):
        last = high == EDGES[-1]
        inside = rows[(rows[:, 0] >= low) & ((rows[:, 0] < high) | last)]
        if not len(inside):
            continue
        stated, right = inside[:, 0].mean(), inside[:, 1].mean()
        wrong = int((1.0 - inside[:, 1]).sum())
        lines.append(
            f"| {low:g} to {high:g} | {len(inside)} | {stated:.3f} | {right:.3f} | {wrong} |"
        )
    return "\n".join(lines) + "\n"


def calibration_error(rows: Array) -> float:
    """Return the mean over the cames of the gap between stated and right in their bin."""
    bins = np.clip(np.searchsorted(EDGES, rows[:, 0], side="right") - 1, 0, len(EDGES) - 2)
    gaps = [
        abs(float((rows[bins == k, 0] - rows[bins == k, 1]).sum())) for k in range(len(EDGES) - 1)
    ]
    return sum(gaps) / max(1, len(rows))


def area_under_curve(rows: Array) -> float:
    """Return the chance that a right came is stated surer than a wrong one, ties counting half."""
    right, wrong = (rows[rows[:, 1] == value, 0] for value in (1.0, 0.0))
    if not right.size or not wrong.size:
        return float("nan")
    above = (right[:, None] > wrong[None]).mean() + 0.5 * (right[:, None] == wrong[None]).mean()
    return float(above)


def measure(rubbing: Rubbing, version: str, out: Path) -> tuple[Array, str]:
    """Render, read and judge one rubbing; without a record, no rows and why."""
    folder = rendered(rubbing, version)
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    record, why, _ = read(folder, out / "records" / rubbing.name)
    return (np.zeros((0, 3)), why) if record is None else (judged(record, truth), "")


def main() -> None:
    """Read the command line, measure, print a line per rubbing and a table per tier."""
    args = case_arguments("calibration", __doc__, "everyday,hard", "11,12").parse_args()
    designs = sorted(DESIGNS) if args.designs == "all" else args.designs.split(",")
    seeds = [int(s) for s in args.seeds.split(",")]
    tiers, captures = args.tiers.split(","), args.captures.split(",")
    version = fingerprint()
    found: dict[str, list[Array]] = {tier: [] for tier in tiers}
    with ThreadPoolExecutor(args.jobs) as pool:
        todo = cases(tiers, captures, designs, seeds, args.out)
        work = {rubbing: pool.submit(measure, rubbing, version, args.out) for rubbing in todo}
        for rubbing, job in work.items():
            rows, why = job.result()
            found[rubbing.tier].append(rows)
            wrong = int((1.0 - rows[:, 1]).sum())
            print(f"{rubbing.name:38s} {why or f'cames {len(rows)} wrong {wrong}'}", flush=True)
    for tier, parts in found.items():
        rows = np.vstack(parts)
        print(
            f"\n{tier}; seeds {args.seeds}; {len(rows)} cames, calibration error "
            f"{calibration_error(rows):.4f}, area under the curve {area_under_curve(rows):.3f}\n"
        )
        print(reliability(rows))


if __name__ == "__main__":
    main()
