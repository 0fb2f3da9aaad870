"""From a panel to the density of pigment on the sheet: strokes, grain, saturation, faults."""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
import shapely
from shapely.geometry import LineString

from tests.rendering.geometry import Array, Design, Truth
from tests.rendering.relief import Grid, Lead, across, pressure

Rng = np.random.Generator


@dataclass(frozen=True, slots=True)
class Medium:
    """Paper and pigment.

    Attributes
    ----------
    density_max : optical density ln(paper/image) of the fully covered paper.
    gain : dose on a narrow flat lead after all strokes, in units that fill 1 - 1/e of the tooth.
    grain : spread of the tooth's height (standard deviation of the log dose).
    grain_mm : size of the tooth (standard deviation of its smoothing).
    glass_tone : share of the dose that reaches paper over the glass.
    unevenness : spread of the strokes' dose (standard deviation of its logarithm).
    """

    density_max: float = 1.35
    gain: float = 1.7
    grain: float = 0.45
    grain_mm: float = 0.09
    glass_tone: float = 0.012
    unevenness: float = 0.1


@dataclass(frozen=True, slots=True)
class Sheet:
    """The sheet of paper and where the panel lies on it.

    Attributes
    ----------
    width_mm, height_mm : size.
    shift_mm : of the panel's origin on the sheet, whose origin is its lower left corner.
    angle_deg : turn of the panel on the sheet.
    """

    width_mm: float
    height_mm: float
    shift_mm: tuple[float, float]
    angle_deg: float

    def place(self, points: Array) -> Array:
        """Map panel millimetres to sheet millimetres."""
        a = np.radians(self.angle_deg)
        c, s = np.cos(a), np.sin(a)
        return np.asarray(points @ np.array([[c, s], [-s, c]]) + np.array(self.shift_mm))


@dataclass(frozen=True, slots=True)
class Canvas:
    """The grid on which the sheet is worked: pixel (0, 0) at the sheet's upper left."""

    sheet: Sheet
    scale: float

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return (
            int(np.ceil(self.sheet.height_mm * self.scale)),
            int(np.ceil(self.sheet.width_mm * self.scale)),
        )

    @property
    def origin(self) -> tuple[float, float]:
        """Sheet x, y of the centre of pixel (0, 0)."""
        return (0.5 / self.scale, self.sheet.height_mm - 0.5 / self.scale)

    def to_px(self, points: Array) -> Array:
        """Map sheet millimetres to (column, row)."""
        x0, y0 = self.origin
        return np.column_stack(((points[:, 0] - x0) * self.scale, (y0 - points[:, 1]) * self.scale))


def dose_of(design: Design, truth: Truth, canvas: Canvas, lead: Lead, rng: Rng) -> Grid:
    """Return the pressure of one even stroke over the whole panel, 0 where nothing presses."""
    out = np.zeros(canvas.shape, np.float32)
    classes: dict[tuple[float, str], list[int]] = {}
    for i, s in enumerate(design.strips):
        classes.setdefault((s.width_mm, s.profile), []).append(i)
    for (width, profile), members in classes.items():
        strips = [design.strips[i] for i in members]
        u, near = across(strips, canvas.shape, canvas.origin, canvas.scale)
        p = pressure(u[near], width / 2, profile, lead)
        out[near] = np.maximum(out[near], p)
    _solder(out, design, truth, canvas, rng)
    return out


def _solder(out: Grid, design: Design, truth: Truth, canvas: Canvas, rng: Rng) -> None:
    """Lay a blob of solder on every joint: a flat-topped oval, a little prouder than the lead."""
    widest: dict[int, float] = {}
    for c in truth.cames:
        for k in (c.start, c.end):
            w = design.strips[c.strip].width_mm
            widest[k] = max(widest.get(k, 0.0), w if not design.strips[c.strip].border else 0.7 * w)
    for k, j in enumerate(truth.joints):
        if j.kind in ("ring", "end"):
            continue
        big = widest[k] * rng.uniform(1.0, 1.8)
        a, b = big / 2, big / 2 * rng.uniform(0.7, 1.0)
        turn, wobble, phase = rng.uniform(0, np.pi), rng.uniform(0.0, 0.1), rng.uniform(0, 6.3)
        at = np.array([j.x_mm, j.y_mm]) + rng.normal(0, 0.5, 2)
        x0, y0 = canvas.to_px(at[None])[0]
        r = int(np.ceil((a + 1) * canvas.scale))
        c0, r0 = int(x0) - r, int(y0) - r
        if c0 < 0 or r0 < 0:
            continue
        patch = out[r0 : r0 + 2 * r, c0 : c0 + 2 * r]
        yy, xx = np.mgrid[: patch.shape[0], : patch.shape[1]].astype(np.float32)
        dx, dy = (xx + c0 - x0) / canvas.scale, (y0 - yy - r0) / canvas.scale
        e = np.hypot(
            (dx * np.cos(turn) + dy * np.sin(turn)) / a,
            (dy * np.cos(turn) - dx * np.sin(turn)) / b,
        ) * (1 + wobble * np.cos(3 * np.arctan2(dy, dx) + phase))
        top = 1.15 * np.clip(1.0 - (np.maximum(e, 0.55) - 0.55) / 0.75, 0, 1)
        np.maximum(patch, np.where(e < 1.0, top, 0).astype(np.float32), out=patch)


