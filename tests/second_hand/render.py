"""One case of the second hand: panel, circumstances, sheet, picture, reference, truth."""

from __future__ import annotations

import json
import zlib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
from shapely.affinity import affine_transform

from tests.second_hand.circumstances import Circumstances, circumstances
from tests.second_hand.designs import draw
from tests.second_hand.leadwork import Array, Lead, Rng
from tests.second_hand.lens import Curl, View, from_above, on_glass
from tests.second_hand.network import Network
from tests.second_hand.picture import photograph, scan
from tests.second_hand.references import Reference, aids_of, kind_of, reference_of
from tests.second_hand.relief import Grid
from tests.second_hand.rub import Rubbed, rub

DPIS = (200.0, 150.0, 120.0)
LARGEST_SCAN_PX = 21e6


@dataclass(frozen=True, slots=True)
class Case:
    """What to make: design, tier, seed, capture; a scan's dpi, or 0 for one that fits."""

    design: str
    tier: str = "clean"
    seed: int = 1
    capture: str = "scan"
    dpi: float = 0.0

    def rng(self, part: str) -> Rng:
        """Return the chance of one part of the work."""
        words = (self.design, self.tier, self.capture, part)
        return np.random.default_rng([self.seed, 2, *(zlib.crc32(w.encode()) for w in words)])


@dataclass(frozen=True, slots=True)
class Made:
    """A picture with all that is known about it."""

    case: Case
    picture: npt.NDArray[np.uint8]
    quality: int
    reference: Reference
    truth: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Placed:
    """A panel on its sheet: a turn and a shift in mm."""

    turn_deg: float
    shift_mm: tuple[float, float]
    grid: Grid

    @property
    def matrix(self) -> Array:
        """Return the map (3, 3) from the panel's mm to the sheet's."""
        a = np.radians(self.turn_deg)
        c, s = np.cos(a), np.sin(a)
        return np.array([[c, -s, self.shift_mm[0]], [s, c, self.shift_mm[1]], [0, 0, 1]])

    def put(self, p: Array) -> Array:
        """Return points of the panel in the sheet's mm."""
        return np.asarray(p @ self.matrix[:2, :2].T + self.matrix[:2, 2])


def make(case: Case) -> Made:
    """Make a case; the same case gives the same bytes."""
    leads, found = draw(case.design, case.seed)
    c = circumstances(case.tier, case.rng("circumstances"))
    kind = kind_of(case.capture, c, case.rng("kind"))
    cv2.setRNGSeed(int(case.rng("noise").integers(1 << 30)))
    sheet = _sheet(leads, kind, case.rng("sheet"))
    aids = aids_of(kind, sheet, case.rng("aids"))
    view, dpi = _view(case, sheet, c, case.rng("view"))
    middle = np.array([sheet.width_mm, sheet.height_mm]) / 2
    sheet = Grid(sheet.width_mm, sheet.height_mm, view.px_per_mm(middle) * (1.0 if dpi else 1.12))
    placed = _placed(leads, sheet, case.rng("place"))
    done = rub(
        [replace(x, run=placed.put(x.run)) for x in leads],
        _moved(found, placed),
        sheet,
        c,
        aids,
        case.rng,
    )
    picture = _picture(case, done, view, c)
    reference = reference_of(aids, sheet, view, dpi, case.rng("reading"))
    return Made(case, picture, c.quality, reference, _truth(case, leads, found, done, view, placed))


def _sheet(leads: list[Lead], kind: str, rng: Rng) -> Grid:
    margin = (70.0, 85.0) if kind == "targets" else (50.0, 75.0)
    size = leads[0].run.max(axis=0) + rng.uniform(*margin, (2, 2)).sum(axis=0)
    return Grid(float(np.ceil(size[0])), float(np.ceil(size[1])), 1.0)


def _placed(leads: list[Lead], grid: Grid, rng: Rng) -> Placed:
    turn = float(np.clip(rng.normal(0, 0.6), -1.5, 1.5))
    free = Placed(turn, (0.0, 0.0), grid)
    p = free.put(leads[0].run)
    middle = (p.min(axis=0) + p.max(axis=0)) / 2
    room = np.array([grid.width_mm, grid.height_mm]) / 2
    shift = room - middle + rng.uniform(-4, 4, 2)
    return Placed(turn, (float(shift[0]), float(shift[1])), grid)


def _moved(found: Network, placed: Placed) -> Network:
    m = placed.matrix
    flat = [m[0, 0], m[0, 1], m[1, 0], m[1, 1], m[0, 2], m[1, 2]]
    at = placed.put(np.array([(j.x_mm, j.y_mm) for j in found.joints]))
    return Network(
        tuple(
            replace(j, x_mm=float(x), y_mm=float(y))
            for j, (x, y) in zip(found.joints, at, strict=True)
        ),
        tuple(replace(came, path=placed.put(came.path)) for came in found.cames),
        tuple(affine_transform(p, flat) for p in found.pieces),
    )


