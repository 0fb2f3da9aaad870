"""Small pictures of loose glass drawn by hand, with the outlines they were drawn from.

Light is added up in linear steps, blurred by the lens, given noise and coded as sRGB
(IEC 61966-2-1), so that an edge looks as it does in a photograph. Nothing here knows how outlines
are found.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import Polygon

from rubbing2pattern.geometry.frame import Warp
from rubbing2pattern.reading import Photograph, Rubbing, Scale

FINE = 4
Linear = npt.NDArray[np.float64]
Colour = npt.NDArray[np.uint8]
Three = tuple[float, float, float]

RED, BLUE, GREEN, AMBER = (0.45, 0.04, 0.03), (0.05, 0.1, 0.5), (0.06, 0.3, 0.1), (0.7, 0.4, 0.05)
CLEAR = (0.86, 0.88, 0.86)


@dataclass(frozen=True)
class Glass:
    """A piece of glass: what it lets through, what its cut edge shows, what lies on it."""

    outline: Polygon
    through: Three = RED
    rim: Three | None = None
    rim_mm: float = 0.5
    streaks: float = 0.0
    paint: tuple[Polygon, ...] = ()
    dirt: tuple[Polygon, ...] = ()


@dataclass(frozen=True)
class Bench:
    """What the glass lies on and how it is lit; light in shares of full white."""

    name: str
    light: Three
    falloff: float = 0.15
    weave: float = 0.0
    shadow: float = 0.0
    shadow_mm: tuple[float, float] = (0.0, 0.0)
    soft_mm: float = 1.0
    covers: bool = False
    noise: float = 0.004
    blur_px: float = 0.7


TABLE = Bench("light table", (0.86, 0.88, 0.84), falloff=0.4)
PAPER = Bench("white paper", (0.7, 0.69, 0.66), 0.2, shadow=0.5, shadow_mm=(1.2, -1.0))
CLOTH = Bench("dark cloth", (0.022, 0.02, 0.026), 0.2, weave=0.35, covers=True)
SCANNER = Bench("scanner", (0.82, 0.82, 0.82), 0.0, shadow=0.25, shadow_mm=(0.0, 0.8), noise=0.002)


@dataclass(frozen=True)
class Picture:
    """A drawn picture and what it was drawn from."""

    colour: Colour
    rubbing: Rubbing
    glass: tuple[Glass, ...]
    bench: Bench = field(default=TABLE)


def drawn(
    bench: Bench,
    glass: tuple[Glass, ...],
    size_mm: tuple[float, float] = (260.0, 190.0),
    px_per_mm: float = 5.0,
    warp: Warp | None = None,
    seed: int = 1,
    extra: tuple[tuple[Polygon, Three], ...] = (),
) -> Picture:
    """Draw glass on a bench; `extra` are opaque flat things in their colours."""
    rng = np.random.default_rng(seed)
    width, height = (round(side * px_per_mm) for side in size_mm)
    seen = Warp.similarity(px_per_mm, height) if warp is None else warp
    light = _ground(bench, width, height, px_per_mm, rng)
    for piece in glass:
        _cast(light, bench, seen, piece, px_per_mm)
    for piece in glass:
        _lay(light, bench, seen, piece, px_per_mm, rng)
    for shape, paint in extra:
        cover = _cover(seen, shape, light.shape)[..., None]
        light = light * (1.0 - cover) + cover * np.array(paint)
    light = np.asarray(cv2.GaussianBlur(light, (0, 0), bench.blur_px), dtype=np.float64)
    light = light + rng.normal(size=light.shape) * bench.noise * np.sqrt(0.1 + light)
    return Picture(_coded(light), _read(_coded(light), seen, px_per_mm), glass, bench)


def _read(colour: Colour, warp: Warp, px_per_mm: float) -> Rubbing:
    grey = cv2.cvtColor(colour, cv2.COLOR_RGB2GRAY)
    h, w = grey.shape
    corners = warp.to_mm([(0, 0), (w - 1, 0), (w - 1, h - 1), (0, h - 1)])
    bounds = (*corners.min(axis=0), *corners.max(axis=0))
    photograph = Photograph(np.asarray(grey, dtype=np.uint8), "bench.png", "0" * 64)
    return Rubbing(photograph, warp, bounds, None, Scale("marks", px_per_mm, 0.0))


def _ground(
    bench: Bench, width: int, height: int, px_per_mm: float, rng: np.random.Generator
) -> Linear:
    y, x = np.mgrid[0:height, 0:width]
    out = ((x / width - 0.55) ** 2 + (y / height - 0.45) ** 2) / 0.5
    level = 1.0 - bench.falloff * out
    if bench.weave:
        thread = 2.0 * np.pi / (0.8 * px_per_mm)
        cloth = np.sin(thread * x) * np.sin(thread * y)
        cloth = cloth + cv2.GaussianBlur(rng.normal(size=level.shape), (0, 0), 1.5) * 2.0
        level = level * np.clip(1.0 + bench.weave * cloth, 0.2, None)
    return np.asarray(level[..., None] * np.array(bench.light), dtype=np.float64)


def _cover(warp: Warp, shape: Polygon, size: tuple[int, ...]) -> Linear:
    """Return the share of each pixel that a shape covers, (H, W)."""
    h, w = size[:2]
    # OpenCV fills the pixels on the border as well: half a fine pixel too much all round.
    less = 0.5 / (FINE * warp.px_per_mm((shape.centroid.x, shape.centroid.y)))
    places = warp.to_px(shapely.get_coordinates(shape.buffer(-less, join_style="mitre").exterior))
    fine = np.zeros((h * FINE, w * FINE), dtype=np.uint8)
    at = np.round(((places + 0.5) * FINE - 0.5) * 64).astype(np.int32)
    cv2.fillPoly(fine, [at], 255, cv2.LINE_8, 6)
    return np.asarray(cv2.resize(fine, (w, h), interpolation=cv2.INTER_AREA), float) / 255.0


def _cast(light: Linear, bench: Bench, warp: Warp, piece: Glass, px_per_mm: float) -> None:
    if bench.shadow:
        moved = shapely.transform(piece.outline, lambda p: p + np.array(bench.shadow_mm))
        dark = cv2.GaussianBlur(
            _cover(warp, moved, light.shape), (0, 0), bench.soft_mm * px_per_mm / 2.0
        )
        light *= 1.0 - bench.shadow * dark[..., None]


def _lay(
    light: Linear,
    bench: Bench,
    warp: Warp,
    piece: Glass,
    px_per_mm: float,
    rng: np.random.Generator,
) -> None:
    cover = _cover(warp, piece.outline, light.shape)[..., None]
    body = np.broadcast_to(np.array(piece.through), light.shape).copy()
    if piece.streaks:
        wave = cv2.GaussianBlur(rng.normal(size=light.shape[:2]), (0, 0), 2.0 * px_per_mm)
        body *= np.clip(1.0 + piece.streaks * wave[..., None] / wave.std(), 0.3, 1.6)
    for stroke in piece.paint:
        body *= 1.0 - 0.93 * _cover(warp, stroke, light.shape)[..., None]
    shows = 0.35 * body + 0.03 + 0.4 * light if bench.covers else light * body
    if piece.rim is not None:
        inner = piece.outline.buffer(-piece.rim_mm)
        within = _cover(warp, inner, light.shape)[..., None] if not inner.is_empty else 0.0
        shows = shows * within + (1.0 - within) * np.array(piece.rim)
    light += cover * (shows - light)
    for blot in piece.dirt:
        over = _cover(warp, blot, light.shape)[..., None]
        light += over * (np.array((0.05, 0.05, 0.055)) - light)


def _coded(light: Linear) -> Colour:
    full = np.clip(light, 0.0, 1.0)
    coded = np.where(full <= 0.0031308, 12.92 * full, 1.055 * full ** (1.0 / 2.4) - 0.055)
    return np.asarray(np.round(coded * 255.0), dtype=np.uint8)


def moved(shape: Polygon, turn_deg: float, at: tuple[float, float]) -> Polygon:
    """Turn a shape about its middle and lay the middle somewhere."""
    there = shapely.affinity.rotate(shape, turn_deg, origin="centroid")
    middle = there.centroid
    return shapely.affinity.translate(there, at[0] - middle.x, at[1] - middle.y)


def edge_errors(found: Polygon, true: Polygon, step_mm: float = 0.5) -> npt.NDArray[np.float64]:
    """Return distances of places along the found outline from the true one, (N,) in mm."""
    ring = found.exterior
    places = ring.interpolate(np.arange(0.0, ring.length, step_mm))
    return np.asarray(shapely.distance(places, true.exterior))
