"""Stated uncertainty of lengths against their true error: ``python -m benchmarks.scale``.

Marks, targets and edges of sheets are seen by cameras that are tilted and whose lenses have two
radial coefficients; they are measured with noise and handed to the fit, without any picture. Of
every draw the eight long lengths across the sheet (three widths, three heights, two diagonals) are
compared with the truth; their root mean square is the draw's error. Calibrated means: two thirds of
the errors lie within the statement, and the median statement is at most three times the median
error.

A resolution leaves nothing to measure: its 0.1 % is a statement about scanners, and no picture of
ours can prove it. A ruler's statement is the noise of its two ends; it is measured on renderings.

``--rendered`` does the same with rendered rubbings, from the picture's file to the warp.
"""

from __future__ import annotations

import argparse
import json
import math
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path

import numpy as np
import numpy.typing as npt

from rubbing2pattern.errors import RubbingError
from rubbing2pattern.findings import Code
from rubbing2pattern.geometry.frame import Warp
from rubbing2pattern.inputs.reference import TargetDistance, parse_reference
from rubbing2pattern.options.load import LoadOptions
from rubbing2pattern.options.rectify import RectifyOptions
from rubbing2pattern.stages.load import load
from rubbing2pattern.stages.rectify import rectify, sheet_uncertainty
from rubbing2pattern.stages.rectify.fit import Pins, fit_sides
from rubbing2pattern.stages.rectify.lens import Lens
from rubbing2pattern.stages.rectify.marks import settle_marks
from rubbing2pattern.stages.rectify.plane import centres_of_squares, rectangle
from rubbing2pattern.stages.rectify.printed_targets import lay_out
from rubbing2pattern.stages.rectify.sheet import Sheet
from rubbing2pattern.stages.rectify.sheet_search import CORNERS
from tests.rendering.render import Case, render, write
from tests.stages.rectify.camera import Camera

Array = npt.NDArray[np.float64]

OPTIONS = RectifyOptions()
DRAWS = 300
DESIGNS = ("quarries", "lancet", "roundels")
READING_PX, TARGET_PX, EDGE_PX = 0.4, 0.1, 0.3
GAUSS = 1.0 / math.sqrt(3.0)


@dataclass(frozen=True, slots=True)
class Judged:
    """What one draw gave: the statement, and the signed errors of the lengths (8,), as shares."""

    stated: float
    errors: Array

    @property
    def error(self) -> float:
        """Return the root mean square of the errors."""
        return float(np.sqrt(np.mean(self.errors**2)))


@dataclass(frozen=True)
class RealCamera(Camera):
    """A camera with a second radial coefficient."""

    k2: float = 0.0

    @property
    def lens(self) -> Array:
        """OpenCV's coefficients."""
        share = self.matrix[0, 0] / self.radius_px
        return np.array([self.k1 * share**2, self.k2 * share**4, 0, 0, 0.0])


