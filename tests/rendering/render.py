"""One rubbing from beginning to end: panel, faults, sheet, picture, reference, truth."""

from __future__ import annotations

import json
import zlib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from tests.rendering.capture import View, photographed, scanned, take
from tests.rendering.designs import closed_alike, draw
from tests.rendering.geometry import Design, Truth, truth_of
from tests.rendering.ground import GROUNDS, ground_of
from tests.rendering.overlays import overlays_of
from tests.rendering.references import (
    PHOTO_REFERENCES,
    SCAN_REFERENCES,
    Reference,
    aids_of,
    lay_targets,
    reference_of,
)
from tests.rendering.rubbing import Join, Work, shown_widths, tables_of, work_sheet
from tests.rendering.sheet import Rng, Sheet
from tests.rendering.solder import blobs_of
from tests.rendering.strokes import Maps, lead_distance, maps_of, outer_of
from tests.rendering.tiers import Faults, faults_of
from tests.rendering.variety import COLOURED, glass_tone, in_wax, varied
from tests.rendering.wander import wander

LARGE_SCAN_PX = 26e6
"""A scan larger than this at 200 dpi is made at 150 dpi."""
OVERSAMPLING = 1.35


@dataclass(frozen=True, slots=True)
class Case:
    """What to render.

    Attributes
    ----------
    design, tier, seed, capture : name of the design; clean, everyday or hard; scan or photo.
    reference : kind of reference, or "" for one that follows from the seed.
    dpi : of a scan; 0 for 200, or 150 where that gives a very large picture.
    megapixels : of a photo; 0 for 12 to 16, drawn.
    note : written below the panel, instead of what the tier would write in the margin.
    variety : whether toned papers, coloured waxes and textured glass may occur.
    """

    design: str
    tier: str = "clean"
    seed: int = 1
    capture: str = "scan"
    reference: str = ""
    dpi: float = 0.0
    megapixels: float = 0.0
    note: str = ""
    variety: bool = False

    @property
    def name(self) -> str:
        """A name for folders and tables."""
        return f"{self.design}-{self.tier}-{self.capture}-{self.seed}"

    def rng(self, *parts: str) -> Rng:
        """Return the generator for one part of the work; cases that share it share its draws."""
        return np.random.default_rng([self.seed, *(zlib.crc32(p.encode()) for p in parts)])


@dataclass(frozen=True, slots=True)
class Rendering:
    """A picture with everything known about it."""

    case: Case
    picture: npt.NDArray[np.uint8]
    jpeg: int
    reference: Reference
    truth: dict[str, Any]


def render(case: Case) -> Rendering:
    """Render a case; the same case always gives the same bytes."""
    design, _ = draw(case.design, case.rng(case.design))
    faults = faults_of(case.tier, case.rng(case.design, case.tier))
    if case.variety:
        faults = varied(faults, case.tier, case.rng(case.design, case.tier, "variety"))

    def chance(part: str) -> Rng:
        # Each part draws on its own, so that a finer picture shows the same rubbing.
        return case.rng(case.design, case.tier, case.capture, part)

    kind = _kind(case)
    sheet = _sheet(design, kind, chance("sheet"))
    # Paper creeps under the strokes: the rubbing is not quite where the panel was.
    creep = wander(faults.creep_mm, 80.0, 250.0, chance("creep"))
    laid = replace(
        design,
        strips=tuple(
            replace(s, points=closed_alike(s, lambda p: creep(sheet.place(p))))
            for s in design.strips
        ),
    )
    truth = truth_of(laid)
    outer = outer_of(laid)
    aids = aids_of(kind, sheet, outer, chance("aids"))
    view, dpi = _view(case, sheet, faults, chance("view"))
    per_mm = OVERSAMPLING * max(
        view.px_per_mm(np.array(p))
        for p in (
            (0, 0),
            (sheet.width_mm, 0),
            (0, sheet.height_mm),
            (sheet.width_mm, sheet.height_mm),
        )
    )
    blobs = tuple(blobs_of(laid, truth, faults.blob_mm, chance("solder")))
    work = Work(
        sheet,
        per_mm,
        tables_of(laid, per_mm, faults, chance("leads")),
        blobs,
        _textured(
            maps_of(laid, truth, list(blobs), sheet, faults, chance("strokes")),
            (laid, truth),
            sheet,
            faults,
            chance("glass"),
        ),
        overlays_of(truth, outer, sheet, faults, chance("writing"), aids.marks, case.note),
        faults,
        _join(sheet, faults, chance("join")),
    )
    light = work_sheet(work, case.seed)
    lay_targets(light, per_mm, sheet, aids.targets)
    picture = _picture(case, light, work, view, chance("light"))
    reference = reference_of(aids, sheet, view, dpi, chance("measuring"))
    record = _record(case, design, sheet, view, shown_widths(laid, truth, work))
    return Rendering(case, picture, faults.jpeg, reference, record)


