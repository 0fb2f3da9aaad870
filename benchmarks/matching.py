"""How well loose glass is outlined and matched: drawn benches with known truth.

``python -m benchmarks.matching --designs lancet,chapel --grounds light-table,cloth --seeds 501``
``python -m benchmarks.matching --hand second --designs canopy,rose --seeds 501``

With the first hand openings come from the drawn panel itself, so that what is measured is the
glass; with the second they are those of a tracing that strays by 0.2 mm. A piece counts as clear
when no other opening comes within `RIVAL_MM` (root of the mean square across the edge, best rigid
fit) of its own.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
from dataclasses import replace
from json import loads
from pathlib import Path
from time import process_time
from typing import Any

import numpy as np
import shapely
import shapely.affinity
from shapely.geometry import Polygon

from benchmarks.cases import ROOT
from benchmarks.matching_scores import Tally, judge, openings_of, pair, rivals
from rubbing2pattern.errors import RubbingError
from rubbing2pattern.inputs.reference import Dpi, Reference, read_marks, read_targets
from rubbing2pattern.matching.loose import LoosePiece
from rubbing2pattern.matching.matching_all import match_all
from rubbing2pattern.matching.outlines import LooseFound, find_pieces
from rubbing2pattern.options import Options
from rubbing2pattern.options.loose import LooseOptions
from rubbing2pattern.stages.load import load, load_colour
from rubbing2pattern.stages.rectify import rectify
from tests.loose_glass.scene import Bench, laid_out

HANDS = {
    "first": (
        "tests.loose_glass",
        "lancet,chapel,roundels,medallion",
        "light-table,paper,cloth,scan",
    ),
    "second": (
        "tests.second_bench",
        "barred_lattice,rose",
        "lightbox,paper,felt,linen,slate,scan",
    ),
}
"""Renderers of benches, with designs and grounds to begin with."""
OPENING_MM = 0.1
"""How far drawn openings are taken to be off."""
GLASS_MM = 3.0
"""Thickness that a person states of all glass on a bench."""


def scene(module: str, folder: Path, arguments: list[str]) -> dict[str, Any]:
    """Draw a bench unless it lies there, and return its truth."""
    if not (folder / "truth.json").exists():
        command = [sys.executable, "-m", module, *arguments, "-o", str(folder)]
        subprocess.run(command, cwd=ROOT, check=True)
    truth: dict[str, Any] = loads((folder / "truth.json").read_text(encoding="utf-8"))
    return truth


def outlined(folder: Path, photo: dict[str, Any]) -> LooseFound:
    """Return what is found in one photograph."""
    options = Options()
    reference: Reference
    if photo["dpi"]:
        reference = Dpi(photo["dpi"])
    elif photo.get("targets"):
        reference = read_targets(folder / photo["targets"])
    else:
        reference = read_marks(folder / photo["marks"])
    path = folder / photo["photo"]
    photograph = load(path, options.load)
    rubbing = rectify(photograph, reference, options.rectify)
    known: dict[str, float] = (
        {} if photo["dpi"] else {"glass_mm": GLASS_MM, "camera_mm": float(photo["camera_mm"])}
    )
    return find_pieces(load_colour(path, photograph), rubbing, LooseOptions(**known))


def bench(folder: Path, truth: dict[str, Any], tally: Tally, turn_over: bool) -> str:
    """Run one bench and return a line about it."""
    stray_mm = float(np.hypot(OPENING_MM, truth.get("stray_mm", 0.0)))
    openings = openings_of(truth.get("read", truth["openings"]), stray_mm)
    numbered = {o.number: o for o in openings}
    rival = rivals([Polygon(o["cut"]) for o in truth["openings"]])
    options = Options()
    own = Tally()
    pieces: list[LoosePiece] = []
    pairs: dict[str, dict[str, Any]] = {}
    begun = process_time()
    for photo in truth["photos"]:
        try:
            found = outlined(folder, photo)
        except RubbingError:
            own.true += len(photo["pieces"])  # refused, so not dropped without a word
            continue
        before = len(pieces)
        pieces += [replace(p, id=f"P{before + k}") for k, p in enumerate(found.pieces, start=1)]
        there = pair(found, photo["pieces"], own, bool(photo["dpi"]))
        pairs |= {f"P{before + int(name[1:])}": true for name, true in there.items()}
    outlined_s = process_time() - begun
    matches = match_all(pieces, openings, options, turn_over=turn_over)
    own.seconds.append(process_time() - begun)
    judge(matches, pairs, rival, own, options.match.doubtful_margin, numbered, turn_over)
    tally.add(own)
    return f"{folder.name:36} {own.line()}  outlines {outlined_s:.1f} s"


def fitted(design: str, seed: int, fragments: int, tally: Tally) -> str:
    """Match glass without pictures: its true outlines, moved anywhere, with 0.1 mm of noise."""
    rng = np.random.default_rng([seed, 78])
    drawn, glass = laid_out(Bench(design, seed, fragments=fragments), rng)
    rows = [{"index": o.index, "hearts": o.hearts, "cut": o.cut, "sight": o.sight} for o in drawn]
    openings = openings_of(rows, OPENING_MM)
    numbered = {o.number: o for o in openings}
    rival, options, own = rivals([o.cut for o in openings]), Options(), Tally()
    pieces, pairs = [], {}
    for k, piece in enumerate(glass, start=1):
        moved = shapely.affinity.rotate(piece.outline, rng.uniform(0, 360), origin=(0, 0))
        ring = shapely.get_coordinates(shapely.segmentize(moved, 1.0).exterior)[:-1]
        noisy = Polygon(ring + rng.normal(0.0, 0.1, ring.shape)).buffer(0)
        shape = max(shapely.get_parts(noisy), key=lambda p: p.area)
        pieces.append(LoosePiece(f"P{k}", "", Polygon(shape.exterior), 0.12))
        cut_ring = shapely.get_coordinates(piece.outline.exterior).tolist()
        pairs[f"P{k}"] = {
            "index": piece.index,
            "fragment": piece.fragment,
            "as_cut": cut_ring,
            "over": False,
        }
    begun = process_time()
    matches = match_all(pieces, openings, options)
    own.seconds.append(process_time() - begun)
    own.true = own.found = len(pieces)
    judge(matches, pairs, rival, own, options.match.doubtful_margin, numbered, False)
    tally.add(own)
    return f"{design:12} {seed:4} {own.line()}"


def main() -> None:
    """Draw, match and print."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.matching", description=__doc__)
    parser.add_argument("--hand", choices=tuple(HANDS), default="first")
    parser.add_argument("--designs")
    parser.add_argument("--grounds")
    parser.add_argument("--seeds", default="1")
    parser.add_argument("--fragments", type=int, default=0)
    parser.add_argument("--over", type=float, default=0.0, help="share that lies turned over")
    parser.add_argument("--turn-over", action="store_true", help="pieces may be turned over")
    parser.add_argument("--out", type=Path, default=ROOT / "benchmarks" / "out" / "loose")
    parser.add_argument("--only-fit", action="store_true", help="true outlines, no pictures")
    given = parser.parse_args()
    module, designs, grounds = HANDS[given.hand]
    designs, grounds = given.designs or designs, given.grounds or grounds
    total = Tally()
    if given.only_fit:
        for design in designs.split(","):
            for seed in given.seeds.split(","):
                print(fitted(design, int(seed), given.fragments, total), flush=True)
        print(f"{'all':17} {total.line()}")
        return
    for ground in grounds.split(","):
        tally = Tally()
        for design in designs.split(","):
            for seed in given.seeds.split(","):
                name = f"{ground}-{design}-{seed}-{given.fragments}"
                name += f"-over{given.over}" if given.over else ""
                arguments = ["--design", design, "--seed", seed, "--ground", ground]
                arguments += ["--fragments", str(given.fragments), "--over", str(given.over)]
                folder = given.out / given.hand / name
                truth = scene(module, folder, arguments)
                print(bench(folder, truth, tally, given.turn_over), flush=True)
        print(f"{ground:36} {tally.line()}", flush=True)
        total.add(tally)
    print(f"{'all':36} {total.line()}")


if __name__ == "__main__":
    main()
