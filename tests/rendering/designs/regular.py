"""Panels set out with ruler and compass on a square: quarries, bricks, roundels, a medallion."""

from __future__ import annotations

import numpy as np
from shapely.geometry import Polygon

from tests.rendering.designs.setting_out import Rng, box, leaf, polar, rectangle, widths
from tests.rendering.geometry import Design, Strip, circle, clip, line


def quarries(rng: Rng) -> Design:
    """Set a lattice of diamonds inside a border of blocks, or straight against the border lead."""
    field, ornament, border = widths(rng)
    profile = leaf(rng)
    w, h = rng.uniform(260, 430), rng.uniform(330, 620)
    strips = [Strip(box(w, h), border, "flat", True)]
    inset = rng.uniform(28, 40) if rng.random() < 0.6 else 0.0
    x0, y0, x1, y1 = inset, inset, w - inset, h - inset
    if inset:
        strips += _border_blocks(rng, w, h, inset, ornament, profile)
    columns = int(rng.integers(3, 6))
    dx = (x1 - x0) / columns
    rows = max(2, round((y1 - y0) / (dx * rng.uniform(1.25, 1.6))))
    dy = (y1 - y0) / rows
    inner = rectangle(x0, y0, x1, y1)
    for k in range(-rows, columns + rows + 1):
        a = (x0 + k * dx, y0)
        for way in (1, -1):
            ray = line(a, (a[0] + way * rows * dx, y0 + rows * dy))
            strips += [Strip(p, field, profile) for p in clip(ray, inner)]
    return Design("quarries", tuple(strips))


def chapel(rng: Rng) -> Design:
    """Set quarries in a border of blocks, with a ring in the middle that holds a quartered disc."""
    field, ornament, border = widths(rng)
    profile = leaf(rng)
    w = rng.uniform(250, 300)
    inset = rng.uniform(26, 32)
    columns, rows = 3, int(rng.integers(3, 5))
    dx = (w - 2 * inset) / columns
    h = 2 * inset + rows * dx * rng.uniform(1.3, 1.5)
    dy = (h - 2 * inset) / rows
    at, r = (w / 2, h / 2), dx * rng.uniform(0.78, 0.95)
    strips = [Strip(box(w, h), border, "flat", True)]
    strips += _border_blocks(rng, w, h, inset, ornament, profile)
    strips.append(Strip(circle(at, r, 20), ornament, profile))
    disc = r * rng.uniform(0.5, 0.6)
    strips.append(Strip(circle(at, disc, 20), ornament, profile))
    for a in (45, 135, 225, 315):
        strips.append(Strip(line(polar(at, disc, a), polar(at, r, a)), field, profile))
    around = rectangle(inset, inset, w - inset, h - inset).difference(Polygon(circle(at, r, 20)))
    for k in range(-rows, columns + rows + 1):
        a = (inset + k * dx, inset)
        for way in (1, -1):
            ray = line(a, (a[0] + way * rows * dx, inset + rows * dy))
            strips += [Strip(p, field, profile) for p in clip(ray, around)]
    return Design("chapel", tuple(strips))


def _border_blocks(
    rng: Rng, w: float, h: float, inset: float, width: float, profile: str
) -> list[Strip]:
    """Set an inner frame whose uprights run through, and blocks between it and the border."""
    runs = [
        line((inset, 0), (inset, h)),
        line((w - inset, 0), (w - inset, h)),
        line((inset, inset), (w - inset, inset)),
        line((inset, h - inset), (w - inset, h - inset)),
    ]
    n = max(2, round((h - 2 * inset) / rng.uniform(60, 110)))
    for k in range(n + 1):
        y = inset + (h - 2 * inset) * k / n
        # A block meets the frame's corner a few millimetres off it, as the cutting fell.
        y += rng.uniform(6, 9) * (1 if k == 0 else -1) if k in (0, n) else rng.uniform(-4, 4)
        runs += [line((0, y), (inset, y)), line((w - inset, y), (w, y))]
    m = max(2, round((w - 2 * inset) / rng.uniform(60, 110)))
    for k in range(1, m):
        x = inset + (w - 2 * inset) * (k + rng.uniform(-0.25, 0.25)) / m
        runs += [line((x, 0), (x, inset)), line((x, h - inset), (x, h))]
    return [Strip(p, width, profile) for p in runs]