@dataclass(frozen=True, slots=True)
class Draw:
    """One sheet before one camera.

    Attributes
    ----------
    size_mm : (2,) width and height of the sheet.
    corners_mm : (4, 2) of the sheet as it was cut, upper left first.
    camera : that sees it.
    noise_mm : of everything measured on the sheet.
    rng : for the rest.
    """

    size_mm: Array
    corners_mm: Array
    camera: RealCamera
    noise_mm: float
    rng: np.random.Generator

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of the picture."""
        return self.camera.height_px, self.camera.width_px


def drawn(number: int, square_mm: float) -> Draw:
    """Draw a sheet and a camera.

    Half of the lenses are corrected by the camera, down to small coefficients; the others are not.
    """
    rng = np.random.default_rng([13, number])
    size = rng.uniform((400, 500), (700, 950))
    corrected = rng.random() < 0.5
    camera = RealCamera(
        3000,
        4000,
        focal=float(rng.uniform(0.75, 1.1)),
        k1=float(rng.normal(0, 0.01) if corrected else rng.uniform(-0.06, 0.06)),
        k2=float(rng.normal(0, 0.005)),
        pitch_deg=float(rng.normal(0, 9)),
        yaw_deg=float(rng.normal(0, 9)),
        roll_deg=float(rng.normal(0, 2)),
        aim_mm=(float(size[0] / 2), float(size[1] / 2)),
        fill=float(max(size[1], size[0] * 4 / 3) * rng.uniform(1.15, 1.35)),
    )
    corners = rectangle(*size) + rng.normal(0, square_mm, (4, 2))
    return Draw(size, corners, camera, float(rng.uniform(0.05, 0.2)), rng)


def edges(draw: Draw) -> tuple[Array, Array, Array, Array]:
    """Return places read along the four sides, of which some are covered; the cut waves a little.

    The wave has a length of about a tenth of a side, and 0.08 mm.
    """
    sides = []
    t = (np.arange(160) + 0.5) / 160
    for first, last in CORNERS:
        a, b = draw.corners_mm[first], draw.corners_mm[last]
        way = (b - a) / np.linalg.norm(b - a)
        wave = np.interp(t, np.linspace(0, 1, 12), draw.rng.normal(0, 0.08, 12))
        at = a + t[:, None] * (b - a) + wave[:, None] * np.array((-way[1], way[0]))
        seen = draw.camera.project(at) + draw.rng.normal(0, EDGE_PX, (160, 2))
        sides.append(seen[draw.rng.random(160) < 0.85])
    return sides[0], sides[1], sides[2], sides[3]


def sheet_of(draw: Draw) -> Sheet:
    """Return the sheet as it would be found, with the size as measured."""
    sides, lens = edges(draw), Lens.of(draw.shape)
    size = draw.size_mm + draw.rng.normal(0, draw.noise_mm, 2)
    corners = draw.camera.project(draw.corners_mm)
    fit = fit_sides(sides, corners, (float(size[0]), float(size[1])), lens, OPTIONS)
    return Sheet(sides, fit, np.ones(4), np.zeros(4, bool), False, 2.0)


def ring(draw: Draw, count: int, inset_mm: float) -> Array:
    """Return places of marks round the panel, (count, 2)."""
    low, high = np.full(2, inset_mm), draw.size_mm - inset_mm
    mid = (low + high) / 2
    places = [low, high, (high[0], low[1]), (low[0], high[1])]
    places += [(mid[0], low[1]), (mid[0], high[1]), (low[0], mid[1]), (high[0], mid[1])]
    return np.array(places[:count]) + draw.rng.uniform(-8, 8, (count, 2))


def by_sheet(draw: Draw) -> Judged:
    """Fit to the edges of a sheet of known size."""
    sheet = sheet_of(draw)
    size = np.ptp(sheet.fit.base_mm, axis=0)
    stated = sheet_uncertainty(sheet.fit, (float(size[0]), float(size[1])), OPTIONS)
    return judged(draw, sheet.fit.warp, stated)


def by_marks(draw: Draw, low: int, high: int, *, edges_show: bool) -> Judged:
    """Fit to some crosses, with the sheet's edges or without."""
    at = ring(draw, int(draw.rng.integers(low, high + 1)), 40.0)
    seen = draw.camera.project(at) + draw.rng.normal(0, READING_PX, at.shape)
    mm = at + draw.rng.normal(0, draw.noise_mm, at.shape)
    pins = Pins(mm, np.round(seen, 1), OPTIONS.mark_uncertainty_mm, OPTIONS.reading_px)
    return settled(draw, pins, edges_show=edges_show)


