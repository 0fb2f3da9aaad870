"""Panels of curves that touch: arches off their mullions, a rose of petals, a sunburst."""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely.geometry import Polygon

from tests.rendering.designs.setting_out import (
    Rng,
    box,
    leaf,
    polar,
    rectangle,
    through,
    widths,
)
from tests.rendering.geometry import Array, Design, Strip, arc, chain, circle, clip, line, smooth


def arcade(rng: Rng) -> Design:
    """Set a row of pointed arches that spring tangentially from mullions and from the border.

    In one panel of two the arches are plain: neighbours meet at a point in the middle of a bay. In
    the others they run on and cross those of the bays beside. At every springing three or four
    leads lie side by side for several centimetres.
    """
    field, ornament, border = widths(rng)
    profile = leaf(rng)
    bays = int(rng.integers(3, 6))
    bay = rng.uniform(62, 95)
    w, spring = bays * bay, rng.uniform(150, 250)
    plain = rng.random() < 0.5
    radius = bay if plain else bay * rng.uniform(1.3, 1.8)
    rise = radius * (rng.uniform(1.05, 1.35) if plain else rng.uniform(0.75, 0.92))
    h = spring + rise
    feet = [(k * bay, spring) for k in range(bays + 1)]
    outline = through((0, 0), (w, 0), feet[-1], (w, h), (0, h), feet[0], (0, 0))
    strips = [Strip(outline, border, "flat", True)]
    frame = rectangle(0, 0, w, h)
    end = math.degrees(math.acos(1 - bay / 2 / radius)) if plain else 90.0
    for k, (x, y) in enumerate(feet):
        right = arc((x + radius, y), radius, 180.0, 180.0 - end) if k < bays else None
        left = arc((x - radius, y), radius, 0.0, end) if k else None
        arcs = [clip(a, frame, shortest_mm=20)[0] for a in (right, left) if a is not None]
        arcs = [a if math.dist(a[0], (x, y)) < 0.01 else a[::-1] for a in arcs]
        if 0 < k < bays:
            # One of the two arches runs through into the mullion, the other butts.
            first = int(rng.integers(2))
            mullion = chain(through((x, 0), (x, y)), arcs.pop(first))
            strips.append(Strip(mullion, ornament, profile))
        strips += [Strip(a, ornament, profile) for a in arcs]
        if plain and k < bays:
            top = arc((x + radius, y), radius, 180.0, 180.0 - end)[-1]
            strips.append(Strip(line(tuple(top), (x + bay / 2, h)), field, profile))
    cuts = int(rng.integers(1, 4))
    for k in range(bays):
        for j in range(cuts):
            y = spring * (j + 0.3 + 0.4 * (k % 2) + rng.uniform(-0.1, 0.1)) / cuts
            run = line((k * bay, y), ((k + 1) * bay, y + rng.uniform(-6, 6)))
            strips.append(Strip(run, field, profile))
    return Design("arcade", tuple(strips))


def petals(rng: Rng) -> Design:
    """Set a rose of petals pointed at both ends; neighbours touch at their widest.

    Where two petals touch, one lead runs through and the other is cut; the two lie against each
    other for 40 mm.
    """
    field, ornament, border = widths(rng)
    profile = leaf(rng)
    n = int(rng.integers(6, 10))
    rim = rng.uniform(190, 260)
    tip = rim * rng.uniform(0.8, 0.88)
    half, turn = math.pi / n, rng.uniform(0, 360)
    hub = max(rim * rng.uniform(0.1, 0.14), 7.5 * n / math.pi)
    sides = _petal(tip, tip * rng.uniform(0.6, 0.66), half, hub)
    strips = [
        Strip(circle((0, 0), rim, 3), border, "flat", True),
        Strip(circle((0, 0), tip, 4), ornament, profile),
        Strip(circle((0, 0), hub, 5), ornament, profile),
    ]
    for k in range(n):
        a = math.radians(turn) + 2 * half * k
        c, s = math.cos(a), math.sin(a)
        to = np.array([[c, s], [-s, c]])
        whole = chain(*sides) @ to
        strips.append(Strip(whole, ornament, profile))
        strips += [Strip((side * [1, -1]) @ to, ornament, profile) for side in sides]
        foot = float(sides[1][-1, 0])
        if foot > hub + 0.1:
            tie = line((foot, 0), (hub, 0)) @ to
            strips.append(Strip(tie, field, profile))
        mid = math.degrees(a + half) + rng.uniform(-4, 4)
        run = line(polar((0, 0), tip, mid), polar((0, 0), rim, mid))
        strips.append(Strip(run, field, profile))
        if rng.random() < 0.6:
            t = np.linspace(0, 1, 40)[:, None]
            lobe = tip * (0.55 + 0.05 * np.sin(np.pi * t)) * [1.0, 0.0] + (2 * t - 1) * [0.0, tip]
            strips += [
                Strip(p @ to, field, profile) for p in clip(lobe, _lens(sides), shortest_mm=12)
            ]
    return Design("petals", tuple(strips))


