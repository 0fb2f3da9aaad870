"""From the panel to the finished sheet, in linear light."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from shapely.geometry import Polygon

from tests.second_hand.circumstances import PAPERS, WAXES, Circumstances
from tests.second_hand.contact import load, slow_bow
from tests.second_hand.leadwork import Array, Lead, Rng
from tests.second_hand.network import Network
from tests.second_hand.picture import Sheet
from tests.second_hand.references import Aids, lay
from tests.second_hand.relief import Field, Grid, relief
from tests.second_hand.scribbles import inked, scribble
from tests.second_hand.sheet_faults import (
    Fold,
    alpha_of,
    crumpled,
    fingered,
    folded_dose,
    folds_of,
    outline_of,
    shaded_by_folds,
    stained,
    taped,
)
from tests.second_hand.strokes import doses
from tests.second_hand.wax import cover, expected, slipped, smeared, tooth
from tests.second_hand.widths import shown_widths

PHYSICS_PER_MM = 4.0
STROKES_PER_MM = 2.0
PENCIL, FELTS = (0.25, 0.25, 0.27), ((0.04, 0.04, 0.05), (0.05, 0.08, 0.4), (0.5, 0.04, 0.04))


@dataclass(frozen=True, slots=True)
class Rubbed:
    """The sheet, its corners in mm, the width that each came shows."""

    sheet: Sheet
    corners: Array
    widths_mm: list[float | None]


def rub(
    leads: list[Lead],
    found: Network,
    sheet: Grid,
    c: Circumstances,
    aids: Aids,
    chance: Callable[[str], Rng],
) -> Rubbed:
    """Rub a panel (placed on the sheet, in mm) and return the sheet in linear light."""
    fine = Grid(sheet.width_mm, sheet.height_mm, PHYSICS_PER_MM)
    coarse = Grid(sheet.width_mm, sheet.height_mm, STROKES_PER_MM)
    z = relief(leads, found, fine, c, chance("relief"))
    z += slow_bow(z.shape, fine.per_mm, chance("bow"))
    push = load(z, fine.per_mm, c)
    del z
    folds = folds_of(sheet, c, chance("folds"))
    dose, way = doses(leads, coarse, c, chance("strokes"))
    dose, way = _onto(fine, coarse, dose), _onto(fine, coarse, way)
    folded_dose(dose, fine, folds)
    rng = chance("passes")
    shift = rng.normal(0, 1, 2)
    shift *= c.shift_mm * fine.per_mm / np.hypot(*shift)
    push = slipped(push, (float(shift[0]), float(shift[1])), float(rng.uniform(0.25, 0.5)))
    widths = shown_widths(found, leads, expected(push), expected(push * dose), fine)
    push = smeared(push * dose, way, fine.per_mm, c)
    seam = fine.width_mm * float(rng.uniform(0.38, 0.62))
    if c.join_mm:
        push = _out_of_register(push, fine, seam, c.join_mm, rng)
    density = _density(push, fine, sheet, c, chance("tooth"))
    light = _paper(sheet, c, chance("paper"))
    for k, part in enumerate(WAXES[c.wax]):
        light[:, :, k] *= np.exp(-part * density)
    del density
    _written(light, leads, found, sheet, c, chance("pens"))
    corners = outline_of(sheet, c, chance("cut"))
    _suffered(light, sheet, folds, seam if c.join_mm else 0.0, c, chance("faults"))
    lay(light, sheet, aids)
    alpha = alpha_of(sheet, corners, c, chance("holes"))
    return Rubbed(Sheet(light, alpha, sheet), corners, widths)


def _onto(to: Grid, grid: Grid, values: Field) -> Field:
    """Bring a field from one raster of the sheet to another."""
    k = grid.per_mm / to.per_mm
    m = np.array([[k, 0, 0.5 * k - 0.5], [0, k, 0.5 * k - 0.5]])
    flags = (cv2.INTER_CUBIC if k > 0.6 else cv2.INTER_LINEAR) | cv2.WARP_INVERSE_MAP
    size = to.shape[::-1]
    return cv2.warpAffine(values, m, size, flags=flags, borderMode=cv2.BORDER_REPLICATE)


def _out_of_register(push: Field, grid: Grid, seam: float, by_mm: float, rng: Rng) -> Field:
    """Shift what lies right of a seam, as on two sheets joined a little wrong."""
    a = rng.uniform(0, 2 * np.pi)
    m = np.array([[1, 0, by_mm * np.cos(a) * grid.per_mm], [0, 1, by_mm * np.sin(a) * grid.per_mm]])
    moved = cv2.warpAffine(push, m, push.shape[::-1], flags=cv2.INTER_LINEAR)
    moved[:, : int(seam * grid.per_mm)] = push[:, : int(seam * grid.per_mm)]
    return moved


def _density(push: Field, fine: Grid, sheet: Grid, c: Circumstances, rng: Rng) -> Field:
    """Return optical density (natural) at the sheet's own raster."""
    here = np.maximum(_onto(sheet, fine, push), 0)
    ranks = tooth(sheet.shape, sheet.per_mm, c, rng)
    d = cover(here, ranks) * np.float32(c.density)
    if c.halo > 0.005:
        oil = cv2.GaussianBlur(
            cv2.resize(d, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA),
            (0, 0),
            0.6 * sheet.per_mm,
        )
        d += np.float32(c.halo) * cv2.resize(oil, d.shape[::-1], interpolation=cv2.INTER_LINEAR)
    for _ in range(c.erased):
        _erase(d, sheet, rng)
    return d


