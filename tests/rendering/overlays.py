"""What lies on the sheet besides the rubbing: writing, marks, tape, folds, tears."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from shapely.geometry import Point, Polygon

from tests.rendering.geometry import Array, Truth
from tests.rendering.lettering import NOTES, written
from tests.rendering.sheet import Grid, Rng, Rows, Sheet
from tests.rendering.tiers import Faults


@dataclass(frozen=True, slots=True)
class PenStroke:
    """A drawn line: points in mm, width, density; `grain` is the share that follows the tooth."""

    points: Array
    width_mm: float
    density: float
    grain: float = 0.6


@dataclass(frozen=True, slots=True)
class Tape:
    """A strip of tape over the sheet's edge: corners in mm, reflectance, density of its edges."""

    corners: Array
    reflectance: float
    rim: float


@dataclass(frozen=True, slots=True)
class Crease:
    """A fold: a point and direction; light on one flank, shade on the other, pigment on top."""

    at: tuple[float, float]
    angle_rad: float
    shade: float
    catch: float


@dataclass(frozen=True, slots=True)
class Overlays:
    """Everything that lies on one sheet."""

    pens: tuple[PenStroke, ...] = ()
    tapes: tuple[Tape, ...] = ()
    creases: tuple[Crease, ...] = ()
    tears: tuple[Array, ...] = ()


def overlays_of(
    truth: Truth,
    outer: Polygon,
    sheet: Sheet,
    faults: Faults,
    rng: Rng,
    marks: Array | None = None,
    note: str = "",
) -> Overlays:
    """Draw what lies on the sheet; `truth` and `outer` lie on the sheet, `marks` are crosses.

    A `note` is written below the panel in place of what the tier would write in the margin.
    """
    pens = _crosses(marks) if marks is not None else []
    if note:
        x0, y0, x1, _ = outer.bounds
        pens += _penned(note, (0.6 * x0 + 0.4 * x1, max(8.0, y0 - 36.0)), 14.0, 1.5, rng)
    else:
        pens += _notes(outer, sheet, faults.notes, rng)
    pens += _numbers(truth, faults.numbers, rng)
    for _ in range(faults.across):
        x0, y0, x1, y1 = outer.bounds
        at = (rng.uniform(x0, x0 + 0.6 * (x1 - x0)), rng.uniform(y0, y1))
        text = str(rng.choice(NOTES))
        pens += _penned(text, at, rng.uniform(15, 40), rng.uniform(-25, 25), rng)
    return Overlays(
        tuple(pens),
        tuple(_tapes(sheet, faults.tapes, rng)),
        tuple(_creases(sheet, faults.creases, rng)),
        tuple(_tears(sheet, faults.tears, rng)),
    )


def _penned(
    text: str, at: tuple[float, float], height: float, turn: float, rng: Rng
) -> list[PenStroke]:
    """Write with a pencil, or boldly with a crayon or a felt pen."""
    bold = rng.random() < 0.3 or height > 20
    width = rng.uniform(1.2, 3.0) if bold else rng.uniform(0.5, 0.9)
    density, grain = rng.uniform(1.0, 2.2) if bold else rng.uniform(0.5, 1.2), rng.uniform(0.1, 0.8)
    return [PenStroke(p, width, density, grain) for p in written(text, at, height, turn, rng)]


def _crosses(marks: Array) -> list[PenStroke]:
    arms = np.array([[-6.0, 0], [6, 0]]), np.array([[0.0, -6], [0, 6]])
    return [PenStroke(m + arm, 0.35, 2.2, 0.0) for m in marks for arm in arms]


def _notes(outer: Polygon, sheet: Sheet, count: int, rng: Rng) -> list[PenStroke]:
    """Write in the margin below, above or beside the panel, clear of the sheet's edge."""
    x0, y0, x1, y1 = outer.bounds
    pens = []
    for _ in range(count):
        text, height = str(rng.choice(NOTES)), rng.uniform(6, 14)
        where = rng.integers(3)
        x, turn = rng.uniform(x0, max(x0 + 1, x1 - len(text) * height)), rng.normal(0, 3)
        if where == 0:
            y = max(8.0, y0 - rng.uniform(14, 26) - height)
        elif where == 1:
            y = min(sheet.height_mm - height - 8, y1 + rng.uniform(14, 26))
        else:
            x, y, turn = x1 + rng.uniform(16, 24) + height, rng.uniform(y0, (y0 + y1) / 2), 90.0
        pens += _penned(text, (x, y), height, turn, rng)
    return pens


def _numbers(truth: Truth, count: int, rng: Rng) -> list[PenStroke]:
    """Write numbers on some pieces of glass, in the middle of each."""
    pens = []
    roomy = [p for p in truth.pieces if p.area > 1500]
    for piece in rng.permutation(np.arange(len(roomy)))[:count].tolist():
        p: Point = roomy[piece].representative_point()
        height = min(rng.uniform(7, 14), 0.25 * roomy[piece].area ** 0.5)
        text = str(rng.integers(1, 99))
        at = (p.x - 0.3 * height * len(text), p.y - height / 2)
        pens += _penned(text, at, height, rng.normal(0, 6), rng)
    return pens


def _tapes(sheet: Sheet, count: int, rng: Rng) -> list[Tape]:
    w, h = sheet.width_mm, sheet.height_mm
    tapes = []
    for k in range(count):
        corner = np.array([(0, 0), (w, h), (w, 0), (0, h)][k], float)
        inward = np.array([1 if corner[0] == 0 else -1, 1 if corner[1] == 0 else -1]) / np.sqrt(2)
        across = np.array([-inward[1], inward[0]])
        wide, reach = rng.choice([19.0, 25.0, 38.0]), rng.uniform(14, 30)
        rect = [
            corner + inward * a + across * b * wide / 2
            for a, b in ((-9, -1), (reach, -1), (reach, 1), (-9, 1))
        ]
        tapes.append(Tape(np.array(rect), rng.uniform(0.82, 1.05), rng.uniform(0.05, 0.25)))
    return tapes


