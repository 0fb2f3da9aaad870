"""Glass in the light: what it takes from it, mirrors of the room, hides, and throws as shadow.

A ray that enters the upper face of a flat sheet is bent to at most 42 degrees from the vertical,
so it meets an upright wall at more than the critical angle and stays inside (law of Snell, index
1.52): the shadow beside glass is that of its wall, dark whatever the colour of the glass.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
import shapely
from shapely.geometry import LineString, Polygon

from tests.second_bench.panes import Array, Rng
from tests.second_bench.raster import Window, clouds, soft
from tests.second_bench.setting import Setting
from tests.second_bench.view import Field, View

INDEX = 1.52
MIRRORED = ((INDEX - 1) / (INDEX + 1)) ** 2
"""Share of light that one face sends back when it falls straight on it (Fresnel)."""
SLICES = (0.12, 0.35, 0.7, 1.0)


@dataclass(slots=True)
class Sheet:
    """One loose piece as it lies.

    Attributes
    ----------
    outline : on the bench.
    tint : share of each light that passes once.
    milk : share that it scatters back, as opal glass does.
    reeds_mm : distance of its reeds, 0 for none; they run `reeds_way` radians.
    paint : "", "lines", "matt" (all over) or "dark"; below where it lies `over`.
    crust : share of its edge that old putty covers.
    """

    outline: Polygon
    thick_mm: float
    tint: Array
    milk: float = 0.0
    reeds_mm: float = 0.0
    reeds_way: float = 0.0
    seeds: float = 0.0
    paint: str = ""
    crust: float = 0.0
    over: bool = False


def of_a_kind(outline: Polygon, painted: float, rng: Rng) -> Sheet:
    """Return glass of some colour, make and paint."""
    kind = rng.choice(("clear", "pale", "strong", "dark", "opal"), p=(0.22, 0.3, 0.3, 0.1, 0.08))
    palette = np.array(
        (
            (0.92, 0.35, 0.30), (0.35, 0.55, 0.95), (0.45, 0.85, 0.50), (0.95, 0.75, 0.35),
            (0.75, 0.50, 0.85), (0.40, 0.80, 0.85), (0.80, 0.62, 0.45), (0.62, 0.64, 0.62),
        )
    )  # fmt: skip
    hue = palette[rng.integers(len(palette))] ** rng.uniform(0.8, 1.2)
    tint = {
        "clear": 1 - (1 - np.array((0.88, 0.91, 0.89))) * rng.uniform(0.7, 1.5),
        "pale": 0.9 * hue**0.35,
        "strong": 0.85 * hue**1.4,
        "dark": 0.5 * hue**3.0 + 0.004,
        "opal": 0.6 * hue**0.4,
    }[str(kind)]
    paint = str(rng.choice(("lines", "matt", "dark"), p=(0.6, 0.25, 0.15)))
    return Sheet(
        outline,
        float(rng.uniform(1.8, 4.2)),
        np.asarray(tint, float),
        milk=float(rng.uniform(0.15, 0.35)) if kind == "opal" else 0.0,
        reeds_mm=float(rng.uniform(2.5, 7.0)) if rng.random() < 0.14 else 0.0,
        reeds_way=float(rng.uniform(0, np.pi)),
        seeds=float(rng.choice((0.0, 0.03, 0.08))),
        paint=paint if rng.random() < painted else "",
        crust=float(rng.choice((0.0, 0.0, 0.25))),
    )


def throw_shadows(light: Field, sheet: Sheet, view: View, where: Setting, rng: Rng) -> None:
    """Darken the light (H, W, 3) of the lamps around a piece, and tint it under the piece."""
    ring = shapely.get_coordinates(sheet.outline.exterior)[:-1]
    per_mm = _per_mm(view, ring)
    leak = rng.uniform(0.04, 0.25) * (0.5 + 0.5 * sheet.tint)
    for lamp in where.lamps:
        far = -lamp.way * sheet.thick_mm / math.tan(lamp.low)
        wide = sheet.thick_mm * math.tan(lamp.half) / math.sin(lamp.low) ** 2 * per_mm
        rings = [view.see(ring + s * far) for s in (0.0, *SLICES)]
        window = Window.about(rings, view.size_px, int(3 * wide) + 4)
        dark = np.zeros((window.height, window.width), np.float32)
        for s, seen in zip(SLICES, rings[1:], strict=True):
            dark = np.maximum(dark, soft(window.cover([seen]), 0.6 * s * wide))
        own = window.cover([rings[0]])[..., None]
        passed = np.asarray(leak * (1 - own) + 0.92 * sheet.tint * own, np.float32)
        window.of(light)[:] -= np.float32(lamp.share) * dark[..., None] * (1 - passed)


def _per_mm(view: View, ring: Array) -> float:
    seen = Polygon(view.see(ring))
    return math.sqrt(seen.area / Polygon(ring).area)


def lay(picture: Field, sheet: Sheet, view: View, where: Setting, rng: Rng) -> None:
    """Lay a piece on a picture (H, W, 3) of the lit ground, in place."""
    ring = shapely.get_coordinates(sheet.outline.exterior)[:-1]
    per_mm = _per_mm(view, ring)
    low, high = view.see(ring), view.see(ring, sheet.thick_mm)
    outer = shapely.union_all([Polygon(low).buffer(0), Polygon(high).buffer(0)])
    rings = [shapely.get_coordinates(p.exterior)[:-1] for p in shapely.get_parts(outer)]
    window = Window.about([low, high], view.size_px, 6)
    under = window.of(picture).copy()
    cover = window.cover(rings)[..., None]
    tint = np.asarray(sheet.tint, np.float32) * np.ones_like(under)
    tint *= _unevenness(sheet, window, per_mm, rng)[..., None]
    tint = np.clip(tint, 0.0, 1.0)
    seen = _refracted(under, sheet, view, window, per_mm)
    mirror = MIRRORED * (1 + tint**2) * _window(where, window, rng)[..., None]
    body = seen * tint * np.float32((1 - MIRRORED) ** 2)
    if not where.shines:  # the ground below is lit through the glass by the walls' light as well
        body *= where.ambient * tint + (1 - where.ambient)
        lit = window.of(where.level)[..., None]
        body += sheet.milk * lit * (0.6 + 0.4 * tint)
    body += mirror + _ridges(sheet, window, where, per_mm, rng)[..., None]
    body = _painted(body, sheet, view, window, where, per_mm, rng)
    walls = _walls(sheet, low, high, window, per_mm, rng)
    body = _edges(body, under, tint, walls, sheet, window, where, rng)
    window.of(picture)[:] += cover * (body - under)


def _unevenness(sheet: Sheet, window: Window, per_mm: float, rng: Rng) -> Field:
    """Return how thickness, seeds and reeds change what passes."""
    shape = (window.height, window.width)
    out = 1 + 0.03 * clouds(shape, 15 * per_mm, rng)
    out += sheet.seeds * np.minimum(clouds(shape, 1.2 * per_mm, rng), 1.5)
    if sheet.reeds_mm:
        out *= 1 - 0.22 * (0.5 + 0.5 * np.cos(_reeds(sheet, window, per_mm))) ** 3
    return np.asarray(np.clip(out, 0.3, 1.4), np.float32)


def _reeds(sheet: Sheet, window: Window, per_mm: float) -> Field:
    y, x = np.mgrid[0 : window.height, 0 : window.width].astype(np.float32)
    along = math.cos(sheet.reeds_way) * x + math.sin(sheet.reeds_way) * y
    return np.asarray(2 * np.pi * along / (sheet.reeds_mm * per_mm), np.float32)


def _refracted(under: Field, sheet: Sheet, view: View, window: Window, per_mm: float) -> Field:
    """Return the ground as it is seen through the glass: shifted a little towards the foot."""
    if view.flat and not sheet.reeds_mm:
        return under
    y, x = np.mgrid[0 : window.height, 0 : window.width].astype(np.float32)
    less = sheet.thick_mm * (1 - 1 / INDEX)
    if not view.flat:
        foot = view.see(view.foot_mm[None])[0] - (window.left, window.top)
        share = np.float32(less / view.height_mm)
        x, y = x + share * (foot[0] - x), y + share * (foot[1] - y)
    if sheet.reeds_mm:
        slide = 0.25 * less * per_mm * np.sin(_reeds(sheet, window, per_mm))
        x = x + math.cos(sheet.reeds_way) * slide
        y = y + math.sin(sheet.reeds_way) * slide
    return np.asarray(
        cv2.remap(under, x.astype(np.float32), y.astype(np.float32), cv2.INTER_LINEAR, None,
                  cv2.BORDER_REPLICATE)
    )  # fmt: skip


def _window(where: Setting, window: Window, rng: Rng) -> Field:
    """Return what the piece mirrors: hardly one lies quite level."""
    h, w = where.window.shape
    slip = rng.normal(0, 0.05, 2) * (w, h)
    m = np.float32([[1, 0, slip[0] - window.left], [0, 1, slip[1] - window.top]])
    size = (window.width, window.height)
    return np.asarray(
        cv2.warpAffine(where.window, m, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)
    )


def _ridges(sheet: Sheet, window: Window, where: Setting, per_mm: float, rng: Rng) -> Field:
    """Return the light of lamps that lies along reeds."""
    if not sheet.reeds_mm or where.shines:
        return np.zeros((window.height, window.width), np.float32)
    phase = _reeds(sheet, window, per_mm) + rng.uniform(0, 6.3)
    line = np.maximum(np.cos(phase), 0.0) ** 40
    return np.asarray(rng.uniform(0.02, 0.15) * line, np.float32)


def _painted(
    body: Field, sheet: Sheet, view: View, window: Window, where: Setting, per_mm: float, rng: Rng
) -> Field:
    """Lay glass paint on: brown black, dull, strokes or a matt with its grain."""
    if not sheet.paint:
        return body
    shape = (window.height, window.width)
    if sheet.paint == "lines":
        rings = [view.see(r) for r in _strokes(sheet.outline, rng)]
        dense = np.zeros(shape, np.float32)
        for ring in rings:
            dense = np.maximum(dense, window.cover([ring]))
        dense *= rng.uniform(0.75, 0.97)
    else:
        grain = clouds(shape, 0.6 * per_mm, rng) + 1.5 * clouds(shape, 20 * per_mm, rng)
        middle = 0.45 if sheet.paint == "matt" else 0.85
        dense = np.clip(middle + 0.08 * grain, 0.0, 0.98)
    dull = np.array((0.045, 0.035, 0.03), np.float32) * window.of(where.level)[..., None]
    sent = 0.0 * dull if where.shines else dull
    if sheet.over:  # the paint is seen through the glass
        sent = sent * np.asarray(sheet.tint, np.float32) ** 2 + 0.02
    return np.asarray(body * (1 - dense[..., None]) + sent * dense[..., None], np.float32)


def _strokes(outline: Polygon, rng: Rng) -> list[Array]:
    """Return brush strokes as rings: a line along the edge, curls, hatching."""
    size = math.sqrt(outline.area)
    lines = []
    if rng.random() < 0.5:
        inner = outline.buffer(-rng.uniform(1.5, 4.0))
        lines += [LineString(p.exterior) for p in shapely.get_parts(inner) if not p.is_empty]
    for _ in range(int(rng.integers(2, 6))):
        a = rng.uniform(0, 2 * np.pi)
        bend = rng.normal(0, 2.0 / size)
        at = np.array(outline.centroid.coords[0]) + rng.normal(0, 0.25, 2) * size
        path = [at]
        for _ in range(int(size * rng.uniform(0.4, 1.2))):
            a += bend + rng.normal(0, 0.03)
            path.append(path[-1] + (math.cos(a), math.sin(a)))
        if len(path) > 1:
            lines.append(LineString(path))
    broad = [line.buffer(rng.uniform(0.3, 1.1)).intersection(outline) for line in lines]
    parts = [p for b in broad for p in shapely.get_parts(b) if isinstance(p, Polygon)]
    return [
        shapely.get_coordinates(p.exterior)[:-1] for p in parts if p.area > 1 and not p.interiors
    ]


def _walls(sheet: Sheet, low: Array, high: Array, window: Window, per_mm: float, rng: Rng) -> Field:
    """Return where cut edges are seen, 0 .. 1: the wall by parallax and what cutting bruised."""
    wide = rng.uniform(0.25, 0.9)
    both = Polygon(low).buffer(0).intersection(Polygon(high).buffer(0)).buffer(-wide * per_mm)
    parts = [p for p in shapely.get_parts(both) if isinstance(p, Polygon) and not p.is_empty]
    clear = [shapely.get_coordinates(p.exterior)[:-1] for p in parts]
    inner = window.cover(clear) if clear else np.zeros((window.height, window.width), np.float32)
    return np.asarray(1 - inner, np.float32)


def _edges(
    body: Field,
    under: Field,
    tint: Field,
    walls: Field,
    sheet: Sheet,
    window: Window,
    where: Setting,
    rng: Rng,
) -> Field:
    """Return the body with its edges: darker by the long way in the glass, and glinting."""
    shape = walls.shape
    rough = 1 + 0.35 * clouds(shape, 5.0, rng)
    deep = rng.uniform(0.3, 0.75) if where.shines else rng.uniform(0.4, 0.9)
    edge = under * tint**2 * deep * np.clip(rough, 0.2, 2.0)[..., None]
    edge += (0.0 if where.shines else 0.03) * np.sqrt(tint)
    facing = soft(walls, 3.0)
    down, right = cv2.Sobel(facing, cv2.CV_32F, 0, 1), cv2.Sobel(facing, cv2.CV_32F, 1, 0)
    size = np.sqrt(down**2 + right**2) + 1e-6
    for lamp in where.lamps:
        # Light that came in elsewhere leaves on the side away from the lamp, and glints towards it.
        toward = (right * lamp.way[0] - down * lamp.way[1]) / size
        glint = np.maximum(np.abs(toward) - 0.2, 0) * np.where(toward > 0, 0.5, 1.0)
        bright = rng.uniform(0.1, 0.8) * lamp.share * glint * np.clip(rough, 0, 3) ** 2
        edge += bright[..., None] * tint**1.5
    out = body + walls[..., None] * (edge - body)
    if sheet.crust:
        putty = (clouds(shape, 40.0, rng) > 1.0 - 3 * sheet.crust) * walls
        out += (
            0.85
            * soft(putty.astype(np.float32), 0.7)[..., None]
            * ((0.0 if where.shines else 1.0) * np.array((0.16, 0.14, 0.11), np.float32) - out)
        )
    return np.asarray(out, np.float32)
