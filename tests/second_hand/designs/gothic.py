"""Church work: tangent arches, roses, canopies, arch-headed lights, suns."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
from shapely.geometry import Point, Polygon

from tests.second_hand.leadwork import (
    XY,
    Array,
    Board,
    Rng,
    bow,
    box,
    joined,
    sagged,
    straight,
)


def tangent_arches(rng: Rng) -> Board:
    """Mullions that part into intersecting arches; at the springing three leads leave as one."""
    n, s = int(rng.integers(4, 7)), rng.uniform(75, 125)
    w = n * s
    times = float(rng.choice((1.0, 1.5, 2.0)))
    reach = times * s
    spring = rng.uniform(160, 320)
    # Between two rows of crossings; arches of one bay end where they meet.
    transom = spring + s * {1.0: math.sqrt(0.75), 1.5: 1.3, 2.0: 1.55}[times]
    end = 120 if times == 1.0 else 90
    h = min(895.0, transom + rng.uniform(90, 180))
    board = Board(box(0, 0, w, h), rng)
    below = box(0, 0, w, transom)
    board.lay(straight((0, transom), (w, transom)), board.bold_mm)
    for k in range(n + 1):
        x = k * s
        if 0 < k < n:
            board.lay(straight((x, 0), (x, spring)))
        if k < n:
            board.lay(bow((x + reach, spring), reach, 180, end), within=below)
        if k > 0:
            board.lay(bow((x - reach, spring), reach, 0, 180 - end), within=below)
    rows = int(rng.integers(1, 4))
    for k in range(n):
        shift = 0.12 * (-1) ** k
        for y in spring * (np.arange(1, rows + 1) + shift) / (rows + 1):
            board.lay(straight((k * s, y), (k * s + s, y)), board.thin_mm)
    for k in range(1, n):
        board.lay(straight((k * s - s / 2, transom), (k * s - s / 2, h)))
    return board


def rose(rng: Rng) -> Board:
    """Draw a round window in a square: tangent arches or vesicas about a boss."""
    side = rng.uniform(480, 860)
    centre = (side / 2, side / 2)
    n = int(rng.choice((6, 8, 8, 10, 12)))
    outer, hub = side * rng.uniform(0.40, 0.45), side * rng.uniform(0.08, 0.11)
    board = Board(box(0, 0, side, side), rng, border_mm=float(rng.choice((6.0, 8.0, 10.0))))
    board.lay(bow(centre, outer, 0, 360), board.face_mm + 2)
    board.lay(bow(centre, hub, 0, 360))
    ring = Polygon(bow(centre, outer, 0, 360), [bow(centre, hub, 0, 360)])
    tips = [360 / n * k + 90 for k in range(n)]
    if rng.random() < 0.5:
        _vesicas(board, centre, (hub, outer), tips, ring)
    else:
        _polar_arches(board, centre, (hub, outer), tips, ring)
    for k in range(8):
        a = math.radians(45 * k)
        far = (centre[0] + side * math.cos(a), centre[1] + side * math.sin(a))
        near = (centre[0] + outer * math.cos(a), centre[1] + outer * math.sin(a))
        board.lay(straight(near, far))
    return board


def _at(centre: XY, radius: float, deg: float) -> XY:
    a = math.radians(deg)
    return (centre[0] + radius * math.cos(a), centre[1] + radius * math.sin(a))


def _vesicas(
    board: Board, centre: XY, radii: tuple[float, float], tips: list[float], ring: Polygon
) -> None:
    hub, outer = radii
    half = math.radians(180 / len(tips))
    rise = 0.5 * (hub + outer) * math.tan(half) * board.rng.uniform(0.55, 0.72)
    for k, t in enumerate(tips):
        a, b = _at(centre, hub, t), _at(centre, outer, t)
        board.lay(sagged(a, b, rise), within=ring)
        board.lay(sagged(a, b, -rise), within=ring)
        m = t + 180 / len(tips)
        if k % 2 == 0 or len(tips) < 9:
            board.lay(straight(_at(centre, hub, m), _at(centre, outer, m)), board.thin_mm, ring)


def _polar_arches(
    board: Board, centre: XY, radii: tuple[float, float], tips: list[float], ring: Polygon
) -> None:
    """Arches rolled round a centre: each spoke parts into two arcs, tangent to it."""
    hub, outer = radii
    spring = hub + (outer - hub) * board.rng.uniform(0.35, 0.5)
    step = 360 / len(tips)
    lift = np.sqrt(1 - (1 - np.linspace(0, 1, 60)) ** 2)  # a quarter circle in radius and angle
    turn = np.linspace(0, 1, 60)
    reach = float(board.rng.choice((1.0, 1.5)))
    for t in tips:
        board.lay(straight(_at(centre, hub, t), _at(centre, spring, t)), within=ring)
        for sign in (-1, 1):
            r = spring + (outer * 1.06 - spring) * lift
            run = np.array(
                [
                    _at(centre, float(a), t + sign * reach * step * float(b))
                    for a, b in zip(r, turn, strict=True)
                ]
            )
            board.lay(run, within=ring)
    board.lay(bow(centre, (hub + spring) / 2, 0, 360), board.thin_mm)


def sunburst(rng: Rng) -> Board:
    """Rays from a hub; every other ray begins farther out; rings across."""
    w, h = rng.uniform(420, 880), rng.uniform(380, 860)
    board = Board(box(0, 0, w, h), rng, border_mm=float(rng.choice((6.0, 8.0, 12.0))))
    low = bool(rng.random() < 0.5)
    centre = (w / 2, 0.0) if low else (w / 2 + rng.uniform(-20, 20), h * rng.uniform(0.4, 0.6))
    n = int(rng.choice((8, 10, 12, 14)))
    hub = rng.uniform(34, 60)
    first = hub + rng.uniform(60, 110)
    span = 180.0 if low else 360.0
    turn = 0.0 if low else rng.uniform(3, 9)
    board.lay(bow(centre, hub, 0, 360), board.bold_mm)
    board.lay(bow(centre, first, 0, 360))
    rings = [hub, first]
    while rings[-1] < 0.42 * max(w, h):
        rings.append(rings[-1] + rng.uniform(70, 140))
        board.lay(bow(centre, rings[-1], 0, 360), board.thin_mm)
    count = n * 2
    for k in range(count):
        a = turn + span * k / count
        if low and k == 0:
            continue
        start = hub if k % 2 == 0 else first
        board.lay(straight(_at(centre, start, a), _at(centre, 1500, a)))
    return board


def canopy(rng: Rng) -> Board:
    """Columns of narrow strips, a gable over an arched niche, pinnacles, a base in courses."""
    w, base = rng.uniform(330, 480), rng.uniform(70, 110)
    edge, strip = rng.uniform(34, 48), rng.uniform(14, 20)
    half = w / 2 - edge - strip
    cap = base + half * rng.uniform(2.4, 2.8)
    crown = cap + half * rng.uniform(0.9, 1.15)
    h = crown + rng.uniform(110, 180)
    board = Board(box(0, 0, w, h), rng, border_mm=float(rng.choice((8.0, 10.0, 12.0))))
    xs = [edge, edge + strip, w - edge - strip, w - edge]
    board.lay(straight((0, base), (w, base)))
    board.lay(straight((0, base - strip - 6), (w, base - strip - 6)))
    for x in np.linspace(0, w, int(rng.integers(5, 9)))[1:-1]:
        board.lay(straight((x, 0), (x, base - strip - 6)))
    for x in xs:
        board.lay(straight((x, base), (x, h)))
    _gable(board, (xs[1], xs[2]), cap, crown, h)
    _niche(board, (xs[1], xs[2]), base, cap)
    pitch = float(rng.uniform(80, 130))
    for k, (a, b) in enumerate(((0.0, xs[0]), (xs[0], xs[1]), (xs[3], w), (xs[2], xs[3]))):
        _courses(board, (a, b), base + pitch * (0.45 + 0.5 * (k % 2)), h - 25, pitch)
    return board


def _courses(board: Board, span: XY, low: float, high: float, pitch: float) -> None:
    a, b = span
    for y in np.arange(low, high, pitch):
        y += board.rng.uniform(-8, 8)
        board.tie(straight((a, y), (b, y)), box(a, low - 9, b, high + 9), board.thin_mm)


def _gable(board: Board, span: XY, cap: float, crown: float, h: float) -> None:
    a, b = span
    m, band = (a + b) / 2, board.face_mm + 13
    board.lay(joined(straight((a, cap), (m, crown)), straight((m, crown), (b, cap))))
    steep = (crown - cap) / (m - a)
    low = cap - band * math.hypot(1, steep)
    inner = crown - band * math.hypot(1, steep)
    board.lay(joined(straight((a, low), (m, inner)), straight((m, inner), (b, low))))
    board.lay(straight((m, inner), (m, h)))
    for t in (0.3, 0.62):
        for sign in (-1, 1):
            x = m + sign * (m - a) * (1 - t)
            board.lay(straight((x, cap + t * (crown - cap)), (x, h)), board.thin_mm)
    for y in (0.35, 0.7):
        board.lay(
            straight((a, crown + y * (h - crown)), (b, crown + y * (h - crown))), board.thin_mm
        )


def _niche(board: Board, span: XY, base: float, cap: float) -> None:
    """Draw a pointed arch with a standing shape of long folds inside."""
    a, b = span
    m, half = (a + b) / 2, (b - a) / 2
    spring = cap - half * 1.35
    top = spring + half * 1.05
    bulge = half * 0.18
    board.lay(joined(sagged((a, spring), (m, top), bulge), sagged((m, top), (b, spring), bulge)))
    niche = Polygon(
        np.vstack(
            (
                [(a, base), (b, base)],
                joined(
                    sagged((b, spring), (m, top), -bulge), sagged((m, top), (a, spring), -bulge)
                ),
            )
        )
    ).buffer(0)
    head = (m, spring + half * 0.1)
    r = half * 0.26
    neck = (m, head[1] - r)
    board.lay(bow(head, r, 0, 360), within=niche)
    for sign in (-1, 1):
        foot = (m + sign * half * 0.66, base)
        board.lay(sagged(foot, neck, -sign * half * 0.16), within=niche)
    board.lay(straight((m, base), neck), board.thin_mm)
    board.lay(straight((m, head[1] + r), (m, top)))
    for y in (0.2, 0.4):
        t = base + y * (neck[1] - base)
        board.tie(straight((a - 5, t), (b + 5, t + 12)), niche, board.thin_mm)
    board.relieve(concave=0.62, cuts=24)


def arch_headed(rng: Rng) -> Board:
    """Draw a light with a round, low or pointed head, a wreath of blocks inside it."""
    w, spring = rng.uniform(330, 560), rng.uniform(300, 480)
    kind = str(rng.choice(("round", "low", "pointed")))
    head, top = _head(kind, w, spring)
    outline = Polygon(np.vstack(([(0.0, 0.0), (w, 0.0)], head)))
    board = Board(outline, rng)
    depth = rng.uniform(38, 60)
    inner = outline.buffer(-depth, join_style="mitre")
    run = np.array(inner.exterior.coords)
    board.lay(run)
    pitch = rng.uniform(56, 82)
    if rng.random() < 0.5:
        tall = pitch * rng.uniform(1.25, 1.6)
        for k in range(-30, 40):
            x = w / 2 + k * pitch
            for sign in (-1, 1):
                a, b = (
                    (x - sign * 900, 30.0 - 900 * tall / pitch),
                    (x + sign * 900, 30 + 900 * tall / pitch),
                )
                board.lay(np.array([a, b]), 0.0, inner, 9.0)
    else:
        for y in np.arange(depth + pitch, top, pitch * 1.3):
            board.lay(straight((0, y), (w, y)), within=inner)
        board.lay(straight((w / 2, 0), (w / 2, top)), within=inner)
    _wreath(board, outline, inner, float(rng.uniform(60, 95)))
    return board


def _head(kind: str, w: float, spring: float) -> tuple[Array, float]:
    """Return the head's run from right to left, and its top."""
    if kind == "round":
        return bow((w / 2, spring), w / 2, 0, 180), spring + w / 2
    if kind == "low":
        rise = w * 0.24
        return sagged((w, spring), (0.0, spring), -rise), spring + rise
    r = w * 0.9
    apex = spring + math.sqrt(r * r - (r - w / 2) ** 2)
    end = math.degrees(math.atan2(apex - spring, w / 2 - (w - r)))
    right = bow((w - r, spring), r, 0, end)
    left = bow((r, spring), r, 180 - end, 180)
    left[0] = right[-1]
    return joined(right, left), apex


