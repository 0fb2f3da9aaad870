"""Strokes of the stick, and coarse maps of what lies low, what is touched and what is smeared."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
import shapely
from shapely.geometry import LineString, Polygon

from tests.rendering.geometry import Array, Design, Truth
from tests.rendering.sheet import COARSE_PER_MM, Grid, Rng, Sheet, cloud, coarse_px, coarse_shape
from tests.rendering.solder import Blob
from tests.rendering.tiers import Faults


@dataclass(frozen=True, slots=True)
class Maps:
    """Coarse maps over the sheet.

    Attributes
    ----------
    stroke : dose of all strokes on flat ground, about 1 inside the rubbing, 0 outside.
    low_mm : how far the leads lie below the plane in which the stick travels.
    tone : pressure on glass and on the bench around the panel.
    smear : density added by fingers.
    shade : light kept back or added by folds, about 1.
    """

    stroke: Grid
    low_mm: Grid
    tone: Grid
    smear: Grid
    shade: Grid


def outer_of(design: Design) -> Polygon:
    """Return the region inside the border's lead line."""
    return Polygon(next(s.points for s in design.strips if s.border))


def maps_of(
    design: Design, truth: Truth, blobs: list[Blob], sheet: Sheet, faults: Faults, rng: Rng
) -> Maps:
    """Draw all coarse maps; `design` and `truth` lie on the sheet."""
    outer = outer_of(design)
    leads, distance = lead_distance(design, sheet)
    return Maps(
        _strokes(outer, sheet, faults, rng),
        _low(truth, blobs, leads, sheet, faults, rng),
        _tone(truth, outer, distance, sheet, faults, rng),
        _smears(outer, sheet, faults, rng),
        _shade(sheet, faults, rng),
    )


def _polygon_mask(outer: Polygon, sheet: Sheet) -> Grid:
    mask = np.zeros(coarse_shape(sheet), np.uint8)
    p = np.round(coarse_px(sheet, np.array(outer.exterior.coords)) * 16).astype(np.int32)
    cv2.fillPoly(mask, [p], 1, cv2.LINE_8, 4)
    return np.asarray(mask, dtype=np.float32)


def lead_distance(design: Design, sheet: Sheet) -> tuple[Grid, Grid]:
    """Return a mask of the leads and the distance from them, mm."""
    free = np.full(coarse_shape(sheet), 255, np.uint8)
    for s in design.strips:
        p = np.round(coarse_px(sheet, s.points) * 16).astype(np.int32)
        cv2.polylines(free, [p], False, 0, max(1, round(s.width_mm * COARSE_PER_MM)), cv2.LINE_8, 4)
    d = cv2.distanceTransform(free, cv2.DIST_L2, cv2.DIST_MASK_5) / COARSE_PER_MM
    return np.asarray(free == 0, np.float32), np.asarray(d, dtype=np.float32)


def _strokes(outer: Polygon, sheet: Sheet, faults: Faults, rng: Rng) -> Grid:
    """Lay bands 8 to 14 mm wide and some 150 mm long, in passes that cross at 20 to 90 degrees.

    Every place is gone over about five times. Strokes run past the panel by 5 to 40 mm and end
    raggedly. A stroke left out shows as a streak.
    """
    acc = np.zeros(coarse_shape(sheet), np.float32)
    reach = 1.5 * max(sheet.width_mm, sheet.height_mm)
    centre = np.array(outer.centroid.coords[0])
    hull = outer.convex_hull.buffer(rng.uniform(4, 12))
    first = rng.uniform(0, 180)
    turns = (0.0, rng.uniform(-8, 8), rng.uniform(20, 90) * rng.choice([-1, 1]))
    weights = rng.dirichlet((4, 4, 4)) * 3
    for turn, weight in zip(turns, weights, strict=True):
        a = np.radians(first + turn)
        u, v = np.array([np.cos(a), np.sin(a)]), np.array([-np.sin(a), np.cos(a)])
        off = -reach
        while off < reach:
            width = rng.uniform(8, 14)
            tilt = rng.normal(0, 0.03)
            d = u + v * tilt
            run = LineString((centre + v * off - d * reach, centre + v * off + d * reach))
            for part in shapely.get_parts(run.intersection(hull)):
                if part.length > 1 and rng.random() >= faults.skipped:
                    over = rng.uniform(3, 26, (2, 1)) * np.array([[-1], [1]])
                    ends = np.array(part.coords)[[0, -1]] + over * d
                    _lay(acc, ends, width, weight, sheet, faults.unevenness, rng)
            off += width * rng.uniform(0.4, 0.65)
    acc = cv2.GaussianBlur(acc, (0, 0), 1.5 * COARSE_PER_MM)
    inside = _polygon_mask(outer, sheet) > 0
    # Within a stroke the hand wanders: slow swelling of the pressure.
    acc *= np.exp(0.5 * faults.unevenness * cloud(acc.shape, 60 * COARSE_PER_MM, rng))
    return np.asarray(acc / np.median(acc[inside]), np.float32)