def _erase(d: Field, sheet: Grid, rng: Rng) -> None:
    """Rub out a patch: most of the wax gone, some of it spread."""
    centre = sheet.at(rng.uniform(0.2, 0.8, 2) * [sheet.width_mm, sheet.height_mm]).astype(int)
    axes = tuple(int(v * sheet.per_mm) for v in rng.uniform(6, 22, 2))
    patch = np.zeros(sheet.shape, np.uint8)
    cv2.ellipse(patch, tuple(centre.tolist()), axes, float(rng.uniform(0, 180)), 0, 360, 255, -1)
    x, y, w, h = cv2.boundingRect(patch)
    pad = 3 * int(sheet.per_mm)
    box = (slice(max(y - pad, 0), y + h + pad), slice(max(x - pad, 0), x + w + pad))
    soft = cv2.GaussianBlur(patch[box], (0, 0), 1.2 * sheet.per_mm).astype(np.float32) / 255
    part = d[box]
    part *= 1 - soft * np.float32(rng.uniform(0.35, 0.6))
    part += soft * np.float32(rng.uniform(0.05, 0.15))


def _paper(sheet: Grid, c: Circumstances, rng: Rng) -> Field:
    """Return the bare paper: its colour, its clouds, and what is printed on it."""
    n = 300
    cloud = cv2.GaussianBlur(rng.normal(size=(n, n)).astype(np.float32), (0, 0), 2.5)
    much = 0.03 if c.paper == "tracing" else 0.012
    cloud = 1 + much * cv2.resize(
        cloud / cloud.std(), sheet.shape[::-1], interpolation=cv2.INTER_CUBIC
    )
    grain = np.empty(sheet.shape, np.float32)
    cv2.setRNGSeed(int(rng.integers(1 << 30)))
    cv2.randn(grain, 0, 0.05 if c.paper == "kraft" else 0.02)
    cloud += cv2.GaussianBlur(grain, (0, 0), 0.8)
    light = cloud[:, :, None] * np.array(PAPERS[c.paper], np.float32)
    if c.paper == "squared":
        _squares(light, sheet, rng)
    return np.asarray(light, np.float32)


def _squares(light: Field, sheet: Grid, rng: Rng) -> None:
    colour = np.array(((0.55, 0.72, 0.9), (0.65, 0.85, 0.7), (0.9, 0.72, 0.62))[rng.integers(3)])
    mask = np.zeros(sheet.shape, np.uint8)
    for step, tone in ((5.0, 130), (50.0, 230)):
        for x in np.arange(2.5, sheet.width_mm, step):
            ends = np.array([(x, 0.0), (x, sheet.height_mm)])
            cv2.polylines(mask, [sheet.fixed(ends)], False, tone, 1, cv2.LINE_AA, 4)
        for y in np.arange(2.5, sheet.height_mm, step):
            ends = np.array([(0.0, y), (sheet.width_mm, y)])
            cv2.polylines(mask, [sheet.fixed(ends)], False, tone, 1, cv2.LINE_AA, 4)
    inked(light, mask, tuple(colour.tolist()), float(rng.uniform(0.4, 0.9)))


def _written(
    light: Field, leads: list[Lead], found: Network, sheet: Grid, c: Circumstances, rng: Rng
) -> None:
    _painted(light, found, sheet, rng)
    pencil, felt = scribble(found, Polygon(leads[0].run), sheet, c, rng)
    inked(light, pencil, PENCIL, float(rng.uniform(0.5, 0.85)))
    inked(light, felt, FELTS[int(rng.integers(len(FELTS)))], float(rng.uniform(0.75, 0.95)))


def _painted(light: Field, found: Network, sheet: Grid, rng: Rng) -> None:
    """Print the trace lines of painted glass, faintly, in some pieces."""
    if rng.random() < 0.6:
        return
    mask = np.zeros(sheet.shape, np.uint8)
    for piece in found.pieces:
        if rng.random() < 0.6 or piece.area < 900:
            continue
        at = np.array(piece.representative_point().coords[0])
        r = 0.3 * np.sqrt(piece.area)
        for _ in range(int(rng.integers(1, 4))):
            steps = np.cumsum(rng.normal(0, 0.06, 40).cumsum()) + rng.uniform(0, 6.28)
            run = at + rng.normal(0, 0.3 * r, 2)
            run = run + np.cumsum(np.column_stack((np.cos(steps), np.sin(steps))), axis=0) * r / 26
            wide = max(1, round(rng.uniform(0.4, 1.2) * sheet.per_mm))
            cv2.polylines(
                mask, [sheet.fixed(run)], False, int(rng.integers(60, 255)), wide, cv2.LINE_AA, 4
            )
    inked(light, mask, (0.3, 0.3, 0.3), float(rng.uniform(0.1, 0.35)))


def _suffered(
    light: Field, sheet: Grid, folds: list[Fold], seam: float, c: Circumstances, rng: Rng
) -> None:
    stained(light, sheet, c.stains, rng)
    fingered(light, sheet, c.dirt, rng)
    crumpled(light, sheet, c.crumple, rng)
    shaded_by_folds(light, sheet, folds)
    if seam:
        h = sheet.height_mm
        at = int(seam * sheet.per_mm)
        light[:, at : at + max(1, int(0.4 * sheet.per_mm))] *= 0.6
        places = [
            (np.array([seam, y]), float(rng.uniform(60, 120)), np.pi / 2)
            for y in (0.12 * h, 0.5 * h, 0.88 * h)
        ]
        taped(light, sheet, places, rng)
    elif rng.random() < 0.3:
        w, h = sheet.width_mm, sheet.height_mm
        places = [
            (np.array([x, y]), float(rng.uniform(30, 50)), float(rng.normal(0, 0.2)))
            for x in (45.0, w - 45)
            for y in (9.0, h - 9)
        ]
        taped(light, sheet, places[: int(rng.integers(1, 5))], rng)
