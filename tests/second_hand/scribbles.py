"""What people write on a rubbing: numbers, words, arrows, measure lines, in pencil and felt pen."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import Polygon

from tests.second_hand.circumstances import Circumstances
from tests.second_hand.leadwork import Array, Rng
from tests.second_hand.network import Network
from tests.second_hand.relief import Field, Grid

Mask = npt.NDArray[np.uint8]

_GLYPHS = {
    "0": "5,10 1,8 0,5 1,1 5,0 9,1 10,5 9,8 5,10",
    "1": "2,8 5,10 5,0",
    "2": "1,8 3,10 8,10 9,7 6,4 0,0 10,1",
    "3": "1,9 5,10 9,8 8,6 4,5 9,4 9,1 5,0 0,1",
    "4": "7,0 7,10 0,3 10,3",
    "5": "9,10 2,10 1,6 6,6 9,4 8,1 4,0 0,1",
    "6": "8,10 3,7 0,3 2,0 7,0 9,3 6,5 1,4",
    "7": "0,10 10,10 4,0|2,5 8,5",
    "8": "5,5 1,8 4,10 8,9 7,6 2,3 2,1 5,0 9,1 8,4 5,5",
    "9": "9,7 6,5 2,6 1,9 5,10 9,8 8,3 6,0",
    "A": "0,0 5,10 10,0|2,4 8,4",
    "B": "1,0 1,10 8,9 8,6 1,5 9,4 8,1 1,0",
    "C": "9,9 5,10 1,7 1,3 5,0 9,1",
    "E": "9,10 1,10 1,0 9,0|1,5 7,5",
    "L": "1,10 1,0 9,0",
    "N": "1,0 1,10 9,0 9,10",
    "O": "5,10 1,7 1,3 5,0 9,3 9,7 5,10",
    "R": "1,0 1,10 8,9 8,6 1,5|4,5 9,0",
    "S": "9,9 5,10 1,8 3,6 8,4 8,1 4,0 0,1",
    "T": "0,10 10,10|5,10 5,0",
    "W": "0,10 3,0 5,7 8,0 10,10",
}
WORDS = ("NO 3", "WEST", "SOLO", "A4", "B 12", "LEAN", "TEST 2", "NORTE", "CELL 7", "BAR", "LOT 9")


def handwriting(text: str, at: Array, tall_mm: float, turn_deg: float, rng: Rng) -> list[Array]:
    """Return runs in mm that spell a text, its middle at a place."""
    runs, x = [], 0.0
    slant, wide = rng.normal(0.12, 0.1), rng.uniform(0.5, 0.75)
    for letter in text:
        drop = rng.normal(0, 0.05)
        for stroke in _GLYPHS.get(letter, "").split("|"):
            if stroke:
                p = np.array([[float(v) for v in q.split(",")] for q in stroke.split()]) / 10
                p += rng.normal(0, 0.035, p.shape)
                p = _rounded(p) if letter not in "147AELNTW" else p
                p = np.column_stack((x + wide * p[:, 0] + slant * p[:, 1], p[:, 1] + drop))
                runs.append(p)
        x += wide + 0.22 + rng.normal(0, 0.03)
    a = np.radians(turn_deg + rng.normal(0, 4))
    m = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    return [at + (p - [x / 2 - 0.1, 0.5]) * tall_mm @ m for p in runs]


def _rounded(p: Array) -> Array:
    """Cut the corners of a run twice (Chaikin)."""
    for _ in range(2):
        q, r = 0.75 * p[:-1] + 0.25 * p[1:], 0.25 * p[:-1] + 0.75 * p[1:]
        p = np.vstack((p[:1], np.stack((q, r), 1).reshape(-1, 2), p[-1:]))
    return p


def scribble(
    found: Network, outer: Polygon, grid: Grid, c: Circumstances, rng: Rng
) -> tuple[Mask, Mask]:
    """Return masks (0..255) of pencil and of felt pen."""
    pencil, felt = np.zeros(grid.shape, np.uint8), np.zeros(grid.shape, np.uint8)
    _numbers(pencil if rng.random() < 0.6 else felt, found, grid, c, rng)
    x0, y0, x1, y1 = outer.bounds
    for _ in range(c.notes):
        mask, pen = (pencil, 0.5) if rng.random() < 0.5 else (felt, rng.uniform(0.8, 1.9))
        kind = rng.integers(5)
        if kind == 0:
            _margin_word(mask, (x0, y0, x1, y1), pen, grid, rng)
        elif kind == 1:
            _measure_line(mask, (x0, y0, x1, y1), grid, rng)
        elif kind == 2:
            _arrow(mask, outer, pen, grid, rng)
        else:
            at = np.array([rng.uniform(x0, x1), rng.uniform(y0, y1)])
            text = str(rng.integers(1, 120)) if rng.random() < 0.7 else str(rng.choice(WORDS))
            _draw(mask, handwriting(text, at, rng.uniform(9, 24), 0, rng), pen, grid)
    return pencil, felt


def _draw(mask: Mask, runs: list[Array], pen_mm: float, grid: Grid) -> None:
    thick = max(1, round(pen_mm * grid.per_mm))
    for p in runs:
        cv2.polylines(mask, [grid.fixed(p)], False, 255, thick, cv2.LINE_AA, 4)


def _numbers(mask: Mask, found: Network, grid: Grid, c: Circumstances, rng: Rng) -> None:
    """Write numbers on pieces: in the middle, upright or along, now and then on a lead."""
    pen = float(rng.uniform(0.4, 1.4))
    for k, piece in enumerate(found.pieces):
        if rng.random() > c.scribbles:
            continue
        circle = shapely.maximum_inscribed_circle(piece, tolerance=1.0)
        at, r = np.array(circle.coords[0]), circle.length
        tall = float(np.clip(0.8 * r, 5.0, 18.0))
        if rng.random() < 0.12:
            at, tall = at + rng.normal(0, 0.7 * r, 2), tall * 1.3
        turn = 90.0 if rng.random() < 0.15 else 0.0
        _draw(mask, handwriting(str(k + 1), at, tall, turn, rng), pen, grid)


def _margin_word(mask: Mask, bounds: tuple[float, ...], pen: float, grid: Grid, rng: Rng) -> None:
    x0, y0, x1, y1 = bounds
    off = rng.uniform(20, 38)
    at, turn = (
        (np.array([rng.uniform(x0 + 60, x1 - 60), y0 - off]), 0.0)
        if rng.random() < 0.6
        else (np.array([x1 + off, rng.uniform(y0 + 60, y1 - 60)]), 90.0)
    )
    _draw(mask, handwriting(str(rng.choice(WORDS)), at, rng.uniform(8, 16), turn, rng), pen, grid)


def _measure_line(mask: Mask, bounds: tuple[float, ...], grid: Grid, rng: Rng) -> None:
    """Draw a line with barbs at both ends and its length; over the panel or beside."""
    x0, y0, x1, y1 = bounds
    y = y0 - rng.uniform(14, 22) if rng.random() < 0.6 else rng.uniform(y0 + 30, y1 - 30)
    a, b = np.array([x0, y]), np.array([x1, y + rng.normal(0, 1.5)])
    if rng.random() < 0.4:
        x = x0 - rng.uniform(14, 22)
        a, b = np.array([x, y0]), np.array([x, y1])
    u = (b - a) / np.hypot(*(b - a))
    v = np.array([-u[1], u[0]])
    runs = [np.array([a, b])]
    for end, s in ((a, 1.0), (b, -1.0)):
        runs += [np.array([end + 6 * s * u + 2.5 * v, end, end + 6 * s * u - 2.5 * v])]
        runs += [np.array([end - 5 * v, end + 5 * v])]
    figure = handwriting(str(round(float(np.hypot(*(b - a))))), (a + b) / 2 + 7 * v, 8, 0, rng)
    _draw(mask, runs + figure, 0.4, grid)


def _arrow(mask: Mask, outer: Polygon, pen: float, grid: Grid, rng: Rng) -> None:
    x0, y0, x1, y1 = outer.bounds
    tip = np.array([rng.uniform(x0, x1), rng.uniform(y0, y1)])
    a = rng.uniform(0, 2 * np.pi)
    u = np.array([np.cos(a), np.sin(a)])
    v = np.array([-u[1], u[0]])
    tail = tip + u * rng.uniform(25, 70)
    bent = (tip + tail) / 2 + v * rng.normal(0, 5)
    head = np.array([tip + 6 * u + 3 * v, tip, tip + 6 * u - 3 * v])
    _draw(mask, [np.array([tail, bent, tip]), head], pen, grid)


def inked(light: Field, mask: Mask, colour: tuple[float, float, float], strength: float) -> None:
    """Draw a mask on linear light, in place."""
    rows = np.flatnonzero(mask.any(axis=1))
    if not len(rows):
        return
    part = slice(rows[0], rows[-1] + 1)
    alpha = mask[part, :, None].astype(np.float32) * np.float32(strength / 255)
    light[part] *= 1 - alpha * (1 - np.array(colour, np.float32))
