"""From a panel to light: pressure, pigment in the paper's tooth, what lies on the sheet.

The sheet is worked in blocks of rows, so that a large one costs little memory.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
import numpy.typing as npt

from tests.rendering.geometry import Array, Design, Truth
from tests.rendering.overlays import Overlays, crease_catch, lay_paper_faults, pen_density
from tests.rendering.relief import Lead, across, pressure, samples_of
from tests.rendering.sheet import Grid, Rng, Rows, Sheet, rows_of
from tests.rendering.solder import Blob, press_blobs
from tests.rendering.strokes import Maps
from tests.rendering.tiers import Faults

FULL = 65535.0
"""Value of a perfectly white place in the worked sheet (linear light, 16 bit)."""


@dataclass(frozen=True, slots=True)
class Join:
    """Where a second sheet begins, and how far what is on it lies out of register."""

    x_mm: float
    shift_mm: tuple[float, float]
    turn_rad: float

    def moved(self, points: Array) -> Array:
        """Return points as they appear on the second sheet."""
        c, s = np.cos(self.turn_rad), np.sin(self.turn_rad)
        return np.asarray(
            (points - [self.x_mm, 0]) @ np.array([[c, s], [-s, c]]) + [self.x_mm, 0] + self.shift_mm
        )


@dataclass(frozen=True, slots=True)
class Table:
    """Samples along all leads of one profile, with the cracks and the cement beside them."""

    profile: str
    samples: Array
    groove_mm: Grid
    lean_mm: Grid
    putty: tuple[Grid, Grid]


@dataclass(frozen=True, slots=True)
class Work:
    """A sheet ready to be worked: everything in sheet millimetres."""

    sheet: Sheet
    per_mm: float
    tables: tuple[Table, ...]
    blobs: tuple[Blob, ...]
    maps: Maps
    overlays: Overlays
    faults: Faults
    join: Join | None


def tables_of(design: Design, per_mm: float, faults: Faults, rng: Rng) -> tuple[Table, ...]:
    """Sample the leads of a design, one table for each profile and width."""
    groups: dict[tuple[str, float], list[Array]] = {}
    for s in design.strips:
        samples = samples_of(s, 0.7 / per_mm, rng)
        groove = np.full(len(samples), np.nan)
        if rng.random() < faults.split_share:
            a, b = sorted(rng.integers(0, len(samples), 2))
            groove[a:b] = rng.uniform(-0.5, 0.5) * s.width_mm / 2
        # Leads are soldered in by hand and lean to one side, here more and there less.
        knots = rng.normal(0, faults.lead.lean_mm, len(samples) // 400 + 3)
        lean = np.interp(np.arange(len(samples)) / 400, np.arange(len(knots)), knots)
        columns = np.column_stack((samples, groove, lean))
        groups.setdefault((s.profile, s.width_mm), []).append(columns)
    tables = []
    for (profile, _), parts in groups.items():
        t = np.vstack(parts)
        sides = []
        for _ in range(2):
            knots = rng.standard_normal(len(t) // 60 + 3)
            sides.append(np.interp(np.arange(len(t)) / 60, np.arange(len(knots)), knots) - 0.5)
        putty = tuple(np.clip(s, 0, 1).astype(np.float32) for s in sides)
        tables.append(
            Table(
                profile,
                t[:, :6],
                t[:, 6].astype(np.float32),
                t[:, 7].astype(np.float32),
                (putty[0], putty[1]),
            )
        )
    return tuple(tables)


def work_sheet(work: Work, seed: int, block: int = 640) -> npt.NDArray[np.uint16]:
    """Return the worked sheet as linear light, `FULL` for white, shape (H, W)."""
    h = rows_of(work.sheet, work.per_mm)
    first = Rows(work.sheet, work.per_mm, 0, h)
    out = np.empty(first.shape, np.uint16)
    for k, r0 in enumerate(range(0, h, block)):
        rows = replace(first, first=r0, last=min(h, r0 + block))
        rng = np.random.default_rng([seed, 7, k])
        out[r0 : rows.last] = _light(work, rows, rng)
    return out


def _light(work: Work, rows: Rows, rng: Rng) -> npt.NDArray[np.uint16]:
    medium, maps = work.faults.medium, work.maps
    tooth = _tooth(rows, medium.grain, medium.grain_mm, rng)
    dose = _pressed(work, rows)
    dose += rows.fine(maps.tone)
    dose += crease_catch(work.overlays, rows)
    dose *= rows.fine(maps.stroke)
    dose *= np.float32(medium.gain)
    dose *= tooth
    np.negative(dose, out=dose)
    cv2.exp(dose, dose)
    density = np.float32(medium.density_max) * (1 - dose)
    if work.faults.smudges:
        density += rows.fine(maps.smear) * np.minimum(tooth, 1.2)
    pens = pen_density(work.overlays.pens, rows, tooth)
    if pens is not None:
        density = np.maximum(density, pens) + 0.3 * np.minimum(density, pens)
    np.negative(density, out=density)
    cv2.exp(density, density)
    density *= rows.fine(maps.shade)
    density *= np.float32(0.86)
    # Fibres make even bare paper a little uneven.
    density *= 1 + np.float32(0.012) * np.log(tooth)
    lay_paper_faults(density, work.overlays, rows, 0.25)
    if work.join is not None:
        d = rows.x_mm() - np.float32(work.join.x_mm)
        density *= 1 - 0.25 * np.exp(-np.abs(d) / 0.4) * (d < 0)
    density *= np.float32(FULL)
    return np.clip(density, 0, FULL).astype(np.uint16)


def _tooth(rows: Rows, spread: float, size_mm: float, rng: Rng) -> Grid:
    """Return the factor by which the paper's tooth takes more or less, log-normal, median 1."""
    n = rng.standard_normal(rows.shape, dtype=np.float32)
    sigma = size_mm * rows.per_mm
    n = cv2.GaussianBlur(n, (0, 0), max(0.3, sigma))
    # White noise smoothed by a Gaussian keeps 1 / (2 sigma sqrt(pi)) of its deviation.
    n *= np.float32(spread / float(n[::3, ::3].std()))
    cv2.exp(n, n)
    return n