def by_targets(draw: Draw, *, edges_show: bool, distances: bool) -> Judged:
    """Fit to four to six printed targets of 40 mm, by positions or by distances."""
    at = ring(draw, int(draw.rng.integers(4, 7)), 40.0)
    px = np.array([target(draw, place) for place in at])
    lens = Lens.of(draw.shape)
    centres = centres_of_squares(lens.ideal(px))
    if distances:
        given = [
            TargetDistance(
                i, j, float(np.hypot(*(at[i] - at[j])) + draw.rng.normal(0, draw.noise_mm))
            )
            for i, j in combinations(range(len(at)), 2)
        ]
        laid = lay_out(given, dict(enumerate(centres)), OPTIONS)
        mm, noise_mm = np.array([laid.at_mm[i] for i in range(len(at))]), laid.uncertainty_mm
    else:
        mm = at + draw.rng.normal(0, draw.noise_mm, at.shape)
        noise_mm = OPTIONS.mark_uncertainty_mm
    pins = Pins(mm, centres, noise_mm, OPTIONS.target_reading_px, px)
    return settled(draw, pins, edges_show=edges_show)


def target(draw: Draw, place: Array) -> Array:
    """Return two places read on each edge of a target, turned a little, (4, 2, 2)."""
    turn = draw.rng.normal(0, 0.05)
    square = np.array([(-20.0, 20), (20, 20), (20, -20), (-20, -20)])
    stretch = 1.0 + draw.rng.normal(0, 0.001, 2)
    square = (square * stretch) @ np.array(
        [(math.cos(turn), math.sin(turn)), (-math.sin(turn), math.cos(turn))]
    )
    middle = (square + np.roll(square, -1, axis=0)) / 2
    half = (np.roll(square, -1, axis=0) - square) / 2
    at = place + np.stack((middle - GAUSS * half, middle + GAUSS * half), axis=1)
    seen = draw.camera.project(at.reshape(-1, 2)).reshape(4, 2, 2)
    return np.asarray(seen + draw.rng.normal(0, TARGET_PX, seen.shape))


def settled(draw: Draw, pins: Pins, *, edges_show: bool) -> Judged:
    """Fit to marks and judge."""
    sheet = sheet_of(draw) if edges_show else None
    names = [str(k) for k in range(len(pins.mm))]
    found = settle_marks(pins, names, sheet, Lens.of(draw.shape), OPTIONS)
    return judged(draw, found.fit.warp, found.uncertainty)


def judged(draw: Draw, warp: Warp, stated: float) -> Judged:
    """Compare long lengths across the sheet, without its rim of 40 mm, where no panel lies."""
    u = np.linspace(0.0, 1.0, 3)
    x = 40 + u * (draw.size_mm[0] - 80)
    y = 40 + u * (draw.size_mm[1] - 80)
    true = np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1)
    seen = warp.to_mm(draw.camera.project(true.reshape(-1, 2))).reshape(3, 3, 2)
    return Judged(stated, length_errors(seen, true))


def length_errors(found: Array, true: Array) -> Array:
    """Return the relative errors of eight long lengths of 3 by 3 places, (3, 3, 2) each."""

    def lengths(at: Array) -> Array:
        ways = [at[2] - at[0], at[:, 2] - at[:, 0], at[[2, 2], [2, 0]] - at[[0, 0], [0, 2]]]
        return np.asarray(np.linalg.norm(np.concatenate(ways), axis=1))

    return lengths(found) / lengths(true) - 1.0


def row(name: str, all_judged: list[Judged]) -> str:
    """Return a line of the table; the error of a draw is the root mean square of its lengths'."""
    errors = np.array([each.error for each in all_judged])
    stated = np.array([each.stated for each in all_judged])
    said, true = 100 * float(np.median(stated)), 100 * float(np.median(errors))
    within = float((errors <= stated).mean())
    return (
        f"| {name} | {len(stated)} | {true:.3f} | {said:.3f} | {said / true:.1f} | {within:.2f} |"
    )


