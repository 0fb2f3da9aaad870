"""Panels that are no rectangles: a lancet, a quatrefoil, a wedge of a rose window."""

from __future__ import annotations

import math

from shapely.geometry import Polygon

from tests.rendering.designs.setting_out import Rng, leaf, polar, widths
from tests.rendering.geometry import Array, Design, Strip, arc, chain, circle, clip, line


def _pointed(w: float, spring: float, radius: float, inset: float = 0.0) -> Array:
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
    field, ornament, border = widths(rng)
    profile = leaf(rng)
    w = rng.uniform(300, 420)
    spring, radius, inset = rng.uniform(300, 480), w * rng.uniform(0.85, 1.15), rng.uniform(30, 42)
    outer, inner = _pointed(w, spring, radius), _pointed(w, spring, radius, inset)
    strips = [Strip(outer, border, "flat", True), Strip(inner, ornament, profile)]
    runs = []
    for k in range(7):
        y = inset + (spring - inset) * (k + 0.5) / 7 + rng.uniform(-5, 5)
        runs += [line((0, y), (inset, y)), line((w - inset, y), (w, y))]
    runs += [line((0, 0), (inset, inset)), line((w, 0), (w - inset, inset))]
    for k in range(1, 4):
        x = inset + (w - 2 * inset) * k / 4 + rng.uniform(-8, 8)
        runs.append(line((x, 0), (x, inset)))
    for deg in (4.0, 19.0, 34.0):
        for c, way in (((w - radius, spring), deg), ((radius, spring), 180.0 - deg)):
            runs.append(line(polar(c, radius - inset, way), polar(c, radius, way)))
    top = Polygon(outer).bounds[3]
    runs.append(line((w / 2, Polygon(inner).bounds[3]), (w / 2, top)))
    strips += [Strip(p, ornament, profile) for p in runs]
    core = Polygon(inner)
    pitch, slope = (w - 2 * inset) / int(rng.integers(3, 5)), rng.uniform(1.2, 1.7)
    for k in range(-20, 30):
        x = inset + k * pitch
        for way in (1, -1):
            ray = line((x, inset), (x + way * 1500, inset + 1500 * slope))
            strips += [Strip(p, field, profile) for p in clip(ray, core, shortest_mm=20)]
    return Design("lancet", tuple(strips))


def quatrefoil(rng: Rng) -> Design:
    """Set four lobes around a square, with a ring in the middle."""
    field, ornament, border = widths(rng)
    profile = leaf(rng)
    r = rng.uniform(95, 150)
    off = r * rng.uniform(0.85, 1.0)
    # Lobes meet on the diagonals: at (d, d) with (d - off)^2 + d^2 = r^2.
    d = (off + math.sqrt(2 * r * r - off * off)) / 2
    half = math.degrees(math.atan2(d, d - off))
    lobes = [arc(polar((0, 0), off, a), r, a - half, a + half) for a in (0.0, 90.0, 180.0, 270.0)]
    ring = r * rng.uniform(0.55, 0.7)
    strips = [
        Strip(chain(*lobes, close=True), border, "flat", True),
        Strip(circle((0, 0), ring, 20), ornament, profile),
    ]
    for k in range(4):
        a = 45.0 + 90 * k
        run = line(polar((0, 0), ring, a), polar((0, 0), d * math.sqrt(2), a))
        strips.append(Strip(run, ornament, profile))
        if k % 2 == 0 or rng.random() < 0.5:
            run = line(polar((0, 0), ring, a - 45), polar((0, 0), off + r, a - 45))
            strips.append(Strip(run, field, profile))
    t = rng.uniform(6, 39)
    run = line(polar((0, 0), ring, t + 180), polar((0, 0), ring, t))
    strips.append(Strip(run, field, profile))
    return Design("quatrefoil", tuple(strips))


def wedge(rng: Rng) -> Design:
    """Set one wedge of a rose window: sides towards a centre, arcs across, an eye at the top."""
    field, ornament, border = widths(rng)
    profile = leaf(rng)
    half = rng.uniform(14, 22)
    r0, r1 = rng.uniform(120, 170), rng.uniform(480, 620)
    c = (0.0, 0.0)
    low, high = 90.0 - half, 90.0 + half
    outline = chain(
        arc(c, r0, high, low),
        line(polar(c, r0, low), polar(c, r1, low)),
        arc(c, r1, low, high),
        line(polar(c, r1, high), polar(c, r0, high)),
        close=True,
    )
    strips = [Strip(outline, border, "flat", True)]
    shares = [0.0, rng.uniform(0.15, 0.22), rng.uniform(0.36, 0.44), rng.uniform(0.56, 0.64), 1.0]
    rs = [r0 + (r1 - r0) * f for f in shares]
    strips += [Strip(arc(c, r, low, high), ornament, profile) for r in rs[1:4]]
    for k in range(3):
        n = (1, 2, 3)[k]
        for j in range(1, n + 1):
            a = low + (high - low) * (j + rng.uniform(-0.12, 0.12)) / (n + 1)
            strips.append(Strip(line(polar(c, rs[k], a), polar(c, rs[k + 1], a)), field, profile))
    mid, eye = (rs[3] + rs[4]) / 2, (rs[4] - rs[3]) * rng.uniform(0.24, 0.3)
    at = polar(c, mid, 90.0)
    strips.append(Strip(circle(at, eye, 33), ornament, profile))
    region = Polygon(outline).difference(Polygon(circle(at, eye, 33)))
    region = region.difference(
        Polygon(
            chain(
                arc(c, rs[3], low, high),
                line(polar(c, rs[3], high), c),
                line(c, polar(c, rs[3], low)),
                close=True,
            )
        )
    )
    for a in (8.0, 62.0, 118.0, 172.0, 228.0, 312.0):
        a += rng.uniform(-6, 6)
        ray = line(polar(at, eye, a), polar(at, 600, a))
        strips += [Strip(p, field, profile) for p in clip(ray, region)[:1]]
    return Design("wedge", tuple(strips))
