"""The scale that goes with a picture: resolution, two marks, crosses, sheet size or targets."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass, field
from itertools import combinations

import cv2
import numpy as np
import numpy.typing as npt
from shapely.geometry import Polygon

from tests.rendering.capture import View
from tests.rendering.geometry import Array
from tests.rendering.rubbing import FULL
from tests.rendering.sheet import Rng, Sheet

TARGET_MM = 40.0
"""Side of a target's black square."""
PATCH_MM = 52.0
"""Side of the slip of paper on which a target is printed."""

SCAN_REFERENCES = ("dpi", "ruler", "marks")
PHOTO_REFERENCES = ("sheet", "marks", "targets", "distances")


@dataclass(frozen=True, slots=True)
class Target:
    """A printed target on the sheet: id, centre in mm, turn."""

    id: int
    at: tuple[float, float]
    turn_deg: float


@dataclass(frozen=True, slots=True)
class Aids:
    """What was put on the sheet to measure by, before the picture was taken."""

    kind: str
    marks: Array | None = None
    targets: tuple[Target, ...] = ()


@dataclass(frozen=True, slots=True)
class Reference:
    """The arguments that hand the scale to the program, and the files they name."""

    arguments: tuple[str, ...]
    files: dict[str, str] = field(default_factory=dict)


def aids_of(kind: str, sheet: Sheet, outer: Polygon, rng: Rng) -> Aids:
    """Lay out the marks or targets that a kind of reference needs."""
    if kind in ("targets", "distances"):
        inset = PATCH_MM / 2 + 9
        w, h = sheet.width_mm, sheet.height_mm
        corners = [(inset, h - inset), (w - inset, h - inset), (w - inset, inset), (inset, inset)]
        targets = []
        for k, (x, y) in enumerate(corners):
            at = (float(x + rng.uniform(-1, 1)), float(y + rng.uniform(-1, 1)))
            targets.append(Target(k, at, float(rng.normal(0, 3))))
        return Aids(kind, None, tuple(targets))
    if kind == "marks":
        x0, y0, x1, y1 = outer.bounds
        off, n = rng.uniform(24, 32), int(rng.integers(4, 9))
        ring = [
            (x0 - off, y0 - off),
            (x1 + off, y1 + off),
            (x1 + off, y0 - off),
            (x0 - off, y1 + off),
            ((x0 + x1) / 2, y0 - off),
            ((x0 + x1) / 2, y1 + off),
            (x0 - off, (y0 + y1) / 2),
            (x1 + off, (y0 + y1) / 2),
        ]
        return Aids(kind, np.array(ring[:n]) + rng.uniform(-4, 4, (n, 2)))
    if kind == "ruler":
        length = 10.0 * int((sheet.width_mm - 60) / 10)
        a = np.array([(sheet.width_mm - length) / 2, rng.uniform(12, 16)])
        turn = np.radians(rng.normal(0, 0.15))
        return Aids(kind, np.vstack((a, a + length * np.array([np.cos(turn), np.sin(turn)]))))
    return Aids(kind)


def reference_of(aids: Aids, sheet: Sheet, view: View, dpi: float, rng: Rng) -> Reference:
    """Measure the aids as a person does and write down the reference."""
    if aids.kind == "dpi":
        return Reference(("--dpi", f"{dpi:g}"))
    if aids.kind == "sheet":
        return Reference(("--sheet", f"{round(sheet.width_mm)}x{round(sheet.height_mm)}mm"))
    if aids.kind == "ruler" and aids.marks is not None:
        p = view.see(aids.marks) + np.clip(rng.normal(0, 0.2, (2, 2)), -0.5, 0.5)
        length = float(np.hypot(*(aids.marks[1] - aids.marks[0])))
        ends = " ".join(f"{x:.1f},{y:.1f}" for x, y in p)
        return Reference(("--ruler", f"{ends} {length:.1f}mm"))
    if aids.kind == "marks" and aids.marks is not None:
        return _marks(aids.marks, view, rng)
    return _targets(aids, rng)


def _marks(marks: Array, view: View, rng: Rng) -> Reference:
    """Read each cross to a third of a pixel, at worst to one, and its place to a tenth of a mm."""
    read = view.see(marks) + np.clip(rng.normal(0, 0.35, marks.shape), -1, 1)
    low = marks.min(axis=0)
    measured = marks - low + rng.normal(0, 0.05, marks.shape)
    rows = [("pixel_x", "pixel_y", "x_mm", "y_mm")]
    rows += [
        (f"{p[0]:.1f}", f"{p[1]:.1f}", f"{m[0]:.1f}", f"{m[1]:.1f}")
        for p, m in zip(read, measured, strict=True)
    ]
    return Reference(("--marks", "marks.csv"), {"marks.csv": _csv(rows)})


def _targets(aids: Aids, rng: Rng) -> Reference:
    at = np.array([t.at for t in aids.targets])
    if aids.kind == "targets":
        measured = at - at.min(axis=0) + rng.normal(0, 0.1, at.shape)
        rows = [("id", "x_mm", "y_mm")]
        rows += [
            (str(t.id), f"{x:.1f}", f"{y:.1f}")
            for t, (x, y) in zip(aids.targets, measured, strict=True)
        ]
    else:
        rows = [("id_a", "id_b", "distance_mm")]
        for i, j in combinations(range(len(at)), 2):
            d = float(np.hypot(*(at[i] - at[j])) + rng.normal(0, 0.15))
            rows.append((str(i), str(j), f"{d:.1f}"))
    return Reference(("--targets", "targets.csv"), {"targets.csv": _csv(rows)})


def _csv(rows: list[tuple[str, ...]]) -> str:
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(rows)
    return text.getvalue()


def lay_targets(
    light: npt.NDArray[np.uint16], per_mm: float, sheet: Sheet, targets: tuple[Target, ...]
) -> None:
    """Lay slips with printed targets on the worked sheet."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    cell = 40
    for t in targets:
        black = cv2.aruco.generateImageMarker(dictionary, t.id, 6 * cell)
        pad = round((PATCH_MM - TARGET_MM) / 2 / TARGET_MM * 6 * cell)
        slip = np.where(np.pad(black, pad, constant_values=255) > 0, 0.84, 0.05)
        slip = np.round(slip * FULL).astype(np.uint16)
        n, k = len(slip), per_mm * TARGET_MM / (6 * cell)
        a = np.radians(t.turn_deg)
        # Columns run to the right and rows down, so an anticlockwise turn has a minus here.
        m = k * np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
        middle = np.array([t.at[0] * per_mm - 0.5, (sheet.height_mm - t.at[1]) * per_mm - 0.5])
        r = int(PATCH_MM * per_mm)
        lo = np.maximum(0, middle.astype(int) - r)
        hi = np.minimum(np.array(light.shape[::-1]), middle.astype(int) + r)
        shift = middle - lo - m @ np.array([(n - 1) / 2, (n - 1) / 2])
        size = tuple((hi - lo).tolist())
        warp = np.column_stack((m, shift))
        part = light[lo[1] : hi[1], lo[0] : hi[0]]
        new = cv2.warpAffine(slip, warp, size, flags=cv2.INTER_AREA)
        on = cv2.warpAffine(np.full((n, n), 255, np.uint8), warp, size) > 127
        part[on] = new[on]
