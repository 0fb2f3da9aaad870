"""A panel that was mended: thin leads over cracks, leads doubled, leads side by side."""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely.geometry import LineString, Polygon

from tests.rendering.designs.cutting import Cutter
from tests.rendering.designs.setting_out import Rng, box, leaf, panes, widths
from tests.rendering.geometry import Array, Design, Strip, clip, line, smooth

CLEAR_MM = 9.0
"""Mending leads end this far from other joints, as solder allows."""


def mended(rng: Rng) -> Design:
    """Set large pieces, then mend them.

    Cracks run across a piece, end in it, or meet in a star of three; they are covered with leads
    of 3 or 4 mm. Of the old leads one in five is doubled: a second lead of the same width lies
    against the first, so that the rubbing shows a furrow in the middle. One pair of leads runs
    side by side with 5 to 8 mm of glass between them, where a strip was let in.
    """
    field, _, border = widths(rng)
    profile = leaf(rng)
    w, h = rng.uniform(280, 400), rng.uniform(340, 500)
    outline = box(w, h)
    strips = [Strip(outline, border, "flat", True)]
    pair = _pair(w, h, field, rng)
    strips += [Strip(p, field, profile) for p in pair]
    slit = Polygon(np.vstack((pair[0], pair[1][::-1])))
    whole = [p for p in panes([outline, *pair]) if not slit.buffer(0.1).contains(p)]
    cutter = Cutter(rng, whole, [e for p in pair for e in (p[0], p[-1])])
    for _ in range(int(rng.integers(6, 11))):
        run = cutter.split(20.0)
        if run is None:
            break
        double = rng.random() < 0.2
        strips.append(
            Strip(run, 2 * min(field, 5.0) if double else field, "double" if double else profile)
        )
    mend = float(rng.choice([3.0, 4.0]))
    ends = list(cutter.ends)
    for k in rng.permutation(len(cutter.pieces)).tolist()[: int(rng.integers(4, 9))]:
        strips += [Strip(p, mend, "flat") for p in _mend(cutter.pieces[k], ends, rng)]
    return Design("mended", tuple(strips))


def _pair(w: float, h: float, field: float, rng: Rng) -> tuple[Array, Array]:
    """Return two leads from side to side with a narrow strip of glass between them."""
    apart = field + rng.uniform(5.0, 8.0)
    y = h * rng.uniform(0.3, 0.7)
    x = np.linspace(0, w, 5)
    bend = np.column_stack((x, y + rng.normal(0, 5, 5)))
    runs = []
    for off in (0.0, apart):
        run = smooth(bend + np.array([0.0, off]))
        run[0, 0], run[-1, 0] = 0.0, w
        runs.append(run)
    return runs[0], runs[1]


def _mend(piece: Polygon, ends: list[Array], rng: Rng) -> list[Array]:
    """Return the mending leads of one piece: across, free, or a star; none where none fits."""
    kind = str(rng.choice(["across", "free", "star"]))
    for _ in range(40):
        if kind == "star":
            inner = piece.representative_point()
            at = np.array([inner.x, inner.y]) + rng.normal(0, 8, 2)
            a = rng.uniform(0, 2 * math.pi)
            ways = a + np.array([0.0, 2.1, 4.2]) + rng.uniform(-0.4, 0.4, 3)
            runs = [_to_rim(at, way, piece, rng) for way in ways]
        else:
            start = np.array(piece.exterior.interpolate(rng.random(), normalized=True).coords[0])
            c = np.array(piece.centroid.coords[0]) + rng.normal(0, 10, 2)
            runs = [_to_rim(start, math.atan2(*(c - start)[::-1]), piece, rng)]
            if kind == "free" and runs[0] is not None:
                runs[0] = runs[0][: int(len(runs[0]) * rng.uniform(0.45, 0.7))]
        done = [r for r in runs if r is not None]
        if len(done) == len(runs) and _fit(done, kind, piece, ends):
            ends += [p for r in done for p in (r[0], r[-1])]
            return done
    return []


def _to_rim(start: Array, way: float, piece: Polygon, rng: Rng) -> Array | None:
    """Return a slightly bent run from a place in or on a piece to its rim."""
    u = np.array([math.cos(way), math.sin(way)])
    reach = 2 * math.sqrt(piece.area) + 200
    straight = line(tuple(start + 1e-6 * u), tuple(start + u * reach))
    inside = [p for p in clip(straight, piece) if math.dist(p[0], start) < 0.01]
    if not inside or math.dist(inside[0][0], inside[0][-1]) < 25:
        return None
    a, b = start, inside[0][-1]
    length = math.dist(a, b)
    side = np.array([-u[1], u[0]]) * length
    bend = [a + (b - a) * t + side * rng.normal(0, 0.03) for t in (0.35, 0.7)]
    return smooth([a, *bend, b])


def _fit(runs: list[Array], kind: str, piece: Polygon, ends: list[Array]) -> bool:
    """Whether mending leads stay in the piece, clear of joints and of its rim."""
    inner = piece.buffer(-0.02)
    rim = piece.exterior
    for run in runs:
        body = LineString(run)
        if not piece.buffer(0.01).contains(body):
            return False
        tips = [run[-1]] if kind == "star" else [run[0], run[-1]]
        if any(math.dist(t, e) < CLEAR_MM for t in tips for e in ends):
            return False
        s = np.arange(3.0, body.length - 3.0, 3.0)
        points = shapely.line_interpolate_point(body, s)
        near = np.minimum(s if kind != "star" else 99.0, body.length - s)
        near = np.minimum(near, 30.0) if kind != "free" else np.minimum(s, 30.0)
        if not shapely.contains(inner, points).all():
            return False
        if (shapely.distance(rim, points) < 0.3 * near).any():
            return False
    return True
