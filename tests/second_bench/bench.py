"""A bench of the second hand from beginning to end: glass, layout, photographs, truth."""

from __future__ import annotations

import json
import zlib
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt
import shapely
from shapely import affinity
from shapely.geometry import Polygon

from tests.second_bench.glass import Sheet, lay, of_a_kind, throw_shadows
from tests.second_bench.panes import Pane, Rng, cut_glass, panes, shattered
from tests.second_bench.raster import Window
from tests.second_bench.setting import Setting, setting
from tests.second_bench.view import Field, View, above, scanner

TARGET_MM, QUIET_MM, RIM_MM = 60.0, 10.0, 8.0
LEAST_BROKEN_MM2 = 1400.0


@dataclass(frozen=True, slots=True)
class Bench:
    """What is asked for.

    Attributes
    ----------
    design, seed : of the panel; `stray_mm` is how far its tracing strays.
    ground : one of `setting.GROUNDS`.
    reference : "targets" or "marks"; a scan has its dpi.
    missing, strangers, resized, over : shares of the pieces that are not there, of strangers, of
        pieces cut 1.8 to 3.2 mm too large or small, of pieces that lie turned over.
    broken : how many pieces are fragments.
    """

    design: str
    seed: int
    ground: str
    reference: str = "targets"
    per_mm: float = 5.0
    stray_mm: float = 0.2
    missing: float = 0.1
    strangers: float = 0.08
    resized: float = 0.04
    over: float = 0.0
    broken: int = 2
    painted: float = 0.35
    megapixels: float = 12.0
    most: int = 40

    def rng(self, part: str) -> Rng:
        """Return the chance of one part of the work."""
        words = (self.design, self.ground, part)
        return np.random.default_rng([self.seed, 5, *(zlib.crc32(w.encode()) for w in words)])


@dataclass(slots=True)
class Laid:
    """A piece: where it was cut for, its outline there, what it is, and its sheet on the bench."""

    cut: Polygon
    index: int | None
    kind: str
    grown_mm: float = 0.0
    over: bool = False
    sheet: Sheet | None = None


def glass_of(bench: Bench) -> tuple[list[Pane], list[Pane], list[Laid]]:
    """Return the openings, the same as traced, and the glass before it is laid down."""
    true, read = panes(bench.design, bench.seed, bench.stray_mm, bench.rng("tracing"))
    rng = bench.rng("glass")
    here = [p for p in true if rng.random() >= bench.missing and p.cut.area > 80.0]
    if len(here) > bench.most:
        here = [here[int(k)] for k in np.sort(rng.permutation(len(here))[: bench.most])]
    out = [Laid(cut_glass(p.cut, rng), p.index, "whole") for p in here]
    for piece in [p for p in out if p.cut.area > LEAST_BROKEN_MM2][: bench.broken]:
        parts = shattered(piece.cut, int(rng.integers(2, 5)), rng)
        out.remove(piece)
        kind = "fragment" if len(parts) > 1 else "whole"
        out += [Laid(p, piece.index, kind) for p in parts]
    whole = [p for p in out if p.kind == "whole" and p.cut.area > 600.0]
    for piece in whole[: round(bench.resized * len(here))]:
        piece.grown_mm = float(rng.uniform(1.8, 3.2) * rng.choice((-1, 1)))
        grown = piece.cut.buffer(piece.grown_mm, join_style="mitre")
        piece.cut, piece.kind = Polygon(grown.exterior), "resized"
    other, _ = panes("mended", bench.seed + 1000, 0.1, rng)
    count = max(1, round(bench.strangers * len(here)))
    for k in rng.permutation(len(other))[:count]:
        out.append(Laid(cut_glass(other[int(k)].cut, rng), None, "stranger"))
    out = [out[int(k)] for k in rng.permutation(len(out))]
    for piece in out:
        piece.over = bool(rng.random() < bench.over)
    return true, read, out


def tables(glass: list[Laid], bench: Bench) -> list[tuple[tuple[float, float], list[Laid]]]:
    """Lay glass wherever it finds room, from the top, on as many tables as are needed."""
    rng = bench.rng("laying")
    area = bench.megapixels * 1e6 / (bench.per_mm * 1.07) ** 2
    size = (float(np.sqrt(area * 1.3)), float(np.sqrt(area / 1.3)))
    corner = TARGET_MM + 2 * QUIET_MM + 6 if bench.reference == "targets" else 12.0
    out: list[tuple[tuple[float, float], list[Laid]]] = []
    waiting = list(glass)
    while waiting:
        w, h = size
        taken = [(x, y, x + corner, y + corner) for x in (0, w - corner) for y in (0, h - corner)]
        if bench.ground == "scan":
            taken = []
        on: list[Laid] = []
        left: list[Laid] = []
        for piece in waiting:
            place = _placed(piece, taken, size, bench, rng)
            (left if place is None else on).append(piece)
        if not on:  # larger than a table: no photograph shows them
            break
        out.append((size, on))
        waiting = left
    return out


