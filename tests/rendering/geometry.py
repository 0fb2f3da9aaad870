"""Panels as a draughtsman sets them out: strips of lead, and the exact graph that follows.

A `Design` is a list of `Strip`; `truth_of` cuts the strips where they meet and returns joints,
cames and pieces. Everything is in mm, x to the right, y upwards. Curves are sampled so finely
that no chord leaves its curve by more than 1e-3 mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import LineString, MultiLineString, Polygon

Array = npt.NDArray[np.float64]

CHORD_MM = 1e-3
SAME_NODE_MM = 0.05
CORNER_DEG = 25.0


@dataclass(frozen=True, slots=True)
class Strip:
    """One continuous strip of lead.

    Attributes
    ----------
    points : (N, 2) the lead line; first and last equal for a closed strip.
    width_mm : face width.
    profile : "flat", "round", or "double": two flat leads edge against edge, `width_mm` wide
        together.
    border : True for the outermost lead.
    """

    points: Array
    width_mm: float
    profile: str = "flat"
    border: bool = False

    @property
    def closed(self) -> bool:
        """Whether the strip runs back into itself."""
        return bool(np.allclose(self.points[0], self.points[-1], atol=1e-9))


@dataclass(frozen=True, slots=True)
class Design:
    """A panel: its strips, and what the renderer may do with it."""

    name: str
    strips: tuple[Strip, ...]


@dataclass(frozen=True, slots=True)
class TrueJoint:
    """A joint of the exact graph."""

    x_mm: float
    y_mm: float
    kind: str
    degree: int


@dataclass(frozen=True, slots=True)
class TrueCame:
    """A came of the exact graph, `path` from joint `start` to joint `end`."""

    start: int
    end: int
    path: Array
    strip: int


@dataclass(frozen=True, slots=True)
class Truth:
    """The exact graph of a design."""

    joints: tuple[TrueJoint, ...]
    cames: tuple[TrueCame, ...]
    pieces: tuple[Polygon, ...]


def line(a: tuple[float, float], b: tuple[float, float]) -> Array:
    """Return a straight run, sampled every few mm so that it can be bent later."""
    n = max(2, math.ceil(math.dist(a, b) / 4.0) + 1)
    return np.linspace(np.asarray(a, float), np.asarray(b, float), n)


def arc(centre: tuple[float, float], radius: float, start_deg: float, end_deg: float) -> Array:
    """Return a circular run from one direction to another."""
    step = 2.0 * math.acos(1.0 - CHORD_MM / radius)
    n = max(3, math.ceil(abs(math.radians(end_deg - start_deg)) / step) + 1)
    a = np.radians(np.linspace(start_deg, end_deg, n))
    return np.column_stack((centre[0] + radius * np.cos(a), centre[1] + radius * np.sin(a)))


def circle(centre: tuple[float, float], radius: float, start_deg: float = 0.0) -> Array:
    """Return a closed ring."""
    p = arc(centre, radius, start_deg, start_deg + 360.0)
    p[-1] = p[0]
    return p


def smooth(points: npt.ArrayLike, *, closed: bool = False) -> Array:
    """Return a run of cubic Bezier curves through the points (Catmull-Rom tangents)."""
    p = np.asarray(points, float)
    if closed:
        q = np.vstack((p[-1:], p, p[:2]))
    else:
        q = np.vstack((2 * p[:1] - p[1:2], p, 2 * p[-1:] - p[-2:-1]))
    parts = [q[1:2]]
    for i in range(1, len(q) - 2):
        a, d = q[i], q[i + 1]
        b, c = a + (q[i + 1] - q[i - 1]) / 6.0, d - (q[i + 2] - q[i]) / 6.0
        n = max(4, math.ceil(math.dist(a, d) / 0.8))
        t = np.linspace(0.0, 1.0, n + 1)[1:, None]
        s = 1.0 - t
        parts.append(s**3 * a + 3 * s * s * t * b + 3 * s * t * t * c + t**3 * d)
    out = np.vstack(parts)
    if closed:
        out[-1] = out[0]
    return out


def chain(*runs: Array, close: bool = False) -> Array:
    """Join runs end to start into one run."""
    parts = [runs[0]]
    for run in runs[1:]:
        same = np.allclose(parts[-1][-1], run[0], atol=1e-6)
        parts.append(run[1:] if same else run)
    out = np.vstack(parts)
    if close:
        if not np.allclose(out[0], out[-1], atol=1e-6):
            out = np.vstack((out, line(tuple(out[-1]), tuple(out[0]))[1:]))
        out[-1] = out[0]
    return out


def clip(points: Array, region: Polygon, *, shortest_mm: float = 3.0) -> list[Array]:
    """Return the runs of `points` inside a region; their ends lie on its outline."""
    cut = shapely.intersection(LineString(points), region)
    parts = [g for g in shapely.get_parts(cut) if isinstance(g, LineString)]
    merged = shapely.get_parts(shapely.line_merge(MultiLineString([g for g in parts if g.length])))
    return [np.array(g.coords) for g in merged if g.length > shortest_mm]


def truth_of(design: Design) -> Truth:
    """Cut the strips at every joint and return the exact planar graph.

    Strategy: gather, for each strip, the places where another strip crosses it, where another
    strip's end lies on it, where it turns a corner, and its own ends; merge places closer than
    `SAME_NODE_MM` into one joint; cut; let GEOS polygonize the cut runs.
    """
    strips = design.strips
    lines = [LineString(s.points) for s in strips]
    places = _meeting_places(strips, lines)
    for i, strip in enumerate(strips):
        places.extend((i, p) for p in _corners(strip))
        if not strip.closed:
            places.extend(((i, strip.points[0]), (i, strip.points[-1])))
    nodes, at = _merge(places) if places else (np.empty((0, 2)), {})
    cames: list[TrueCame] = []
    for i, strip in enumerate(strips):
        on = sorted(set(at.get(i, ())))
        if not on:
            nodes = np.vstack((nodes, strip.points[:1]))
            on = [len(nodes) - 1]
        cames.extend(_cut(strip, i, lines[i], on, nodes))
    joints = tuple(_joint(k, nodes[k], cames, strips) for k in range(len(nodes)))
    faces = shapely.get_parts(shapely.polygonize([LineString(c.path) for c in cames]))
    return Truth(joints, tuple(cames), tuple(faces))


def _meeting_places(strips: tuple[Strip, ...], lines: list[LineString]) -> list[tuple[int, Array]]:
    tree = shapely.STRtree(lines)
    found: list[tuple[int, Array]] = []
    first, second = tree.query(lines, predicate="dwithin", distance=SAME_NODE_MM)
    for i, j in zip(first.tolist(), second.tolist(), strict=True):
        if i == j:
            continue
        if not strips[i].closed:
            for end in (strips[i].points[0], strips[i].points[-1]):
                if lines[j].distance(shapely.Point(end)) < SAME_NODE_MM:
                    found.append((j, end))
        if i < j:
            for g in shapely.get_parts(lines[i].intersection(lines[j])):
                if g.is_empty:
                    continue
                p = np.asarray(g.coords).mean(axis=0)
                found.extend(((i, p), (j, p)))
    return found


def _corners(strip: Strip) -> list[Array]:
    p = strip.points
    q = np.vstack((p[-2:-1], p)) if strip.closed else p
    d = np.diff(q, axis=0)
    a = np.arctan2(d[:, 1], d[:, 0])
    turn = np.abs((np.diff(a) + np.pi) % (2 * np.pi) - np.pi)
    return [q[k + 1] for k in np.flatnonzero(turn > math.radians(CORNER_DEG))]


def _merge(places: list[tuple[int, Array]]) -> tuple[Array, dict[int, list[int]]]:
    points = np.array([p for _, p in places])
    # Places of one joint lie within the tolerance of each other, different joints far apart.
    first, second = shapely.STRtree(shapely.points(points)).query(
        shapely.points(points), predicate="dwithin", distance=2 * SAME_NODE_MM
    )
    leader = np.arange(len(points))
    np.minimum.at(leader, first, second)
    kept, node = np.unique(leader, return_inverse=True)
    at: dict[int, list[int]] = {}
    for (strip, _), k in zip(places, node.tolist(), strict=True):
        at.setdefault(strip, []).append(k)
    return points[kept], at


def _cut(
    strip: Strip, index: int, geometry: LineString, on: list[int], nodes: Array
) -> list[TrueCame]:
    p = strip.points
    s = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(p, axis=0).T))))
    where = sorted((geometry.project(shapely.Point(nodes[k])), k) for k in on)
    if strip.closed:
        where.append((where[0][0] + s[-1], where[0][1]))
        p, s = np.vstack((p, p[1:])), np.concatenate((s, s[1:] + s[-1]))
    out = []
    for (s0, k0), (s1, k1) in pairwise(where):
        inner = p[(s > s0 + 1e-6) & (s < s1 - 1e-6)]
        out.append(TrueCame(k0, k1, np.vstack((nodes[k0], inner, nodes[k1])), index))
    return out


def _joint(k: int, at: Array, cames: list[TrueCame], strips: tuple[Strip, ...]) -> TrueJoint:
    leaving = []
    for c in cames:
        if c.start == k:
            leaving.append((c.strip, _heading(c.path)))
        if c.end == k:
            leaving.append((c.strip, _heading(c.path[::-1])))
    degree = len(leaving)
    through = any(
        a[0] == b[0]
        and abs(abs((a[1] - b[1] + math.pi) % (2 * math.pi) - math.pi) - math.pi)
        < math.radians(CORNER_DEG)
        for i, a in enumerate(leaving)
        for b in leaving[:i]
    )
    if degree == 1:
        kind = "end"
    elif degree == 2:
        kind = "ring" if through else "corner"
    elif through:
        kind = "tee" if degree == 3 else "crossing"
    else:
        kind = "meeting"
    return TrueJoint(float(at[0]), float(at[1]), kind, degree)


def _heading(path: Array) -> float:
    d = path[1] - path[0]
    return math.atan2(d[1], d[0])
