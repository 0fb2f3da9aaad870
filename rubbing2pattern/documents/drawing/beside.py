"""Curves beside curves, parts of curves and points along them, for many curves at once.

Letters for shapes: B cubic curves, each of four control points, of all chains together; N pieces
into which one of them is divided.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from rubbing2pattern.geometry.curves import (
    Arc,
    Cubic,
    Curve,
    Line,
    Point,
    as_point,
    chords_for,
    on_bends,
)
from rubbing2pattern.geometry.frame import Array, points_array

Counts = npt.NDArray[np.int_]

CHORD_MM = 0.005
"""Rise of chords over curves, a twentieth of the finest line drawn."""
NOTHING_MM = 0.05
"""Shorter bits of an edge are noise of the cutting."""


def offset_curves(curves: Sequence[Curve], to_left_mm: Sequence[float]) -> list[Curve | None]:
    """Return the curve beside each curve, to the left of its direction; None where it shrinks away.

    Parameters
    ----------
    curves, to_left_mm : one distance for each curve, negative to the right.
    """
    beside: list[Curve | None] = []
    free = []
    for k, (curve, shift) in enumerate(zip(curves, to_left_mm, strict=True)):
        match curve:
            case Line():
                beside.append(_offset_line(curve, shift))
            case Arc():
                beside.append(_offset_arc(curve, shift))
            case Cubic():
                beside.append(curve)
                free.append((k, curve, shift))
    offsets = _offset_cubics([curve for _, curve, _ in free], [shift for *_, shift in free])
    for (k, *_), offset in zip(free, offsets, strict=True):
        beside[k] = offset
    return beside


def portion(curve: Curve, start: float, end: float) -> Curve:
    """Return the part of a curve between two parameters.

    Parameters
    ----------
    start, end : shares of the length, 0 to 1, of a line or arc; for a chain of n cubic curves the
        number of the curve plus the parameter within it, 0 to n.
    """
    match curve:
        case Line():
            # Numbers one by one, as in `_offset_line`: arrays of two take five times as long.
            (x, y), (u, v) = curve.start, curve.end
            dx, dy = u - x, v - y
            return Line((x + start * dx, y + start * dy), (x + end * dx, y + end * dy))
        case Arc():
            sweep = curve.sweep_deg
            return Arc(
                curve.centre,
                curve.radius_mm,
                curve.start_deg + start * sweep,
                (end - start) * sweep,
            )
    count = (len(curve.control) - 1) // 3
    first, last = min(int(start), count - 1), max(0, min(math.ceil(end) - 1, count - 1))
    control: list[Point] = []
    for k in range(first, last + 1):
        bend: Sequence[Point] = curve.control[3 * k : 3 * k + 4]
        low, high = max(start - k, 0.0), min(end - k, 1.0)
        if (low, high) != (0.0, 1.0):
            bend = _pairs(_bezier_part(points_array(bend), low, high))
        control += bend if not control else bend[1:]
    return Cubic(tuple(control))


def sampled(curves: Sequence[Curve]) -> list[tuple[Array, Array]]:
    """Return points along each curve, (M, 2), and their parameters for `portion`, (M,)."""
    chains = [curve for curve in curves if isinstance(curve, Cubic)]
    of_chains = _sampled_chains(chains)
    along = []
    for curve in curves:
        if isinstance(curve, Cubic):
            along.append(next(of_chains))
        else:
            points = curve.points(CHORD_MM)
            along.append((points, _shares(len(points))))
    return along


@lru_cache(maxsize=256)
def _shares(count: int) -> Array:
    """Return even shares from 0 to 1, (count,)."""
    shares = np.linspace(0.0, 1.0, count)
    shares.setflags(write=False)
    return shares


def _offset_line(line: Line, to_left_mm: float) -> Line:
    (x, y), (u, v) = line.start, line.end
    share = to_left_mm / max(math.hypot(u - x, v - y), 1e-12)
    dx, dy = -(v - y) * share, (u - x) * share
    return Line((x + dx, y + dy), (u + dx, v + dy))


def _offset_arc(arc: Arc, to_left_mm: float) -> Arc | None:
    radius = arc.radius_mm - math.copysign(to_left_mm, to_left_mm * arc.sweep_deg)
    return None if radius <= NOTHING_MM else Arc(arc.centre, radius, arc.start_deg, arc.sweep_deg)


def _bends(chains: Sequence[Cubic]) -> tuple[Array, Counts]:
    """Return the cubic curves of all chains, (B, 4, 2), and how many each chain has."""
    every = [points_array(chain.control) for chain in chains]
    parts = [np.stack((c[:-1:3], c[1::3], c[2::3], c[3::3]), axis=1) for c in every]
    return np.concatenate(parts), np.array([len(part) for part in parts])


def _offset_cubics(chains: Sequence[Cubic], to_left_mm: Sequence[float]) -> Iterator[Cubic]:
    """Fit cubic curves through offset points with their exact tangents (Hermite).

    Strategy: all curves that are divided into the same number of pieces are computed together.
    """
    if not chains:
        return
    bends, sizes = _bends(chains)
    shift_mm = np.repeat(np.asarray(to_left_mm, dtype=np.float64), sizes)
    counts = _pieces_for(bends)
    places = np.concatenate(([0], np.cumsum(3 * counts)))
    starts, control = np.empty((len(bends), 2)), np.empty((int(places[-1]), 2))
    for count in np.unique(counts):
        which = np.flatnonzero(counts == count)
        points, speed, curvature = _derivatives(bends[which], np.linspace(0.0, 1.0, count + 1))
        size = np.maximum(np.hypot(speed[..., 0], speed[..., 1]), 1e-12)[..., None]
        normal = np.stack((-speed[..., 1], speed[..., 0]), axis=-1) / size
        shift = shift_mm[which, None, None]
        beside = points + shift * normal
        handle = speed * (1.0 - shift * curvature[..., None]) / (3.0 * count)
        before, after = beside[:, :-1] + handle[:, :-1], beside[:, 1:] - handle[:, 1:]
        triples = np.stack((before, after, beside[:, 1:]), axis=2)
        control[places[which, None] + np.arange(3 * count)] = triples.reshape(len(which), -1, 2)
        starts[which] = beside[:, 0]
    first = 0
    for size_of_chain in sizes:
        last = first + int(size_of_chain)
        chain = control[places[first] : places[last]]
        yield Cubic((as_point(starts[first]), *_pairs(chain)))
        first = last


def _pieces_for(bends: Array) -> Counts:
    """Return for each cubic curve a number of pieces that turn by about 10 degrees each, (B,)."""
    sides = np.diff(bends, axis=1)
    short = np.hypot(sides[..., 0], sides[..., 1]) <= 1e-9
    angles = np.arctan2(sides[..., 1], sides[..., 0])
    # A side of length 0 has no direction; that of the side before or after it is used.
    angles[:, 0] = np.where(
        ~short[:, 0], angles[:, 0], np.where(~short[:, 1], angles[:, 1], angles[:, 2])
    )
    for k in (1, 2):
        angles[:, k] = np.where(short[:, k], angles[:, k - 1], angles[:, k])
    turn_deg = np.degrees(np.abs(np.diff(np.unwrap(angles, axis=1), axis=1)).sum(axis=1))
    pieces: Counts = np.clip(np.ceil(turn_deg / 10.0), 2, 64).astype(np.int_)
    return pieces


def _derivatives(bends: Array, t: Array) -> tuple[Array, Array, Array]:
    """Return points, first derivatives and signed curvature of cubic curves at parameters.

    Parameters
    ----------
    bends : control points, (B, 4, 2).
    t : N + 1 parameters.

    Returns
    -------
    points, first : (B, N + 1, 2).
    curvature : (B, N + 1).
    """
    s, u = (1.0 - t)[:, None], t[:, None]
    a, b, c, d = (bends[:, k, None, :] for k in range(4))
    points = s**3 * a + 3 * s**2 * u * b + 3 * s * u**2 * c + u**3 * d
    first = 3 * (s**2 * (b - a) + 2 * s * u * (c - b) + u**2 * (d - c))
    second = 6 * (s * (c - 2 * b + a) + u * (d - 2 * c + b))
    # A handle of length 0 has no direction of its own: the chord to the far side is used.
    stuck = np.hypot(first[..., 0], first[..., 1]) < 1e-9
    first = np.where(stuck[..., None], 1e-6 * (d - a), first)
    cross = first[..., 0] * second[..., 1] - first[..., 1] * second[..., 0]
    curvature = cross / np.maximum(np.hypot(first[..., 0], first[..., 1]) ** 3, 1e-12)
    return points, first, np.where(stuck, 0.0, curvature)


def _sampled_chains(chains: Sequence[Cubic]) -> Iterator[tuple[Array, Array]]:
    if not chains:
        return
    bends, sizes = _bends(chains)
    counts = chords_for(bends.transpose(1, 0, 2), CHORD_MM)
    places = np.concatenate(([0], np.cumsum(counts)))
    points, parameters = np.empty((int(places[-1]), 2)), np.empty(int(places[-1]))
    for count in np.unique(counts):
        which = np.flatnonzero(counts == count)
        cells = places[which, None] + np.arange(count)
        points[cells] = on_bends(np.ascontiguousarray(bends[which].transpose(1, 0, 2)), int(count))
        parameters[cells] = np.linspace(0.0, 1.0, count + 1)[1:]
    parameters += np.repeat(np.concatenate([np.arange(size) for size in sizes]), counts)
    first = 0
    for size in sizes:
        last = first + int(size)
        run = slice(int(places[first]), int(places[last]))
        yield np.vstack((bends[first, :1], points[run])), np.append(0.0, parameters[run])
        first = last


def _pairs(points: Array) -> list[Point]:
    """Return points (M, 2) as pairs of floats."""
    return [(x, y) for x, y in points.tolist()]


def _bezier_part(bend: Array, start: float, end: float) -> Array:
    """Return the control points of a cubic curve between two parameters (de Casteljau)."""
    right = _split(bend, start)[1]
    return _split(right, (end - start) / (1.0 - start) if start < 1.0 else 1.0)[0]


def _split(bend: Array, t: float) -> tuple[Array, Array]:
    levels = [bend]
    while len(levels[-1]) > 1:
        levels.append((1.0 - t) * levels[-1][:-1] + t * levels[-1][1:])
    left = np.array([level[0] for level in levels])
    right = np.array([level[-1] for level in levels[::-1]])
    return left, right