def bricks(rng: Rng) -> Design:
    """Lay rectangles in brick bond: courses run through, the uprights butt."""
    field, _, border = widths(rng)
    profile = leaf(rng)
    w, h = rng.uniform(280, 460), rng.uniform(300, 560)
    strips = [Strip(box(w, h), border, "flat", True)]
    courses, across = int(rng.integers(5, 10)), int(rng.integers(3, 6))
    step = w / across
    # Some courses are laid with uprights nearly in line: two T joints 5 to 9 mm apart; a few
    # exactly in line: a true crossing.
    chance = rng.random(courses)
    shift = 0.0
    ys = [h * k / courses for k in range(courses + 1)]
    for k in range(courses):
        if k:
            strips.append(Strip(line((0, ys[k]), (w, ys[k])), field, profile))
            if chance[k] < 0.3:
                shift += rng.uniform(5, 9) * rng.choice([-1, 1])
            elif chance[k] > 0.15 + 0.3:
                shift += step / 2
        for j in range(-1, across + 1):
            x = (shift % step) + j * step
            if 16 < x < w - 16:
                strips.append(Strip(line((x, ys[k]), (x, ys[k + 1])), field, profile))
    return Design("bricks", tuple(strips))


def roundels(rng: Rng) -> Design:
    """Set a grid of round leads held by short straight leads."""
    field, ornament, border = widths(rng)
    nx, ny = int(rng.integers(2, 5)), int(rng.integers(3, 6))
    pitch = rng.uniform(82, 118)
    r = pitch * rng.uniform(0.34, 0.41)
    w, h = nx * pitch, ny * pitch
    strips = [Strip(box(w, h), border, "flat", True)]
    for i in range(nx):
        for j in range(ny):
            ring = circle(((i + 0.5) * pitch, (j + 0.5) * pitch), r, 45)
            strips.append(Strip(ring, ornament))
    for i in range(nx + 1):
        for j in range(ny):
            y = (j + 0.5) * pitch
            a = i * pitch - pitch / 2 + r if i else 0.0
            b = i * pitch + pitch / 2 - r if i < nx else w
            strips.append(Strip(line((a, y), (b, y)), field))
    for j in range(ny + 1):
        for i in range(nx):
            x = (i + 0.5) * pitch
            a = j * pitch - pitch / 2 + r if j else 0.0
            b = j * pitch + pitch / 2 - r if j < ny else h
            strips.append(Strip(line((x, a), (x, b)), field))
    return Design("roundels", tuple(strips))


def medallion(rng: Rng) -> Design:
    """Set a circle with rings and rays, off-set ring by ring, inside a square."""
    field, ornament, border = widths(rng)
    profile = leaf(rng)
    w = rng.uniform(360, 560)
    c = (w / 2, w / 2)
    strips = [Strip(box(w, w), border, "flat", True)]
    shares = (rng.uniform(0.1, 0.13), rng.uniform(0.24, 0.29), rng.uniform(0.42, 0.46))
    radii = [w * f for f in shares]
    strips += [Strip(circle(c, r, 7.0), ornament, profile) for r in radii]
    turn = rng.uniform(0, 30)
    inner, outer = int(rng.integers(5, 8)), int(rng.integers(8, 13))
    for n, r0, r1, t in ((inner, *radii[:2], turn), (outer, *radii[1:], turn + 11)):
        for k in range(n):
            a = t + 360.0 * k / n
            strips.append(Strip(line(polar(c, r0, a), polar(c, r1, a)), field, profile))
    for a in (45, 135, 225, 315):
        corner = tuple(np.array(c) + np.sign(np.array(polar((0, 0), 1, a))) * w / 2)
        strips.append(Strip(line(polar(c, radii[2], a), corner), field, profile))
    for a in (0, 90, 180, 270):
        strips.append(Strip(line(polar(c, radii[2], a), polar(c, w / 2, a)), field, profile))
    return Design("medallion", tuple(strips))
