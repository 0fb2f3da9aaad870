"""Leads on a drawing board: runs of lead in mm, and a board that clips them to the panel.

x runs to the right and y upward. Arrays of points have shape (N, 2).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from scipy.interpolate import CubicSpline
from shapely.geometry import LineString, MultiLineString, Point, Polygon
from shapely.ops import split

Array = npt.NDArray[np.float64]
Rng = np.random.Generator
XY = tuple[float, float]

STEP_MM = 2.0
OVERLAP_MM = 0.04
"""A butting run is laid so far across the line it butts against; noding trims it."""
APART_MM = 13.0
MIDDLING_MM = (4.0, 4.5, 5.0, 5.5, 6.0, 7.0)


@dataclass(frozen=True, slots=True)
class Lead:
    """One strip of lead.

    Attributes
    ----------
    run : (N, 2) its lead line in mm; first and last point equal for a closed strip.
    face_mm : face width.
    profile : "flat" or "round".
    border : whether it is the outermost lead.
    """

    run: Array
    face_mm: float
    profile: str = "flat"
    border: bool = False

    @property
    def closed(self) -> bool:
        """Whether the strip runs back into itself."""
        return bool(math.dist(self.run[0], self.run[-1]) < 1e-6)


def straight(a: XY, b: XY) -> Array:
    """Return a straight run."""
    n = max(2, math.ceil(math.dist(a, b) / STEP_MM) + 1)
    return np.linspace(a, b, n)


def bow(centre: XY, radius_mm: float, from_deg: float, to_deg: float) -> Array:
    """Return a circular run; 360 degrees apart gives a closed ring."""
    n = max(6, math.ceil(abs(math.radians(to_deg - from_deg)) * radius_mm / 0.8) + 1)
    a = np.radians(np.linspace(from_deg, to_deg, n))
    run = np.column_stack((centre[0] + radius_mm * np.cos(a), centre[1] + radius_mm * np.sin(a)))
    if abs(to_deg - from_deg) == 360.0:
        run[-1] = run[0]
    return run


def sagged(a: XY, b: XY, rise_mm: float) -> Array:
    """Return a circular run from a to b that rises to the left of the chord by `rise_mm`."""
    if abs(rise_mm) < 0.05:
        return straight(a, b)
    p, q = np.asarray(a, float), np.asarray(b, float)
    chord = math.dist(a, b)
    radius = (chord**2 / 4 + rise_mm**2) / (2 * rise_mm)
    left = np.array([-(q - p)[1], (q - p)[0]]) / chord
    centre = (p + q) / 2 + left * (rise_mm - radius)
    start = math.degrees(math.atan2(*(p - centre)[::-1]))
    sweep = -2 * math.degrees(math.atan2(chord / 2, radius - rise_mm))
    if rise_mm < 0:
        sweep = 2 * math.degrees(math.atan2(chord / 2, abs(radius) - abs(rise_mm)))
    run = bow((float(centre[0]), float(centre[1])), abs(radius), start, start + sweep)
    run[0], run[-1] = p, q
    return run


def flowing(points: Iterable[XY] | Array, *, closed: bool = False) -> Array:
    """Return a cubic spline through points, parametrised by the root of the chord."""
    p = np.array(list(points), float)
    if closed:
        p = np.vstack((p, p[:1]))
    t = np.concatenate(([0.0], np.cumsum(np.sqrt(np.hypot(*np.diff(p, axis=0).T)))))
    spline = CubicSpline(t, p, bc_type="periodic" if closed else "natural")
    n = max(8, math.ceil(np.hypot(*np.diff(p, axis=0).T).sum() / 0.9))
    run = spline(np.linspace(0.0, t[-1], n + 1))
    if closed:
        run[-1] = run[0]
    return np.asarray(run)


def joined(*runs: Array) -> Array:
    """Join runs end to start."""
    return np.vstack([runs[0], *(r[1:] for r in runs[1:])])


def box(x0: float, y0: float, x1: float, y1: float) -> Polygon:
    """Return a rectangle."""
    return Polygon([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])


def rim(outline: Polygon) -> Array:
    """Return the outline as a closed run, with points no farther apart than the step."""
    p = np.array(shapely.segmentize(outline.exterior, STEP_MM).coords)
    p[-1] = p[0]
    return p


class Board:
    """A panel being drawn: its outline, its widths of lead, and the leads laid so far."""

    def __init__(self, outline: Polygon, rng: Rng, *, border_mm: float = 0.0) -> None:
        self.outline = outline
        self.rng = rng
        self.face_mm = float(rng.choice(MIDDLING_MM))
        self.thin_mm = float(rng.choice((3.5, 4.0, self.face_mm)))
        self.bold_mm = float(rng.choice((8.0, 9.0, 10.0, 12.0, 14.0)))
        self.profile = str(rng.choice(("flat", "flat", "round")))
        border_mm = border_mm or float(rng.choice((6.0, 8.0, 10.0, 12.0, 14.0, 16.0, 20.0)))
        self.leads = [Lead(rim(outline), border_mm, self.profile, True)]

    def lay(
        self, run: Array, face_mm: float = 0.0, within: Polygon | None = None, least_mm: float = 4.0
    ) -> None:
        """Lay a run of lead, clipped to a region (the panel unless given)."""
        region = self.outline if within is None else within
        cut = shapely.intersection(LineString(run), region)
        parts = [g for g in shapely.get_parts(cut) if isinstance(g, LineString) and g.length]
        if not parts:
            return
        for g in shapely.get_parts(shapely.line_merge(MultiLineString(parts))):
            if g.length > least_mm:
                p = np.array(g.coords)
                laid = p if math.dist(p[0], p[-1]) < 1e-6 else _overlapping(p)
                self.leads.append(Lead(laid, face_mm or self.face_mm, self.profile))

    def tie(self, run: Array, within: Polygon, face_mm: float = 0.0) -> None:
        """Lay a short run across an opening, unless an end would come too near another joint."""
        before = len(self.leads)
        nodes = self.nodes()
        self.lay(run, face_mm, within, least_mm=11.0)
        laid = self.leads[before:]
        self.leads[before:] = [
            x for x in laid if not any(0.5 < _near(nodes, x.run[k]) < APART_MM for k in (0, -1))
        ]

    def faces(self) -> list[Polygon]:
        """Return the openings enclosed by the leads so far."""
        lines = shapely.union_all([LineString(x.run) for x in self.leads], grid_size=1e-3)
        return [p for p in shapely.get_parts(shapely.polygonize([lines])) if p.area > 1.0]

    def nodes(self) -> Array:
        """Return where runs so far meet or end."""
        lines = shapely.union_all([LineString(x.run) for x in self.leads], grid_size=1e-3)
        parts = shapely.get_parts(lines)
        return np.array([c for g in parts for c in (g.coords[0], g.coords[-1])])

    def relieve(self, *, concave: float = 0.7, largest_mm2: float = 1e9, cuts: int = 60) -> None:
        """Cut pieces that no glazier could cut from glass, by straight leads across them.

        A piece is cut when it fills less than `concave` of its convex hull, has a hole, or is
        larger than `largest_mm2`.
        """
        given_up: list[Point] = []
        for _ in range(cuts):
            bad = [
                f
                for f in self.faces()
                if (f.area < concave * f.convex_hull.area or f.interiors or f.area > largest_mm2)
                and not any(f.contains(p) for p in given_up)
            ]
            if not bad:
                return
            face = max(bad, key=lambda f: f.area)
            cut = self._cut(face)
            if cut is None:
                given_up.append(face.representative_point())
            else:
                self.leads.append(Lead(_overlapping(cut), self.face_mm, self.profile))

    def _cut(self, face: Polygon) -> Array | None:
        """Return the best straight cut: short, from a notch, into two sound pieces."""
        nodes = self.nodes()
        rings = [face.exterior, *face.interiors]
        tips: list[Point] = []
        for ring in rings:
            tips += [ring.interpolate(t, normalized=True) for t in np.linspace(0, 1, 24)[:-1]]
            tips += [Point(c) for c in ring.coords if _near(nodes, c) < 0.1]
        hull = face.convex_hull.exterior
        best, least = None, math.inf
        for i, a in enumerate(tips):
            notch = hull.distance(a)
            for b in tips[:i]:
                length = a.distance(b)
                rank = length - 1.2 * max(notch, hull.distance(b))
                if length < 14 or rank >= least or not self._sound(face, a, b, nodes):
                    continue
                best, least = straight((a.x, a.y), (b.x, b.y)), rank
        return best

    def _sound(self, face: Polygon, a: Point, b: Point, nodes: Array) -> bool:
        line = LineString([a, b])
        if not shapely.contains(face.buffer(0.01), line):
            return False
        for p in (a, b):
            away = _near(nodes, (p.x, p.y))
            if 0.1 < away < 14:
                return False
        if face.interiors and face.exterior.distance(a) < 0.1 and face.exterior.distance(b) < 0.1:
            return False
        mid = line.interpolate(0.5, normalized=True)
        if face.boundary.distance(mid) < 0.18 * line.length:
            return False
        if face.interiors:
            return True
        parts = list(shapely.get_parts(split(face, _long(line))))
        return min(p.area for p in parts) > 0.08 * face.area and len(parts) == 2


def _long(line: LineString) -> LineString:
    return LineString(_overlapping(np.array(line.coords)))


def _near(nodes: Array, p: Iterable[float]) -> float:
    x, y = list(p)[:2]
    return float(np.hypot(nodes[:, 0] - x, nodes[:, 1] - y).min())


def _overlapping(p: Array) -> Array:
    """Return the run with both ends carried on by a hair."""

    def beyond(end: Array, before: Array) -> Array:
        d = end - before
        return np.asarray(end + d / np.hypot(*d) * OVERLAP_MM)

    return np.vstack((beyond(p[0], p[1]), p[1:-1], beyond(p[-1], p[-2])))
