"""The three curves of a lead line: straight line, circular arc, chain of cubic Bézier curves.

All lengths in mm, angles in degrees anticlockwise from the x axis. Curves are immutable and run
from a start to an end. ``points`` gives a polyline that leaves the curve by no more than a
tolerance.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from rubbing2pattern.geometry.frame import Array, Placement, points_array

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Line:
    """A straight lead line."""

    start: Point
    end: Point

    def points(self, tolerance_mm: float = 0.02) -> Array:
        """Return the two ends, shape (2, 2)."""
        return points_array((self.start, self.end))

    @property
    def length_mm(self) -> float:
        """Length of the line."""
        return math.dist(self.start, self.end)

    def reversed(self) -> Line:
        """Return the line run the other way."""
        return Line(self.end, self.start)

    def moved_ends(self, start: Point, end: Point) -> Line:
        """Return the line between new ends."""
        return Line(start, end)

    def placed(self, placement: Placement) -> Line:
        """Return the line after a rigid motion."""
        p = placement.apply((self.start, self.end))
        return Line(as_point(p[0]), as_point(p[1]))


@dataclass(frozen=True, slots=True)
class Arc:
    """A circular lead line; `sweep_deg` positive anticlockwise, +-360 for a closed ring."""

    centre: Point
    radius_mm: float
    start_deg: float
    sweep_deg: float

    @property
    def start(self) -> Point:
        """First point."""
        return self._at(self.start_deg)

    @property
    def end(self) -> Point:
        """Last point."""
        return self._at(self.start_deg + self.sweep_deg)

    def _at(self, angle_deg: float) -> Point:
        a = math.radians(angle_deg)
        return (
            self.centre[0] + self.radius_mm * math.cos(a),
            self.centre[1] + self.radius_mm * math.sin(a),
        )

    def points(self, tolerance_mm: float = 0.02) -> Array:
        """Return a polyline whose rise from the arc stays under the tolerance."""
        ratio = min(1.0, tolerance_mm / max(self.radius_mm, 1e-9))
        step = 2.0 * math.acos(1.0 - ratio)
        n = max(2, math.ceil(abs(math.radians(self.sweep_deg)) / max(step, 1e-3)) + 1)
        a = np.radians(np.linspace(self.start_deg, self.start_deg + self.sweep_deg, n))
        return np.column_stack(
            (
                self.centre[0] + self.radius_mm * np.cos(a),
                self.centre[1] + self.radius_mm * np.sin(a),
            )
        )

    @property
    def length_mm(self) -> float:
        """Length along the arc."""
        return self.radius_mm * abs(math.radians(self.sweep_deg))

    def reversed(self) -> Arc:
        """Return the arc run the other way."""
        return Arc(self.centre, self.radius_mm, self.start_deg + self.sweep_deg, -self.sweep_deg)

    def moved_ends(self, start: Point, end: Point) -> Arc | Line:
        """Return an arc of the same sweep between new ends (a closed ring is shifted)."""
        if abs(abs(self.sweep_deg) - 360.0) < 1e-9:
            dx, dy = start[0] - self.start[0], start[1] - self.start[1]
            return Arc(
                (self.centre[0] + dx, self.centre[1] + dy),
                self.radius_mm,
                self.start_deg,
                self.sweep_deg,
            )
        return arc_through(start, end, self.sweep_deg)

    def placed(self, placement: Placement) -> Arc:
        """Return the arc after a rigid motion."""
        return Arc(
            as_point(placement.apply((self.centre,))[0]),
            self.radius_mm,
            self.start_deg + placement.angle_deg,
            self.sweep_deg,
        )


@dataclass(frozen=True, slots=True)
class Cubic:
    """A chain of cubic Bézier curves; `control` holds 3 n + 1 points for n curves."""

    control: tuple[Point, ...]

    @property
    def start(self) -> Point:
        """First point."""
        return self.control[0]

    @property
    def end(self) -> Point:
        """Last point."""
        return self.control[-1]

    def points(self, tolerance_mm: float = 0.02) -> Array:
        """Return a polyline; the number of chords follows the greatest second difference."""
        return _cubic_points(self.control, tolerance_mm).copy()

    @property
    def length_mm(self) -> float:
        """Length along the curve, by chords."""
        return _cubic_length(self.control)

    def reversed(self) -> Cubic:
        """Return the curve run the other way."""
        return Cubic(self.control[::-1])

    def moved_ends(self, start: Point, end: Point) -> Cubic:
        """Return the curve with its ends moved, the shift fading along the control points."""
        c = points_array(self.control)
        step = running_length(c)
        t = (step / step[-1] if step[-1] > 0 else np.linspace(0.0, 1.0, len(c)))[:, None]
        moved = c + (1.0 - t) * (np.array(start) - c[0]) + t * (np.array(end) - c[-1])
        return Cubic(tuple(as_point(p) for p in moved))

    def placed(self, placement: Placement) -> Cubic:
        """Return the curve after a rigid motion."""
        return Cubic(tuple(as_point(p) for p in placement.apply(self.control)))


Curve = Line | Arc | Cubic


@lru_cache(maxsize=4096)
def _cubic_points(control: tuple[Point, ...], tolerance_mm: float) -> Array:
    """Return the polyline of a cubic curve; the documents ask for the same many times over."""
    c = points_array(control)
    b = np.stack((c[:-1:3], c[1::3], c[2::3], c[3::3]))
    inner = on_bends(b, int(chords_for(b, tolerance_mm).max())).reshape(-1, 2)
    points = np.vstack((c[:1], inner))
    points.setflags(write=False)
    return points


@lru_cache(maxsize=4096)
def _cubic_length(control: tuple[Point, ...]) -> float:
    return polyline_length(Cubic(control).points(0.005))


def chords_for(bends: Array, tolerance_mm: float) -> npt.NDArray[np.int_]:
    """Return how many chords follow each of B cubic curves, control points (4, B, 2), as (B,)."""
    first, second = bends[0] - 2 * bends[1] + bends[2], bends[1] - 2 * bends[2] + bends[3]
    bend = np.maximum(np.hypot(*first.T), np.hypot(*second.T))
    count = np.ceil(np.sqrt(0.75 * bend / max(tolerance_mm, 1e-6)))
    chords: npt.NDArray[np.int_] = np.maximum(2, count.astype(np.int_))
    return chords


def on_bends(bends: Array, count: int) -> Array:
    """Return points at `count` even parameters of B cubic curves, without the first, (B, count, 2).

    Parameters
    ----------
    bends : control points, (4, B, 2).
    """
    return np.asarray(np.einsum("kt,ksx->stx", _weights(count), bends))


@lru_cache(maxsize=256)
def _weights(count: int) -> Array:
    """Return the weights of the control points at even parameters without 0, (4, count)."""
    t = np.linspace(0.0, 1.0, count + 1)[1:]
    s = 1.0 - t
    weights = np.stack((s**3, 3 * s**2 * t, 3 * s * t**2, t**3))
    weights.setflags(write=False)
    return weights


def arc_through(start: Point, end: Point, sweep_deg: float) -> Arc | Line:
    """Return the arc from `start` to `end` that turns by `sweep_deg` (0 < |sweep| < 360).

    Chord c = 2 r sin(theta / 2), the handbook's circular segment. A sweep close to 0 gives a
    `Line`.
    """
    chord = math.dist(start, end)
    half = math.radians(sweep_deg) / 2.0
    if abs(half) < 1e-6 or chord < 1e-9:
        return Line(start, end)
    radius = chord / (2.0 * math.sin(abs(half)))
    rise_to_centre = chord / (2.0 * math.tan(half))
    mx, my = (start[0] + end[0]) / 2.0, (start[1] + end[1]) / 2.0
    nx, ny = -(end[1] - start[1]) / chord, (end[0] - start[0]) / chord
    centre = (mx + nx * rise_to_centre, my + ny * rise_to_centre)
    start_deg = math.degrees(math.atan2(start[1] - centre[1], start[0] - centre[0]))
    return Arc(centre, radius, start_deg, sweep_deg)


def running_length(points: Array) -> Array:
    """Length of a polyline up to each of its points, (N,) mm, 0 first."""
    step = points[1:] - points[:-1]
    along = np.zeros(max(len(points), 1))
    np.cumsum(np.hypot(step[:, 0], step[:, 1]), out=along[1:])
    return along


def spaced(low: float, high: float, count: int) -> Array:
    """Return `count` >= 2 even places, (N,); as `numpy.linspace`, to the bit, in half its time."""
    places = np.arange(count, dtype=np.float64) * ((high - low) / (count - 1)) + low
    places[-1] = high
    return places


def points_at(points: Array, along_mm: Array, at_mm: Array) -> Array:
    """Return the places (M, 2) of a polyline at lengths; `along_mm` is its `running_length`."""
    found = np.empty((np.size(at_mm), 2))
    for k in (0, 1):
        found[:, k] = np.interp(at_mm, along_mm, points[:, k])
    return found


def polyline_length(points: npt.ArrayLike) -> float:
    """Length of a polyline, points of shape (N, 2) in mm."""
    places = points_array(points)
    d = places[1:] - places[:-1]
    return float(np.hypot(d[:, 0], d[:, 1]).sum())


def as_point(p: Array) -> Point:
    """Return a place (2,) as a pair of floats."""
    return (float(p[0]), float(p[1]))
