"""A landscape of long irregular pieces, and rows of tiny ones."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from tests.rendering.designs.setting_out import Rng, box, leaf, polar, widths
from tests.rendering.geometry import Array, Design, Strip, circle, line, smooth


def landscape(rng: Rng) -> Design:
    """Set sky, hills and water: leads that run from side to side and taper into each other.

    Pieces are up to 300 mm long and some 20 to 40 mm high; slants leave a lead at 5 to 15 degrees.
    """
    field, ornament, border = widths(rng)
    profile = leaf(rng)
    w, h = rng.uniform(320, 460), rng.uniform(300, 440)
    strips = [Strip(box(w, h), border, "flat", True)]
    n = int(h / rng.uniform(30, 42))
    waves = _waves(w, h, n, rng)
    for wave in waves:
        strips.append(Strip(wave, ornament if rng.random() < 0.3 else field, profile))
    floor, roof = line((0, 0), (w, 0)), line((0, h), (w, h))
    levels = [floor, *waves, roof]
    for low, high in pairwise(levels):
        strips += [Strip(p, field, profile) for p in _between(low, high, w, rng)]
    return Design("landscape", tuple(strips))


def _waves(w: float, h: float, n: int, rng: Rng) -> list[Array]:
    """Return leads from side to side; neighbours keep clear, but come near here and there."""
    x = np.linspace(0, w, 9)
    base = h * (np.arange(1, n) / n)
    swell = rng.normal(0, 0.16 * h / n, 9).cumsum() * 0.8
    swell -= swell.mean()
    out = []
    for k, y in enumerate(base):
        own = rng.normal(0, 0.12 * h / n, 9)
        fade = 4 * (k + 1) * (n - 1 - k) / n**2
        run = smooth(np.column_stack((x, y + fade * np.clip(swell, -25, 25) + own)))
        run[0, 0], run[-1, 0] = 0.0, w
        out.append(run)
    return out


def _at(run: Array, x: float) -> float:
    return float(np.interp(x, run[:, 0], run[:, 1]))


def _between(low: Array, high: Array, w: float, rng: Rng) -> list[Array]:
    """Cut a layer: with a long slant from one lead to the other, or with an upright or two."""
    kind = rng.random()
    if kind < 0.55:
        length = rng.uniform(110, 220)
        x0 = rng.uniform(20, max(21.0, w - length - 20))
        t = np.linspace(0, 1, 200)
        x = x0 + length * t
        rise = t if rng.random() < 0.5 else 1 - t
        y = np.interp(x, low[:, 0], low[:, 1]) * (1 - rise)
        return [np.column_stack((x, y + np.interp(x, high[:, 0], high[:, 1]) * rise))]
    if kind < 0.85:
        places = rng.uniform(40, w - 40, int(rng.integers(1, 3)))
        leans = rng.uniform(-8, 8, len(places))
        return [
            line((x, _at(low, x)), (x + d, _at(high, x + d)))
            for x, d in zip(places.tolist(), leans.tolist(), strict=True)
        ]
    return []


def beads(rng: Rng) -> Design:
    """Set rows of beads 10 to 14 mm square: bands across, and a ring of them in the middle.

    Leads of 3 or 4 mm leave 6 to 10 mm of glass to a bead; the fields between are large.
    """
    _, ornament, border = widths(rng)
    field, ornament = float(rng.choice([3.0, 4.0])), min(ornament, 5.0)
    profile = leaf(rng)
    w, r = rng.uniform(260, 360), rng.uniform(48, 70)
    wide = rng.uniform(10.5, 14) if field < 3.5 else rng.uniform(11.5, 14)
    bands = int(rng.integers(1, 3))
    gap = rng.uniform(26, 40)
    middle = 2 * (r + wide + rng.uniform(18, 30))
    h = middle + 2 * bands * (wide + gap)
    strips = [Strip(box(w, h), border, "flat", True)]
    for k in range(bands):
        for low in (k * (wide + gap) + gap, h - (k + 1) * (wide + gap)):
            strips += [Strip(line((0, y), (w, y)), field, profile) for y in (low, low + wide)]
            n = int(w / wide / rng.uniform(1.0, 1.25))
            xs = w * (np.arange(1, n) + rng.uniform(-0.06, 0.06, n - 1)) / n
            for x in xs.tolist():
                strips.append(Strip(line((x, low), (x, low + wide)), field, profile))
            # Leads of the fields meet a row between two beads' leads.
            x = float(_halfway(xs)[int(rng.integers(1, n - 3))])
            other = (low - gap, low) if low < h / 2 else (low + wide, low + wide + gap)
            strips.append(Strip(line((x, other[0]), (x, other[1])), field, profile))
    at = (w / 2, h / 2)
    strips += [Strip(circle(at, r + d, 8), field, profile) for d in (0.0, wide)]
    n = int(2 * np.pi * r / wide / rng.uniform(1.0, 1.15))
    ways = 360 * (np.arange(n) + rng.uniform(-0.06, 0.06, n)) / n
    for a in ways.tolist():
        strips.append(Strip(line(polar(at, r, a), polar(at, r + wide, a)), field, profile))
    between = _halfway(np.append(ways, ways[0] + 360))
    out, back, first = (
        float(between[int(np.argmin(np.abs(between - a)))])
        for a in (360.0, 180.0, rng.uniform(30, 150))
    )
    second = float(between[int(np.argmin(np.abs(between - first - 180)))])
    for a, x in ((out, w), (back, 0.0)):
        strips.append(Strip(line(polar(at, r + wide, a), (x, h / 2)), ornament, profile))
    strips.append(Strip(line(polar(at, r, first), polar(at, r, second)), ornament, profile))
    return Design("beads", tuple(strips))


def _halfway(places: Array) -> Array:
    return np.asarray((places[:-1] + places[1:]) / 2)