def _placed(
    piece: Laid,
    taken: list[tuple[float, float, float, float]],
    size: tuple[float, float],
    bench: Bench,
    rng: Rng,
) -> Sheet | None:
    shape = affinity.scale(piece.cut, -1, 1, origin=(0, 0)) if piece.over else piece.cut
    shape = shapely.orient_polygons(affinity.rotate(shape, rng.uniform(0, 360), origin="centroid"))
    x0, y0, x1, y1 = shape.bounds
    gap = rng.uniform(4.0, 12.0)
    y, x = np.mgrid[RIM_MM : size[1] - RIM_MM : 5.0, RIM_MM : size[0] - RIM_MM : 5.0]
    y = y[::-1]
    free = (x + x1 - x0 < size[0] - RIM_MM) & (y - (y1 - y0) > RIM_MM)
    for a, b, c, d in taken:
        free &= (x > c + gap) | (x + x1 - x0 < a - gap) | (y - (y1 - y0) > d + gap) | (y < b - gap)
    if not free.any():
        return None
    k = int(np.argmax(free))
    at = (float(x.flat[k]), float(y.flat[k]))
    outline = affinity.translate(shape, at[0] - x0, at[1] - y1)
    taken.append(outline.bounds)
    piece.sheet = of_a_kind(outline, bench.painted, rng)
    piece.sheet.over = piece.over
    return piece.sheet


def photograph(
    on: list[Laid], view: View, where: Setting, rng: Rng, targets: list[tuple[int, np.ndarray]]
) -> npt.NDArray[np.uint8]:
    """Return a photograph (H, W, 3), red green blue."""
    light = np.ones((*where.level.shape, 3), np.float32)
    for piece in on:
        assert piece.sheet is not None
        throw_shadows(light, piece.sheet, view, where, rng)
    picture = where.albedo * light * where.level[..., None]
    del light
    for number, at in targets:
        _print(picture, view, where, number, at)
    for piece in on:
        assert piece.sheet is not None
        lay(picture, piece.sheet, view, where, rng)
    return _exposed(picture, rng)


def _exposed(picture: Field, rng: Rng) -> npt.NDArray[np.uint8]:
    """Blur by the lens, noise, its smoothing, sharpening and the curve of a phone."""
    picture = picture * np.float32(0.85 / max(float(np.quantile(picture[::8, ::8], 0.98)), 1e-3))
    if rng.random() < 0.5:  # exposed for the middle, so that bright places clip
        picture = picture * np.float32(rng.uniform(1.0, 1.25))
    picture = cv2.GaussianBlur(picture, (0, 0), float(rng.uniform(0.6, 1.0)))
    noise = rng.standard_normal(picture.shape, np.float32)
    picture = picture + noise * np.sqrt(1e-5 + rng.uniform(3e-5, 1.2e-4) * np.maximum(picture, 0))
    level = np.clip(picture, 0, 1)
    coded = np.where(level <= 0.0031308, 12.92 * level, 1.055 * level ** (1 / 2.4) - 0.055)
    halo = coded - cv2.GaussianBlur(coded, (0, 0), 1.3)
    coded = coded + np.float32(rng.uniform(0.1, 0.6)) * halo
    bend = np.float32(rng.uniform(0.0, 0.12))
    coded = coded + bend * np.sin(2 * np.pi * (coded - 0.5)) / (2 * np.pi)
    return np.asarray(np.round(255 * np.clip(coded, 0, 1)), np.uint8)


def _print(picture: Field, view: View, where: Setting, number: int, square: np.ndarray) -> None:
    """Lay a printed target down, black on a white card.

    `square` are its corners on the bench, from the upper left clockwise.
    """
    tags = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    bits = cv2.aruco.generateImageMarker(tags, number, 6) == 0
    across, down = (square[1] - square[0]) / 6, (square[3] - square[0]) / 6

    def ring(i: float, j: float, n: float) -> np.ndarray:
        p = [(i, j), (i + n, j), (i + n, j + n), (i, j + n)]
        line = shapely.segmentize(Polygon([square[0] + a * across + b * down for a, b in p]), 5.0)
        return view.see(shapely.get_coordinates(line.exterior)[:-1])

    card = ring(-1, -1, 8)
    window = Window.about([card], view.size_px, 3)
    part, level = window.of(picture), window.of(where.level)[..., None]
    part += window.cover([card])[..., None] * (np.float32(0.8) * level - part)
    ink = np.zeros(part.shape[:2], np.float32)
    for j in range(6):
        for i in range(6):
            if bits[j, i]:
                ink += window.cover([ring(i, j, 1)])
    part += np.minimum(ink, 1)[..., None] * (np.float32(0.04) * level - part)