def _view(case: Case, sheet: Grid, c: Circumstances, rng: Rng) -> tuple[View, float]:
    size = (sheet.width_mm, sheet.height_mm)
    if case.capture == "scan":
        fitting = [d for d in DPIS if size[0] * size[1] * (d / 25.4) ** 2 <= LARGEST_SCAN_PX]
        dpi = case.dpi or (fitting or [DPIS[-1]])[0]
        return on_glass(size, dpi, float(rng.normal(0, 0.7)), float(rng.uniform(3, 14))), dpi
    corners = np.array([(0.0, 0.0), (size[0], 0.0), size, (0.0, size[1])])
    curl = Curl(int(rng.integers(4)), c.curl_mm, size) if c.curl_mm else None
    megapixels = float(rng.uniform(10.5, 14))
    return from_above(corners, megapixels, c.tilt_deg, c.bend, c.misfit_mm, curl, rng), 0.0


def _picture(case: Case, done: Rubbed, view: View, c: Circumstances) -> npt.NDArray[np.uint8]:
    if view.curl:
        _shade_curl(done, view.curl)
    take = scan if case.capture == "scan" else photograph
    return take(done.sheet, view, c, case.tier, case.rng("camera"))


def _shade_curl(done: Rubbed, curl: Curl) -> None:
    grid = done.sheet.grid
    x = (np.arange(grid.shape[1]) + 0.5) / grid.per_mm
    y = grid.height_mm - (np.arange(grid.shape[0]) + 0.5) / grid.per_mm
    along = np.column_stack((x, np.zeros_like(x))) if curl.side < 2 else None
    if along is not None:
        done.sheet.light[:] *= (1 - 0.25 * curl.share(along)).astype(np.float32)[None, :, None]
    else:
        down = np.column_stack((np.zeros_like(y), y))
        done.sheet.light[:] *= (1 - 0.25 * curl.share(down)).astype(np.float32)[:, None, None]


def _truth(
    case: Case, leads: list[Lead], found: Network, done: Rubbed, view: View, placed: Placed
) -> dict[str, Any]:
    """Return the truth in the panel's frame, ready for JSON."""
    size = leads[0].run.max(axis=0)
    grid, lens = placed.grid, view.lens
    middle = np.array([grid.width_mm, grid.height_mm]) / 2
    return {
        "case": {
            "design": case.design,
            "tier": case.tier,
            "seed": case.seed,
            "capture": case.capture,
        },
        "width_mm": float(size[0]),
        "height_mm": float(size[1]),
        "px_per_mm": view.px_per_mm(middle),
        "homography": (view.homography @ placed.matrix).ravel().tolist(),
        "k1": lens.k1,
        "k2": lens.k2,
        "p1": lens.p1,
        "p2": lens.p2,
        "centre_px": lens.centre.tolist(),
        "radius_px": lens.radius,
        "sheet_mm": [grid.width_mm, grid.height_mm],
        "panel_on_sheet": {"shift_mm": list(placed.shift_mm), "angle_deg": placed.turn_deg},
        "joints": [
            {"x": round(j.x_mm, 4), "y": round(j.y_mm, 4), "kind": j.kind, "degree": j.degree}
            for j in found.joints
        ],
        "cames": [
            {
                "start": x.start,
                "end": x.end,
                "strip": x.lead,
                "face_width_mm": leads[x.lead].face_mm,
                "shown_width_mm": None if w is None else round(w, 3),
                "profile": leads[x.lead].profile,
                "border": leads[x.lead].border,
                "path": np.round(x.path, 4).tolist(),
            }
            for x, w in zip(found.cames, done.widths_mm, strict=True)
        ],
        "pieces": [
            {
                "outline": np.round(np.array(p.exterior.coords), 4).tolist(),
                "holes": [np.round(np.array(r.coords), 4).tolist() for r in p.interiors],
            }
            for p in found.pieces
        ],
    }


def write(made: Made, folder: Path) -> Path:
    """Write picture, truth and reference into a folder; return the picture's path.

    Scans of even seeds are PNG, all else is JPEG.
    """
    folder.mkdir(parents=True, exist_ok=True)
    lossless = made.case.capture == "scan" and made.case.seed % 2 == 0
    path = folder / ("rubbing.png" if lossless else "rubbing.jpg")
    options = [cv2.IMWRITE_JPEG_QUALITY, made.quality]
    if lossless:
        options = [cv2.IMWRITE_PNG_COMPRESSION, 1]
    if not cv2.imwrite(str(path), made.picture, options):
        raise OSError(f"cannot write {path}")
    for name, text in made.reference.files.items():
        (folder / name).write_text(text, encoding="utf-8")
    quoted = [a if " " not in a else f'"{a}"' for a in made.reference.arguments]
    (folder / "reference.txt").write_text(" ".join(quoted) + "\n", encoding="utf-8")
    truth = {"image": path.name, "reference": list(made.reference.arguments), **made.truth}
    (folder / "truth.json").write_text(json.dumps(truth), encoding="utf-8")
    return path
