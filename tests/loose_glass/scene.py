"""A bench from beginning to end: the panel, its glass, how it is laid out, the photographs."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import shapely
from shapely import affinity
from shapely.geometry import Polygon

from tests.loose_glass.bench import picture
from tests.loose_glass.camera import Camera, flat, over_table
from tests.loose_glass.glass import (
    Loose,
    Rng,
    TrueOpening,
    broken,
    cut_for,
    openings_of,
)
from tests.rendering.designs import draw

GAP_MM = 14.0
RIM_MM = 30.0
LEAST_FRAGMENTED_MM2 = 1500.0


@dataclass(frozen=True)
class Bench:
    """What is asked for.

    Attributes
    ----------
    design, seed : of the panel; strangers come from another panel of `stranger_design`.
    ground : "light-table", "paper", "cloth" or "scan".
    missing, strangers : share of the pieces that are not there, and of strangers that are.
    fragments : how many pieces are broken.
    over : share of pieces that lie turned over.
    """

    design: str
    seed: int
    ground: str = "light-table"
    px_per_mm: float = 5.0
    missing: float = 0.08
    strangers: float = 0.08
    stranger_design: str = "figure"
    fragments: int = 0
    over: float = 0.0
    megapixels: float = 24.0


def laid_out(bench: Bench, rng: Rng) -> tuple[list[TrueOpening], list[Loose]]:
    """Return the openings of the panel and the glass on the bench, not yet laid anywhere."""
    design, truth = draw(bench.design, rng)
    openings = openings_of(design, truth)
    there = [o for o in openings if rng.random() >= bench.missing]
    glass = [Loose(cut_for(o, rng), o.index) for o in there]
    large = [g for g in glass if g.outline.area > LEAST_FRAGMENTED_MM2]
    for whole in large[: bench.fragments]:
        parts = broken(whole.outline, int(rng.integers(2, 5)), rng)
        glass.remove(whole)
        glass += [Loose(part, whole.index, fragment=True) for part in parts]
    if bench.strangers:
        other = openings_of(*draw(bench.stranger_design, rng))
        count = max(1, round(bench.strangers * len(openings)))
        chosen = rng.choice(len(other), size=min(count, len(other)), replace=False)
        glass += [Loose(cut_for(other[int(k)], rng), None) for k in chosen]
    order = rng.permutation(len(glass))
    glass = [glass[int(k)] for k in order]
    for piece in glass:
        _dress(piece, bench, rng)
    return openings, glass


def _dress(piece: Loose, bench: Bench, rng: Rng) -> None:
    kind = rng.choice(["clear", "pale", "strong"], p=[0.2, 0.4, 0.4])
    hue = rng.dirichlet((1.2, 1.2, 1.2))
    pure = hue / hue.max()
    level = {"clear": 0.9, "pale": 0.72, "strong": 0.5}[str(kind)]
    mix = {"clear": 0.05, "pale": 0.4, "strong": 0.92}[str(kind)]
    tint = level * ((1 - mix) + mix * pure)
    piece.tint = (float(tint[0]), float(tint[1]), float(tint[2]))
    piece.thick_mm = float(rng.uniform(2.0, 4.0))
    piece.texture = float(rng.choice([0.0, 0.05, 0.15]))
    piece.painted = bool(rng.random() < 0.35)
    piece.residue = float(rng.choice([0.0, 0.3, 1.0]))
    piece.over = bool(rng.random() < bench.over)


def on_tables(
    glass: list[Loose], bench: Bench, rng: Rng
) -> list[tuple[tuple[float, float], list[Loose]]]:
    """Lay glass in rows on as many tables as are needed; return sizes and what lies there."""
    side_mm = float(np.sqrt(bench.megapixels * 1e6) / bench.px_per_mm / 1.06)
    width_mm, height_mm = side_mm * 1.15, side_mm / 1.15
    tables: list[tuple[tuple[float, float], list[Loose]]] = []
    on: list[Loose] = []
    x, y, row = RIM_MM, RIM_MM, 0.0
    for piece in glass:
        shape = piece.outline
        if piece.over:
            shape = affinity.scale(shape, -1.0, 1.0, origin=(0, 0))
        shape = affinity.rotate(shape, rng.uniform(0, 360), origin="centroid")
        x0, y0, x1, y1 = shape.bounds
        if x + x1 - x0 > width_mm - RIM_MM:
            x, y, row = RIM_MM, y + row + GAP_MM, 0.0
        if y + y1 - y0 > height_mm - RIM_MM and on:
            tables.append(((width_mm, height_mm), on))
            on, x, y, row = [], RIM_MM, RIM_MM, 0.0
        piece.laid = affinity.translate(shape, x - x0, y - y0)
        on.append(piece)
        x += x1 - x0 + GAP_MM * rng.uniform(0.6, 1.4)
        row = max(row, y1 - y0)
    used = max(p.laid.bounds[3] for p in on if p.laid is not None) + RIM_MM
    tables.append(((width_mm, min(height_mm, max(used, 0.35 * width_mm))), on))
    return tables


def write(bench: Bench, folder: Path) -> None:
    """Draw a bench into a folder: photographs, ``marks-N.csv`` or dpi, ``truth.json``."""
    rng = np.random.default_rng([bench.seed, 77])
    openings, glass = laid_out(bench, rng)
    folder.mkdir(parents=True, exist_ok=True)
    photos = []
    for k, (size_mm, on) in enumerate(on_tables(glass, bench, rng), start=1):
        scan = bench.ground == "scan"
        camera = (
            flat(size_mm, bench.px_per_mm) if scan else over_table(size_mm, bench.px_per_mm, rng)
        )
        shown = picture(on, camera, "paper" if scan else bench.ground, rng)
        name = f"bench-{k}.jpg"
        cv2.imwrite(str(folder / name), shown, [cv2.IMWRITE_JPEG_QUALITY, 92])
        marks = _marks(camera, size_mm, rng)
        (folder / f"marks-{k}.csv").write_text(marks, encoding="utf-8")
        photos.append(
            {
                "photo": name,
                "marks": f"marks-{k}.csv",
                "dpi": 25.4 * bench.px_per_mm if scan else None,
                "camera_mm": None if scan else round(camera.height_mm),
                "pieces": [_truth_of(piece) for piece in on],
            }
        )
    truth = {
        "openings": [
            {
                "index": o.index,
                "hearts": _ring(o.hearts),
                "cut": _ring(o.cut),
                "sight": _ring(o.sight),
            }
            for o in openings
        ],
        "photos": photos,
    }
    (folder / "truth.json").write_text(json.dumps(truth), encoding="utf-8")


def _truth_of(piece: Loose) -> dict[str, object]:
    assert piece.laid is not None
    return {
        "index": piece.index,
        "over": piece.over,
        "fragment": piece.fragment,
        "thick_mm": round(piece.thick_mm, 2),
        "outline": _ring(piece.laid),
        "as_cut": _ring(piece.outline),
    }


def _ring(shape: Polygon) -> list[list[float]]:
    return (
        np.round(shapely.get_coordinates(shape.exterior), 4).tolist() if not shape.is_empty else []
    )


def _marks(camera: Camera, size_mm: tuple[float, float], rng: Rng) -> str:
    """Nine places on the table, read off the picture to a third of a pixel."""
    w, h = size_mm
    places = np.array([(x, y) for y in (10, h / 2, h - 10) for x in (10, w / 2, w - 10)])
    seen = camera.see(places) + rng.normal(0, 0.3, places.shape)
    lines = [
        f"{c:.2f},{r:.2f},{x:.2f},{y:.2f}" for (c, r), (x, y) in zip(seen, places, strict=True)
    ]
    return "\n".join(["pixel_x,pixel_y,x_mm,y_mm", *lines]) + "\n"
