"""Pictures and ornament: scrolls, hills, folds of cloth, arms, whiplash curves, cracks."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import shapely
from shapely.geometry import LineString, Point, Polygon

from tests.second_hand.leadwork import (
    XY,
    Array,
    Board,
    Rng,
    bow,
    box,
    flowing,
    joined,
    sagged,
    straight,
)


def foliage(rng: Rng) -> Board:
    """Draw a stem that winds upward, its leaves, a flower; the ground cut by leads."""
    w, h = rng.uniform(340, 520), rng.uniform(600, 890)
    board = Board(box(0, 0, w, h), rng)
    n = int(rng.integers(4, 7))
    top = h - rng.uniform(120, 150)
    swing = w * rng.uniform(0.05, 0.09)
    knots = [(w / 2 + swing * (-1) ** k * (k > 0), top * k / n) for k in range(n)]
    bloom = (w / 2, top)
    stem = flowing([*knots, bloom])
    r = rng.uniform(36, 50)
    flower = Polygon(bow(bloom, r, 0, 360))
    board.lay(stem, within=board.outline.difference(flower))
    board.lay(bow(bloom, r, 0, 360))
    for k in range(5):
        a = math.radians(90 + 72 * k)
        tip = (bloom[0] + r * math.cos(a), bloom[1] + r * math.sin(a))
        board.lay(straight(bloom, tip), board.thin_mm)
    line = LineString(stem)
    for k in range(n):
        side = -1 if k % 2 else 1
        at = line.interpolate((k + 0.42) / (n + 0.25), normalized=True)
        _leaf(board, (at.x, at.y), side, w, top / n)
    for a in (40, 140):
        d = (math.cos(math.radians(a)), math.sin(math.radians(a)))
        edge = (bloom[0] + r * d[0], bloom[1] + r * d[1])
        board.lay(straight(edge, (bloom[0] + 600 * d[0], bloom[1] + 600 * d[1])))
    board.relieve(concave=0.66, largest_mm2=0.12 * w * h, cuts=40)
    return board


def _leaf(board: Board, base: XY, side: int, w: float, room: float) -> None:
    """Draw a leaf of two bowed sides and a rib, its tip tied to the border."""
    rng = board.rng
    a = math.radians(rng.uniform(18, 38))
    reach = (w / 2) * rng.uniform(0.56, 0.68)
    tip = (base[0] + side * reach * math.cos(a), base[1] + reach * math.sin(a))
    fat = min(0.32 * room, reach * rng.uniform(0.2, 0.3))
    board.lay(sagged(base, tip, fat))
    board.lay(sagged(base, tip, -fat * 0.8))
    if fat > 24:
        board.lay(sagged(base, tip, fat * 0.12), board.thin_mm)
    end = (w if side > 0 else 0.0, tip[1] + rng.uniform(5, 30))
    board.lay(straight(tip, end))


def landscape(rng: Rng) -> Board:
    """Hills and clouds in long pieces, a sun, tree trunks."""
    w, h = rng.uniform(500, 890), rng.uniform(360, 700)
    board = Board(box(0, 0, w, h), rng)
    n = int(rng.integers(8, 13))
    x = np.linspace(0, w, 300)
    phase = rng.uniform(0, 6.28, 3)
    waves = sum(
        amp * np.sin(2 * np.pi * x / length + p)
        for amp, length, p in zip(
            (h * 0.05, h * 0.025, 4.0), (w * 1.1, w * 0.45, w * 0.2), phase, strict=True
        )
    )
    lows = np.sort(rng.dirichlet(np.full(n + 1, 4.0)).cumsum()[:-1]) * h
    tops = np.sort(rng.dirichlet(np.full(n + 1, 4.0)).cumsum()[:-1]) * h
    sun = Point(w * rng.uniform(0.25, 0.75), h * rng.uniform(0.68, 0.76))
    disc = sun.buffer(rng.uniform(38, 62), 60)
    board.lay(np.array(disc.exterior.coords))
    sky = board.outline.difference(disc)
    runs = []
    for a, b in zip(lows, tops, strict=True):
        fade = np.sin(np.pi * np.clip((a + (b - a) * x / w) / h, 0, 1)) ** 0.5
        runs.append(np.column_stack((x, a + (b - a) * x / w + waves * fade)))
        board.lay(runs[-1], within=sky)
    for k in range(n - 1):
        _cross(board, runs[k], runs[k + 1], sky)
    return board


def _cross(board: Board, low: Array, high: Array, region: Polygon) -> None:
    """Cut a long band into pieces, where it is wide enough for a short lead."""
    w = low[-1, 0]
    band = Polygon(np.vstack((low, high[::-1]))).buffer(0).intersection(region)
    t = board.rng.uniform(0.08, 0.3) * w
    while t < 0.95 * w:
        lean = board.rng.uniform(-18, 18)
        a = np.interp(t, low[:, 0], low[:, 1])
        b = np.interp(t, high[:, 0], high[:, 1])
        if b - a > 16 and len(board.leads) < 120:
            board.tie(straight((t - lean, a - 40), (t + lean, b + 40)), band)
        t += board.rng.uniform(0.16, 0.38) * w


def drapery(rng: Rng) -> Board:
    """Folds that fall from two shoulders: long tapering pieces, hems across."""
    w, h = rng.uniform(380, 640), rng.uniform(560, 890)
    board = Board(box(0, 0, w, h), rng)
    n = int(rng.integers(9, 14))
    y = np.linspace(0, h, 300)
    foot = (np.arange(1, n) + rng.uniform(-0.22, 0.22, n - 1)) / n
    gather = 0.5 + (foot - 0.5) * rng.uniform(0.5, 0.66)
    pull = w * rng.uniform(0.03, 0.08) * np.sin(2 * np.pi * y / h + rng.uniform(0, 6.28))
    runs = []
    for a, b in zip(foot, gather, strict=True):
        t = (y / h) ** rng.uniform(1.4, 1.6)
        x = w * (a + (b - a) * t) + pull * np.sin(np.pi * a)
        runs.append(np.column_stack((x, y)))
        board.lay(runs[-1])
    for low, high in pairwise(runs):
        band = Polygon(np.vstack((low, high[::-1]))).buffer(0)
        for t in np.sort(rng.uniform(0.12, 0.9, int(rng.integers(1, 4)))) * h:
            tilt = float(rng.uniform(-22, 22))
            ends = (low[0, 0] - 150, t - tilt), (high[0, 0] + 150, t + tilt)
            board.tie(straight(*ends), band)
    for edge, run in ((0.0, runs[0]), (w, runs[-1])):
        for t in np.sort(rng.uniform(0.1, 0.85, 3)) * h:
            x = float(np.interp(t, run[:, 1], run[:, 0]))
            board.tie(straight((edge, t + 12), (x, t)), board.outline)
    return board


def arms(rng: Rng) -> Board:
    """Plain rectangles about a shield of arms, quartered, with a disc."""
    w, h = rng.uniform(380, 620), rng.uniform(460, 820)
    board = Board(box(0, 0, w, h), rng)
    m, mid = w / 2, h * rng.uniform(0.48, 0.56)
    half, tall = w * rng.uniform(0.24, 0.3), w * rng.uniform(0.3, 0.36)
    right = flowing(
        [(m + half, mid + tall), (m + half * 0.98, mid), (m + half * 0.6, mid - 0.7 * tall)]
    )
    side = joined(right, flowing([tuple(right[-1]), (m, mid - 1.15 * tall)]))
    mirror = side[::-1] * [-1, 1] + [2 * m, 0]
    ring = joined(side, mirror, straight(tuple(mirror[-1]), tuple(side[0])))
    ring[-1] = ring[0]
    shield = Polygon(ring).buffer(0)
    board.lay(ring, board.face_mm + 1.5)
    board.lay(straight((0, mid), (w, mid)), within=shield)
    disc = Polygon(bow((m, mid), half * 0.36, 0, 360))
    board.leads = [x for x in board.leads if x.run[0, 1] != x.run[-1, 1] or x.closed]
    board.lay(np.array(disc.exterior.coords), within=shield)
    rest = shield.difference(disc)
    board.lay(straight((m, 0), (m, h)), within=rest)
    board.lay(straight((0, mid), (w, mid)), within=rest)
    outside = board.outline.difference(shield)
    cols, rows = int(rng.integers(4, 6)), int(rng.integers(6, 9))
    for x in np.linspace(0, w, cols + 1)[1:-1]:
        board.tie(straight((x, 0), (x, h)), outside)
    for y in np.linspace(0, h, rows + 1)[1:-1] + rng.uniform(-6, 6, rows - 1):
        board.tie(straight((0, y), (w, y)), outside)
    return board


def whiplash(rng: Rng) -> Board:
    """Long curves that rise together, lash out and close on buds."""
    w, h = rng.uniform(360, 560), rng.uniform(600, 890)
    board = Board(box(0, 0, w, h), rng)
    t = np.linspace(0, 1, 240)
    n = int(rng.integers(6, 9))
    lash = w * rng.uniform(0.10, 0.18) * np.sin(2 * np.pi * (t * 1.15 + rng.uniform(0, 1)))
    waist = rng.uniform(0.34, 0.5)
    centres = []
    for k in range(1, n):
        a = k / n
        spread = (a - 0.5) * (1 - 0.52 * np.exp(-(((t - waist) / 0.2) ** 2)))
        x = w * (0.5 + spread) + lash * np.sin(np.pi * a) ** 0.8
        run = np.column_stack((x, h * t))
        board.lay(run)
        centres.append(run)
    for low, high in pairwise(centres):
        band = Polygon(np.vstack((low, high[::-1]))).buffer(0)
        _buds(board, band, low, high, h)
    for edge, run in ((0.0, centres[0]), (w, centres[-1])):
        for y in np.sort(rng.uniform(0.15, 0.85, 2)) * h:
            x = float(np.interp(y, run[:, 1], run[:, 0]))
            rise = float(rng.uniform(-12, 12))
            board.tie(sagged((edge, y + 25), (x, y), rise), board.outline)
    return board


def _buds(board: Board, band: Polygon, low: Array, high: Array, h: float) -> None:
    """Pointed buds that fill the band from lead to lead, and bowed leads across."""
    rng = board.rng
    for t in np.sort(rng.uniform(0.1, 0.9, int(rng.integers(2, 4)))) * h:
        a = float(np.interp(t, low[:, 1], low[:, 0]))
        b = float(np.interp(t, high[:, 1], high[:, 0]))
        lift = (b - a) * rng.uniform(-0.5, 0.5)
        run = sagged((a - 30, t - lift), (b + 30, t + lift), float(rng.uniform(0.1, 0.3)) * (b - a))
        board.tie(run, band)


def mended(rng: Rng) -> Board:
    """Large plain panes; over their cracks leads were laid later, some ending freely."""
    cols, rows = int(rng.integers(3, 5)), int(rng.integers(4, 7))
    w, h = rng.uniform(340, 620), rng.uniform(480, 860)
    board = Board(box(0, 0, w, h), rng)
    xs = np.linspace(0, w, cols + 1)
    ys = np.linspace(0, h, rows + 1)
    ys[1:-1] += rng.uniform(-12, 12, rows - 1)
    for x in xs[1:-1]:
        board.lay(straight((x, 0), (x, h)))
    for y in ys[1:-1]:
        board.lay(straight((0, y), (w, y)))
    panes = [box(xs[i], ys[j], xs[i + 1], ys[j + 1]) for i in range(cols) for j in range(rows)]
    hit = rng.permutation(len(panes))[: max(4, len(panes) // 2)]
    for k, i in enumerate(hit.tolist()):
        _crack(board, panes[i], free=k % 4 == 1, forked=k % 4 == 2)
    return board


def _crack(board: Board, pane: Polygon, *, free: bool, forked: bool) -> None:
    """Lay a mending lead along a crack through a pane: crooked, straight, forked or half-way."""
    rng = board.rng
    x0, y0, x1, y1 = pane.bounds
    w, h = x1 - x0, y1 - y0
    a = (x0, y0 + h * rng.uniform(0.25, 0.75))
    b = (
        (x0 + w * rng.uniform(0.3, 0.7), y1)
        if rng.random() < 0.4
        else (x1, y0 + h * rng.uniform(0.25, 0.75))
    )
    mid = (
        (a[0] + b[0]) / 2 + rng.uniform(-0.08, 0.08) * w,
        (a[1] + b[1]) / 2 + rng.uniform(-0.08, 0.08) * h,
    )
    run = flowing([a, mid, b])
    if free:
        run = run[: int(len(run) * rng.uniform(0.5, 0.65))]
    face = float(rng.choice((3.5, 4.0, 5.0)))
    board.lay(run, face, pane)
    if forked:
        start = run[len(run) // 2]
        foot = (x0 + w * float(rng.uniform(0.35, 0.65)), y0)
        if shapely.length(LineString([start, foot])) > 20:
            board.lay(straight((float(start[0]), float(start[1])), foot), face, pane)
