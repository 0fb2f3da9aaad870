"""Panels drawn freehand: a figure with S-curves and acute joints, a dense mosaic, odd leads."""

from __future__ import annotations

import numpy as np
import shapely
from scipy.spatial import Voronoi
from shapely.geometry import LineString, Polygon

from tests.rendering.designs.cutting import Cutter
from tests.rendering.designs.setting_out import Rng, box, leaf, rectangle, widths
from tests.rendering.geometry import Array, Design, Strip, circle, clip, line, smooth


def strap(rng: Rng) -> Design:
    """Set large pieces: one with a ring that nothing holds, two with straps that end freely."""
    field, ornament, border = widths(rng)
    profile = leaf(rng)
    w, h = rng.uniform(260, 380), rng.uniform(320, 480)
    strips = [Strip(box(w, h), border, "flat", True)]
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
    crack = smooth([a, (w - 45, a[1] - 12), (x + 60, a[1] - rng.uniform(5, 30))])
    strips.append(Strip(crack, field, profile))
    b = (x + rng.uniform(30, 60), 0.0)
    crack = line(b, (b[0] + 12, y * rng.uniform(0.45, 0.6)))
    strips.append(Strip(crack, field, profile))
    return Design("strap", tuple(strips))


def figure(rng: Rng) -> Design:
    """Draw a head in a halo and drapery below it: S-curves, joints down to 16 degrees."""
    field, ornament, border = widths(rng)
    profile = leaf(rng)
    w, h = rng.uniform(300, 460), rng.uniform(420, 640)
    outline = box(w, h)
    head = (w * rng.uniform(0.42, 0.58), h * rng.uniform(0.7, 0.76))
    rx, ry = w * rng.uniform(0.17, 0.2), w * rng.uniform(0.2, 0.24)
    t = np.radians(np.arange(0, 360, 30.0))
    halo = smooth(
        np.column_stack((head[0] + rx * np.cos(t), head[1] + ry * np.sin(t))), closed=True
    )
    strips = [Strip(outline, border, "flat", True), Strip(halo, ornament, profile)]
    frame = rectangle(0, 0, w, h)
    arms = [
        smooth(
            [
                halo[0],
                (head[0] + rx + 30, head[1] - 12),
                (w * 0.93, head[1] + 20),
                (w + 40, head[1] + 70),
            ]
        ),
        smooth(
            [
                halo[len(halo) // 2],
                (head[0] - rx - 30, head[1] - 16),
                (w * 0.07, head[1] + 6),
                (-40, head[1] + 30),
            ]
        ),
        smooth(
            [
                halo[len(halo) * 3 // 4],
                (head[0] + 22, head[1] - ry - 60),
                (head[0] - 30, h * 0.25),
                (w * 0.5, -60),
            ]
        ),
        smooth([halo[len(halo) // 4], (head[0] - 12, head[1] + ry + 30), (head[0] + 10, h + 30)]),
    ]
    cuts = [clip(p, frame)[0] for p in arms]
    strips += [Strip(p, ornament, profile) for p in cuts]
    edges = [LineString(p) for p in (outline, halo, *cuts)]
    pieces = list(
        shapely.get_parts(
            shapely.polygonize(shapely.get_parts(shapely.node(shapely.union_all(edges))))
        )
    )
    cutter = Cutter(rng, pieces, [p for c in cuts for p in (c[0], c[-1])] + list(outline[[0]]))
    target = int(rng.integers(26, 48))
    while len(cutter.pieces) < target:
        run = cutter.split(9.5)
        if run is None:
            break
        strips.append(Strip(run, field if rng.random() < 0.75 else ornament, profile))
    return Design("figure", tuple(strips))


def mosaic(rng: Rng) -> Design:
    """Set 150 to 250 irregular pieces without any order."""
    field, _, border = widths(rng)
    profile = leaf(rng)
    w, h = rng.uniform(340, 460), rng.uniform(440, 600)
    n = min(int(rng.integers(150, 251)), int(w * h / 900))
    p = rng.uniform((0, 0), (w, h), (n, 2))
    frame = rectangle(0, 0, w, h)
    for _ in range(12):
        cells = _cells(p, w, h, frame)
        p = np.array([c.centroid.coords[0] for c in cells])
    nodes, edges = _web(_cells(p, w, h, frame), w, h)
    strips = [Strip(box(w, h), border, "flat", True)]
    for a, b in edges:
        strips.append(Strip(line(tuple(nodes[a]), tuple(nodes[b])), field, profile))
    return Design("mosaic", tuple(strips))


def _cells(p: Array, w: float, h: float, frame: Polygon) -> list[Polygon]:
    mirrored = np.vstack(
        (p, p * [-1, 1], p * [1, -1], p * [-1, 1] + [2 * w, 0], p * [1, -1] + [0, 2 * h])
    )
    v = Voronoi(mirrored)
    return [
        Polygon(v.vertices[v.regions[v.point_region[k]]]).intersection(frame) for k in range(len(p))
    ]


def _web(cells: list[Polygon], w: float, h: float) -> tuple[Array, set[tuple[int, int]]]:
    """Return nodes and inner edges; nodes closer than 5.5 mm become one joint of four."""
    corners = np.vstack([np.array(c.exterior.coords[:-1]) for c in cells])
    owner = np.full(len(corners), -1)
    nodes: list[Array] = []
    for k, q in enumerate(corners):
        if owner[k] < 0:
            near = (np.hypot(*(corners - q).T) < 5.5) & (owner < 0)
            owner[near] = len(nodes)
            nodes.append(_on_frame(corners[near], w, h))
    edges, at = set(), 0
    for c in cells:
        ring = owner[at : at + len(c.exterior.coords) - 1]
        at += len(ring)
        for a, b in zip(ring, np.roll(ring, -1), strict=True):
            pa, pb = nodes[a], nodes[b]
            same_side = any(pa[i] == pb[i] and pa[i] in (0.0, (w, h)[i]) for i in (0, 1))
            if a != b and not same_side:
                edges.add((int(min(a, b)), int(max(a, b))))
    return np.array(nodes), edges


def _on_frame(cluster: Array, w: float, h: float) -> Array:
    q = cluster.mean(axis=0)
    for i, size in ((0, w), (1, h)):
        if (np.abs(cluster[:, i]) < 1e-6).any():
            q[i] = 0.0
        if (np.abs(cluster[:, i] - size) < 1e-6).any():
            q[i] = size
    return np.asarray(q)
