"""How well loose glass is outlined and matched: drawn benches with known truth.

``python -m benchmarks.matching --designs lancet,chapel --grounds light-table,cloth --seeds 501``

Openings come from the drawn panel itself, so that what is measured is the glass, not the reading of
a rubbing. A piece counts as unambiguous when no other opening comes within `RIVAL_MM` (root of the
mean square across the edge, best rigid fit) of its own.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
from dataclasses import dataclass, field
from pathlib import Path
from time import perf_counter
from typing import Any

import numpy as np
import shapely
import shapely.affinity
from shapely.geometry import Polygon

from benchmarks.cases import ROOT
from rubbing2pattern.geometry.frame import Placement
from rubbing2pattern.inputs.reference import Dpi, Reference, read_marks
from rubbing2pattern.matching.assigning import assign
from rubbing2pattern.matching.clearance import laid
from rubbing2pattern.matching.fitting import Pose
from rubbing2pattern.matching.fragments import assemble
from rubbing2pattern.matching.loose import LoosePiece, Matches, Opening, Placed
from rubbing2pattern.matching.outlines import find_pieces
from rubbing2pattern.options import Options
from rubbing2pattern.options.loose import LooseOptions
from rubbing2pattern.options.match import MatchOptions
from rubbing2pattern.stages.load import load, load_colour
from rubbing2pattern.stages.rectify import rectify
from tests.loose_glass.scene import Bench, laid_out

RIVAL_MM = 0.7
OVERLAP = 0.8
PLACES = 256


@dataclass
class Tally:
    """Sums over benches."""

    true: int = 0
    found: int = 0
    false: int = 0
    off_mm: list[float] = field(default_factory=list)
    groze_off_mm: list[float] = field(default_factory=list)
    short_off_mm: list[float] = field(default_factory=list)
    over: int = 0
    over_right: int = 0
    clear: int = 0
    clear_right: int = 0
    wrong_sure: int = 0
    strangers: int = 0
    strangers_left_out: int = 0
    fragments: int = 0
    fragments_right: int = 0
    fragments_wrong: int = 0
    seconds: list[float] = field(default_factory=list)


def ring(outline: Polygon) -> np.ndarray[Any, Any]:
    """Return an outline as centred complex numbers at even steps, anticlockwise."""
    line = shapely.orient_polygons(outline).exterior
    places = shapely.get_coordinates(line.interpolate(np.arange(PLACES) * line.length / PLACES))
    return (places - places.mean(axis=0)) @ np.array((1.0, 1.0j))


def rivals(cuts: list[Polygon]) -> list[set[int]]:
    """Return for each cut outline the others that a glazier could take for it."""
    rings = [ring(cut) for cut in cuts]
    found: list[set[int]] = [set() for _ in cuts]
    for i, a in enumerate(rings):
        for j in range(i + 1, len(rings)):
            if abs(cuts[i].area - cuts[j].area) > 2 * RIVAL_MM * cuts[i].length:
                continue
            b = rings[j]
            sums = np.fft.ifft(np.fft.fft(b) * np.conj(np.fft.fft(a)))
            start = int(np.abs(sums).argmax())
            turned = a * np.exp(1j * np.angle(sums[start]))
            there = np.roll(b, -start)
            along = np.roll(there, -1) - np.roll(there, 1)
            across = ((there - turned) * np.conj(1j * along / np.abs(along))).real
            if np.sqrt(np.mean(across**2)) < RIVAL_MM:
                found[i].add(j)
                found[j].add(i)
    return found


def scene(folder: Path, arguments: list[str]) -> dict[str, Any]:
    """Draw a bench unless it lies there, and return its truth."""
    if not (folder / "truth.json").exists():
        command = [sys.executable, "-m", "tests.loose_glass", *arguments, "-o", str(folder)]
        subprocess.run(command, cwd=ROOT, check=True)
    truth: dict[str, Any] = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    return truth


def outlined(folder: Path, photo: dict[str, Any]) -> list[LoosePiece]:
    """Return the pieces found in one photograph."""
    options = Options()
    reference: Reference = (
        Dpi(photo["dpi"]) if photo["dpi"] else read_marks(folder / photo["marks"])
    )
    path = folder / photo["photo"]
    photograph = load(path, options.load)
    rubbing = rectify(photograph, reference, options.rectify)
    known = {} if photo["dpi"] else {"glass_mm": 3.0, "camera_mm": float(photo["camera_mm"])}
    found = find_pieces(load_colour(path, photograph), rubbing, LooseOptions(**known))
    return list(found.pieces)


def pair(
    found: list[LoosePiece], true: list[dict[str, Any]], tally: Tally, flat: bool
) -> dict[str, dict[str, Any]]:
    """Pair found pieces with true ones by overlap; note outline errors."""
    shapes = [Polygon(t["outline"]) for t in true]
    if flat:  # a scan has its own origin
        shift = np.mean([p.outline.centroid.coords[0] for p in found], axis=0) - np.mean(
            [s.centroid.coords[0] for s in shapes], axis=0
        )
        shapes = [shapely.transform(s, lambda p: p + shift) for s in shapes]
    pairs: dict[str, dict[str, Any]] = {}
    taken: set[int] = set()
    for piece in found:
        best, share = -1, 0.0
        for k, shape in enumerate(shapes):
            if k not in taken and shape.intersects(piece.outline):
                both = shape.intersection(piece.outline).area
                overlap = both / (shape.area + piece.outline.area - both)
                best, share = (k, overlap) if overlap > share else (best, share)
        if share < OVERLAP:
            tally.false += 1
            continue
        taken.add(best)
        pairs[piece.id] = true[best]
        edge = piece.outline.exterior
        places = edge.interpolate(np.arange(0.0, edge.length, 1.0))
        tally.off_mm.extend(shapely.distance(places, shapes[best].exterior).tolist())
    tally.true += len(true)
    tally.found += len(pairs)
    return pairs


def judge(
    matches: Matches,
    placed: dict[str, tuple[int, Polygon]],
    pairs: dict[str, dict[str, Any]],
    rival: list[set[int]],
    tally: Tally,
    least: float,
    openings: dict[int, Opening],
) -> None:
    """Score numbers, strangers, fragments and amounts."""
    for match in matches.matches:
        if match.piece.id not in pairs:
            continue
        true = pairs[match.piece.id]
        numbers = set(match.numbers)
        if true["fragment"]:
            tally.fragments += 1
            if match.piece.id in placed:
                number, outline = placed[match.piece.id]
                good = goes_over(
                    Polygon(true["as_cut"]), outline, openings[true["index"]], openings[number]
                )
                tally.fragments_right += good
                tally.fragments_wrong += not good
            elif numbers and match.margin > least:
                tally.wrong_sure += true["index"] not in numbers
            continue
        if true["index"] is None:
            tally.strangers += 1
            tally.strangers_left_out += not numbers
            tally.wrong_sure += bool(numbers) and match.margin > least
            continue
        if not rival[true["index"]]:
            tally.clear += 1
            tally.clear_right += true["index"] in numbers
        tally.wrong_sure += bool(numbers) and true["index"] not in numbers and match.margin > least
        if match.placed and true["index"] in numbers:
            tally.over += true["over"]
            tally.over_right += true["over"] and match.placed.over
            compare_amounts(match.placed, true, openings[match.placed.number], tally)


def goes_over(cut: Polygon, laid: Polygon, home: Opening, there: Opening) -> bool:
    """Say whether a fragment lies in an opening as it lies in its own, turned round or not.

    The motion that carries it from where it was cut to where it was laid has to carry its own
    opening over the one that it was laid in.
    """
    first, then = ring(cut), ring(laid)
    sums = np.fft.ifft(np.fft.fft(then) * np.conj(np.fft.fft(first)))
    turn = float(np.angle(sums[int(np.abs(sums).argmax())]))
    moved = shapely.affinity.rotate(home.cut, turn, origin=cut.centroid, use_radians=True)
    shift = np.subtract(laid.centroid.coords[0], cut.centroid.coords[0])
    moved = shapely.affinity.translate(moved, *shift)
    return bool(moved.symmetric_difference(there.cut).area < RIVAL_MM * there.cut.length)


def compare_amounts(placed: Placed, true: dict[str, Any], opening: Opening, tally: Tally) -> None:
    """Note how far amounts to groze and to fall short are from those of the true outline.

    The true outline begins where it was cut for; both are then eased in by the same rule.
    """
    if true["index"] != opening.number or placed.over is not bool(true["over"]):
        return
    glass = LoosePiece("true", "", Polygon(true["as_cut"]), 0.1)
    there = laid(glass, Pose(0, 0, False, Placement(0.0), 0.0, 0.0), opening, MatchOptions())
    tally.groze_off_mm.append(abs(placed.groze_mm - there.groze_mm))
    tally.short_off_mm.append(abs(placed.short_mm - there.short_mm))


def bench(folder: Path, arguments: list[str], tally: Tally, turn_over: bool) -> str:
    """Run one bench and return a line about it."""
    truth = scene(folder, arguments)
    openings = [
        Opening(o["index"], Polygon(o["hearts"]), Polygon(o["cut"]), Polygon(o["sight"]), 0.1)
        for o in truth["openings"]
    ]
    numbered = {o.number: o for o in openings}
    rival = rivals([o.cut for o in openings])
    options = Options()
    own = Tally()
    pieces: list[LoosePiece] = []
    pairs: dict[str, dict[str, Any]] = {}
    begun = perf_counter()
    for photo in truth["photos"]:
        found = [
            LoosePiece(f"P{len(pieces) + k}", p.photo, p.outline, p.uncertainty_mm, p.whole)
            for k, p in enumerate(outlined(folder, photo), start=1)
        ]
        pieces += found
        pairs |= pair(found, photo["pieces"], own, bool(photo["dpi"]))
    outlined_s = perf_counter() - begun
    matches, placed = matched(pieces, openings, options, turn_over)
    own.seconds.append(perf_counter() - begun)
    judge(matches, placed, pairs, rival, own, options.match.doubtful_margin, numbered)
    for name, value in vars(own).items():
        setattr(tally, name, getattr(tally, name) + value)
    return f"{folder.name:36} {tally_line(own)}  outlines {outlined_s:.1f} s"


def fitted(design: str, seed: int, fragments: int, tally: Tally) -> str:
    """Match glass without pictures: its true outlines, moved anywhere, with 0.1 mm of noise."""
    rng = np.random.default_rng([seed, 78])
    drawn, glass = laid_out(Bench(design, seed, fragments=fragments), rng)
    openings = [Opening(o.index, o.hearts, o.cut, o.sight, 0.1) for o in drawn]
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
        true = {
            "index": piece.index,
            "fragment": piece.fragment,
            "as_cut": cut_ring,
            "over": False,
        }
        pairs[f"P{k}"] = true
    begun = perf_counter()
    matches, placed = matched(pieces, openings, options)
    own.seconds.append(perf_counter() - begun)
    own.true = own.found = len(pieces)
    judge(matches, placed, pairs, rival, own, options.match.doubtful_margin, numbered)
    for name, value in vars(own).items():
        setattr(tally, name, getattr(tally, name) + value)
    return f"{design:12} {seed:4} {tally_line(own)}"


def matched(
    pieces: list[LoosePiece],
    openings: list[Opening],
    options: Options,
    turn_over: bool = False,
) -> tuple[Matches, dict[str, tuple[int, Polygon]]]:
    """Return the matches of whole pieces, and where fragments were placed."""
    matches = assign(pieces, openings, options.match, turn_over=turn_over)
    left = [m.piece for m in matches.matches if m.placed is None and m.piece.whole]
    unfilled = [o for o in openings if o.number in matches.unfilled]
    fragments = assemble(left, unfilled, options.fragments, turn_over)
    return matches, {
        name: (a.number, part.outline)
        for a in fragments
        for name, part in zip(a.pieces, a.parts, strict=True)
    }


def tally_line(t: Tally) -> str:
    """Return the figures of a tally in one line."""
    off, groze, short = (
        float(np.percentile(each, 95)) if each else float("nan")
        for each in (t.off_mm, t.groze_off_mm, t.short_off_mm)
    )
    over = f"turned over {t.over_right}/{t.over}  " if t.over else ""
    return (
        f"found {t.found}/{t.true} false {t.false}  edge {off:.2f} mm  groze off {groze:.2f}  "
        f"short off {short:.2f}  {over}clear right "
        f"{t.clear_right}/{t.clear}  wrong and sure {t.wrong_sure}  strangers "
        f"{t.strangers_left_out}/{t.strangers}  fragments {t.fragments_right}/{t.fragments} wrong "
        f"{t.fragments_wrong}  {sum(t.seconds):.1f} s"
    )


def main() -> None:
    """Draw, match and print."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.matching", description=__doc__)
    parser.add_argument("--designs", default="lancet,chapel,roundels,medallion")
    parser.add_argument("--grounds", default="light-table,paper,cloth,scan")
    parser.add_argument("--seeds", default="1")
    parser.add_argument("--fragments", type=int, default=0)
    parser.add_argument("--over", type=float, default=0.0, help="share that lies turned over")
    parser.add_argument("--out", type=Path, default=ROOT / "benchmarks" / "out" / "loose")
    parser.add_argument("--only-fit", action="store_true", help="true outlines, no pictures")
    given = parser.parse_args()
    total = Tally()
    if given.only_fit:
        for design in given.designs.split(","):
            for seed in given.seeds.split(","):
                print(fitted(design, int(seed), given.fragments, total), flush=True)
        print(f"{'all':17} {tally_line(total)}")
        return
    for ground in given.grounds.split(","):
        tally = Tally()
        for design in given.designs.split(","):
            for seed in given.seeds.split(","):
                name = f"{ground}-{design}-{seed}-{given.fragments}"
                name += f"-over{given.over}" if given.over else ""
                arguments = ["--design", design, "--seed", seed, "--ground", ground]
                arguments += ["--fragments", str(given.fragments), "--over", str(given.over)]
                print(bench(given.out / name, arguments, tally, given.over > 0.0), flush=True)
        print(f"{ground:36} {tally_line(tally)}", flush=True)
        for key, value in vars(tally).items():
            setattr(total, key, getattr(total, key) + value)
    print(f"{'all':36} {tally_line(total)}")


if __name__ == "__main__":
    main()
