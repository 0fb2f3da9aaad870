"""Glazing that repeats: hexagons, circles, lattices with bars, roundels, rows of beads."""

from __future__ import annotations

import math

import numpy as np
from shapely.geometry import Polygon

from tests.second_hand.leadwork import Board, Rng, bow, box, straight


def hexagons(rng: Rng) -> Board:
    """Draw a honeycomb, stretched, cut by the border."""
    a = rng.uniform(32, 54)
    tall = math.sqrt(3) * a * rng.uniform(0.85, 1.35)
    cols, rows = int(rng.integers(6, 10)), int(rng.integers(5, 8))
    w, h = min(890.0, 1.5 * a * cols), min(890.0, tall * rows)
    board = Board(box(0, 0, w, h), rng)
    for i in range(cols + 2):
        for j in range(-1, rows + 3):
            x, y = 1.5 * a * i, tall * (j + 0.5 * (i % 2) - 0.25)
            right = (x + a / 2, y + tall / 2), (x + a, y)
            board.lay(straight((x - a / 2, y + tall / 2), (x + a / 2, y + tall / 2)))
            board.lay(straight(*right))
            board.lay(straight((x + a, y), (x + a / 2, y - tall / 2)))
    return board


def circles(rng: Rng) -> Board:
    """Circles that overlap their four neighbours: lenses and curved squares."""
    pitch = rng.uniform(88, 128)
    cols, rows = int(rng.integers(4, 7)), int(rng.integers(4, 7))
    edge = rng.uniform(46, 60)
    w, h = cols * pitch + 2 * edge, rows * pitch + 2 * edge
    w, h = min(w, 895.0), min(h, 895.0)
    board = Board(box(0, 0, w, h), rng)
    field = box(edge, edge, edge + cols * pitch, edge + rows * pitch)
    field = field.intersection(box(edge, edge, w - edge, h - edge))
    board.lay(np.array(field.exterior.coords), board.face_mm)
    r = pitch * rng.uniform(0.58, 0.66)
    for i in range(cols + 1):
        for j in range(rows + 1):
            board.lay(bow((edge + i * pitch, edge + j * pitch), r, 45, 405), 0.0, field)
    x0, y0, x1, y1 = field.bounds
    for x in np.linspace(x0, x1, cols + 1)[1:-1]:
        board.lay(straight((x, 0), (x, y0)))
        board.lay(straight((x, y1), (x, h)))
    for y in np.linspace(y0, y1, rows + 1)[1:-1]:
        board.lay(straight((0, y), (x0, y)))
        board.lay(straight((x1, y), (w, y)))
    for (a, b), (c, d) in zip(
        ((0, 0), (w, 0), (w, h), (0, h)), ((x0, y0), (x1, y0), (x1, y1), (x0, y1)), strict=True
    ):
        board.lay(straight((a, b), (c, d)))
    return board


def barred_lattice(rng: Rng) -> Board:
    """Diamonds, crossed by rows of wide leads where the saddle bars lie; some slope."""
    a, b = rng.uniform(58, 90), rng.uniform(80, 130)
    cols, rows = int(rng.integers(4, 8)), int(rng.integers(4, 7))
    off = b * rng.uniform(0.34, 0.46)
    w, h = a * cols, b * (rows - 1) + 2 * off
    board = Board(box(0, 0, w, h), rng)
    for k in range(-2 * rows - 2, cols + 2 * rows + 2):
        x = (k + 0.5) * a
        for sign in (-1, 1):
            ends = [(x, off - 4 * b), (x + sign * 30 * a, off + 26 * b)]
            board.lay(np.array(ends), least_mm=9.0)
    sloping = rng.random() < 0.4
    for j in range(1, rows, 2):
        y = off + b * (j + 0.5)
        end = y + (b if sloping else 0.0) * (w / a) / 2
        if sloping:
            board.lay(straight((0, y), (w, end)), board.bold_mm)
        else:
            board.lay(straight((0, y), (w, y)), board.bold_mm)
    return board