def _textured(
    maps: Maps, laid: tuple[Design, Truth], sheet: Sheet, faults: Faults, rng: Rng
) -> Maps:
    """Return the maps with the tone of textured glass, where there is any."""
    if faults.glass is None:
        return maps
    _, distance = lead_distance(laid[0], sheet)
    return replace(maps, tone=maps.tone + glass_tone(laid[1], faults.glass, distance, sheet, rng))


def _kind(case: Case) -> str:
    kinds = SCAN_REFERENCES if case.capture == "scan" else PHOTO_REFERENCES
    if case.reference:
        return case.reference
    # Most scans come with their resolution alone.
    return (
        ("dpi", "dpi", "ruler")[case.seed % 3] if case.capture == "scan" else kinds[case.seed % 4]
    )


def _sheet(design: Design, kind: str, rng: Rng) -> Sheet:
    """Lay the panel on a sheet cut to whole millimetres, true to a sixth of one."""
    size = np.max([s.points.max(axis=0) for s in design.strips], axis=0)
    low, high = (74, 92) if kind in ("targets", "distances") else (50, 80)
    margin = rng.uniform(low, high, (2, 2))
    whole = np.ceil(size + margin.sum(axis=0))
    cut = whole + np.clip(rng.normal(0, 0.1, 2), -0.2, 0.2)
    turn = float(rng.normal(0, 0.5))
    shift = margin[0] + [np.radians(turn) * size[1] / 2, -np.radians(turn) * size[0] / 2]
    return Sheet(float(cut[0]), float(cut[1]), (float(shift[0]), float(shift[1])), turn)


def _view(case: Case, sheet: Sheet, faults: Faults, rng: Rng) -> tuple[View, float]:
    if case.capture == "scan":
        dpi = case.dpi
        if not dpi:
            pixels = sheet.width_mm * sheet.height_mm * (200 / 25.4) ** 2
            dpi = 200.0 if pixels <= LARGE_SCAN_PX else 150.0
        return scanned(sheet, dpi, float(rng.uniform(-1.5, 1.5))), dpi
    megapixels = case.megapixels or float(rng.uniform(12, 16))
    return photographed(sheet, megapixels, faults.tilt_deg, faults.k1, rng), 0.0


def _join(sheet: Sheet, faults: Faults, rng: Rng) -> Join | None:
    if not faults.join_mm:
        return None
    a = rng.uniform(0, 2 * np.pi)
    shift = (float(faults.join_mm * np.cos(a)), float(faults.join_mm * np.sin(a)))
    return Join(float(sheet.width_mm * rng.uniform(0.4, 0.65)), shift, float(rng.normal(0, 0.002)))


def _picture(
    case: Case, light: npt.NDArray[np.uint16], work: Work, view: View, rng: Rng
) -> npt.NDArray[np.uint8]:
    sheet, faults = work.sheet, work.faults
    scan = case.capture == "scan"
    paper = faults.medium.paper
    kind = "table" if scan else str(rng.choice(GROUNDS))
    span = 1.6 * max(sheet.width_mm, sheet.height_mm)
    # A sheet is told from what it lies on by its edge; a white lid or a pale table is the rarer.
    pale = rng.random() < 0.25
    level = rng.uniform(0.42, 0.55) if pale else rng.uniform(0.06, 0.3)
    if scan:
        level = 0.95 if pale else rng.uniform(0.05, 0.6)
    ground = ground_of(kind, span, span, level, rng)
    grey, mask, lamp = take(light, work.per_mm, sheet, view, faults, ground, rng, lit_evenly=scan)
    if scan and paper == (0.86, 0.85, 0.82) and faults.medium.tint == (1.0, 1.0, 1.0):
        return grey
    below = {"wood": (1.12, 0.98, 0.78), "cloth": (0.85, 0.95, 1.1)}.get(kind, (1.0, 1.0, 0.98))
    if faults.medium.name == COLOURED:
        return in_wax(grey, mask, lamp, faults.medium, below)
    return _coloured(grey, mask, paper, faults.medium.tint, below)


