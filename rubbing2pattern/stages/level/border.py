"""The straight sides of a panel's border, and the turn that levels them.

Legend for shapes: N points, S sides. Lengths in mm.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from shapely.geometry import LineString

from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.options.level import LevelOptions

_STEP_MM = 2.0
"""Step at which a side's points are taken, so that long and short parts of it count alike."""
_ROUNDS = 60
"""Rounds of weighing anew; a fixed number, so that the same border gives the same turn."""


@dataclass(frozen=True, slots=True)
class BorderSide:
    """A straight side: its length, and its angle off the nearest axis, -45 .. 45 degrees."""

    length_mm: float
    off_axis_deg: float


def straight_sides(outline: Array, options: LevelOptions) -> tuple[BorderSide, ...]:
    """Return the straight sides of a border.

    Strategy: the outline is simplified until no chord leaves it by more than an old side sags
    (Douglas and Peucker 1973). An arch falls into short chords that rise much for their length, so
    what stays long and flat is a side. Its direction is then fitted to all its points, those far
    off the line counting little, so that the beginning of an arch at the end of a side does not
    tilt it.

    Parameters
    ----------
    outline : (N, 2) closed polyline, first point repeated.
    options : sag and least length of a side.
    """
    size = np.ptp(outline, axis=0)
    rise_mm = options.bow_share * float(np.hypot(*size))
    least_mm = options.side_share * float(size.min())
    ring = _from_corner(outline)
    kept = shapely.get_coordinates(LineString(ring).simplify(rise_mm, preserve_topology=False))
    stops = _indices(ring, kept)
    sides = []
    for a, b in pairwise(stops):
        length_mm = math.dist(ring[a], ring[b])
        straight = _rise_mm(ring[a : b + 1]) <= options.bend_share * length_mm
        if length_mm >= least_mm and straight:
            angle_deg = _direction_deg(_dense(ring[a : b + 1]), options.off_side_mm)
            sides.append(BorderSide(length_mm, (angle_deg + 45.0) % 90.0 - 45.0))
    return tuple(sides)


def turn_of_sides_deg(sides: Sequence[BorderSide], options: LevelOptions) -> float:
    """Return by how much the sides as a whole are turned off the axes.

    Rules:

    1. Least squares over the sides, each weighing its length; a side that is off the others by more
       than `off_square_deg` counts as in a median (Huber 1964), so sides that splay alike to the
       left and the right cancel.
    2. Sides that are off by more than `splay_deg` even so were made so, and are left out.
    3. When those are the greater part of the border (a fan, a wedge), all sides share alike: their
       average is the line that halves the splay.
    """
    turn_deg = _huber_deg(sides, options.off_square_deg)
    square = [side for side in sides if abs(side.off_axis_deg - turn_deg) <= options.splay_deg]
    total_mm, square_mm = (sum(side.length_mm for side in some) for some in (sides, square))
    if square_mm <= 0.5 * total_mm:
        return _huber_deg(sides, math.inf)
    return _huber_deg(square, options.off_square_deg)


def _huber_deg(sides: Sequence[BorderSide], off_deg: float) -> float:
    angles = np.array([side.off_axis_deg for side in sides])
    lengths = np.array([side.length_mm for side in sides])
    turn = float(np.average(angles, weights=lengths))
    for _ in range(_ROUNDS):
        off = np.maximum(np.abs(angles - turn), 1e-9)
        turn = float(np.average(angles, weights=lengths * np.minimum(1.0, off_deg / off)))
    return turn


def _from_corner(outline: Array) -> Array:
    """Start a closed polyline at its point furthest from the middle, where no side runs through."""
    ring = outline[:-1]
    away = np.hypot(*(ring - outline.mean(axis=0)).T)
    ring = np.roll(ring, -int(np.argmax(np.round(away, 6))), axis=0)
    return np.vstack((ring, ring[:1]))


def _indices(ring: Array, kept: Array) -> list[int]:
    stops, k = [0], 0
    for point in kept[1:-1]:
        k += 1
        while not np.array_equal(ring[k], point):
            k += 1
        stops.append(k)
    return [*stops, len(ring) - 1]


def _rise_mm(path: Array) -> float:
    """Return how far a polyline leaves the straight line between its ends."""
    chord = (path[-1] - path[0]) / math.dist(path[0], path[-1])
    return float(np.abs((path - path[0]) @ np.array([-chord[1], chord[0]])).max())


def _dense(path: Array) -> Array:
    line = LineString(path)
    count = max(3, math.ceil(line.length / _STEP_MM))
    evenly = line.interpolate(np.linspace(0.0, line.length, count))
    return np.asarray(shapely.get_coordinates(evenly))


def _direction_deg(points: Array, off_side_mm: float) -> float:
    """Fit a line through points, weights 1 / (1 + (d / off)^2) by their distance d from it."""
    weights = np.ones(len(points))
    direction = points[-1] - points[0]
    for _ in range(_ROUNDS):
        middle = np.average(points, axis=0, weights=weights)
        spread = (points - middle) * np.sqrt(weights)[:, None]
        _, _, axes = np.linalg.svd(spread, full_matrices=False)
        direction = axes[0]
        off = (points - middle) @ np.array([-direction[1], direction[0]])
        weights = 1.0 / (1.0 + (off / off_side_mm) ** 2)
    return math.degrees(math.atan2(direction[1], direction[0]))
