"""Panel designs of our own; every measure is drawn from the random generator given."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from shapely.geometry import Polygon

from tests.rendering.geometry import (
    Array,
    Design,
    Strip,
    arc,
    chain,
    circle,
    clip,
    line,
    smooth,
)

Rng = np.random.Generator


def _widths(rng: Rng) -> tuple[float, float, float]:
    """Draw the widths of field, ornament and border from the sizes on sale."""
    field = float(rng.choice([4.0, 5.0, 6.0]))
    ornament = float(rng.choice([w for w in (4.0, 5.0, 6.0, 8.0) if w != field]))
    border = float(rng.choice([w for w in (8.0, 10.0, 12.0) if w > field + 1]))
    return field, ornament, border


def _profile(rng: Rng) -> str:
    return "round" if rng.random() < 0.35 else "flat"


def _box(w: float, h: float) -> Array:
    return chain(
        line((0, 0), (w, 0)), line((w, 0), (w, h)), line((w, h), (0, h)), line((0, h), (0, 0)),
        close=True,
    )  # fmt: skip


def _rectangle(x0: float, y0: float, x1: float, y1: float) -> Polygon:
    return Polygon([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])


def quarries(rng: Rng) -> Design:
    """Set a lattice of diamonds inside a border of blocks, or straight against the border lead."""
    field, ornament, border = _widths(rng)
    profile = _profile(rng)
    w, h = rng.uniform(260, 430), rng.uniform(330, 620)
    strips = [Strip(_box(w, h), border, "flat", True)]
    inset = rng.uniform(28, 40) if rng.random() < 0.6 else 0.0
    x0, y0, x1, y1 = inset, inset, w - inset, h - inset
    if inset:
        strips += _border_blocks(rng, w, h, inset, ornament, profile)
    columns = int(rng.integers(3, 6))
    dx = (x1 - x0) / columns
    dy = (y1 - y0) / max(2, round((y1 - y0) / (dx * rng.uniform(1.25, 1.6))))
    rows = round((y1 - y0) / dy)
    inner = _rectangle(x0, y0, x1, y1)
    for k in range(-rows, columns + 1):
        a = (x0 + k * dx, y0)
        for p in clip(line(a, (a[0] + rows * dx, y0 + rows * dy)), inner):
            strips.append(Strip(p, field, profile))
    for k in range(0, columns + rows + 1):
        a = (x0 + k * dx, y0)
        for p in clip(line(a, (a[0] - rows * dx, y0 + rows * dy)), inner):
            strips.append(Strip(p, field, profile))
    return Design("quarries", tuple(strips))


def _border_blocks(
    rng: Rng, w: float, h: float, inset: float, width: float, profile: str
) -> list[Strip]:
    """Set an inner frame whose uprights run through, and blocks between it and the border."""
    strips = [
        Strip(line((inset, 0), (inset, h)), width, profile),
        Strip(line((w - inset, 0), (w - inset, h)), width, profile),
        Strip(line((inset, inset), (w - inset, inset)), width, profile),
        Strip(line((inset, h - inset), (w - inset, h - inset)), width, profile),
    ]
    n = max(2, round((h - 2 * inset) / rng.uniform(60, 110)))
    for k in range(n + 1):
        y = inset + (h - 2 * inset) * k / n
        # A block meets the frame's corner a few millimetres off it, as the cutting fell.
        y += rng.uniform(6, 9) * (1 if k == 0 else -1) if k in (0, n) else rng.uniform(-4, 4)
        strips.append(Strip(line((0, y), (inset, y)), width, profile))
        strips.append(Strip(line((w - inset, y), (w, y)), width, profile))
    m = max(2, round((w - 2 * inset) / rng.uniform(60, 110)))
    for k in range(1, m):
        x = inset + (w - 2 * inset) * (k + rng.uniform(-0.25, 0.25)) / m
        strips.append(Strip(line((x, 0), (x, inset)), width, profile))
        strips.append(Strip(line((x, h - inset), (x, h)), width, profile))
    return strips


def bricks(rng: Rng) -> Design:
    """Lay rectangles in brick bond: courses run through, the uprights butt."""
    field, _, border = _widths(rng)
    profile = _profile(rng)
    w, h = rng.uniform(280, 460), rng.uniform(300, 560)
    strips = [Strip(_box(w, h), border, "flat", True)]
    courses, across = int(rng.integers(5, 10)), int(rng.integers(3, 6))
    # Some courses are laid with uprights nearly in line: two T joints 5 to 9 mm apart.
    near = rng.random(courses) < 0.3
    shift = 0.0
    ys = [h * k / courses for k in range(courses + 1)]
    for k in range(courses):
        if k:
            strips.append(Strip(line((0, ys[k]), (w, ys[k])), field, profile))
            step = w / across
            shift += rng.uniform(5, 9) if near[k] else step / 2
        for j in range(across + 1):
            x = (shift % (w / across)) + j * w / across
            if 16 < x < w - 16:
                strips.append(Strip(line((x, ys[k]), (x, ys[k + 1])), field, profile))
    return Design("bricks", tuple(strips))


def _lancet_outline(w: float, spring: float, radius: float, inset: float = 0.0) -> Array:
    """Return a pointed arch struck from two centres on the springing line."""
    r = radius - inset
    left, right = (w - radius, spring), (radius, spring)
    apex = math.degrees(math.acos((w / 2 - left[0]) / r))
    return chain(
        line((inset, inset), (w - inset, inset)),
        line((w - inset, inset), (w - inset, spring)),
        arc(left, r, 0.0, apex),
        arc(right, r, 180.0 - apex, 180.0),
        line((inset, spring), (inset, inset)),
        close=True,
    )


def lancet(rng: Rng) -> Design:
    """Set a pointed arch with a band of border blocks around a field of quarries."""
    field, ornament, border = _widths(rng)
    profile = _profile(rng)
    w = rng.uniform(300, 420)
    spring, radius, inset = rng.uniform(340, 520), w * rng.uniform(0.85, 1.15), rng.uniform(30, 42)
    outer = _lancet_outline(w, spring, radius)
    inner = _lancet_outline(w, spring, radius, inset)
    strips = [Strip(outer, border, "flat", True), Strip(inner, ornament, profile)]
    band = Polygon(outer).difference(Polygon(inner))
    for k in range(1, 7):
        y = inset + (spring - inset) * k / 6.5 + rng.uniform(-5, 5)
        strips.append(Strip(line((0, y), (inset, y)), ornament, profile))
        strips.append(Strip(line((w - inset, y), (w, y)), ornament, profile))
    for k in range(1, 4):
        x = inset + (w - 2 * inset) * k / 4 + rng.uniform(-8, 8)
        strips.append(Strip(line((x, 0), (x, inset)), ornament, profile))
    for deg in (14.0, 31.0):
        for cx, way in ((w - radius, deg), (radius, 180.0 - deg)):
            a = math.radians(way)
            ray = line((cx, spring), (cx + 2 * radius * math.cos(a), spring + 2 * radius * math.sin(a)))
            strips += [Strip(p, ornament, profile) for p in clip(ray, band)]
    top = Polygon(outer).bounds[3]
    strips += [Strip(p, ornament, profile) for p in clip(line((w / 2, spring), (w / 2, top + 9)), band) if p[:, 1].min() > spring]
    core = Polygon(inner)
    pitch = rng.uniform(70, 95)
    slope = rng.uniform(1.25, 1.6)
    for k in range(-20, 30):
        for way in (1, -1):
            x = w / 2 + (k + 0.5) * pitch
            ray = line((x, inset), (x + way * 1500, inset + 1500 * slope))
            strips += [Strip(p, field, profile) for p in clip(ray, core, shortest_mm=24)]
    return Design("lancet", tuple(strips))


def roundels(rng: Rng) -> Design:
    """Set a grid of round leads held by short straight leads."""
    field, ornament, border = _widths(rng)
    nx, ny = int(rng.integers(2, 5)), int(rng.integers(3, 6))
    pitch = rng.uniform(82, 118)
    r = pitch * rng.uniform(0.34, 0.41)
    w, h = nx * pitch, ny * pitch
    strips = [Strip(_box(w, h), border, "flat", True)]
    for i in range(nx):
        for j in range(ny):
            strips.append(Strip(circle(((i + 0.5) * pitch, (j + 0.5) * pitch), r, 45), ornament))
    for i in range(nx + 1):
        for j in range(ny):
            y = (j + 0.5) * pitch
            a = max(0.0, i * pitch - pitch / 2 + r) if i else 0.0
            b = min(w, i * pitch + pitch / 2 - r) if i < nx else w
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
    field, ornament, border = _widths(rng)
    profile = _profile(rng)
    w = rng.uniform(360, 560)
    c = (w / 2, w / 2)
    strips = [Strip(_box(w, w), border, "flat", True)]
    radii = [w * f for f in (rng.uniform(0.1, 0.13), rng.uniform(0.24, 0.29), rng.uniform(0.42, 0.46))]
    strips += [Strip(circle(c, r, 7.0), ornament, profile) for r in radii]
    turn = rng.uniform(0, 30)
    spokes = (int(rng.integers(5, 8)), int(rng.integers(8, 13)))
    for n, r0, r1, t in ((spokes[0], radii[0], radii[1], turn), (spokes[1], radii[1], radii[2], turn + 11)):
        for k in range(n):
            a = math.radians(t + 360.0 * k / n)
            u = np.array([math.cos(a), math.sin(a)])
            strips.append(Strip(line(tuple(c + r0 * u), tuple(c + r1 * u)), field, profile))
    for a in (45, 135, 225, 315):
        u = np.array([math.cos(math.radians(a)), math.sin(math.radians(a))])
        corner = np.array(c) + np.sign(u) * w / 2
        strips.append(Strip(line(tuple(c + radii[2] * u), tuple(corner)), field, profile))
    for a in (0, 90, 180, 270):
        u = np.array([round(math.cos(math.radians(a))), round(math.sin(math.radians(a)))])
        strips.append(Strip(line(tuple(c + radii[2] * u), tuple(c + w / 2 * u)), field, profile))
    return Design("medallion", tuple(strips))


def quatrefoil(rng: Rng) -> Design:
    """Set four lobes around a square, with a ring in the middle."""
    field, ornament, border = _widths(rng)
    profile = _profile(rng)
    r = rng.uniform(95, 150)
    off = r * rng.uniform(0.85, 1.0)
    # Lobes meet on the diagonals: at (d, d) with (d - off)^2 + d^2 = r^2.
    d = (off + math.sqrt(2 * r * r - off * off)) / 2
    half = math.degrees(math.atan2(d, d - off))
    lobes = [arc((off, 0), r, -half, half), arc((0, off), r, 90 - half, 90 + half),
             arc((-off, 0), r, 180 - half, 180 + half), arc((0, -off), r, 270 - half, 270 + half)]  # fmt: skip
    outer = chain(*lobes, close=True)
    ring = r * rng.uniform(0.55, 0.7)
    strips = [Strip(outer, border, "flat", True), Strip(circle((0, 0), ring, 20), ornament, profile)]
    for k in range(4):
        a = math.radians(45 + 90 * k)
        u = np.array([math.cos(a), math.sin(a)])
        strips.append(Strip(line(tuple(ring * u), tuple(d * math.sqrt(2) * u)), ornament, profile))
        b = math.radians(90 * k)
        v = np.array([math.cos(b), math.sin(b)])
        if k % 2 == 0 or rng.random() < 0.5:
            strips.append(Strip(line(tuple(ring * v), tuple((off + r) * v)), field, profile))
    t = math.radians(rng.uniform(5, 40))
    u = np.array([math.cos(t), math.sin(t)])
    strips.append(Strip(line(tuple(-ring * u), tuple(ring * u)), field, profile))
    return Design("quatrefoil", tuple(strips))


def strap(rng: Rng) -> Design:
    """Set large pieces: one with a ring that nothing holds, one with a strap lead over a crack."""
    field, ornament, border = _widths(rng)
    profile = _profile(rng)
    w, h = rng.uniform(260, 380), rng.uniform(320, 480)
    strips = [Strip(_box(w, h), border, "flat", True)]
    x, y = w * rng.uniform(0.42, 0.58), h * rng.uniform(0.42, 0.55)
    wave = smooth([(0, y), (w * 0.25, y + 18), (w * 0.55, y - 14), (w * 0.8, y + 10), (w, y)])
    strips.append(Strip(wave, field, profile))
    above = Polygon(np.vstack((wave, [[w, h], [0, h]])))
    below = Polygon(np.vstack((wave, [[w, 0], [0, 0]])))
    strips += [Strip(p, field, profile) for p in clip(line((x, 0), (x + 20, h)), above)]
    strips += [Strip(p, field, profile) for p in clip(line((x - 70, 0), (x - 40, h)), below)]
    r = rng.uniform(22, 34)
    strips.append(Strip(circle((x / 2 + 4, (y + h) / 2 + 8), r, 10), ornament))
    a = (w, h * rng.uniform(0.72, 0.85))
    strips.append(
        Strip(smooth([a, (w - 45, a[1] - 12), (x + 60, a[1] - rng.uniform(5, 30))]), field, profile)
    )
    b = (x + rng.uniform(30, 60), 0.0)
    strips.append(Strip(line(b, (b[0] + 12, y * rng.uniform(0.45, 0.6))), field, profile))
    return Design("strap", tuple(strips))


DESIGNS: dict[str, Callable[[Rng], Design]] = {
    f.__name__: f for f in (quarries, bricks, lancet, roundels, medallion, quatrefoil, strap)
}
