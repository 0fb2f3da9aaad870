"""The truth of a panel: lead lines united and noded, hairs trimmed, the rest polygonized.

Strategy: GEOS unites all runs on a grid of a micrometre, which cuts them wherever they meet. Edges
shorter than a hair are contracted into one joint, loose hairs dropped; where two edges of one strip
meet at no real turn they are sewn together again. What remains are cames, and the polygons
between them are pieces.
"""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from shapely.geometry import LineString, Polygon

from tests.second_hand.leadwork import Array, Lead

HAIR_MM = 0.5
TURN_DEG = 25.0


@dataclass(frozen=True, slots=True)
class Joint:
    """A place where cames meet or end."""

    x_mm: float
    y_mm: float
    kind: str
    degree: int


@dataclass(frozen=True, slots=True)
class Came:
    """A came between two joints; `lead` is the strip it belongs to."""

    start: int
    end: int
    path: Array
    lead: int


@dataclass(frozen=True, slots=True)
class Network:
    """Joints, cames and pieces."""

    joints: tuple[Joint, ...]
    cames: tuple[Came, ...]
    pieces: tuple[Polygon, ...]


@dataclass(slots=True)
class _Edge:
    a: int
    b: int
    path: Array
    lead: int


def network(leads: list[Lead]) -> Network:
    """Return the exact planar graph of a panel's leads."""
    lines = [LineString(x.run) for x in leads]
    noded = shapely.get_parts(shapely.union_all(lines, grid_size=1e-3))
    owner = _owners(noded, lines)
    pieces_of = [
        (run, k) for g, k in zip(noded, owner, strict=True) for run in _at_turns(np.array(g.coords))
    ]
    edges, places = _contracted(pieces_of)
    edges = _sewn(_without_hairs(edges))
    used = sorted({k for e in edges for k in (e.a, e.b)})
    renumbered = {old: new for new, old in enumerate(used)}
    cames = tuple(Came(renumbered[e.a], renumbered[e.b], e.path, e.lead) for e in edges)
    joints = tuple(_joint(new, places[old], cames) for new, old in enumerate(used))
    faces = shapely.get_parts(shapely.polygonize([LineString(c.path) for c in cames]))
    return Network(joints, cames, tuple(faces))


def _owners(noded: list[LineString], lines: list[LineString]) -> list[int]:
    middles = [g.interpolate(0.5, normalized=True) for g in noded]
    tree = shapely.STRtree(lines)
    return [int(k) for k in tree.nearest(middles)]


def _at_turns(p: Array) -> list[Array]:
    d = np.diff(p, axis=0)
    a = np.arctan2(d[:, 1], d[:, 0])
    turn = np.abs((np.diff(a) + np.pi) % (2 * np.pi) - np.pi)
    # Steps of a micrometre's grid have no direction of their own.
    long = np.hypot(*d.T) > 0.02
    at = [0, *(np.flatnonzero((turn > math.radians(TURN_DEG)) & long[1:] & long[:-1]) + 1)]
    at.append(len(p) - 1)
    return [p[i : j + 1] for i, j in pairwise(at)]


def _contracted(runs: list[tuple[Array, int]]) -> tuple[list[_Edge], Array]:
    """Give numbers to the ends of the runs; ends within a hair of each other share one."""
    ends = np.array([c for p, _ in runs for c in (p[0], p[-1])])
    points = shapely.points(ends)
    first, second = shapely.STRtree(points).query(points, predicate="dwithin", distance=HAIR_MM)
    root = np.arange(len(ends))
    for _ in range(4):
        np.minimum.at(root, first, root[second])
    at = {k: ends[root == k].mean(axis=0) for k in np.unique(root)}
    names = {k: n for n, k in enumerate(at)}
    edges = []
    for i, (p, lead) in enumerate(runs):
        a, b = root[2 * i], root[2 * i + 1]
        if a == b and len(p) < 20 and np.hypot(*np.diff(p, axis=0).T).sum() < 3 * HAIR_MM:
            continue
        inner = p[1:-1]
        away = [math.dist(c, at[a]) > 0.3 and math.dist(c, at[b]) > 0.3 for c in inner]
        path = np.vstack((at[a], inner[away] if len(inner) else inner.reshape(0, 2), at[b]))
        edges.append(_Edge(names[a], names[b], path, lead))
    return edges, np.array(list(at.values()))


def _degrees(edges: list[_Edge]) -> dict[int, list[int]]:
    at: dict[int, list[int]] = defaultdict(list)
    for i, e in enumerate(edges):
        at[e.a].append(i)
        at[e.b].append(i)
    return at


def _without_hairs(edges: list[_Edge]) -> list[_Edge]:
    at = _degrees(edges)
    return [
        e
        for e in edges
        if min(len(at[e.a]), len(at[e.b])) > 1
        or np.hypot(*np.diff(e.path, axis=0).T).sum() > 2 * HAIR_MM
    ]


def _sewn(edges: list[_Edge]) -> list[_Edge]:
    """Join edges of one strip that meet, two alone, at no real turn."""
    at = _degrees(edges)
    for node, on in list(at.items()):
        if len(on) != 2 or on[0] == on[1]:
            continue
        e, f = edges[on[0]], edges[on[1]]
        p = e.path if e.b == node else e.path[::-1]
        q = f.path if f.a == node else f.path[::-1]
        if e.lead != f.lead or abs(_turn(p, q)) > math.radians(TURN_DEG):
            continue
        start = e.a if e.b == node else e.b
        end = f.b if f.a == node else f.a
        edges[on[0]] = _Edge(start, end, np.vstack((p, q[1:])), e.lead)
        at[end] = [on[0] if k == on[1] else k for k in at[end]]
        edges[on[1]] = _Edge(-1, -1, q, -1)
    return [e for e in edges if e.lead >= 0]


def _turn(p: Array, q: Array) -> float:
    a, b = _heading(p[::-1]) + math.pi, _heading(q)
    return (b - a + math.pi) % (2 * math.pi) - math.pi


def _heading(p: Array) -> float:
    """Return the direction in which a run leaves its first point, over a millimetre."""
    far = np.hypot(*(p - p[0]).T)
    k = int(np.argmax(far >= min(1.0, far.max())))
    return math.atan2(*(p[k] - p[0])[::-1])


def _joint(k: int, at: Array, cames: tuple[Came, ...]) -> Joint:
    leaving = [(c.lead, _heading(c.path)) for c in cames if c.start == k]
    leaving += [(c.lead, _heading(c.path[::-1])) for c in cames if c.end == k]
    through = [
        (one, other)
        for i, (one, a) in enumerate(leaving)
        for other, b in leaving[:i]
        if abs(abs((a - b + math.pi) % (2 * math.pi) - math.pi) - math.pi) < math.radians(TURN_DEG)
    ]
    degree = len(leaving)
    if degree == 1:
        kind = "end"
    elif degree == 2:
        kind = "ring" if through else "corner"
    elif any(one == other for one, other in through):
        kind = "tee" if degree == 3 else "crossing"
    else:
        kind = "meeting"
    return Joint(float(at[0]), float(at[1]), kind, degree)
