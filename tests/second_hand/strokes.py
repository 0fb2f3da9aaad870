"""Where the hand went: strokes along the leads, zigzag patches, or scrubbing in loops.

Each stroke adds to a map of dose on a coarse grid; the map is brought to 1 in the middle of what
the leads received, and evened out by the maker's care.
"""

from __future__ import annotations

import cv2
import numpy as np
from shapely.geometry import LineString, Polygon

from tests.second_hand.circumstances import Circumstances
from tests.second_hand.leadwork import Array, Lead, Rng
from tests.second_hand.relief import Field, Grid

DIRECTIONS = 4


def doses(leads: list[Lead], grid: Grid, c: Circumstances, rng: Rng) -> tuple[Field, Field]:
    """Return the dose, 1 on a lead rubbed as most are, and the stroke's direction 0..3."""
    total = np.zeros(grid.shape, np.float32)
    way = np.zeros(grid.shape, np.float32)
    for kind in c.strokes:
        part = np.zeros(grid.shape, np.float32)
        _KINDS[kind](part, way, leads, grid, c, rng)
        part = cv2.GaussianBlur(part, (0, 0), 0.9 * grid.per_mm)
        total += part / max(_typical(part, leads, grid), 1e-3)
    total /= max(_typical(total, leads, grid), 1e-3)
    even = np.clip(total, 0, 2.2) ** (1.15 - c.care)
    inside = _reach(leads, grid, c, rng)
    dose = np.where(total > 0.02, even, 0) * inside
    for _ in range(c.missed):
        _patch(dose, grid, rng, float(rng.uniform(0.35, 0.65)))
    return np.asarray(dose, np.float32), way


def _typical(part: Field, leads: list[Lead], grid: Grid) -> float:
    at = np.vstack([grid.at(x.run[::5]) for x in leads]).round().astype(int)
    at = np.clip(at, 0, np.array(grid.shape[::-1]) - 1)
    v = part[at[:, 1], at[:, 0]]
    return float(np.percentile(v, 45))


