"""Fit how likely a boundary is lead: ``python -m benchmarks.boundary_fit FOLDER [--write]``.

The folder holds rubbings of the training's validation set, which no training saw
(``python -m training.validate FOLDER 96``). The program reads them up to its boundaries and weighs
them. It prints the weights of `rubbing2pattern.fitting.fitted_weights`, how they judge beside those
that the program has, and the stated chances beside the share that is lead. Each picture is
predicted by weights fitted on the others. ``--write`` writes the weights into the program's file.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt
from scipy.special import expit
from shapely.geometry import Polygon

from benchmarks.fits import FILE, logistic, write_fitted
from rubbing2pattern.errors import RubbingError
from rubbing2pattern.fitting.fitted_weights import BOUNDARY_FIGURES, fitted_weights
from rubbing2pattern.geometry.frame import Warp
from rubbing2pattern.imaging.lead_network import CELL_MM, VERSION
from rubbing2pattern.imaging.profiles import evenly
from rubbing2pattern.options import Options
from rubbing2pattern.parting.evidence import evidence_of, highest_near, smooth_ink
from rubbing2pattern.parting.splitting import split_at_gaps
from rubbing2pattern.reading import Photograph, Rubbing, Scale
from rubbing2pattern.stages.lead import find_lead
from rubbing2pattern.stages.skeleton import skeletonize
from rubbing2pattern.stages.trace import trace

Array = npt.NDArray[np.float64]

HALF, LINE = 127, 204
"""Bytes of the files, 0 to 255: from the first on a cell is sheet, from the second a lead line."""
NEAR_MM = 1.5
"""A place so near to a true lead line lies on it."""
LEAD, NONE = 0.8, 0.3
"""From the first share of its length on lead lines a boundary is lead, up to the second it is not.
Boundaries in between are left out."""
RIM_MM = 4.0
"""A boundary along the edge of the picture, where the truth is cut off, is left out."""
PULL = 1.0
"""Pull of the weights, of figures with unit variance, towards 0."""
FOLDS = 8
EDGES = (0.0, 0.1, 0.2, 0.3, 0.5, 0.7, 0.8, 0.9, 1.0)


@dataclass(frozen=True, slots=True)
class Boundaries:
    """The boundaries of one rubbing: figures (N, 4) in the order of `BOUNDARY_FIGURES`, truth."""

    figures: Array
    lead: npt.NDArray[np.bool_]


_PARTS = ("figures", "lead")


def main() -> None:
    """Read the command line, read the rubbings, fit and print."""
    args = _arguments()
    files = sorted(args.folder.glob("validation-*.npz"))
    read = [b for file in files for b in boundaries_of(file)]
    if not read:
        raise SystemExit(f"{args.folder} holds no validation-*.npz with a rubbing that can be read")
    figures, lead = (np.concatenate([getattr(b, n) for b in read]) for n in _PARTS)
    weights = logistic(figures, lead, PULL)
    kept = np.array(fitted_weights().boundary)
    predicted, truth = (np.concatenate(part) for part in zip(*_predicted(read), strict=True))
    for name, value, had in zip(BOUNDARY_FIGURES, weights, kept, strict=True):
        print(f"{name:>12} {value:7.3f} (was {had:.3f})")
    print(f"{len(lead)} boundaries of {len(read)} rubbings, {lead.mean():.1%} lead")
    for name, odds, true in (
        ("predicted", predicted, truth),
        ("as the program has it", _odds(kept, figures), lead),
    ):
        cost = np.logaddexp(0.0, np.where(true, -odds, odds)).mean()
        print(f"{name}: cross-entropy {cost:.4f}, wrong {np.mean((odds > 0) != true):.2%}")
    print(reliability(expit(predicted), truth))
    if args.write:
        _write([round(float(w), 3) for w in weights], len(lead), len(read))


def reliability(stated: Array, lead: npt.NDArray[np.bool_]) -> str:
    """Return a table in Markdown: stated chance, how many, the share that is lead."""
    lines = ["| stated | boundaries | lead |", "| --- | --- | --- |"]
    for low, high in pairwise(EDGES):
        here = (stated >= low) & (stated < high if high < 1.0 else stated <= 1.0)
        share = f"{lead[here].mean():.2f}" if here.any() else ""
        lines.append(f"| {low:.1f} to {high:.1f} | {here.sum()} | {share} |")
    return "\n".join(lines)


def _predicted(read: list[Boundaries]) -> Iterator[tuple[Array, npt.NDArray[np.bool_]]]:
    """Yield the log odds of every rubbing by weights fitted without its fold, and the truth."""
    for fold in range(FOLDS):
        rest = [b for k, b in enumerate(read) if k % FOLDS != fold]
        figures, lead = (np.concatenate([getattr(b, n) for b in rest]) for n in _PARTS)
        weights = logistic(figures, lead, PULL)
        yield from ((_odds(weights, b.figures), b.lead) for b in read[fold::FOLDS])


def _odds(weights: Array, figures: Array) -> Array:
    return np.asarray(weights[0] + figures @ weights[1:])


def boundaries_of(file: Path) -> Iterator[Boundaries]:
    """Yield the boundaries of every rubbing of a file that the program reads at all."""
    held = np.load(file)
    for grey, mask, centre in zip(held["grey"], held["mask"], held["centre"], strict=True):
        try:
            found = _boundaries(grey, mask > HALF, centre)
        except RubbingError:
            continue
        if len(found.lead):
            yield found


def _boundaries(
    grey: npt.NDArray[np.uint8], sheet: npt.NDArray[np.bool_], centre: npt.NDArray[np.uint8]
) -> Boundaries:
    options = Options()
    rubbing = _rubbing(grey, sheet)
    lead = find_lead(rubbing, options.lead)
    net = trace(skeletonize(lead, options.skeleton), options.trace)
    line, ink = highest_near(lead, options.tidy), smooth_ink(lead)
    whole = split_at_gaps(net, line, ink, lead, options.tidy)
    seen = evidence_of(whole, line, ink, lead, options.tidy)
    cells = round(NEAR_MM / CELL_MM)
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * cells + 1, 2 * cells + 1))
    near = cv2.dilate((centre > LINE).astype(np.uint8), disc) > 0
    rim = round(RIM_MM / CELL_MM)
    known = np.zeros_like(sheet)
    known[rim:-rim, rim:-rim] = sheet[rim:-rim, rim:-rim]
    share, inside = (
        np.array([_share(grid, path, rubbing.warp) for path in whole.paths])
        for grid in (near, known)
    )
    counts = (inside > 0.9) & ((share > LEAD) | (share < NONE))
    return Boundaries(seen.figures[counts], share[counts] > LEAD)


def _rubbing(grey: npt.NDArray[np.uint8], sheet: npt.NDArray[np.bool_]) -> Rubbing:
    """Return a picture of the generator as if it had been loaded and rectified."""
    height, width = grey.shape
    warp = Warp.similarity(1.0 / CELL_MM, height)
    outlines, _ = cv2.findContours(
        sheet.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE
    )
    ring = max(outlines, key=cv2.contourArea)[:, 0].astype(np.float64)
    low, high = warp.to_mm([(0, height - 1), (width - 1, 0)])
    return Rubbing(
        Photograph(grey, "generated", ""),
        warp,
        (low[0], low[1], high[0], high[1]),
        Polygon(warp.to_mm(ring)).buffer(0) if len(ring) > 3 else None,
        Scale("generated", 1.0 / CELL_MM, 0.0),
    )


def _share(grid: npt.NDArray[np.bool_], path: Array, warp: Warp) -> float:
    """Return the share of a path, in mm, on cells that are true."""
    column, row = np.rint(warp.to_px(evenly(path, CELL_MM))).astype(int).T
    height, width = grid.shape
    return float(grid[row.clip(0, height - 1), column.clip(0, width - 1)].mean())


def _write(weights: list[float], boundaries: int, rubbings: int) -> None:
    said = (
        f"{boundaries:,} boundaries of {rubbings} rubbings of the training's own validation set, "
        f"read with map version {VERSION}"
    )
    write_fitted(FILE, "boundary", weights, "benchmarks.boundary_fit", said)
    print(f"written: {FILE.name}")


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m benchmarks.boundary_fit", description=__doc__)
    parser.add_argument("folder", type=Path, help="of validation-*.npz files")
    parser.add_argument("--write", action="store_true", help="write the weights into the program")
    return parser.parse_args()


if __name__ == "__main__":
    main()
