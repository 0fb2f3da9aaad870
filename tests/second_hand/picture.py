"""The sheet on a table under a camera, or on a scanner's glass: light, noise, software."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from tests.second_hand.circumstances import PAPERS, Circumstances
from tests.second_hand.leadwork import Rng
from tests.second_hand.lens import View
from tests.second_hand.relief import Field, Grid

STRIDE = 8
TABLE_PER_MM = 1.5
ROUND_MM = 260.0
"""So much of the table is made around the sheet."""

TABLES = {
    "stone": (0.30, 0.30, 0.29),
    "slate": (0.07, 0.08, 0.09),
    "mat": (0.06, 0.16, 0.11),
    "plywood": (0.42, 0.28, 0.16),
    "blanket": (0.10, 0.09, 0.14),
    "lino": (0.20, 0.10, 0.08),
    "kraft": (0.40, 0.29, 0.18),
}
Bytes = npt.NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Sheet:
    """The finished sheet: linear light (rows, columns, 3: red, green, blue), and where it is."""

    light: Field
    alpha: Field
    grid: Grid


def _maps(view: View, per_mm: float, height_mm: float, *, flat: bool) -> tuple[Field, Field]:
    """Return, for each pixel of the picture, column and row on a raster of the sheet."""
    w, h = view.size_px
    x, y = np.arange(-STRIDE, w + 2 * STRIDE, STRIDE), np.arange(-STRIDE, h + 2 * STRIDE, STRIDE)
    px = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2).astype(float)
    mm = view.back(px, flat=flat)
    cols = mm[:, 0] * per_mm - 0.5
    rows = (height_mm - mm[:, 1]) * per_mm - 0.5
    m = np.array([[1 / STRIDE, 0, 1.0], [0, 1 / STRIDE, 1.0]])
    flags = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
    out = [
        cv2.warpAffine(v.reshape(len(y), len(x)).astype(np.float32), m, (w, h), flags=flags)
        for v in (cols, rows)
    ]
    return out[0], out[1]


def table_of(kind: str, level: float, size_mm: tuple[float, float], rng: Rng) -> Field:
    """Return a table's linear light over the sheet and `ROUND_MM` around it."""
    w, h = (int((v + 2 * ROUND_MM) * TABLE_PER_MM) for v in size_mm)
    tone = np.ones((h, w), np.float32)
    fine = rng.normal(size=(h, w)).astype(np.float32)
    if kind in ("stone", "lino", "slate"):
        for s, a in ((0.7, 0.5), (3.0, 0.3), (24.0, 0.7)):
            g = cv2.GaussianBlur(fine, (0, 0), s)
            tone += a * 0.35 * g * s * (1.6 if kind == "lino" else 1.0) * 0.6
        tone += 0.12 * (cv2.GaussianBlur(fine, (0, 0), 0.8) > 0.55)
    elif kind in ("plywood", "kraft"):
        grain = cv2.GaussianBlur(fine, (0, 0), sigmaX=40, sigmaY=1.1) * 7
        tone += (0.16 if kind == "plywood" else 0.05) * grain + 0.03 * fine
    elif kind == "blanket":
        y, x = np.indices((h, w), dtype=np.float32) / TABLE_PER_MM
        tone += 0.25 * np.sin(x * 2.1) * np.sin(y * 2.1) + 0.15 * cv2.GaussianBlur(
            fine, (0, 0), 1.2
        )
    else:
        step = int(10 * TABLE_PER_MM)
        tone[::step] += 0.8
        tone[:, ::step] += 0.8
        tone += 0.05 * fine
    colour = np.array(TABLES[kind], np.float32) * level
    return np.asarray(np.clip(tone, 0.2, 2.5)[:, :, None] * colour, np.float32)


def choose_table(c: Circumstances, tier: str, rng: Rng) -> tuple[str, float]:
    """Return a table and a factor on its light; dull paper may lie on stone of the same grey."""
    paper = float(np.dot(PAPERS[c.paper], (0.21, 0.72, 0.07)))
    if tier != "clean" and c.paper in ("kraft", "buff") and rng.random() < 0.5:
        return "stone", paper / 0.30 * float(rng.uniform(0.92, 1.08))
    kinds = [k for k, v in TABLES.items() if abs(np.dot(v, (0.21, 0.72, 0.07)) - paper) > 0.13]
    return str(rng.choice(kinds)), float(rng.uniform(0.8, 1.2))


def photograph(sheet: Sheet, view: View, c: Circumstances, tier: str, rng: Rng) -> Bytes:
    """Return a photograph, blue, green, red."""
    grid = sheet.grid
    kind, level = choose_table(c, tier, rng)
    table = table_of(kind, level, (grid.width_mm, grid.height_mm), rng)
    cols, rows = _maps(view, TABLE_PER_MM, grid.height_mm + ROUND_MM, flat=True)
    cols += np.float32(ROUND_MM * TABLE_PER_MM)
    ground = cv2.remap(table, cols, rows, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)
    del cols, rows
    fine = np.empty(ground.shape[:2], np.float32)
    cv2.randn(fine, 0, 0.16)
    ground *= (1 + cv2.GaussianBlur(fine, (0, 0), 0.9))[:, :, None]
    del fine
    seen, alpha = _seen(sheet, view)
    cast = _shadow(alpha, view, rng)
    light = ground * cast[:, :, None] * (1 - alpha)[:, :, None] + seen * alpha[:, :, None]
    del ground, seen
    light *= _lighting(view.size_px, tier, rng)
    sigma = float(rng.uniform(0.45, 0.8) if tier != "hard" else rng.uniform(0.55, 1.15))
    light = cv2.GaussianBlur(light, (0, 0), sigma)
    return _developed(light, 0.9 / 0.95, tier, rng)


