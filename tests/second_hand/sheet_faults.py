"""What befalls the sheet: folds, crumpling, tape, stains, finger marks, holes, odd cuts."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree

from tests.second_hand.circumstances import Circumstances
from tests.second_hand.leadwork import Array, Rng
from tests.second_hand.relief import Field, Grid

Mask = npt.NDArray[np.uint8]

TAPES = ((0.72, 0.62, 0.42), (0.80, 0.82, 0.80), (0.25, 0.42, 0.66), (0.55, 0.4, 0.25))


@dataclass(frozen=True, slots=True)
class Fold:
    """A fold across the sheet: a point, a direction, how it takes wax, how it shades."""

    at: Array
    turn: float
    takes: float
    shade: float
    wide_mm: float


def folds_of(grid: Grid, c: Circumstances, rng: Rng) -> list[Fold]:
    """Draw the folds; most run nearly square to the sheet, dark or light."""
    out = []
    for _ in range(c.folds):
        turn = float(rng.choice((0.0, np.pi / 2))) + rng.normal(0, 0.06)
        if rng.random() < 0.2:
            turn = float(rng.uniform(0, np.pi))
        at = rng.uniform(0.2, 0.8, 2) * [grid.width_mm, grid.height_mm]
        sign = float(rng.choice((-1, 1)))
        shade = float(rng.uniform(0.05, 0.22)) * sign
        takes = sign * rng.uniform(0.2, 0.9)
        out.append(Fold(at, turn, float(takes), shade, float(rng.uniform(0.4, 1.1))))
    return out


def _across(grid: Grid, fold: Fold) -> Field:
    """Return the distance from a fold in mm, signed."""
    x = (np.arange(grid.shape[1], dtype=np.float32) + 0.5) / grid.per_mm - np.float32(fold.at[0])
    y = grid.height_mm - (np.arange(grid.shape[0], dtype=np.float32) + 0.5) / grid.per_mm
    y -= np.float32(fold.at[1])
    s, t = np.float32(np.sin(fold.turn)), np.float32(np.cos(fold.turn))
    wave = 0.4 * np.sin(x * 0.05) + 0.3 * np.sin(x * 0.21)
    return np.asarray(y[:, None] * t - (x * s - wave)[None, :], np.float32)


def folded_dose(dose: Field, grid: Grid, folds: list[Fold]) -> None:
    """Let crests take more wax and valleys less, in place."""
    for f in folds:
        d = _across(grid, f)
        dose *= 1 + f.takes * np.exp(-((d / f.wide_mm) ** 2))


def shaded_by_folds(light: Field, grid: Grid, folds: list[Fold]) -> None:
    """Shade each fold: a line, and a soft slope to one side; in place."""
    for f in folds:
        d = _across(grid, f)
        shade = -f.shade * np.exp(-((d / f.wide_mm) ** 2))
        shade += 0.25 * abs(f.shade) * np.sign(d) * np.exp(-np.abs(d) / 9)
        light *= (1 + shade)[:, :, None]


def crumpled(light: Field, grid: Grid, strength: float, rng: Rng) -> None:
    """Shade facets and creases of paper that was crumpled and smoothed again, in place."""
    if strength < 0.03:
        return
    w, h = int(grid.width_mm / 1.5), int(grid.height_mm / 1.5)
    cells = rng.uniform(0, 1, (int(rng.integers(30, 110)), 2)) * [w, h]
    y, x = np.indices((h, w))
    wobble = cv2.GaussianBlur(rng.normal(size=(h, w)).astype(np.float32), (0, 0), 6) * 60
    at = np.column_stack((x.ravel() + wobble.ravel(), y.ravel() - wobble.ravel()))
    d, k = cKDTree(cells).query(at, k=2)
    facet = rng.normal(0, 0.07, len(cells))[k[:, 0]].reshape(h, w)
    facet = cv2.GaussianBlur(facet.astype(np.float32), (0, 0), 4)
    side = rng.choice((-1, 1), len(cells))[k[:, 0]]
    crease = side * np.exp(-(((d[:, 1] - d[:, 0]) / 1.6) ** 2))
    shade = 1 + strength * (facet + 0.09 * crease.reshape(h, w).astype(np.float32))
    light *= cv2.resize(
        shade.astype(np.float32), light.shape[1::-1], interpolation=cv2.INTER_CUBIC
    )[:, :, None]


def stained(light: Field, grid: Grid, count: int, rng: Rng) -> None:
    """Leave stains with a darker rim, in place."""
    for _ in range(count):
        r = rng.uniform(14, 55)
        at = rng.uniform(0.1, 0.9, 2) * [grid.width_mm, grid.height_mm]
        turn = np.linspace(0, 2 * np.pi, 80, endpoint=False)
        waves = sum(
            rng.normal(0, 0.08 / m) * np.sin(m * turn + rng.uniform(0, 6)) for m in (2, 3, 5)
        )
        ring = at + (r * (1 + waves))[:, None] * np.column_stack((np.cos(turn), np.sin(turn)))
        mask = np.zeros(grid.shape, np.uint8)
        cv2.fillPoly(mask, [grid.fixed(ring)], 90, cv2.LINE_AA, 4)
        cv2.polylines(
            mask, [grid.fixed(ring)], True, 220, max(1, int(1.5 * grid.per_mm)), cv2.LINE_AA, 4
        )
        _tint(
            light,
            cv2.GaussianBlur(mask, (0, 0), 0.8 * grid.per_mm),
            (0.66, 0.5, 0.3),
            rng.uniform(0.15, 0.45),
        )


def fingered(light: Field, grid: Grid, count: int, rng: Rng) -> None:
    """Press finger marks on the sheet, in place: ovals with ridges."""
    for _ in range(count):
        at = grid.at(rng.uniform(0.05, 0.95, 2) * [grid.width_mm, grid.height_mm])
        n = int(22 * grid.per_mm)
        y, x = (np.indices((n, n)) - n / 2) / grid.per_mm
        a = rng.uniform(0, np.pi)
        u, v = x * np.cos(a) + y * np.sin(a), y * np.cos(a) - x * np.sin(a)
        oval = np.exp(-(((u / 8) ** 2 + (v / 5.5) ** 2) ** 2))
        ridge = 0.5 + 0.5 * np.sin(2 * np.pi * np.hypot(u * 0.6 + 3, v) / 0.9)
        mark = np.zeros(grid.shape, np.uint8)
        i, j = int(at[1] - n / 2), int(at[0] - n / 2)
        i0, j0 = max(i, 0), max(j, 0)
        part = mark[i0 : i + n, j0 : j + n]
        inked = oval * ridge if rng.random() < 0.7 else oval
        part[:] = (255 * inked)[i0 - i : i0 - i + part.shape[0], j0 - j : j0 - j + part.shape[1]]
        _tint(light, mark, (0.15, 0.15, 0.16), rng.uniform(0.1, 0.4))


def _tint(light: Field, mask: Mask, colour: tuple[float, ...], strength: float) -> None:
    rows, cols = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    if len(rows) and len(cols):
        box = (slice(rows[0], rows[-1] + 1), slice(cols[0], cols[-1] + 1))
        alpha = mask[box][:, :, None].astype(np.float32) * np.float32(strength / 255)
        light[box] *= 1 - alpha * (1 - np.array(colour, np.float32))


def taped(light: Field, grid: Grid, places: list[tuple[Array, float, float]], rng: Rng) -> None:
    """Stick strips of tape on the sheet, in place: place, length in mm, direction."""
    colour = np.array(TAPES[int(rng.integers(len(TAPES)))], np.float32)
    wide = rng.uniform(12, 26)
    clear = colour[0] > 0.75
    for at, long, turn in places:
        u, v = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
        ends = []
        for s in (-1, 1):
            torn = np.linspace(-s, s, 9)[:, None] * v * wide / 2 * -1
            ends.append(at + s * u * (long / 2 + rng.normal(0, 1.0, 9)[:, None]) + torn)
        mask = np.zeros(grid.shape, np.uint8)
        cv2.fillPoly(mask, [grid.fixed(np.vstack(ends))], 255, cv2.LINE_AA, 4)
        a = mask[:, :, None].astype(np.float32) / 255 * (0.25 if clear else 0.8)
        light *= 1 - a
        light += a * colour
        if clear:
            edge = cv2.morphologyEx(mask, cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8))
            _tint(light, edge, (0.5, 0.5, 0.5), 0.5)


def outline_of(grid: Grid, c: Circumstances, rng: Rng) -> Array:
    """Return the sheet's corners in mm, anticlockwise from the origin; out of square if oblique."""
    w, h = grid.width_mm, grid.height_mm
    ring = np.array([(0.0, 0.0), (w, 0.0), (w, h), (0.0, h)])
    if c.oblique_deg:
        cut = np.tan(np.radians(c.oblique_deg)) * (h if rng.random() < 0.5 else w)
        ring[2] -= [min(cut, 16.0), 0.0]
        ring[0] += [0.0, min(cut, 16.0) * rng.uniform(0, 1)]
    return ring


def alpha_of(grid: Grid, corners: Array, c: Circumstances, rng: Rng) -> Field:
    """Return where the sheet is (0..1): its outline, and holes punched along the left side."""
    mask = np.zeros(grid.shape, np.uint8)
    cv2.fillPoly(mask, [grid.fixed(corners)], 255, cv2.LINE_AA, 4)
    r = rng.uniform(2.5, 4.0)
    for k in range(c.holes):
        at = (11.0, grid.height_mm / 2 + (k - (c.holes - 1) / 2) * 80.0)
        q = grid.fixed(np.array([at]))[0]
        cv2.circle(mask, tuple(q.tolist()), int(r * grid.per_mm * 16), 0, -1, cv2.LINE_AA, 4)
    return mask.astype(np.float32) / 255