def write(bench: Bench, folder: Path) -> None:
    """Draw a bench into a folder: photographs, their references and ``truth.json``."""
    true, read, glass = glass_of(bench)
    folder.mkdir(parents=True, exist_ok=True)
    photos = []
    for k, (size, on) in enumerate(tables(glass, bench), start=1):
        rng = bench.rng(f"photograph {k}")
        scan = bench.ground == "scan"
        view = scanner(size, bench.per_mm) if scan else above(size, bench.per_mm, rng)
        where = setting(bench.ground, view, rng)
        squares = [] if scan or bench.reference != "targets" else _squares(size, rng)
        shown = photograph(on, view, where, rng, list(enumerate(squares)))
        name = f"bench-{k}.jpg"
        quality = [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(86, 95))]
        cv2.imwrite(str(folder / name), shown[..., ::-1], quality)
        reference = {"dpi": 25.4 * bench.per_mm} if scan else {bench.reference: f"aid-{k}.csv"}
        if not scan:
            text = _positions(squares, rng) if squares else _marks(view, size, rng)
            (folder / f"aid-{k}.csv").write_text(text, encoding="utf-8")
        photos.append(
            {
                "photo": name,
                "marks": reference.get("marks"),
                "targets": reference.get("targets"),
                "dpi": reference.get("dpi"),
                "camera_mm": None if scan else round(view.height_mm),
                "pieces": [_truth_of(piece) for piece in on],
            }
        )
    truth = {
        "openings": [_opening(p) for p in true],
        "read": [_opening(p) for p in read],
        "stray_mm": bench.stray_mm,
        "photos": photos,
    }
    (folder / "truth.json").write_text(json.dumps(truth), encoding="utf-8")


def _squares(size: tuple[float, float], rng: Rng) -> list[np.ndarray]:
    """Return the corners of four targets in the corners of a table, a little askew."""
    half, off = TARGET_MM / 2, TARGET_MM / 2 + QUIET_MM + 3
    out = []
    for x, y in (
        (off, off),
        (size[0] - off, off),
        (size[0] - off, size[1] - off),
        (off, size[1] - off),
    ):
        a = rng.normal(0, np.radians(2))
        turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
        own = np.array([(-half, half), (half, half), (half, -half), (-half, -half)])
        out.append(np.array((x, y)) + rng.uniform(-2, 2, 2) + own @ turn.T)
    return out


def _positions(squares: list[np.ndarray], rng: Rng) -> str:
    """Return where the targets' middles lie, measured to a tenth of a millimetre."""
    lines = ["id,x_mm,y_mm"]
    for number, square in enumerate(squares):
        x, y = square.mean(axis=0) + rng.normal(0, 0.08, 2)
        lines.append(f"{number},{x:.1f},{y:.1f}")
    return "\n".join(lines) + "\n"


def _marks(view: View, size: tuple[float, float], rng: Rng) -> str:
    """Return eight places round the table, read off the picture."""
    w, h = size
    at = [
        (5, 5),
        (w / 2, 4),
        (w - 5, 5),
        (w - 4, h / 2),
        (w - 5, h - 5),
        (w / 2, h - 4),
        (5, h - 5),
        (4, h / 2),
    ]
    places = np.array(at)
    seen = view.see(places) + rng.normal(0, 0.35, places.shape)
    lines = ["pixel_x,pixel_y,x_mm,y_mm"]
    for (c, r), (x, y) in zip(seen, places, strict=True):
        lines.append(f"{c:.1f},{r:.1f},{x:.2f},{y:.2f}")
    return "\n".join(lines) + "\n"


def _truth_of(piece: Laid) -> dict[str, object]:
    assert piece.sheet is not None
    return {
        "index": piece.index if piece.kind != "resized" else None,
        "kind": piece.kind,
        "near": piece.index if piece.kind == "resized" else None,
        "grown_mm": round(piece.grown_mm, 2),
        "over": piece.over,
        "fragment": piece.kind == "fragment",
        "thick_mm": round(piece.sheet.thick_mm, 2),
        "paint": piece.sheet.paint,
        "tint": [round(float(t), 3) for t in piece.sheet.tint],
        "reeds_mm": piece.sheet.reeds_mm,
        "outline": _ring(piece.sheet.outline),
        "as_cut": _ring(piece.cut),
    }


def _opening(pane: Pane) -> dict[str, object]:
    return {
        "index": pane.index,
        "hearts": _ring(pane.hearts),
        "cut": _ring(pane.cut),
        "sight": _ring(pane.sight),
    }


def _ring(shape: Polygon) -> list[list[float]]:
    if shape.is_empty:
        return []
    return np.round(shapely.get_coordinates(shape.exterior), 4).tolist()