def strokes_of(design: Design, canvas: Canvas, medium: Medium, rng: Rng) -> Grid:
    """Return the dose of all strokes on flat ground, mean 1 over the rubbed area, small scale.

    Each stroke is a band 8 to 14 mm wide and some 150 mm long; two passes in directions a few
    degrees apart; ends lie 5 to 40 mm outside the panel.
    """
    outer = shapely.concave_hull(
        shapely.multipoints(np.vstack([s.points for s in design.strips])), ratio=0.3
    ).buffer(8)
    coarse = 1.0
    h, w = (int(np.ceil(n / canvas.scale * coarse)) for n in canvas.shape)
    acc = np.zeros((h, w), np.float32)
    angle = rng.uniform(0, 180)
    centre = np.array(outer.centroid.coords[0])
    reach = 1.2 * max(canvas.sheet.width_mm, canvas.sheet.height_mm)
    for turn in (0.0, rng.uniform(20, 90)):
        a = np.radians(angle + turn)
        u, v = np.array([np.cos(a), np.sin(a)]), np.array([-np.sin(a), np.cos(a)])
        off = -reach
        while off < reach:
            width = rng.uniform(8, 14)
            tilt = np.radians(rng.normal(0, 1.5))
            d = np.array([u[0] * np.cos(tilt) - u[1] * np.sin(tilt), u[0] * np.sin(tilt) + u[1] * np.cos(tilt)])
            run = LineString((centre + v * off - d * reach, centre + v * off + d * reach))
            for part in shapely.get_parts(run.intersection(outer)):
                if part.length > 1:
                    ends = np.array(part.coords)
                    ends = ends + np.array([-1, 1])[:, None] * d * rng.uniform(2, 28, (2, 1))
                    _stroke(acc, ends, width, coarse, canvas.sheet.height_mm, medium, rng)
            off += width * rng.uniform(0.3, 0.5)
    acc = cv2.GaussianBlur(acc, (0, 0), 1.2 * coarse)
    level = np.median(acc[acc > 0.25 * acc.max()])
    return np.asarray(acc / level, np.float32)


def _stroke(
    acc: Grid, ends: Array, width: float, coarse: float, height: float, medium: Medium, rng: Rng
) -> None:
    length = float(np.hypot(*(ends[1] - ends[0])))
    n = max(1, round(length / 150))
    cuts = np.linspace(0, 1, n + 1)
    for t0, t1 in zip(cuts[:-1], cuts[1:], strict=True):
        a, b = ends[0] + (ends[1] - ends[0]) * max(0, t0 - 0.02), ends[0] + (ends[1] - ends[0]) * t1
        pts = np.round(
            np.column_stack(((np.array([a[0], b[0]])) * coarse, (height - np.array([a[1], b[1]])) * coarse)) * 16
        ).astype(int)
        lo = np.maximum(0, pts.min(axis=0) // 16 - 12)
        hi = np.minimum(acc.shape[::-1], pts.max(axis=0) // 16 + 13)
        if (hi <= lo).any():
            continue
        patch = np.zeros((hi[1] - lo[1], hi[0] - lo[0]), np.float32)
        q = pts - lo * 16
        cv2.line(
            patch, tuple(q[0].tolist()), tuple(q[1].tolist()), 1.0, round(width * coarse), cv2.LINE_8, 4
        )
        acc[lo[1] : hi[1], lo[0] : hi[0]] += patch * np.float32(np.exp(rng.normal(0, medium.unevenness * 2)))


def density_of(pressed: Grid, stroke: Grid, medium: Medium, canvas: Canvas, rng: Rng) -> Grid:
    """Return the optical density of the pigment; ``D = Dmax (1 - exp(-dose * tooth))``."""
    h, w = canvas.shape
    stroke = cv2.resize(stroke, (w, h), interpolation=cv2.INTER_LINEAR)
    tooth = rng.standard_normal((h, w), dtype=np.float32)
    sigma = medium.grain_mm * canvas.scale
    tooth = cv2.GaussianBlur(tooth, (0, 0), sigma)
    tooth *= medium.grain / max(1e-6, float(tooth[::7, ::7].std()))
    cv2.exp(tooth, tooth)
    dose = (pressed + np.float32(medium.glass_tone)) * np.float32(medium.gain)
    dose *= stroke
    dose *= tooth
    np.negative(dose, out=dose)
    cv2.exp(dose, dose)
    return np.asarray(np.float32(medium.density_max) * (1 - dose), dtype=np.float32)


def shown_width_mm(width_mm: float, profile: str, lead: Lead, medium: Medium) -> float:
    """Return the full width at half of the greatest expected density across a lead.

    The expectation runs over the tooth of the paper (log-normal, 41 equal shares).
    """
    from scipy.special import ndtri

    u = np.arange(0.0, width_mm / 2 + 3.0, 0.005, dtype=np.float32)
    tooth = np.exp(medium.grain * ndtri((np.arange(41) + 0.5) / 41))
    dose = (pressure(u, width_mm / 2, profile, lead) + medium.glass_tone) * medium.gain
    d = (1 - np.exp(-dose[:, None] * tooth)).mean(axis=1)
    d -= d[-1]
    last = np.flatnonzero(d >= d.max() / 2)[-1]
    frac = (d[last] - d.max() / 2) / max(1e-9, d[last] - d[last + 1])
    return float(2 * (u[last] + frac * 0.005))