KINDS: dict[str, tuple[float, Callable[[Draw], Judged]]] = {
    "sheet": (0.1, by_sheet),
    "4 marks, edges show": (1.0, lambda d: by_marks(d, 4, 4, edges_show=True)),
    "5 to 8 marks, edges show": (1.0, lambda d: by_marks(d, 5, 8, edges_show=True)),
    "4 marks alone": (1.0, lambda d: by_marks(d, 4, 4, edges_show=False)),
    "5 marks alone": (1.0, lambda d: by_marks(d, 5, 5, edges_show=False)),
    "6 to 8 marks alone": (1.0, lambda d: by_marks(d, 6, 8, edges_show=False)),
    "targets, edges show": (1.0, lambda d: by_targets(d, edges_show=True, distances=False)),
    "targets alone": (1.0, lambda d: by_targets(d, edges_show=False, distances=False)),
    "distances, edges show": (1.0, lambda d: by_targets(d, edges_show=True, distances=True)),
    "distances alone": (1.0, lambda d: by_targets(d, edges_show=False, distances=True)),
}
"""By kind: how far the sheet's corners are off their rectangle, in mm, and what is done."""

HEAD = (
    "| reference | draws | median error, % | median stated, % | ratio | errors within |\n"
    "| --- | --- | --- | --- | --- | --- |"
)


def rendered_one(case: Case) -> tuple[Judged | None, str]:
    """Read one rendered rubbing; return what was found and a word on it."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        picture = write(render(case), folder)
        truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
        kind, value = truth["reference"]
        value = str(folder / value) if value.endswith(".csv") else value
        reference = parse_reference(**{kind.removeprefix("--"): value})
        try:
            rubbing = rectify(load(picture, LoadOptions()), reference, OPTIONS)
        except RubbingError as fault:
            return None, str(fault)
    true_warp = Warp(
        tuple(truth["homography"]), truth["k1"], tuple(truth["centre_px"]), truth["radius_px"]
    )
    u = np.linspace(0.0, 1.0, 3)
    x, y = u * truth["width_mm"], u * truth["height_mm"]
    true = np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1)
    seen = rubbing.warp.to_mm(true_warp.to_px(true.reshape(-1, 2))).reshape(3, 3, 2)
    found = Judged(rubbing.scale.relative_uncertainty, length_errors(seen, true))
    codes = ", ".join(sorted({f.code for f in rubbing.findings} - {Code.LOW_RESOLUTION}))
    return found, f"error {100 * found.error:.3f} % stated {100 * found.stated:.3f} % {codes}"


def rendered(args: argparse.Namespace) -> None:
    """Read rendered rubbings and print a line for each, and the table."""
    found: dict[str, list[Judged]] = {}
    for tier in args.tiers.split(","):
        for reference in args.references.split(","):
            for design in args.designs.split(","):
                for seed in map(int, args.seeds.split(",")):
                    capture = "scan" if reference in ("dpi", "ruler") else "photo"
                    case = Case(
                        design, tier, seed, capture, reference, 100.0, float(args.megapixels)
                    )
                    one, words = rendered_one(case)
                    print(f"{tier} {reference} {design} {seed}: {words}", flush=True)
                    if one is not None:
                        found.setdefault(reference, []).append(one)
    print(HEAD)
    for reference, parts in found.items():
        print(row(reference, parts))


def main() -> None:
    """Read the command line, measure, print a table in Markdown."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.scale", description=__doc__)
    parser.add_argument("--draws", type=int, default=DRAWS)
    parser.add_argument("--rendered", action="store_true")
    parser.add_argument("--tiers", default="everyday")
    parser.add_argument("--references", default="sheet,marks,targets,distances,ruler")
    parser.add_argument("--designs", default=",".join(DESIGNS))
    parser.add_argument("--seeds", default="25,26")
    parser.add_argument("--megapixels", default="6")
    args = parser.parse_args()
    if args.rendered:
        rendered(args)
        return
    print(HEAD)
    for name, (square_mm, made) in KINDS.items():
        print(row(name, [made(drawn(n, square_mm)) for n in range(args.draws)]), flush=True)


if __name__ == "__main__":
    main()
