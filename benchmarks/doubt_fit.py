"""Fit how far leads may be off: ``python -m benchmarks.doubt_fit --tiers everyday --seeds 25,26``.

Rubbings are rendered once and kept, and read up to their lead lines. Every came then has its
figures (`rubbing2pattern.laying.doubt`) and its true greatest deviation. It prints the weights of
`rubbing2pattern.fitting.fitted_weights`, and the stated chance of 1 mm beside the share that is
off. Each seed is predicted by weights fitted on the others. ``--kept FILE`` keeps what was read for
another fit; ``--write`` writes the weights into the program's file and raises its version by
one.
"""

from __future__ import annotations

import argparse
import json
import os
import pickle
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from unittest.mock import patch

import numpy as np
import numpy.typing as npt
import shapely
from scipy.special import expit
from shapely.geometry import LineString

from benchmarks.alignment import sample
from benchmarks.cases import case_arguments, cases, designs_of, fingerprint, rendered
from benchmarks.fits import FILE, logistic, write_fitted
from benchmarks.laying import to_sheet
from benchmarks.straying import Leads
from rubbing2pattern.cli.shared import options_of, reference_of
from rubbing2pattern.cli.trace import trace
from rubbing2pattern.errors import RubbingError
from rubbing2pattern.fitting.fitted_weights import STRAY_FIGURES
from rubbing2pattern.imaging.lead_network import VERSION
from rubbing2pattern.laying import leads
from rubbing2pattern.laying.doubt import Doubts
from rubbing2pattern.reading import LeadNet, Rubbing
from rubbing2pattern.workflows import pipeline

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

DISTANCES_MM = (0.8, 1.0, 1.3, 2.0)
MISSING_MM = 3.0
"""A true lead farther than this from all laid ones is missing, which is another doubt."""
MOST_OFF = 0.2
"""Share of cames off beyond which the whole sheet is bent, which is another doubt."""
PULL = 6.0
"""Pull of the weights, of figures with unit variance, towards 0."""
EDGES = (0.0, 0.02, 0.05, 0.1, 0.2, 0.35, 0.5, 1.0)


@dataclass(frozen=True, slots=True)
class Cames:
    """The cames of one rubbing.

    Attributes
    ----------
    tier, seed : of the rubbing.
    figures : (C, F) the figures from which their doubt follows.
    off_mm : (C,) greatest distance from the true leads, or of a true lead from them.
    """

    tier: str
    seed: int
    figures: Array
    off_mm: Array


def read(folder: Path) -> tuple[LeadNet, Rubbing, Doubts]:
    """Read the rendering in a folder up to its lead lines."""
    case = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    doubts: list[Doubts] = []
    nets: list[tuple[LeadNet, Rubbing]] = []
    doubts_of, tidy = leads.doubts_of, pipeline.tidy

    def noted(*given: object) -> Doubts:
        doubts.append(doubts_of(*given))  # type: ignore[arg-type]
        return doubts[-1]

    def tidied(*given: object) -> LeadNet:
        nets.append((tidy(*given), given[2]))  # type: ignore[arg-type]
        return nets[-1][0]

    before = Path.cwd()
    os.chdir(folder)
    try:
        line = [case["image"], *case["reference"], "-o", "unused"]
        given = dict(trace.make_context("trace", line).params)
        with patch.object(leads, "doubts_of", noted), patch.object(pipeline, "tidy", tidied):
            pipeline.trace_rubbing(given["image"], reference_of(given), options=options_of(given))
    finally:
        os.chdir(before)
    return *nets[-1], doubts[-1]


def cames_of(folder: Path) -> Cames:
    """Return the cames of a rendering, without those that end freely or that miss a lead beside."""
    net, rubbing, doubts = read(folder)
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    met = np.bincount([j for c in net.cames for j in (c.start, c.end)], minlength=len(net.joints))
    free = [(bool(met[c.start] == 1), bool(met[c.end] == 1)) for c in net.cames]
    laid = Leads([c.curve.points() for c in net.cames], free)
    true = Leads([to_sheet(np.array(c["path"]), truth, rubbing) for c in truth["cames"]], [])
    own = np.array([_away(p, [LineString(q) for q in true.paths])[0].max() for p in laid.paths])
    off, missing = own.copy(), np.zeros(len(own), dtype=bool)
    for path in true.paths:
        far, nearest = _away(path, laid.run_on())
        gone = far.max() > MISSING_MM
        missing[nearest[far > MISSING_MM]] = True
        if not gone:
            np.maximum.at(off, nearest, far)
    kept = ~np.array([any(f) for f in free]) & ~(missing & (own < 1.0))
    seed, tier = truth["case"]["seed"], folder.name.split("-")[0]
    return Cames(tier, int(seed), doubts.figures[kept], off[kept])