def _lay(
    acc: Grid, ends: Array, width: float, weight: float, sheet: Sheet, spread: float, rng: Rng
) -> None:
    length = float(np.hypot(*(ends[1] - ends[0])))
    cuts = np.linspace(0, 1, max(1, round(length / rng.uniform(110, 200))) + 1)
    for t0, t1 in pairwise(cuts.tolist()):
        # Strokes of one run overlap where the hand sets on again.
        span = np.array([[max(0.0, t0 - 5 / length)], [min(1.0, t1 + 5 / length)]])
        p = coarse_px(sheet, ends[0] + (ends[1] - ends[0]) * span)
        lo = np.floor(p.min(axis=0) - 12).astype(int)
        lo = np.maximum(lo, 0)
        hi = np.minimum(np.ceil(p.max(axis=0) + 13).astype(int), acc.shape[::-1])
        if (hi <= lo).any():
            continue
        patch = np.zeros((hi[1] - lo[1], hi[0] - lo[0]), np.uint8)
        q = np.round((p - lo) * 16).astype(int)
        thick = round(width * COARSE_PER_MM)
        cv2.line(patch, tuple(q[0].tolist()), tuple(q[1].tolist()), 1, thick, cv2.LINE_8, 4)
        dose = np.float32(weight * np.exp(rng.normal(0, 1.6 * spread)))
        acc[lo[1] : hi[1], lo[0] : hi[0]] += patch * dose


def _low(
    truth: Truth, blobs: list[Blob], leads: Grid, sheet: Sheet, faults: Faults, rng: Rng
) -> Grid:
    """Sum the bow of the panel, dents in the leads, and the lift of the stick next to solder."""
    shape = coarse_shape(sheet)
    low = faults.bow_mm * np.maximum(0.0, cloud(shape, 70 * COARSE_PER_MM, rng) + 0.8)
    low += 0.4 * faults.bow_mm * np.maximum(0.0, cloud(shape, 15 * COARSE_PER_MM, rng))
    # A hand that feels nothing presses harder: the bow alone never loses a lead altogether.
    low = np.minimum(low, 0.5 * faults.lead.give_mm)
    yy, xx = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
    at = coarse_px(sheet, np.array([(b.x_mm, b.y_mm) for b in blobs]).reshape(-1, 2))
    for b, (x, y) in zip(blobs, at, strict=True):
        r = int(b.long_mm + 16)
        c0, r0 = max(0, int(x) - r), max(0, int(y) - r)
        win = (slice(r0, int(y) + r), slice(c0, int(x) + r))
        beyond = np.maximum(0.0, np.hypot(xx[win] - x, yy[win] - y) / COARSE_PER_MM - b.long_mm)
        low[win] += 0.35 * b.height_mm * np.exp(-beyond / 4.0) * (beyond > 0)
    metres = sum(float(np.hypot(*np.diff(c.path, axis=0).T).sum()) for c in truth.cames) / 1000
    for _ in range(rng.poisson(faults.dents_per_m * metres)):
        c = truth.cames[int(rng.integers(len(truth.cames)))]
        i = int(rng.integers(len(c.path) - 1))
        a, b2 = c.path[i], c.path[i + 1]
        x, y = coarse_px(sheet, (a + (b2 - a) * rng.random())[None])[0]
        u = (b2 - a) / max(1e-9, float(np.hypot(*(b2 - a))))
        # Short dents are common, long worn runs rare.
        length = faults.dent_mm[0] + (faults.dent_mm[1] - faults.dent_mm[0]) * rng.random() ** 2
        depth = faults.lead.give_mm * rng.uniform(*faults.dent_depth)
        r = int(length / 2 + 14)
        c0, r0 = max(0, int(x) - r), max(0, int(y) - r)
        win = (slice(r0, max(r0, int(y) + r)), slice(c0, max(c0, int(x) + r)))
        dx, dy = (xx[win] - x) / COARSE_PER_MM, (y - yy[win]) / COARSE_PER_MM
        s, t = dx * u[0] + dy * u[1], dy * u[0] - dx * u[1]
        low[win] += depth * np.exp(-((1.6 * s / length) ** 2) - (t / 5.0) ** 2)
    return np.asarray(low, dtype=np.float32)