def _wreath(board: Board, outline: Polygon, inner: Polygon, pitch: float) -> None:
    """Cut the ring between two outlines into blocks, mitred where both turn."""
    between = outline.difference(inner)
    turns, far = _turns(inner), _turns(outline)
    for p in turns:
        q = far[int(np.argmin(np.hypot(*(far - p).T)))]
        board.lay(np.array([p, q + 0.05 * (q - p)]), within=between)
    ring = inner.exterior
    stops = sorted({ring.project(Point(p)) for p in turns})
    for a, b in pairwise([*stops, stops[0] + ring.length]):
        n = max(1, round((b - a) / pitch))
        for t in np.linspace(a, b, n + 1)[1:-1]:
            near = ring.interpolate(float(t % ring.length))
            rim_point = outline.exterior.interpolate(outline.exterior.project(near))
            p, q = np.array(near.coords[0]), np.array(rim_point.coords[0])
            board.tie(np.array([p - 0.01 * (q - p), q + 0.2 * (q - p)]), between)


def _turns(region: Polygon) -> Array:
    """Return the corners of an outline."""
    ring = np.array(region.exterior.coords[:-1])
    a, b = ring - np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0) - ring
    turn = np.arctan2(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], (a * b).sum(axis=1))
    return np.asarray(ring[np.abs(np.degrees(turn)) > 20])