def _seen(sheet: Sheet, view: View) -> tuple[Field, Field]:
    cols, rows = _maps(view, sheet.grid.per_mm, sheet.grid.height_mm, flat=False)
    seen = cv2.remap(sheet.light, cols, rows, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    alpha = cv2.remap(sheet.alpha, cols, rows, cv2.INTER_LINEAR, borderValue=0)
    return seen, alpha


def _shadow(alpha: Field, view: View, rng: Rng) -> Field:
    """Return the sheet's own shadow on the table."""
    d = rng.uniform(1.0, 3.0) * max(view.size_px) / 1000
    m = np.array([[1, 0, d * rng.choice((-1, 1))], [0, 1, d]])
    moved = cv2.warpAffine(alpha, m, alpha.shape[::-1])
    return np.asarray(1 - 0.45 * cv2.GaussianBlur(moved, (0, 0), 1.6 * d), np.float32)


def _lighting(size: tuple[int, int], tier: str, rng: Rng) -> Field:
    """Return light over the picture: a slope, warm and cool ends, the photographer's shadow."""
    n = 160
    y, x = np.indices((n, n), dtype=np.float32) / n - 0.5
    a = rng.uniform(0, 2 * np.pi)
    slope = x * np.cos(a) + y * np.sin(a)
    much = rng.uniform(0.05, 0.25 if tier == "clean" else 0.55)
    base = 1 + much * slope - rng.uniform(0, 0.3) * (x * x + y * y)
    if rng.random() < {"clean": 0.2, "everyday": 0.5, "hard": 0.7}[tier]:
        at, wide = rng.uniform(-0.3, 0.3), rng.uniform(0.14, 0.3)
        tall = rng.uniform(0.2, 0.75)
        body = np.exp(-(((x - at) / wide) ** 4)) * (y > 0.5 - tall)
        head = np.hypot(x - at, (y - (0.5 - tall)) * 0.8) < 0.55 * wide
        dark = cv2.GaussianBlur(
            np.maximum(body, head).astype(np.float32), (0, 0), rng.uniform(3, 9)
        )
        base *= 1 - rng.uniform(0.1, 0.35) * dark
    warm = rng.normal(0, 0.06)
    drift = rng.normal(0, 0.05) * slope
    tint = np.stack((1 + warm + drift, np.ones_like(x), 1 - warm - drift), axis=-1)
    whole = (base[:, :, None] * tint).astype(np.float32)
    return cv2.resize(whole, size, interpolation=cv2.INTER_CUBIC)


def _developed(light: Field, exposure: float, tier: str, rng: Rng) -> Bytes:
    """Add noise of light and colour, smooth and sharpen as cameras do, and encode."""
    light *= np.float32(exposure / max(0.6, float(np.percentile(light[::16, ::16, 1], 97))))
    level = {"clean": 0.006, "everyday": 0.012, "hard": 0.02}[tier] * rng.uniform(0.6, 1.3)
    h, w = light.shape[:2]
    luma = np.empty((h, w), np.float32)
    cv2.randn(luma, 0, level)
    luma = cv2.GaussianBlur(luma, (0, 0), float(rng.uniform(0.5, 0.9)))
    chroma = np.empty((h // 2, w // 2, 3), np.float32)
    cv2.randn(chroma, (0, 0, 0), (level,) * 3)
    chroma = cv2.resize(cv2.GaussianBlur(chroma, (0, 0), 1.2), (w, h)) * 2.0
    shot = np.sqrt(np.clip(light, 0.02, 1))
    light = np.clip(light + (luma[:, :, None] + chroma) * shot, 0, 1)
    coded = np.where(light < 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    coded = coded.astype(np.float32)
    soft = cv2.GaussianBlur(coded, (0, 0), float(rng.uniform(1.0, 1.8)))
    halo = rng.uniform(0.2, 0.5) if tier == "clean" else rng.uniform(0.0, 1.0)
    coded += np.float32(halo) * (coded - soft)
    return np.round(np.clip(coded, 0, 1) * 255).astype(np.uint8)[:, :, ::-1].copy()


def scan(sheet: Sheet, view: View, c: Circumstances, tier: str, rng: Rng) -> Bytes:
    """Return a scan, blue, green, red: a lid, streaks along the way, uneven light at one side."""
    seen, alpha = _seen(sheet, view)
    w, h = view.size_px
    lid = np.array([1, 1, 1], np.float32) * float(rng.choice((0.9, 0.6, 0.25, 0.06)))
    if abs(float(lid[0]) - PAPERS[c.paper][1]) < 0.1:
        lid *= 0.5
    lid_shade = 1 + 0.06 * np.linspace(-1, 1, h, dtype=np.float32) * float(rng.choice((-1, 1)))
    cast = _shadow(alpha, view, rng) if rng.random() < 0.5 else np.ones((h, w), np.float32)
    light = lid * (lid_shade[:, None] * cast * (1 - alpha))[:, :, None] + seen * alpha[:, :, None]
    x = np.linspace(0, 1, w, dtype=np.float32)
    much = {"clean": 0.01, "everyday": 0.025, "hard": 0.04}[tier]
    streaks = 1 + much * rng.normal(size=w).astype(np.float32) * (rng.random(w) < 0.02)
    streaks += much * cv2.GaussianBlur(rng.normal(size=(1, w)).astype(np.float32), (0, 0), 3)[0]
    side = x if rng.random() < 0.5 else 1 - x
    streaks *= 1 - rng.uniform(0, 4 * much) * np.exp(-side / 0.08)
    light *= streaks[None, :, None]
    light = cv2.GaussianBlur(light, (0, 0), float(rng.uniform(0.35, 0.7)))
    return _developed(light, 0.93, "clean" if tier == "clean" else "everyday", rng)