def _petal(tip: float, widest: float, half: float, hub: float) -> tuple[Array, Array]:
    """Return one side of a petal about the x axis, cut where it touches its neighbour's.

    The side is an arc with its centre at (`widest`, -e) through the tip; its distance from the
    line at angle `half` is its radius, so that
    ``e^2 sin^2 - 2 widest e sin cos + (tip - widest)^2 - widest^2 sin^2 = 0``.
    """
    s, c = math.sin(half), math.cos(half)
    b, k = widest * s * c, (tip - widest) ** 2 - (widest * s) ** 2
    e = (b - math.sqrt(b * b - s * s * k)) / (s * s)
    centre, radius = (widest, -e), widest * s + e * c
    touch = 90.0 + math.degrees(half)
    start = math.degrees(math.atan2(e, tip - widest))
    foot = 180.0 - start
    inner = arc(centre, radius, touch, foot)
    inside = np.hypot(*inner.T) < hub
    if inside.any():
        ring = Polygon(circle((0, 0), hub, 5))
        inner = next(p for p in shapely.get_parts(_outside(inner, ring)) if len(p))
    return arc(centre, radius, start, touch), inner


def _outside(run: Array, region: Polygon) -> list[Array]:
    cut = shapely.LineString(run).difference(region)
    parts = [np.array(g.coords) for g in shapely.get_parts(cut)]
    return [p for p in parts if math.dist(p[0], run[0]) < 1e-6]


def _lens(sides: tuple[Array, Array]) -> Polygon:
    side = chain(*sides)
    return Polygon(np.vstack((side, (side * [1, -1])[::-1])))


def sunburst(rng: Rng) -> Design:
    """Set a sun: straight and flaming rays that crowd at the hub, with one or two rings across.

    In one panel of two the sun rises from the lower border, in the others it stands in the panel.
    Between two rays 2 to 4 mm of glass are seen at the hub.
    """
    field, ornament, border = widths(rng)
    profile = leaf(rng)
    w, h = rng.uniform(300, 460), rng.uniform(300, 440)
    rising = rng.random() < 0.5
    at = (w * rng.uniform(0.4, 0.6), 0.0 if rising else h * rng.uniform(0.4, 0.6))
    n = int(rng.integers(9, 14)) if rising else int(rng.integers(15, 23))
    apart = math.pi / (n + 1) if rising else 2 * math.pi / n
    hub = (rng.uniform(2.2, 4.0) + field) / apart
    room = min(at[0], w - at[0], h if rising else min(at[1], h - at[1]))
    ring = room * rng.uniform(0.68, 0.88)
    start = math.degrees(apart) if rising else rng.uniform(0, 360)
    frame = rectangle(0, 0, w, h)
    strips = [Strip(box(w, h), border, "flat", True)]
    for r in (hub, ring):
        across = arc(at, r, 0.0, 180.0) if rising else circle(at, r, 7)
        strips.append(Strip(across, ornament, profile))
    flaming = rng.random() < 0.6
    for k in range(n):
        a = start + math.degrees(apart) * (k + rng.uniform(-0.06, 0.06))
        ray = line(polar(at, hub, a), polar(at, 1.5 * (w + h), a))
        if flaming and k % 2:
            bend = rng.uniform(0.12, 0.2) * math.degrees(apart)
            shares = np.linspace(0, 1, 9)
            ray = smooth(
                [
                    polar(at, hub + f * (ring - hub), a + bend * math.sin(2 * math.pi * f))
                    for f in shares
                ]
            )
            strips.append(Strip(ray, field, profile))
            ray = line(polar(at, ring, a), polar(at, 1.5 * (w + h), a))
            if rng.random() < 0.5:
                continue
        strips.append(Strip(clip(ray, frame)[0], field, profile))
    return Design("sunburst", tuple(strips))
