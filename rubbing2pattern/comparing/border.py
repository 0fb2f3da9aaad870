"""Sag and bow: how the sides of the border leave their chords and arcs, before and after.

Legend for shapes: R places on a ring, S places on a side.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from scipy.optimize import least_squares
from shapely.geometry import MultiPolygon, Polygon

from rubbing2pattern.comparing.found import BorderSide, Bow, SideKind
from rubbing2pattern.comparing.registering import Registration
from rubbing2pattern.geometry.curves import as_point, points_at, running_length
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.model import Panel
from rubbing2pattern.options.compare import CompareOptions

_STEP_MM = 1.0
"""Step along the border at which its turn is taken."""
_VERTEX_MM = 4.0
"""How far from where the border turns most a vertex of its path is the corner."""
_SHORTEST_MM = 20.0
"""Shortest side; a shorter one shows no shape."""
_DEPTH = 3
"""How often a side is divided in two; eight parts are more than any side of a panel has."""
_SPLITS = 24
"""Places at which a division of a side is tried, coarsely and then finely."""
_STATIONS = 201
"""Places on a side; odd, so that one lies in the middle."""


@dataclass(frozen=True, slots=True)
class _Ring:
    """The lead line of a border, closed, anticlockwise; (R, 2) and its running length (R,)."""

    points: Array
    along_mm: Array

    @classmethod
    def of(cls, shape: Polygon | MultiPolygon) -> _Ring:
        """Take the outer ring of the largest part."""
        part = max(shapely.get_parts(shape), key=lambda p: float(p.area))
        points = shapely.get_coordinates(shapely.orient_polygons(part).exterior)
        return cls(points, running_length(points))

    @property
    def length_mm(self) -> float:
        """All around."""
        return float(self.along_mm[-1])

    def at(self, along_mm: Array) -> Array:
        """Return places (S, 2); lengths go round and round."""
        return points_at(self.points, self.along_mm, np.mod(along_mm, self.length_mm))

    def between(self, start_mm: float, end_mm: float) -> Array:
        """Return `_STATIONS` even places from one length on to another."""
        if end_mm <= start_mm + 1e-9:
            end_mm += self.length_mm
        return self.at(np.linspace(start_mm, end_mm, _STATIONS))

    def nearest(self, place: Array) -> float:
        """Return the length at which the ring is nearest to a place (2,)."""
        line = shapely.LineString(self.points)
        return float(shapely.line_locate_point(line, shapely.Point(place)))


def border_sides(
    before: Panel, after: Panel, found: Registration, options: CompareOptions
) -> tuple[BorderSide, ...]:
    """Measure every side of the border in both states.

    Rules:

    1. a corner is where the border turns over a short stretch by `corner_deg` more than it does
       beside it, so that no place on an arc is one;
    2. from corner to corner a side is straight when it rises by less than `flat_share` of its
       chord, else an arc when it leaves one by less than `arc_share` of its length, else it is
       divided where both parts are best a chord or an arc; without a corner it is a circle;
    3. sides and kinds are those of the state before; each end is sought after at the corner
       there, or else at the nearest place of the border;
    4. deviations are positive out of the panel, each state from its own chord or arc;
    5. a change is the greatest of one place of the side against both ends, so that an arc that
       flattens is seen too; of a circle it is that of its radius or of being out of round.
    """
    one = _Ring.of(before.outline)
    other = _Ring.of(found.motion.shape(after.outline))
    corners, own_corners = _corners(one, options), _corners(other, options)
    spread = math.hypot(_uncertainty(before), _uncertainty(after))
    parts = list(_parts(one, corners, options))
    names = _names([kind for kind, _, _ in parts], [one.between(a, b) for _, a, b in parts])
    sides = []
    for name, (kind, start, end) in zip(names, parts, strict=True):
        ends = [_there(one, mm, other, own_corners, options) for mm in (start, end)]
        places, own = one.between(start, end), other.between(*ends)
        off, own_off = (_deviations(kind, p) for p in (places, own))
        k, change = _change(kind, (places, off), (own, own_off))
        least = max(options.least_move_mm, options.sure * spread)
        sides.append(
            BorderSide(
                name,
                kind,
                _bow(kind, places, off),
                _bow(kind, own, own_off),
                change,
                as_point(places[k]),
                spread,
                abs(change) >= least,
            )
        )
    return tuple(sides)


def _change(
    kind: SideKind, before: tuple[Array, Array], after: tuple[Array, Array]
) -> tuple[int, float]:
    """Return the station (of the state before) and amount of the greatest change; rule 5."""
    (places, off), (own, own_off) = before, after
    if kind is SideKind.CIRCLE:
        grown = _circle(own)[1] - _circle(places)[1]
        rounder = float(np.abs(own_off).max() - np.abs(off).max())
        return int(np.argmax(np.abs(off))), max(grown, rounder, key=abs)
    changes = _out(own) - _out(places)
    k = int(np.argmax(np.abs(changes)))
    return k, float(changes[k])


def _uncertainty(panel: Panel) -> float:
    """Return one standard deviation of a deviation: a place and both ends stray."""
    rim = {came.id for came in panel.cames if came.border}
    own = [j.uncertainty_mm for j in panel.joints if rim & set(j.cames)]
    return math.sqrt(1.5) * float(np.median(own)) if own else 0.0


def _corners(ring: _Ring, options: CompareOptions) -> list[float]:
    """Return the lengths of the corners along a ring; rule 1."""
    reach = min(options.corner_mm, ring.length_mm / 12.0)
    count = max(24, round(ring.length_mm / _STEP_MM))
    along = np.asarray(np.arange(count) * (ring.length_mm / count), dtype=np.float64)
    here, back, ahead = (np.abs(_bent(ring, along + k * reach, reach)) for k in (0.0, -2.0, 2.0))
    turn = here - 0.5 * (back + ahead)
    found: list[float] = []
    for k in np.argsort(-np.round(turn, 9), kind="stable"):
        if turn[k] < math.radians(options.corner_deg):
            break
        if all(_apart(along[k], mm, ring.length_mm) > 2.0 * reach for mm in found):
            found.append(float(along[k]))
    return sorted(_sharpened(ring, mm) for mm in found)


def _bent(ring: _Ring, along_mm: Array, reach_mm: float) -> Array:
    """Return by how much a ring turns about places, (S,) radians."""
    here = ring.at(along_mm)
    back, ahead = here - ring.at(along_mm - reach_mm), ring.at(along_mm + reach_mm) - here
    return _angle(back, ahead)


def _apart(one_mm: float, other_mm: float, around_mm: float) -> float:
    return abs(math.remainder(one_mm - other_mm, around_mm))


def _angle(one: Array, other: Array) -> Array:
    return np.asarray(
        np.arctan2(one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0], np.sum(one * other, axis=1))
    )


def _sharpened(ring: _Ring, along_mm: float) -> float:
    """Return the length of the sharpest vertex near a corner."""
    steps = np.diff(ring.points, axis=0)
    turn = np.abs(_angle(np.roll(steps, 1, axis=0), steps))
    away = np.array([_apart(mm, along_mm, ring.length_mm) for mm in ring.along_mm[:-1]])
    near = np.flatnonzero(away <= _VERTEX_MM)
    return along_mm if not len(near) else float(ring.along_mm[near[np.argmax(turn[near])]])


def _parts(
    ring: _Ring, corners: list[float], options: CompareOptions
) -> Iterator[tuple[SideKind, float, float]]:
    """Yield kind, start and end of the sides of a ring; rule 2."""
    if not corners:
        yield SideKind.CIRCLE, 0.0, 0.0
        return
    ends = [*corners[1:], corners[0] + ring.length_mm]
    for start, end in zip(corners, ends, strict=True):
        # Parted at the middle of an arc at first, its halves are one again in the end.
        yield from _joined(ring, list(_split(ring, start, end, options, _DEPTH)), options)


def _joined(
    ring: _Ring, parts: list[tuple[SideKind, float, float]], options: CompareOptions
) -> list[tuple[SideKind, float, float]]:
    """Join parts that follow each other and are one chord or one arc together."""
    done = parts[:1]
    for kind, start, end in parts[1:]:
        before, first, _ = done[-1]
        whole, off = _best(ring.between(first, end), options)
        if whole is before is kind and off.max() <= options.arc_share * (end - first):
            done[-1] = (kind, first, end)
        else:
            done.append((kind, start, end))
    return done


def _split(
    ring: _Ring, start: float, end: float, options: CompareOptions, depth: int
) -> Iterator[tuple[SideKind, float, float]]:
    places = ring.between(start, end)
    kind, off = _best(places, options)
    good = kind is SideKind.STRAIGHT or off.max() <= options.arc_share * (end - start)
    if good or depth == 0 or end - start < 3 * _SHORTEST_MM:
        yield kind, start, end
        return
    low, high, at = start, end, start
    for _ in range(2):  # Coarsely, then finely about the best.
        tried = np.linspace(low, high, _SPLITS + 2)[1:-1]
        at = min((_cost(ring, start, float(mm), end, options), float(mm)) for mm in tried)[1]
        step = (high - low) / _SPLITS
        low, high = max(start, at - step), min(end, at + step)
    yield from _split(ring, start, at, options, depth - 1)
    yield from _split(ring, at, end, options, depth - 1)


def _cost(ring: _Ring, start: float, at: float, end: float, options: CompareOptions) -> float:
    """Return the squares that are left when a side is divided at a length."""
    halves = ((ring.between(start, at), at - start), (ring.between(at, end), end - at))
    return sum(float(np.mean(_best(half, options)[1] ** 2)) * size for half, size in halves)


def _best(places: Array, options: CompareOptions) -> tuple[SideKind, Array]:
    """Return what a run of places is, and how far it leaves that."""
    chord = float(np.hypot(*(places[-1] - places[0])))
    length = float(running_length(places)[-1])
    off = np.abs(_deviations(SideKind.STRAIGHT, places))
    if off.max() <= options.flat_share * length and chord > 0.5 * length:
        return SideKind.STRAIGHT, off
    return SideKind.ARC, np.abs(_deviations(SideKind.ARC, places))


def _deviations(kind: SideKind, places: Array) -> Array:
    """Return how far each place (S, 2) lies out of the chord, arc or circle; rule 4."""
    if kind is SideKind.CIRCLE:
        centre, radius = _circle(places)
        return np.asarray(np.hypot(*(places - centre).T) - radius)
    if kind is SideKind.ARC:
        return _off_arc(places, _rise(places))
    return _out(places)


def _out(places: Array) -> Array:
    """Return how far out of the chord; the inside lies to the left of the way."""
    chord = places[-1] - places[0]
    length = max(float(np.hypot(*chord)), 1e-9)
    off = places - places[0]
    return np.asarray((off[:, 0] * chord[1] - off[:, 1] * chord[0]) / length)


def _off_arc(places: Array, rise_mm: float) -> Array:
    """Return how far places lie out of the arc through both ends with a rise."""
    chord = places[-1] - places[0]
    half = 0.5 * max(float(np.hypot(*chord)), 1e-9)
    if abs(rise_mm) < 1e-3:
        return _out(places)
    # Segment of a circle: r = (half chord^2 + rise^2) / (2 rise), signed like the rise.
    radius = (half * half + rise_mm * rise_mm) / (2.0 * rise_mm)
    outward = np.array((chord[1], -chord[0])) / (2.0 * half)
    centre = 0.5 * (places[0] + places[-1]) + (rise_mm - radius) * outward
    away = np.hypot(*(places - centre).T)
    return np.asarray(math.copysign(1.0, rise_mm) * (away - abs(radius)))


def _rise(places: Array) -> float:
    """Return the rise of the arc through both ends that lies nearest to the places."""
    start = float(_out(places)[len(places) // 2]) or 1.0
    fit = least_squares(lambda rise: _off_arc(places, float(rise[0])), [start], x_scale=[10.0])
    return float(fit.x[0])


def _circle(places: Array) -> tuple[Array, float]:
    middle = places[:-1].mean(axis=0)
    radius = float(np.mean(np.hypot(*(places - middle).T)))
    fit = least_squares(
        lambda c: np.hypot(places[:, 0] - c[0], places[:, 1] - c[1]) - c[2],
        [middle[0], middle[1], radius],
    )
    return np.asarray(fit.x[:2]), float(fit.x[2])


def _bow(kind: SideKind, places: Array, off: Array) -> Bow:
    k = int(np.argmax(np.abs(off)))
    chord = places[-1] - places[0]
    length = float(np.hypot(*chord))
    rise = _rise(places) if kind is SideKind.ARC else 0.0
    along = float(running_length(places)[k])
    if kind is SideKind.CIRCLE:
        _, rise = _circle(places)
        length = 2.0 * rise
    elif kind is SideKind.STRAIGHT:
        along = float((places[k] - places[0]) @ chord / max(length, 1e-9))
    return Bow(length, rise, float(off[k]), along, as_point(places[k]))


def _there(
    ring: _Ring, along_mm: float, other: _Ring, corners: list[float], options: CompareOptions
) -> float:
    """Return where an end of a side lies on the other ring; rule 3."""
    place = ring.at(np.array([along_mm]))[0]
    near = [(float(np.hypot(*(other.at(np.array([mm]))[0] - place))), mm) for mm in corners]
    near = [found for found in near if found[0] <= options.reach_mm]
    return min(near)[1] if near else other.nearest(place)


def _names(kinds: list[SideKind], sides: list[Array]) -> list[str]:
    """Name sides by where they look: right, top, left, bottom, numbered when there are several."""
    if kinds == [SideKind.CIRCLE]:
        return ["rim"]
    looks = []
    for places in sides:
        chord = places[-1] - places[0]
        turn = math.degrees(math.atan2(-chord[0], chord[1]))
        looks.append(("right", "top", "left", "bottom")[round(turn / 90.0) % 4])
    seen: dict[str, int] = {}
    names = []
    for look in looks:
        seen[look] = seen.get(look, 0) + 1
        names.append(f"{look} {seen[look]}" if looks.count(look) > 1 else look)
    return names