def _away(path: Array, lines: list[LineString]) -> tuple[Array, npt.NDArray[np.int64]]:
    """Return how far places along a path lie from the nearest of lines, and which that is."""
    places = np.vstack((path[:1], sample(path, 0.5), path[-1:]))
    (_, which), far = shapely.STRtree(lines).query_nearest(
        shapely.points(places), return_distance=True, all_matches=False
    )
    return np.asarray(far), np.asarray(which)


def fitted(figures: Array, off_mm: Array) -> Array:
    """Return constant, weights and fall with log distance: logistic regression, all distances."""
    rows = np.vstack([_with_distance(figures, d) for d in DISTANCES_MM])
    off = np.concatenate([off_mm > d for d in DISTANCES_MM]).astype(np.float64)
    return logistic(rows, off, PULL)


def _with_distance(figures: Array, mm: float) -> Array:
    return np.column_stack((figures, np.full(len(figures), -np.log(mm))))


def reliability(cames: list[Cames]) -> str:
    """Return a table of the stated chance of 1 mm and the share that is off, by tier."""
    tiers = sorted({c.tier for c in cames})
    stated: list[Array] = []
    for one in cames:
        rest = [c for c in cames if c.seed != one.seed]
        look = fitted(
            np.vstack([c.figures for c in rest]), np.concatenate([c.off_mm for c in rest])
        )
        stated.append(expit(look[0] + one.figures @ look[1:-1]))
    lines = [f"| stated | {' | '.join(tiers)} |", "| --- |" + " --- |" * len(tiers)]
    for low, high in pairwise(EDGES):
        cells = []
        for tier in tiers:
            chance = np.concatenate(
                [s for s, c in zip(stated, cames, strict=True) if c.tier == tier]
            )
            off = np.concatenate([c.off_mm > 1.0 for c in cames if c.tier == tier])
            here = (chance >= low) & (chance < high)
            cells.append(f"{off[here].mean() if here.any() else 0:.3f} of {here.sum()}")
        lines.append(f"| {low:.2f} to {high:.2f} | {' | '.join(cells)} |")
    return "\n".join(lines)


def main() -> None:
    """Read, fit and print."""
    args = _arguments()
    if args.kept and args.kept.exists():
        every: list[Cames] = pickle.loads(args.kept.read_bytes())
    else:
        every = _read_all(args)
        if args.kept:
            args.kept.write_bytes(pickle.dumps(every))
    flat = [c for c in every if (c.off_mm > 1.0).mean() <= MOST_OFF]
    figures, off = np.vstack([c.figures for c in flat]), np.concatenate([c.off_mm for c in flat])
    print(f"{len(flat)} of {len(every)} rubbings, {len(off)} cames, {(off > 1.0).sum()} off")
    weights = tuple(round(float(v), 3) for v in fitted(figures, off))
    for name, weight in zip(STRAY_FIGURES, weights, strict=True):
        print(f"{weight:8.3f} {name}")
    print(reliability(flat))
    if args.write:
        write_weights(FILE, weights, flat, args)


def write_weights(
    path: Path, weights: tuple[float, ...], flat: list[Cames], args: argparse.Namespace
) -> None:
    """Write the file of fitted weights with these in it."""
    cames = sum(len(c.off_mm) for c in flat)
    fitted_on = (
        f"{cames:,} cames of {len(flat)} rubbings: {args.captures} of seeds {args.seeds}, "
        f"{args.tiers}; lead map version {VERSION}"
    )
    write_fitted(path, "stray", weights, "benchmarks.doubt_fit", fitted_on)


def _read_all(args: argparse.Namespace) -> list[Cames]:
    version, designs = fingerprint("first"), designs_of("first")
    if args.designs != "all":
        designs = args.designs.split(",")
    todo = cases(
        args.tiers.split(","),
        args.captures.split(","),
        designs,
        [int(s) for s in args.seeds.split(",")],
        args.out,
    )
    found = []
    for rubbing in todo:
        try:
            found.append(cames_of(rendered(rubbing, version)))
        except RubbingError as fault:
            print(f"{rubbing.name}: {fault}", flush=True)
    return found


def _arguments() -> argparse.Namespace:
    parser = case_arguments("doubt_fit", __doc__, "clean,everyday,hard", "25,26")
    parser.add_argument("--kept", type=Path, default=None, help="file for what was read")
    parser.add_argument("--write", action="store_true", help="write the program's file of weights")
    return parser.parse_args()


if __name__ == "__main__":
    main()