def _pressed(work: Work, rows: Rows) -> Grid:
    low = rows.fine(work.maps.low_mm)
    out = np.zeros(rows.shape, np.float32)
    for table in work.tables:
        _press(out, table, table.samples, rows, work.faults.lead, low)
    press_blobs(out, list(work.blobs), rows, work.faults.lead, low)
    if work.join is None:
        return out
    second = np.zeros(rows.shape, np.float32)
    for table in work.tables:
        moved = table.samples.copy()
        moved[:, :2] = work.join.moved(moved[:, :2])
        _press(second, table, moved, rows, work.faults.lead, low)
    at = work.join.moved(np.array([(b.x_mm, b.y_mm) for b in work.blobs]))
    blobs = [
        replace(b, x_mm=float(p[0]), y_mm=float(p[1])) for b, p in zip(work.blobs, at, strict=True)
    ]
    press_blobs(second, blobs, rows, work.faults.lead, low)
    return np.asarray(np.where(rows.x_mm() > work.join.x_mm, second, out))


def _press(out: Grid, table: Table, samples: Array, rows: Rows, lead: Lead, low: Grid) -> None:
    found = across(samples, rows)
    if found is None:
        return
    where, side, half, number = found
    u = np.abs(side)
    index = number.astype(np.int64)
    lean = table.lean_mm[index] * np.sign(side)
    p = pressure(u, half, table.profile, lead, low[where], lean)
    groove = table.groove_mm[index]
    if np.isfinite(groove).any():
        p *= np.where(np.abs(side - np.nan_to_num(groove, nan=99.0)) < 0.3, 0.15, 1.0)
    if lead.putty:
        patch = np.where(side > 0, table.putty[0][index], table.putty[1][index])
        bead = np.clip((u - half) / 0.2, 0, 1) * np.clip((half + 1.4 - u) / 0.6, 0, 1)
        p = np.maximum(p, lead.putty * patch * bead)
    out[where] = np.maximum(out[where], p)


def expected_density(
    u: Grid, width_mm: float, profile: str, faults: Faults, low_mm: float, stroke: float
) -> Grid:
    """Return the expected density across a lead at distances `u`, before any blur along `u`.

    The expectation runs over the tooth of the paper (log-normal, 31 equal shares) and is taken of
    the light, as an eye or a camera does that cannot resolve the tooth.
    """
    medium = faults.medium
    half = np.full_like(u, width_mm / 2)
    p = pressure(u, half, profile, faults.lead, np.full_like(u, low_mm))
    dose = (p + np.float32(0.002)) * medium.gain * stroke
    density = medium.density_max * (1 - np.exp(-dose[:, None] * _shares(medium.grain)))
    return np.asarray(-np.log(np.exp(-density).mean(axis=1)))


def _shares(spread: float) -> Array:
    from scipy.special import ndtri

    return np.asarray(np.exp(spread * ndtri((np.arange(31) + 0.5) / 31)))


def shown_width_mm(
    width_mm: float, profile: str, faults: Faults, low_mm: float, stroke: float
) -> float:
    """Return the full width at half of the greatest expected density across a lead.

    NaN where the greatest density stays below 0.2: the rubbing shows nothing there.
    """
    u = np.arange(0.0, width_mm / 2 + 2.5, 0.01, dtype=np.float32)
    d = expected_density(u, width_mm, profile, faults, low_mm, stroke)
    d = d - d[-1]
    if d.max() < 0.2:
        return float("nan")
    last = int(np.flatnonzero(d >= d.max() / 2)[-1])
    share = (d[last] - d.max() / 2) / max(1e-9, float(d[last] - d[last + 1]))
    return float(2 * (u[last] + share * 0.01))


def shown_widths(design: Design, truth: Truth, work: Work) -> list[float]:
    """Return the width that the rubbing shows of each came, a mean along it clear of the joints.

    NaN for a came that does not show at all.
    """
    from tests.rendering.sheet import coarse_px

    known: dict[tuple[float, str, int, int], float] = {}
    out = []
    for c in truth.cames:
        strip = design.strips[c.strip]
        d = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(c.path, axis=0).T))))
        clear = min(1.2 * strip.width_mm, 0.35 * d[-1])
        s = np.linspace(clear, d[-1] - clear, 15)
        xy = np.column_stack((np.interp(s, d, c.path[:, 0]), np.interp(s, d, c.path[:, 1])))
        at = np.rint(coarse_px(work.sheet, xy)).astype(int)
        at = np.clip(at, 0, np.array(work.maps.low_mm.shape[::-1]) - 1)
        low, stroke = (m[at[:, 1], at[:, 0]] for m in (work.maps.low_mm, work.maps.stroke))
        widths = []
        for a, b in zip(np.rint(low / 0.03), np.rint(stroke / 0.1), strict=True):
            key = (strip.width_mm, strip.profile, int(a), int(b))
            if key not in known:
                known[key] = shown_width_mm(*key[:2], work.faults, key[2] * 0.03, key[3] * 0.1)
            widths.append(known[key])
        seen = np.array(widths)[np.isfinite(widths)]
        out.append(float(seen.mean()) if len(seen) else float("nan"))
    return out