def _creases(sheet: Sheet, count: int, rng: Rng) -> list[Crease]:
    out = []
    for _ in range(count):
        middle = rng.random() < 0.6
        angle = rng.choice([0.0, np.pi / 2]) + (
            rng.normal(0, 0.01) if middle else rng.normal(0, 0.4)
        )
        share = rng.normal(0.5, 0.02 if middle else 0.2, 2)
        at = (sheet.width_mm * share[0], sheet.height_mm * share[1])
        out.append(Crease(at, float(angle), rng.uniform(0.02, 0.1), rng.uniform(0.0, 0.25)))
    return out


def _tears(sheet: Sheet, count: int, rng: Rng) -> list[Array]:
    """Return tears that run inwards from the sheet's edge, as bent lines."""
    out = []
    for _ in range(count):
        side, t = int(rng.integers(4)), rng.uniform(0.15, 0.85)
        w, h = sheet.width_mm, sheet.height_mm
        a = np.array([(t * w, 0), (w, t * h), (t * w, h), (0, t * h)][side])
        u = np.array([(0, 1), (-1, 0), (0, -1), (1, 0)][side], float)
        n = int(rng.integers(3, 7))
        steps = np.cumsum(rng.uniform(5, 12, n))[:, None] * u
        wander = np.cumsum(rng.normal(0, 3, n))[:, None] * np.array([u[1], u[0]])
        out.append(np.vstack((a, a + steps + wander)))
    return out


def pen_density(pens: tuple[PenStroke, ...], rows: Rows, tooth: Grid) -> Grid | None:
    """Return the density of pen strokes on these rows, or None where there are none."""
    h, w = rows.shape
    total: Grid | None = None
    for pen in pens:
        p = rows.to_px(pen.points)
        pad = pen.width_mm * rows.per_mm + 3
        lo = np.floor(p.min(axis=0) - pad).astype(int)
        hi = np.ceil(p.max(axis=0) + pad).astype(int) + 1
        c0, c1, r0, r1 = max(0, lo[0]), min(w, hi[0]), max(0, lo[1]), min(h, hi[1])
        if c0 >= c1 or r0 >= r1:
            continue
        patch = np.zeros((r1 - r0, c1 - c0), np.uint8)
        q = np.round((p - [c0, r0]) * 16).astype(np.int32)
        thick = max(1, round(pen.width_mm * rows.per_mm))
        cv2.polylines(patch, [q], False, 255, thick, cv2.LINE_AA, 4)
        if total is None:
            total = np.zeros((h, w), np.float32)
        body = patch.astype(np.float32) * np.float32(pen.density / 255)
        body *= 1 - pen.grain + pen.grain * np.minimum(tooth[r0:r1, c0:c1], 1.5)
        np.maximum(total[r0:r1, c0:c1], body, out=total[r0:r1, c0:c1])
    return total


def lay_paper_faults(light: Grid, overlays: Overlays, rows: Rows, dark: float) -> None:
    """Multiply the light of these rows by folds, tears and tape; `dark` shows through a tear."""
    x, y = rows.x_mm(), rows.y_mm()
    for c in overlays.creases:
        d = -np.sin(c.angle_rad) * (x - c.at[0]) + np.cos(c.angle_rad) * (y - c.at[1])
        light *= 1 + np.float32(c.shade) * np.tanh(d / 0.6) * np.exp(-np.abs(d) / 2.5)
    for tear in overlays.tears:
        q = np.round(rows.to_px(tear) * 16).astype(np.int32)
        for width, value in ((2.0, 1.04), (0.5, dark)):
            mask = np.zeros(rows.shape, np.uint8)
            thick = max(1, round(width * rows.per_mm))
            cv2.polylines(mask, [q], False, 1, thick, cv2.LINE_8, 4)
            light[mask > 0] *= value
    for tape in overlays.tapes:
        p = rows.to_px(tape.corners)
        lo = np.maximum(0, np.floor(p.min(axis=0)).astype(int) - 4)
        hi = np.minimum(light.shape[::-1], np.ceil(p.max(axis=0)).astype(int) + 5)
        if (hi <= lo).any():
            continue
        part = light[lo[1] : hi[1], lo[0] : hi[0]]
        q = np.round((p - lo) * 16).astype(np.int32)
        mask = np.zeros(part.shape, np.uint8)
        cv2.fillPoly(mask, [q], 255, cv2.LINE_AA, 4)
        part *= 1 + (mask.astype(np.float32) / 255) * np.float32(tape.reflectance - 1)
        mask[:] = 0
        cv2.polylines(mask, [q], True, 255, max(1, round(0.3 * rows.per_mm)), cv2.LINE_AA, 4)
        part *= 1 - (mask.astype(np.float32) / 255) * np.float32(tape.rim)


def crease_catch(overlays: Overlays, rows: Rows) -> Grid | float:
    """Return the pressure that a fold's ridge takes under the stick, 0 elsewhere."""
    total: Grid | float = 0.0
    for c in overlays.creases:
        d = -np.sin(c.angle_rad) * (rows.x_mm() - c.at[0]) + np.cos(c.angle_rad) * (
            rows.y_mm() - c.at[1]
        )
        total = total + np.float32(c.catch) * np.exp(-((d / 0.4) ** 2))
    return total