def _reach(leads: list[Lead], grid: Grid, c: Circumstances, rng: Rng) -> Field:
    """Return 1 where the hand went at all, with a ragged margin beyond the border's lead."""
    edge = leads[0].face_mm / 2
    outline = Polygon(leads[0].run).buffer(edge + c.overrun_mm)
    mask = np.zeros(grid.shape, np.uint8)
    cv2.fillPoly(mask, [grid.fixed(np.array(outline.exterior.coords))], 255, cv2.LINE_AA, 4)
    soft = cv2.GaussianBlur(mask, (0, 0), 2.5 * grid.per_mm).astype(np.float32) / 255
    rough = rng.normal(size=(grid.shape[0] // 8 + 1, grid.shape[1] // 8 + 1)).astype(np.float32)
    rough = cv2.resize(cv2.GaussianBlur(rough, (0, 0), 1.2), grid.shape[::-1])
    keep = np.zeros(grid.shape, np.uint8)
    sure = Polygon(leads[0].run).buffer(edge + 1.5)
    cv2.fillPoly(keep, [grid.fixed(np.array(sure.exterior.coords))], 1, cv2.LINE_8, 4)
    return np.maximum(np.clip(soft * 1.6 - 0.3 + 0.8 * rough, 0, 1), keep)


def _patch(dose: Field, grid: Grid, rng: Rng, left: float) -> None:
    """Weaken a patch to the share left."""
    axes = tuple(int(v * grid.per_mm) for v in rng.uniform(9, 40, 2))
    centre = tuple(int(v) for v in rng.uniform(0.1, 0.9, 2) * grid.shape[::-1])
    hole = np.zeros(grid.shape, np.float32)
    cv2.ellipse(hole, centre, axes, float(rng.uniform(0, 180)), 0, 360, 1.0, -1)
    dose *= 1 - (1 - left) * cv2.GaussianBlur(hole, (0, 0), 4 * grid.per_mm)


def _line(part: Field, points: Array, width_mm: float, dose: float, grid: Grid) -> None:
    """Add one stroke; it does not add to itself."""
    pad = int(width_mm * grid.per_mm) + 2
    q = grid.at(points)
    lo = np.maximum(np.floor(q.min(axis=0)).astype(int) - pad, 0)
    hi = np.minimum(np.ceil(q.max(axis=0)).astype(int) + pad, grid.shape[::-1])
    if (hi <= lo).any():
        return
    ink = np.zeros((hi[1] - lo[1], hi[0] - lo[0]), np.uint8)
    thick = max(1, round(width_mm * grid.per_mm))
    run = np.round((q - lo) * 16).astype(np.int32)
    cv2.polylines(ink, [run], False, 255, thick, cv2.LINE_AA, 4)
    part[lo[1] : hi[1], lo[0] : hi[0]] += ink * np.float32(dose / 255)


def _along(
    part: Field, way: Field, leads: list[Lead], grid: Grid, c: Circumstances, rng: Rng
) -> None:
    """Follow each lead to and fro, a little beside it now and then."""
    for lead in leads:
        line = LineString(lead.run)
        for _ in range(3):
            s = 0.0
            while s < line.length - 1:
                e = min(line.length, s + rng.uniform(50, 160))
                t = np.linspace(s, e, max(3, int((e - s) / 4)))
                p = np.array([line.interpolate(v).coords[0] for v in t])
                drift = (1 - c.care) * lead.face_mm * 0.35
                p += rng.normal(0, 0.2 + drift, 2)
                p += np.cumsum(rng.normal(0, 0.25 * (1 - c.care), p.shape), axis=0)
                wide = lead.face_mm + rng.uniform(2.5, 8)
                _line(part, p, wide, float(np.exp(rng.normal(0, 0.15))), grid)
                s = e - rng.uniform(2, 12) if e < line.length else e
    way += rng.integers(0, 2) * 2


def _zigzag(
    part: Field, way: Field, leads: list[Lead], grid: Grid, c: Circumstances, rng: Rng
) -> None:
    """Cover the panel patch by patch, to and fro, each patch in its own direction."""
    x0, y0, x1, y1 = Polygon(leads[0].run).buffer(c.overrun_mm).bounds
    size = rng.uniform(70, 130)
    base, spread = rng.uniform(0, np.pi), 0.25 + 0.5 * (1 - c.care)
    for x in np.arange(x0, x1 + size / 2, size * 0.55):
        for y in np.arange(y0, y1 + size / 2, size * 0.55):
            centre = np.array([x, y]) + rng.normal(0, 0.1 * size, 2)
            a = base + rng.normal(0, spread)
            step, wide = rng.uniform(2.2, 4.5), rng.uniform(4, 8)
            u, v = np.array([np.cos(a), np.sin(a)]), np.array([-np.sin(a), np.cos(a)])
            n = int(size / step)
            long = size * rng.uniform(0.45, 0.6) + rng.normal(0, 4, n)
            t = (np.arange(n) - n / 2) * step
            sign = (-1.0) ** np.arange(n)
            run = centre + t[:, None] * v + (sign * long)[:, None] * u
            dose = float(np.exp(rng.normal(0, 0.3 * (1.1 - c.care))))
            for k in range(n - 1):
                fine = run[k] + (run[k + 1] - run[k]) * np.linspace(0, 1, 8)[:, None]
                fine += np.sin(np.linspace(0, np.pi, 8))[:, None] * v * rng.normal(0, 2)
                _line(part, fine, wide, dose, grid)
            q = grid.at(centre).astype(int)
            cv2.circle(
                way, tuple(q.tolist()), int(size * grid.per_mm / 2), round(a / np.pi * 4) % 4, -1
            )


def _scrub(
    part: Field, way: Field, leads: list[Lead], grid: Grid, c: Circumstances, rng: Rng
) -> None:
    """Scrub in loops that wander in rows over the panel."""
    x0, y0, x1, y1 = Polygon(leads[0].run).buffer(c.overrun_mm - 4).bounds
    r = rng.uniform(13, 24)
    turn = np.linspace(0, 2 * np.pi, 26)
    for j, y in enumerate(np.arange(y0, y1 + r, r * 1.15)):
        for x in np.arange(x0, x1 + r, r * 0.42):
            at = np.array([x if j % 2 else x1 + x0 - x, y]) + rng.normal(0, r * 0.12, 2)
            radius = r * rng.uniform(0.75, 1.2)
            p = at + radius * np.column_stack((np.cos(turn), rng.uniform(0.7, 1.1) * np.sin(turn)))
            p[:, 0] += turn / 6.3 * r * 0.4
            dose = float(np.exp(rng.normal(0, 0.25 * (1.1 - c.care))))
            _line(part, p, float(rng.uniform(4, 7)), dose, grid)
    blobs = rng.random((grid.shape[0] // 60 + 2, grid.shape[1] // 60 + 2)).astype(np.float32) * 3.99
    way[:] = np.floor(cv2.resize(blobs, grid.shape[::-1], interpolation=cv2.INTER_NEAREST))


_KINDS = {"along": _along, "zigzag": _zigzag, "scrub": _scrub}