def _coloured(
    grey: npt.NDArray[np.uint8],
    mask: npt.NDArray[np.uint8],
    paper: tuple[float, float, float],
    pigment: tuple[float, float, float],
    ground: tuple[float, float, float],
) -> npt.NDArray[np.uint8]:
    """Return blue, green, red: the paper's colour, the pigment's tint, the ground's tint.

    Dark paper is exposed a little longer.
    """
    level = (np.arange(256) / 255.0) ** 2.2
    more = min(1.35, 0.8 / float(np.mean(paper)))
    inside = cv2.merge([mask] * 3).astype(np.uint16)

    def table(values: list[npt.NDArray[np.float64]]) -> npt.NDArray[np.uint16]:
        planes = [
            np.round(255 * np.clip(v, 0, 1) ** (1 / 2.2)).astype(np.uint8)[grey] for v in values
        ]
        return cv2.merge(planes[::-1]).astype(np.uint16)

    on = table([more * p * (level / 0.86) ** t for p, t in zip(paper, pigment, strict=True)])
    off = table([level * g for g in ground])
    return np.asarray((on * inside + off * (255 - inside) + 127) // 255, dtype=np.uint8)


def _record(
    case: Case, design: Design, sheet: Sheet, view: View, shown: list[float]
) -> dict[str, Any]:
    """Return the truth in the panel's frame, ready for JSON."""
    truth: Truth = truth_of(design)
    size = np.max([s.points.max(axis=0) for s in design.strips], axis=0)
    middle = np.array([sheet.width_mm / 2, sheet.height_mm / 2])
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
        "homography": (view.homography @ sheet.matrix).ravel().tolist(),
        "k1": view.k1,
        "centre_px": view.centre.tolist(),
        "radius_px": view.radius,
        "sheet_mm": [sheet.width_mm, sheet.height_mm],
        "panel_on_sheet": {"shift_mm": list(sheet.shift_mm), "angle_deg": sheet.angle_deg},
        "joints": [
            {"x": round(j.x_mm, 4), "y": round(j.y_mm, 4), "kind": j.kind, "degree": j.degree}
            for j in truth.joints
        ],
        "cames": [
            {
                "start": c.start,
                "end": c.end,
                "strip": c.strip,
                "face_width_mm": design.strips[c.strip].width_mm,
                "shown_width_mm": None if np.isnan(w) else round(w, 3),
                "profile": design.strips[c.strip].profile,
                "border": design.strips[c.strip].border,
                "path": np.round(c.path, 4).tolist(),
            }
            for c, w in zip(truth.cames, shown, strict=True)
        ],
        "pieces": [
            {
                "outline": np.round(np.array(p.exterior.coords), 4).tolist(),
                "holes": [np.round(np.array(r.coords), 4).tolist() for r in p.interiors],
            }
            for p in truth.pieces
        ],
    }


def write(rendering: Rendering, folder: Path, quality: int = 0) -> Path:
    """Write picture, truth and reference into a folder; return the picture's path.

    Every other scan is a PNG, unless a quality is given; all else is JPEG.
    """
    folder.mkdir(parents=True, exist_ok=True)
    scan = rendering.case.capture == "scan" and rendering.case.seed % 2 == 1 and not quality
    path = folder / ("rubbing.png" if scan else "rubbing.jpg")
    options = (
        [cv2.IMWRITE_PNG_COMPRESSION, 1]
        if scan
        else [cv2.IMWRITE_JPEG_QUALITY, quality or rendering.jpeg]
    )
    if not cv2.imwrite(str(path), rendering.picture, options):
        raise OSError(f"cannot write {path}")
    for name, text in rendering.reference.files.items():
        (folder / name).write_text(text, encoding="utf-8")
    quoted = [a if " " not in a else f'"{a}"' for a in rendering.reference.arguments]
    (folder / "reference.txt").write_text(" ".join(quoted) + "\n", encoding="utf-8")
    truth = {
        "image": path.name,
        "reference": list(rendering.reference.arguments),
        **rendering.truth,
    }
    (folder / "truth.json").write_text(json.dumps(truth), encoding="utf-8")
    return path
