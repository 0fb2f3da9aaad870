"""What the glass lies on, and the light: a picture from laid glass. Linear light until the end."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
import numpy.typing as npt
import shapely
import shapely.ops
from shapely.geometry import LineString, Polygon

from tests.loose_glass.camera import Camera
from tests.loose_glass.glass import Array, Loose, Rng

GROUNDS = ("light-table", "paper", "cloth")
FINE = 4
PAD_PX = 24

Linear = npt.NDArray[np.float32]


def picture(glass: Sequence[Loose], camera: Camera, ground: str, rng: Rng) -> npt.NDArray[np.uint8]:
    """Return blue, green, red of laid glass on a ground."""
    light = _ground(camera, ground, rng)
    if ground != "light-table":
        for piece in glass:
            _shadow(light, piece, camera, 0.45 if ground == "paper" else 0.3, rng)
    for piece in glass:
        _lay(light, piece, camera, ground, rng)
    if ground == "cloth":
        _glare(light, rng)
    light = cv2.GaussianBlur(light, (0, 0), float(rng.uniform(0.5, 0.9)))
    noise = rng.normal(size=light.shape).astype(np.float32)
    light = light + noise * np.sqrt(2e-5 + 6e-5 * np.clip(light, 0, None))
    level = np.clip(light, 0.0, 1.0)
    coded = np.where(level <= 0.0031308, 12.92 * level, 1.055 * level ** (1 / 2.4) - 0.055)
    return np.asarray(np.round(255 * coded), np.uint8)


def _smooth(shape: tuple[int, ...], px: float, rng: Rng) -> Linear:
    """Return smooth noise of unit spread, detail about `px` pixels wide."""
    step = max(1.0, px / 3)
    small = rng.normal(size=(int(shape[0] / step) + 4, int(shape[1] / step) + 4))
    small = cv2.GaussianBlur(small.astype(np.float32), (0, 0), px / step / 2)
    grown = cv2.resize(small, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    return np.asarray(grown / max(float(grown.std()), 1e-6), np.float32)


def _ground(camera: Camera, ground: str, rng: Rng) -> Linear:
    h, w = camera.height_px, camera.width_px
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    at = rng.uniform(0.35, 0.65, 2)
    away = ((x / w - at[0]) ** 2 + (y / h - at[1]) ** 2) / 0.5
    colour = {
        "light-table": (0.80, 0.86, 0.84),
        "paper": (0.60, 0.64, 0.66),
        "cloth": (0.028, 0.024, 0.022),
    }[ground]
    level = 1.0 - rng.uniform(0.15, 0.45) * away
    level *= 1.0 + 0.01 * _smooth((h, w), 60.0, rng)
    if ground == "cloth":
        thread = 2 * np.pi / rng.uniform(3.5, 6.0)
        level *= 1.0 + 0.25 * np.sin(thread * x) * np.sin(thread * y)
        level *= np.clip(1.0 + 0.2 * _smooth((h, w), 3.0, rng), 0.3, None)
    if ground == "paper":
        level *= 1.0 + 0.012 * _smooth((h, w), 2.0, rng)
    return np.asarray(level[..., None] * np.array(colour, np.float32), np.float32)


class _Patch:
    """The part of a picture around a shape, with the share of each pixel that shapes cover."""

    def __init__(self, light: Linear, outlines: Sequence[Array]) -> None:
        every = np.vstack(outlines)
        low = np.floor(every.min(axis=0)).astype(int) - PAD_PX
        high = np.ceil(every.max(axis=0)).astype(int) + PAD_PX
        self.x0, self.y0 = np.maximum(low, 0)
        self.x1, self.y1 = np.minimum(high + 1, (light.shape[1], light.shape[0]))
        self.view = light[self.y0 : self.y1, self.x0 : self.x1]

    def cover(self, outline: Array) -> Linear:
        """Return the share of each pixel covered, (h, w, 1)."""
        h, w = self.view.shape[:2]
        fine = np.zeros((h * FINE, w * FINE), np.uint8)
        # A fine pixel counts when its centre lies inside; OpenCV adds those on the border, which is
        # half a fine pixel too much all round, so the shape is set in by as much.
        less = shapely.Polygon(outline).buffer(-0.5 / FINE, join_style="mitre")
        if less.is_empty:
            return np.zeros((h, w, 1), np.float32)
        for part in shapely.get_parts(less):
            p = shapely.get_coordinates(part.exterior) - (self.x0, self.y0)
            at = np.round(((p + 0.5) * FINE - 0.5) * 64).astype(np.int32)
            cv2.fillPoly(fine, [at], 255, cv2.LINE_8, 6)
        share = cv2.resize(fine, (w, h), interpolation=cv2.INTER_AREA).astype(np.float32) / 255
        return np.asarray(share[..., None])


def _seen(piece: Loose, camera: Camera) -> tuple[Array, Array, Array]:
    """Return the outlines in pixels of the lower face, the upper face, and of both together."""
    assert piece.laid is not None
    ring = shapely.get_coordinates(piece.laid.exterior)
    low = camera.see(ring)
    high = camera.see(ring, piece.thick_mm) if np.isfinite(camera.height_mm) else low
    both = shapely.union_all([Polygon(low).buffer(0), Polygon(high).buffer(0)])
    outer = max(shapely.get_parts(both), key=lambda p: p.area)
    return low, high, shapely.get_coordinates(outer.exterior)


def _shadow(light: Linear, piece: Loose, camera: Camera, deep: float, rng: Rng) -> None:
    low, _, _ = _seen(piece, camera)
    per_mm = np.sqrt(Polygon(low).area / max(piece.laid.area, 1e-9)) if piece.laid else 1.0
    moved = low + np.array((0.7, 0.5)) * piece.thick_mm * per_mm * rng.uniform(0.4, 0.8)
    patch = _Patch(light, [low, moved])
    dark = cv2.GaussianBlur(patch.cover(moved), (0, 0), 0.35 * piece.thick_mm * per_mm)
    patch.view *= 1.0 - deep * (1.0 - 0.5 * float(np.mean(piece.tint))) * dark[..., None]


def _lay(light: Linear, piece: Loose, camera: Camera, ground: str, rng: Rng) -> None:
    low, high, outer = _seen(piece, camera)
    patch = _Patch(light, [low, high])
    under = patch.view.copy()
    tint = np.array(piece.tint[::-1], np.float32)
    body = np.broadcast_to(tint, under.shape).copy()
    if piece.texture:
        wave = _smooth(under.shape[:2], float(rng.uniform(4.0, 25.0)), rng)
        body *= np.clip(1.0 + piece.texture * wave[..., None], 0.4, 1.5)
    through = {
        "light-table": under * body,
        "paper": under * body**2 + 0.04,
        "cloth": under * body**2 + 0.05 + 0.22 * body * (1.0 - 0.6 * float(tint.min())),
    }[ground]
    if piece.painted:
        through = through * (1.0 - 0.9 * _strokes(patch, piece, camera, rng))
    # Light that enters the cut edge leaves it elsewhere: a dark wall on the light table, a bright
    # one where light comes from above.
    wall = patch.cover(outer)
    inner = shapely.intersection(Polygon(low).buffer(0), Polygon(high).buffer(0)).buffer(
        -rng.uniform(0.8, 1.8)
    )
    inside = (
        patch.cover(shapely.get_coordinates(max(shapely.get_parts(inner), key=lambda p: p.area)))
        if not inner.is_empty
        else np.zeros_like(wall)
    )
    rim = {
        "light-table": under * body * rng.uniform(0.25, 0.6),
        "paper": under * body**2 * rng.uniform(0.5, 0.8) + 0.03,
        "cloth": through * rng.uniform(1.3, 2.2) + 0.05,
    }[ground]
    shows = through * inside + rim * (1.0 - inside)
    patch.view += wall * (shows - patch.view)
    if piece.residue:
        _residue(patch, piece, camera, rng)


def _strokes(patch: _Patch, piece: Loose, camera: Camera, rng: Rng) -> Linear:
    assert piece.laid is not None
    middle = np.array(piece.laid.centroid.coords[0])
    size = np.sqrt(piece.laid.area)
    dark = np.zeros((*patch.view.shape[:2], 1), np.float32)
    for _ in range(int(rng.integers(2, 5))):
        turn = rng.uniform(0, np.pi)
        way = np.array((np.cos(turn), np.sin(turn)))
        along = np.linspace(-0.6, 0.6, 30)[:, None] * size
        bend = np.array((-way[1], way[0])) * rng.normal(0, 0.004) * along**2 / 10
        path = middle + rng.normal(0, 0.2, 2) * size + along * way + bend
        stroke = LineString(path).buffer(rng.uniform(0.5, 1.6))
        kept = stroke.intersection(piece.laid)
        for part in shapely.get_parts(kept):
            if isinstance(part, Polygon) and part.area > 0.5:
                ring = camera.see(shapely.get_coordinates(part.exterior))
                dark = np.maximum(dark, patch.cover(ring))
    return dark


def _residue(patch: _Patch, piece: Loose, camera: Camera, rng: Rng) -> None:
    """Old cement on the edge: a dark crust inside it, which stands out by a tenth or two."""
    assert piece.laid is not None
    ring = piece.laid.exterior
    for _ in range(int(rng.poisson(6 * piece.residue))):
        at, length = rng.uniform(0, ring.length), rng.uniform(3, 25)
        run = shapely.ops.substring(ring, at, min(at + length, ring.length))
        crust = run.buffer(rng.uniform(0.4, 1.4)).intersection(piece.laid.buffer(0.12))
        for part in shapely.get_parts(crust):
            if isinstance(part, Polygon) and part.area > 0.5:
                over = patch.cover(camera.see(shapely.get_coordinates(part.exterior)))
                patch.view += 0.9 * over * (np.float32(0.06) - patch.view)


def _glare(light: Linear, rng: Rng) -> None:
    """Mirror a window faintly somewhere on the table."""
    h, w = light.shape[:2]
    spot = np.zeros((h // 8 + 1, w // 8 + 1), np.float32)
    centre = (int(rng.uniform(0.2, 0.8) * w / 8), int(rng.uniform(0.2, 0.8) * h / 8))
    cv2.circle(spot, centre, max(4, min(h, w) // 90), 1.0, -1)
    spot = cv2.GaussianBlur(spot, (0, 0), min(h, w) / 150)
    light += 0.03 * cv2.resize(spot, (w, h))[..., None]
