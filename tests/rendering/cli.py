"""Render one rubbing into a folder: the picture, truth.json and the reference argument."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import cv2
import numpy as np

from tests.rendering.designs import DESIGNS
from tests.rendering.geometry import placed, truth_of
from tests.rendering.relief import Lead
from tests.rendering.rubbing import (
    Canvas,
    Medium,
    Sheet,
    density_of,
    dose_of,
    shown_width_mm,
    strokes_of,
)


def main() -> None:
    """Read the command line and render."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--design", required=True, choices=sorted(DESIGNS))
    parser.add_argument("--tier", default="clean")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--capture", default="scan")
    parser.add_argument("--dpi", type=float, default=200.0)
    parser.add_argument("-o", "--output", type=Path, required=True)
    args = parser.parse_args()
    rng = np.random.default_rng([args.seed, sum(map(ord, args.design))])
    design = placed(DESIGNS[args.design](rng))
    truth = truth_of(design)
    size = np.max([s.points.max(axis=0) for s in design.strips], axis=0)
    margin = rng.uniform(55, 80, 4)
    sheet = Sheet(
        float(size[0] + margin[0] + margin[1]),
        float(size[1] + margin[2] + margin[3]),
        (float(margin[0]), float(margin[2])),
        float(rng.uniform(-0.7, 0.7)),
    )
    k = args.dpi / 25.4
    canvas = Canvas(sheet, 1.3 * k)
    lead, medium = Lead(), Medium()
    on_sheet = type(design)(
        design.name,
        tuple(
            type(s)(sheet.place(s.points), s.width_mm, s.profile, s.border) for s in design.strips
        ),
    )
    truth_sheet = truth_of(on_sheet)
    pressed = dose_of(on_sheet, truth_sheet, canvas, lead, rng)
    stroke = strokes_of(on_sheet, canvas, medium, rng)
    density = density_of(pressed, stroke, medium, canvas, rng)
    light = 236.0 * np.exp(-density)
    picture, panel_to_px = _scan(light, canvas, k, float(rng.uniform(-1.2, 1.2)), rng)
    out = args.output
    out.mkdir(parents=True, exist_ok=True)
    cv2.imwrite(str(out / "rubbing.png"), picture)
    (out / "reference.txt").write_text(f"--dpi {args.dpi:g}\n", encoding="utf-8")
    shown = {
        (s.width_mm, s.profile): shown_width_mm(s.width_mm, s.profile, lead, medium)
        for s in design.strips
    }
    record = {
        "image": "rubbing.png",
        "design": args.design,
        "tier": args.tier,
        "seed": args.seed,
        "capture": args.capture,
        "width_mm": float(size[0]),
        "height_mm": float(size[1]),
        "px_per_mm": k,
        "homography": panel_to_px.ravel().tolist(),
        "k1": 0.0,
        "joints": [
            {"x": j.x_mm, "y": j.y_mm, "kind": j.kind, "degree": j.degree} for j in truth.joints
        ],
        "cames": [
            {
                "start": c.start,
                "end": c.end,
                "strip": c.strip,
                "path": np.round(c.path, 4).tolist(),
                "face_width_mm": design.strips[c.strip].width_mm,
                "shown_width_mm": round(
                    shown[design.strips[c.strip].width_mm, design.strips[c.strip].profile], 3
                ),
                "profile": design.strips[c.strip].profile,
                "border": design.strips[c.strip].border,
            }
            for c in truth.cames
        ],
        "pieces": [
            {
                "outline": np.round(np.array(p.exterior.coords), 4).tolist(),
                "holes": [np.round(np.array(r.coords), 4).tolist() for r in p.interiors],
            }
            for p in truth.pieces
        ],
    }
    (out / "truth.json").write_text(json.dumps(record), encoding="utf-8")


def _scan(light, canvas, k, angle_deg, rng):
    """Scan the sheet turned by `angle_deg` anticlockwise; return the picture and sheet -> px."""
    sheet = canvas.sheet
    a = np.radians(angle_deg)
    bed = 8.0
    w = int((sheet.width_mm * np.cos(a) + sheet.height_mm * abs(np.sin(a)) + 2 * bed) * k)
    h = int((sheet.height_mm * np.cos(a) + sheet.width_mm * abs(np.sin(a)) + 2 * bed) * k)
    c, s = np.cos(a), np.sin(a)
    mid = np.array([sheet.width_mm / 2, sheet.height_mm / 2])
    m = np.array([[k * c, -k * s, 0], [-k * s, -k * c, 0], [0, 0, 1.0]])
    m[:2, 2] = np.array([(w - 1) / 2, (h - 1) / 2]) - m[:2, :2] @ mid
    x0, y0 = canvas.origin
    to_canvas = np.array([[canvas.scale, 0, -x0 * canvas.scale], [0, -canvas.scale, y0 * canvas.scale], [0, 0, 1]])
    warp = m @ np.linalg.inv(to_canvas)
    light = cv2.GaussianBlur(light, (0, 0), 0.55 * canvas.scale / k)
    picture = cv2.warpAffine(
        light, warp[:2], (w, h), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=205
    )
    picture += rng.standard_normal(picture.shape, dtype=np.float32) * 1.6
    picture = np.clip(picture + 0.5, 0, 255).astype(np.uint8)
    t = np.radians(sheet.angle_deg)
    place = np.array(
        [[np.cos(t), -np.sin(t), sheet.shift_mm[0]], [np.sin(t), np.cos(t), sheet.shift_mm[1]], [0, 0, 1]]
    )
    return picture, m @ place
