"""Solder at the joints: blobs a little prouder and smoother than the lead."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.rendering.geometry import Array, Design, Truth
from tests.rendering.relief import Lead
from tests.rendering.sheet import Grid, Rng, Rows


@dataclass(frozen=True, slots=True)
class Blob:
    """One blob: an oval with a wavy rim, `height_mm` above the lead."""

    x_mm: float
    y_mm: float
    long_mm: float
    short_mm: float
    turn_rad: float
    height_mm: float
    waves: tuple[tuple[float, float], ...]


def blobs_of(design: Design, truth: Truth, height_mm: tuple[float, float], rng: Rng) -> list[Blob]:
    """Solder every joint but rings and free ends; diameter 1.0 to 1.8 times the lead that butts.

    The size follows the narrower leads of a joint: one does not flood a border for a thin lead.
    """
    found: dict[int, list[float]] = {}
    for c in truth.cames:
        for k in (c.start, c.end):
            found.setdefault(k, []).append(design.strips[c.strip].width_mm)
    blobs = []
    for k, j in enumerate(truth.joints):
        if j.kind in ("ring", "end"):
            continue
        big = float(np.mean(sorted(found[k])[:2])) * rng.uniform(1.0, 1.8)
        waves = tuple((float(rng.uniform(0, 0.08)), float(rng.uniform(0, 6.3))) for _ in range(3))
        blobs.append(
            Blob(
                j.x_mm + float(rng.normal(0, 0.4)),
                j.y_mm + float(rng.normal(0, 0.4)),
                big / 2,
                big / 2 * float(rng.uniform(0.7, 1.0)),
                float(rng.uniform(0, np.pi)),
                float(rng.uniform(*height_mm)),
                waves,
            )
        )
    return blobs


def press_blobs(out: Grid, blobs: list[Blob], rows: Rows, lead: Lead, low: Grid) -> None:
    """Raise the pressure in `out` where solder stands; a dome that falls off at its rim."""
    h, w = rows.shape
    at = rows.to_px(np.array([(b.x_mm, b.y_mm) for b in blobs]).reshape(-1, 2))
    for b, (x, y) in zip(blobs, at, strict=True):
        r = int(np.ceil((b.long_mm * 1.3 + 0.3) * rows.per_mm))
        c0, c1, r0, r1 = int(x) - r, int(x) + r + 1, int(y) - r, int(y) + r + 1
        c0, c1, r0, r1 = max(0, c0), min(w, c1), max(0, r0), min(h, r1)
        if c0 >= c1 or r0 >= r1:
            continue
        yy, xx = np.mgrid[r0:r1, c0:c1].astype(np.float32)
        dx, dy = (xx - x) / rows.per_mm, (y - yy) / rows.per_mm
        e = _radius(b, dx, dy)
        drop = -b.height_mm * (1 - e * e) + 0.12 * e**6 + low[r0:r1, c0:c1]
        p = np.clip(1.0 - drop / lead.give_mm, 0, 1.3) * np.clip((1.0 - e) / 0.1, 0, 1)
        np.maximum(out[r0:r1, c0:c1], p.astype(np.float32), out=out[r0:r1, c0:c1])


def _radius(b: Blob, dx: Array, dy: Array) -> Array:
    c, s = np.cos(b.turn_rad), np.sin(b.turn_rad)
    e = np.hypot((dx * c + dy * s) / b.long_mm, (dy * c - dx * s) / b.short_mm)
    a = np.arctan2(dy, dx)
    wave = sum(h * np.cos((n + 2) * a + t) for n, (h, t) in enumerate(b.waves))
    return np.asarray(e * (1 + wave))
