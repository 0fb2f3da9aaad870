"""The scale that goes with a picture, laid on the sheet and read as a person reads it."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass, field

import cv2
import numpy as np

from tests.second_hand.circumstances import Circumstances
from tests.second_hand.leadwork import Array, Rng
from tests.second_hand.lens import View
from tests.second_hand.relief import Field, Grid

SQUARE_MM, SLIP_MM = 36.0, 48.0
KINDS = {"scan": ("dpi", "ruler"), "photo": ("sheet", "marks", "targets")}


@dataclass(frozen=True, slots=True)
class Aids:
    """What lies or is drawn on the sheet to measure by; places in mm of the sheet."""

    kind: str
    at: Array
    turns_deg: Array


@dataclass(frozen=True, slots=True)
class Reference:
    """The arguments for the program, and the files that they name."""

    arguments: tuple[str, ...]
    files: dict[str, str] = field(default_factory=dict)


def kind_of(capture: str, c: Circumstances, rng: Rng) -> str:
    """Choose a kind; a sheet that is not square or flat is no measure."""
    kind = str(rng.choice(KINDS[capture]))
    if kind == "sheet" and (c.oblique_deg or c.curl_mm):
        return str(rng.choice(("marks", "targets")))
    return kind


def aids_of(kind: str, grid: Grid, rng: Rng) -> Aids:
    """Lay out marks or targets near the sheet's corners, or the two ends of a measured length."""
    w, h = grid.width_mm, grid.height_mm
    off = {"targets": 33.0, "marks": 24.0}.get(kind, 20.0)
    at = np.array([(off, off), (w - off, off), (w - off, h - off), (off, h - off)])
    if kind == "marks":
        more = np.array([(w / 2, off), (w - off, h / 2), (w / 2, h - off), (off, h / 2)])
        at = np.vstack((at, more[: int(rng.integers(0, 4))]))
    if kind == "ruler":
        at = np.array([(off, off / 2 + 3), (w - off, off / 2 + 3)])
    if kind in ("dpi", "sheet"):
        at = np.empty((0, 2))
    at = at + rng.uniform(-3, 3, at.shape)
    return Aids(kind, at, rng.normal(0, 5, len(at)))


def lay(light: Field, grid: Grid, aids: Aids) -> None:
    """Draw crosses or ticks, or paste slips with targets, on linear light; in place."""
    if aids.kind == "targets":
        for k, (at, turn) in enumerate(zip(aids.at, aids.turns_deg, strict=True)):
            _paste(light, grid, k, at, turn)
        return
    mask = np.zeros(grid.shape, np.uint8)
    pen = max(1, round(0.45 * grid.per_mm))
    for at in aids.at:
        for d in ((5.0, 0.0), (0.0, 5.0)):
            ends = grid.fixed(np.array([at - d, at + d]))
            cv2.polylines(mask, [ends], False, 255, pen, cv2.LINE_AA, 4)
    light *= 1 - 0.85 * (mask[:, :, None].astype(np.float32) / 255)


def _paste(light: Field, grid: Grid, number: int, at: Array, turn_deg: float) -> None:
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    cell = 32
    black = cv2.aruco.generateImageMarker(dictionary, number, 6 * cell)
    pad = round(6 * cell * (SLIP_MM - SQUARE_MM) / 2 / SQUARE_MM)
    slip = np.where(np.pad(black, pad, constant_values=255) > 0, 0.82, 0.04).astype(np.float32)
    n = len(slip)
    k, a = SQUARE_MM / (6 * cell) * grid.per_mm, np.radians(turn_deg)
    # Columns to the right, rows downward: the same turn in mm has the other sign here.
    m = k * np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    shift = grid.at(at) - m @ np.array([(n - 1) / 2, (n - 1) / 2])
    r = int(SLIP_MM * grid.per_mm)
    lo = np.maximum(grid.at(at).astype(int) - r, 0)
    hi = np.minimum(grid.at(at).astype(int) + r, grid.shape[::-1])
    warp = np.column_stack((m, shift - lo))
    size = tuple((hi - lo).tolist())
    part = light[lo[1] : hi[1], lo[0] : hi[0]]
    # Drawn four times as fine, then averaged: warpAffine does not average by itself.
    fine = warp * 4 + [[0, 0, 1.5], [0, 0, 1.5]]
    big = (size[0] * 4, size[1] * 4)
    ink = cv2.resize(cv2.warpAffine(slip, fine, big), size, interpolation=cv2.INTER_AREA)
    on = cv2.resize(
        cv2.warpAffine(np.ones((n, n), np.float32), fine, big), size, interpolation=cv2.INTER_AREA
    )[:, :, None]
    part *= 1 - on
    part += ink[:, :, None] * np.array([1, 1, 0.98], np.float32)


def reference_of(aids: Aids, grid: Grid, view: View, dpi: float, rng: Rng) -> Reference:
    """Read the aids: pixels to a third of one, lengths to a tenth of a mm."""
    if aids.kind == "dpi":
        return Reference(("--dpi", f"{dpi:g}"))
    if aids.kind == "sheet":
        return Reference(("--sheet", f"{round(grid.width_mm)}x{round(grid.height_mm)}mm"))
    if aids.kind == "ruler":
        px = view.see(aids.at) + np.clip(rng.normal(0, 0.3, (2, 2)), -0.7, 0.7)
        long = float(np.hypot(*(aids.at[1] - aids.at[0]))) + rng.normal(0, 0.05)
        ends = " ".join(f"{x:.1f},{y:.1f}" for x, y in px)
        return Reference(("--ruler", f"{ends} {long:.1f}mm"))
    measured = aids.at - aids.at.min(axis=0) + rng.normal(0, 0.08, aids.at.shape)
    if aids.kind == "marks":
        px = view.see(aids.at) + np.clip(rng.normal(0, 0.3, aids.at.shape), -1, 1)
        rows = [("pixel_x", "pixel_y", "x_mm", "y_mm")]
        rows += [tuple(f"{v:.1f}" for v in (*p, *m)) for p, m in zip(px, measured, strict=True)]
        return Reference(("--marks", "marks.csv"), {"marks.csv": _csv(rows)})
    rows = [("id", "x_mm", "y_mm")]
    rows += [(str(k), f"{x:.1f}", f"{y:.1f}") for k, (x, y) in enumerate(measured)]
    return Reference(("--targets", "targets.csv"), {"targets.csv": _csv(rows)})


def _csv(rows: list[tuple[str, ...]]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue()