def roundels(rng: Rng) -> Board:
    """Roundels at the crossings of a lattice whose leads are doubled one way."""
    pitch = rng.uniform(120, 165)
    cols, rows = int(rng.integers(3, 5)), int(rng.integers(3, 6))
    w, h = min(890.0, cols * pitch), min(890.0, rows * pitch)
    board = Board(box(0, 0, w, h), rng)
    r = pitch * rng.uniform(0.24, 0.31)
    fillet = board.face_mm + rng.uniform(7, 9)
    centres = [
        ((i + 0.5) * w / cols, (j + 0.5) * h / rows) for i in range(cols) for j in range(rows)
    ]
    ringed = rng.random(len(centres)) < 0.35
    free = board.outline
    for c, double in zip(centres, ringed, strict=True):
        board.lay(bow(c, r, 20, 380))
        if double:
            board.lay(bow(c, r - fillet, 80, 440), board.thin_mm)
            _ties(board, c, r - fillet, r)
        free = free.difference(Polygon(bow(c, r, 20, 380)))
    for i in range(cols):
        x = (i + 0.5) * w / cols
        for side in (-0.5, 0.5):
            board.lay(straight((x + side * fillet, 0), (x + side * fillet, h)), 0.0, free)
    for j in range(rows):
        y = (j + 0.5) * h / rows
        board.lay(straight((0, y), (w, y)), 0.0, free)
    return board


def _ties(board: Board, c: tuple[float, float], r0: float, r1: float) -> None:
    for k in range(4):
        a = math.radians(90 * k + 45)
        d = (math.cos(a), math.sin(a))
        board.lay(
            straight((c[0] + r0 * d[0], c[1] + r0 * d[1]), (c[0] + r1 * d[0], c[1] + r1 * d[1])),
            board.thin_mm,
        )


def beads(rng: Rng) -> Board:
    """Draw a plain middle in one or two frames of tiny pieces."""
    board = Board(box(0, 0, rng.uniform(330, 520), rng.uniform(330, 560)), rng)
    w, h = board.outline.bounds[2:]
    start = 0.5 * board.leads[0].face_mm + rng.uniform(30, 44)
    deep = board.thin_mm + rng.uniform(8, 11)
    pitch = board.thin_mm + rng.uniform(9, 14)
    inset = start + deep
    outer, inner = box(start, start, w - start, h - start), box(inset, inset, w - inset, h - inset)
    for f in (outer, inner):
        board.lay(np.array(f.exterior.coords), board.thin_mm)
    nx, ny = max(3, round((w - 2 * inset) / pitch)), max(3, round((h - 2 * inset) / pitch))
    for x in np.linspace(inset, w - inset, nx + 1):
        board.lay(straight((x, 0), (x, h)), board.thin_mm, box(0, start, w, inset))
        board.lay(straight((x, 0), (x, h)), board.thin_mm, box(0, h - inset, w, h - start))
    for y in np.linspace(inset, h - inset, ny + 1):
        board.lay(straight((0, y), (w, y)), board.thin_mm, box(start, 0, inset, h))
        board.lay(straight((0, y), (w, y)), board.thin_mm, box(w - inset, 0, w - start, h))
    edge = board.outline.difference(outer)
    for x in np.linspace(start, w - start, int(rng.integers(4, 6)))[1:-1]:
        board.tie(straight((x, 0), (x, h)), edge)
    for y in np.linspace(start, h - start, int(rng.integers(4, 6)))[1:-1]:
        board.tie(straight((0, y), (w, y)), edge)
    for x in (start, w - start):
        board.lay(straight((x, 0), (x, start)))
        board.lay(straight((x, h - start), (x, h)))
    _middle(board, inner)
    return board


def _middle(board: Board, field: Polygon) -> None:
    x0, y0, x1, y1 = field.bounds
    m, n = (x0 + x1) / 2, (y0 + y1) / 2
    rx, ry = (x1 - x0) / 2, (y1 - y0) / 2
    lozenge = Polygon([(m - rx, n), (m, n - ry), (m + rx, n), (m, n + ry)])
    board.lay(np.array(lozenge.exterior.coords))
    r = min(rx, ry) * board.rng.uniform(0.3, 0.45)
    ring = bow((m, n), r, 0, 360)
    board.lay(ring)
    rest = lozenge.difference(Polygon(ring))
    board.lay(straight((m, y0), (m, y1)), within=rest)
    board.lay(straight((x0, n), (x1, n)), within=rest)