def _tone(
    truth: Truth, outer: Polygon, distance: Grid, sheet: Sheet, faults: Faults, rng: Rng
) -> Grid:
    """Return the pressure where no lead is: paper bridges near leads and touches beyond.

    Each piece lies at its own height, and old glass is uneven. The bench around the panel is
    touched from some 8 mm outside the border on.
    """
    shape = coarse_shape(sheet)
    level = np.zeros(shape, np.float32)
    for piece in truth.pieces:
        p = np.round(coarse_px(sheet, np.array(piece.exterior.coords)) * 16).astype(np.int32)
        cv2.fillPoly(level, [p], float(np.exp(rng.normal(0, 0.5))), cv2.LINE_8, 4)
    level *= np.clip(1 + 0.3 * cloud(shape, 50 * COARSE_PER_MM, rng), 0.1, 3)
    if faults.texture:
        pattern = cloud(shape, float(rng.uniform(3, 6)) * COARSE_PER_MM, rng)
        level *= np.clip(1 + faults.texture * 1.5 * pattern, 0, 6)
    glass = faults.glass_tone * level * (1 - np.exp(-((distance / 7.0) ** 2)))
    glass += _bars(outer, sheet, faults.bars, rng)
    inside = _polygon_mask(outer, sheet)
    bench = faults.table_tone * (1 - np.exp(-((distance / 9.0) ** 3)))
    bench *= np.clip(1 + 0.25 * cloud(shape, 12 * COARSE_PER_MM, rng), 0, 3)
    return np.asarray(np.where(inside > 0, glass, bench) + 0.002, dtype=np.float32)


def _bars(outer: Polygon, sheet: Sheet, count: int, rng: Rng) -> Grid:
    """Return the pressure of iron bars that are felt through the paper across the panel."""
    h, w = coarse_shape(sheet)
    y = sheet.height_mm - (np.arange(h, dtype=np.float32)[:, None] + 0.5) / COARSE_PER_MM
    x = (np.arange(w, dtype=np.float32)[None] + 0.5) / COARSE_PER_MM
    total = np.zeros((h, w), np.float32)
    low, high = outer.bounds[1], outer.bounds[3]
    for k in range(count):
        at = low + (high - low) * (k + rng.uniform(0.35, 0.65)) / count
        d = np.abs(y - at - rng.normal(0, 0.02) * x)
        total += np.clip(1 - (d / rng.uniform(4, 7)) ** 2, 0, 1) * np.float32(
            rng.uniform(0.05, 0.3)
        )
    return total * np.clip(1 + 0.6 * cloud((h, w), 25 * COARSE_PER_MM, rng), 0, 2)


def _smears(outer: Polygon, sheet: Sheet, faults: Faults, rng: Rng) -> Grid:
    """Draw finger smears: 10 to 18 mm wide, 20 to 90 mm long, soft at the sides."""
    out = np.zeros(coarse_shape(sheet), np.float32)
    x0, y0, x1, y1 = outer.bounds
    for _ in range(faults.smudges):
        a = np.array([rng.uniform(x0 - 20, x1 + 20), rng.uniform(y0 - 20, y1 + 20)])
        turn, bend = rng.uniform(0, 2 * np.pi), rng.normal(0, 0.004)
        s = np.linspace(0, rng.uniform(20, 90), 20)
        run = a + np.column_stack((s * np.cos(turn + bend * s), s * np.sin(turn + bend * s)))
        p = np.round(coarse_px(sheet, run) * 16).astype(np.int32)
        layer = np.zeros_like(out)
        cv2.polylines(layer, [p], False, 1.0, int(rng.uniform(8, 15)), cv2.LINE_8, 4)
        layer = cv2.GaussianBlur(layer, (0, 0), rng.uniform(2, 4))
        out += layer * np.float32(faults.smudge_density * rng.uniform(0.3, 1.0))
    return np.asarray(out * np.clip(1 + 0.3 * cloud(out.shape, 6, rng), 0, 2), dtype=np.float32)


def _shade(sheet: Sheet, faults: Faults, rng: Rng) -> Grid:
    """Draw the light on a sheet that is not quite flat: one part in a hundred, slowly varying."""
    strength = 0.004 + 0.04 * faults.gradient
    return np.asarray(1 + strength * cloud(coarse_shape(sheet), 120, rng), dtype=np.float32)
