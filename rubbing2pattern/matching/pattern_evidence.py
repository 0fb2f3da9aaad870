"""What the glass says about the pattern: joints and leads that several pieces want elsewhere.

A lead that the pattern has in a wrong place makes the glass on its one side too large for its
opening and that on its other side too small, by the same amount at the same places. Legend for
shapes: N places on the edge of a glass, F Fourier components, K figures of one fault.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import shapely
from shapely.geometry import LineString, Polygon

from rubbing2pattern.geometry.curves import Point, as_point
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.imaging.profiles import turned_left
from rubbing2pattern.matching.distances import ExactDistance, even_ring
from rubbing2pattern.matching.loose import Opening
from rubbing2pattern.model import Came, Panel
from rubbing2pattern.options.match import MatchOptions

_PLACES = 96
"""Places on the edge of a glass at which it is compared with its opening."""
_FARTHEST_MM = 6.0
"""Distance from a lead beyond which a place of an edge tells nothing about it."""
_IN_LINE_DEG = 25.0
"""Two leads that meet with a smaller bend run through."""
_BESIDE = 0.02
"""Share of a lead to both sides of a place by which its direction is taken."""


class Wrong(StrEnum):
    """What may be wrong with a pattern."""

    JOINT = "joint"
    """it lies elsewhere, and the leads at it follow"""
    LEAD = "lead"
    """it lies beside its line, all of it"""
    BOW = "bow"
    """it bows otherwise between its joints, most in the middle"""


@dataclass(frozen=True, slots=True)
class LaidGlass:
    """A glass in an opening: its name, the number there, its outline in the panel's frame."""

    name: str
    number: int
    outline: Polygon
    uncertainty_mm: float


@dataclass(frozen=True, slots=True)
class Asked:
    """A correction of the pattern that several glasses ask for.

    Attributes
    ----------
    wrong : what is wrong.
    id : of the joint or the lead.
    at : where the pattern has the joint or the middle of the lead.
    by_mm : how far it lies from there, (x, y).
    uncertainty_mm : one standard deviation of that, in the least certain direction.
    log_odds : logarithm of the odds that the pattern is wrong there.
    numbers, names : of the openings and of the glasses that agree.
    """

    wrong: Wrong
    id: str
    at: Point
    by_mm: Point
    uncertainty_mm: float
    log_odds: float
    numbers: tuple[int, ...]
    names: tuple[str, ...]

    @property
    def far_mm(self) -> float:
        """How far it lies off."""
        return math.hypot(*self.by_mm)

    @property
    def of_lead(self) -> bool:
        """Whether it is about a lead, not a joint."""
        return self.wrong is not Wrong.JOINT

    @property
    def to(self) -> Point:
        """Where it lies by the glass."""
        return self.at[0] + self.by_mm[0], self.at[1] + self.by_mm[1]


@dataclass(frozen=True, slots=True)
class _Fault:
    """A possible fault: for each glass that it touches its whitened trace, (N, K)."""

    wrong: Wrong
    id: str
    traces: Mapping[int, Array]


@dataclass(frozen=True, slots=True)
class _Edge:
    """One glass: how far it lies beyond the cut line, and which lead is where along its edge.

    Attributes
    ----------
    off_mm : (2 F,) the same whitened, free of what another pose of the glass would explain.
    outward : (N, 2) normal of the opening's edge.
    came : (N,) index of the nearest lead, -1 for none.
    along : (N,) place along that lead, 0 .. 1.
    power : (F,) variance of each Fourier component of the distances.
    free : (2 F, 3) orthonormal: what other poses would change.
    """

    glass: LaidGlass
    off_mm: Array
    outward: Array
    came: Array
    along: Array
    power: Array
    free: Array

    def whitened(self, columns: Array) -> Array:
        """Return columns (2 F, K) whose rows are independent and that no other pose explains."""
        even = _even(columns, self.power)
        return np.asarray(even - self.free @ (self.free.T @ even))


def _even(columns: Array, power: Array) -> Array:
    """Return the Fourier components of columns (N, K), each over its deviation, (2 F, K).

    What strays alike over a length round a ring has independent components; see `fitting`.
    """
    twice = np.full(len(power), 2.0)
    twice[0] = twice[-1] = 1.0
    scale = np.sqrt(twice / power)[:, None]
    parts = np.fft.rfft(columns, axis=0, norm="ortho") * scale
    return np.vstack((parts.real, parts.imag))


def asked_for(
    glasses: Sequence[LaidGlass],
    panel: Panel,
    openings: Mapping[int, Opening],
    options: MatchOptions,
) -> tuple[Asked, ...]:
    """Return the corrections that glasses ask for, the surest first.

    Rules:

    1. distances of a glass's edge from the cut line count as in `fitting`: the glass is cut large
       or small as a whole, strays alike over `steady_mm`, and may lie in its opening as it likes;
    2. a fault moves the leads by a pattern of its own: a joint by a shift that fades along its
       leads, a lead by the same all along, a bowed lead by a parabola across it; the glasses on all
       sides of it see the same shift, found by least squares;
    3. a fault is compared with none: the shift is then expected to be `pattern_mm`, without it no
       more than the stated uncertainty of the joint or opening. The integrals over the shift are
       closed, for all is normal; `pattern_share` of joints and leads are wrong beforehand;
    4. two glasses at least must each fit clearly better, by themselves;
    5. the likeliest fault is taken, what it explains is taken out, and so on while one is left
       whose log odds are at least `doubtful_margin`.
    """
    cames = panel.cames
    edges = [_edge(g, panel, openings[g.number], options) for g in glasses]
    faults = list(_faults(edges, panel))
    middle = {c.id: _middle(c) for c in cames}
    places = {j.id: j.at for j in panel.joints} | middle
    stated = {j.id: j.uncertainty_mm for j in panel.joints}
    off = [edge.off_mm for edge in edges]
    found: list[Asked] = []
    weighed = [(_weigh(f, off, stated.get(f.id, 0.0), options), f) for f in faults]
    while weighed:
        best, fault = max(weighed, key=lambda each: each[0].log_odds)
        if best.log_odds < options.doubtful_margin:
            break
        agree = sorted(best.agree, key=lambda k: glasses[k].number)
        found.append(
            Asked(
                fault.wrong,
                fault.id,
                places[fault.id],
                _shift(fault, best.shift_mm, cames),
                best.uncertainty_mm,
                best.log_odds,
                tuple(glasses[k].number for k in agree),
                tuple(glasses[k].name for k in agree),
            )
        )
        for k, trace in fault.traces.items():  # rule 5
            off[k] = off[k] - trace @ best.shift_mm
        touched = fault.traces.keys()
        weighed = [
            (_weigh(f, off, stated.get(f.id, 0.0), options), f)
            if touched & f.traces.keys()
            else (was, f)
            for was, f in weighed
            if f.id != fault.id
        ]
    return tuple(found)


@dataclass(frozen=True, slots=True)
class _Weight:
    """How a fault explains the glasses: log odds, its shift (K,), which glasses agree."""

    log_odds: float
    shift_mm: Array
    uncertainty_mm: float
    agree: tuple[int, ...]


def _weigh(fault: _Fault, off: Sequence[Array], stated_mm: float, options: MatchOptions) -> _Weight:
    """Rules 2 to 4."""
    size = next(iter(fault.traces.values())).shape[1]
    normal, right = np.zeros((size, size)), np.zeros(size)
    for k, trace in fault.traces.items():
        normal += trace.T @ trace
        right += trace.T @ off[k]
    here_mm = max(options.opening_mm, stated_mm)
    log_bayes = _evidence(normal, right, options.pattern_mm) - _evidence(normal, right, here_mm)
    inverse = np.linalg.inv(normal + np.eye(size) / options.pattern_mm**2)
    shift = inverse @ right
    prior = math.log(options.pattern_share / (1.0 - options.pattern_share))
    agree = tuple(
        k
        for k, trace in fault.traces.items()
        if (moved := trace @ shift) @ (off[k] - 0.5 * moved) > options.pattern_agree
    )
    log_odds = log_bayes + prior if len(agree) > 1 else -math.inf
    spread = math.sqrt(float(np.linalg.eigvalsh(inverse)[-1]))
    return _Weight(log_odds, shift, spread, agree)


def _evidence(normal: Array, right: Array, spread_mm: float) -> float:
    """Return the log likelihood of distances, over a shift that is normal with that spread."""
    size = len(right)
    inner = normal + np.eye(size) / spread_mm**2
    log_det = np.linalg.slogdet(np.eye(size) + spread_mm**2 * normal)[1]
    return float(0.5 * right @ np.linalg.solve(inner, right) - 0.5 * log_det)


def _edge(glass: LaidGlass, panel: Panel, opening: Opening, options: MatchOptions) -> _Edge:
    """Rule 1."""
    places = even_ring(glass.outline, _PLACES)
    away, outward = ExactDistance(opening.cut).at(places)
    step_mm = glass.outline.exterior.length / _PLACES
    way_mm = np.minimum(np.arange(_PLACES), _PLACES - np.arange(_PLACES)) * step_mm
    own = options.cutting_mm**2 + opening.uncertainty_mm**2
    spread = own * np.exp(-way_mm / options.steady_mm) + options.size_mm**2
    power = np.fft.rfft(spread).real + glass.uncertainty_mm**2
    arm = places - places.mean(axis=0)
    turning = outward[:, 1] * arm[:, 0] - outward[:, 0] * arm[:, 1]
    even = _even(np.column_stack((turning, outward, away)), power)
    free, _ = np.linalg.qr(even[:, :3])
    off = even[:, 3] - free @ (free.T @ even[:, 3])
    came, along = _nearest(places, opening.number, panel)
    return _Edge(glass, off, outward, came, along, power, free)


def _nearest(places: Array, number: int, panel: Panel) -> tuple[Array, Array]:
    """Return the nearest lead around a piece at each place, (N,), and the share along it."""
    near = [k for k, c in enumerate(panel.cames) if number in c.pieces]
    lines = [LineString(panel.cames[k].path) for k in near]
    points = shapely.points(places)
    far = np.array([shapely.distance(line, points) for line in lines])
    best = far.argmin(axis=0)
    along = shapely.line_locate_point(np.array(lines, dtype=object)[best], points, normalized=True)
    reach = 0.5 * panel.heart_mm + panel.clearance_mm + _FARTHEST_MM
    came = np.where(far.min(axis=0) < reach, np.array(near)[best], -1)
    return came, along


def _faults(edges: Sequence[_Edge], panel: Panel) -> Iterator[_Fault]:
    """Yield what may be wrong around the glasses (rule 2)."""
    at_joint: dict[str, dict[int, Array]] = {}
    index = {c.id: k for k, c in enumerate(panel.cames)}
    on_lead: dict[str, list[tuple[int, Array, Array]]] = {}
    for k, edge in enumerate(edges):
        for c in np.unique(edge.came[edge.came >= 0]):
            came, here = panel.cames[int(c)], edge.came == c
            if came.start == came.end:
                continue
            t = np.where(here, edge.along, 0.0)
            for joint, share in ((came.start, np.where(here, 1.0 - t, 0.0)), (came.end, t)):
                columns = at_joint.setdefault(joint, {})
                columns[k] = columns.get(k, 0.0) + edge.outward * share[:, None]
            across = np.where(here, edge.outward @ np.array(_normal(came, 0.5)), 0.0)
            on_lead.setdefault(came.id, []).append((k, t, across))
    for joint, columns in at_joint.items():
        yield _Fault(Wrong.JOINT, joint, {k: edges[k].whitened(c) for k, c in columns.items()})
    for name, seen in on_lead.items():
        came = panel.cames[index[name]]
        bowed = {k: _bowed(edges[k], came, t, edges[k].came == index[name]) for k, t, _ in seen}
        yield _Fault(Wrong.BOW, name, {k: edges[k].whitened(c) for k, c in bowed.items()})
        if all(_runs_by(panel, joint, name) for joint in (came.start, came.end)):
            level = {k: edges[k].whitened(across[:, None]) for k, _, across in seen}
            yield _Fault(Wrong.LEAD, name, level)


def _bowed(edge: _Edge, came: Came, along: Array, here: Array) -> Array:
    """Return how a bow of 1 mm shows in a glass, (N, 1)."""
    t = along[here]
    column = np.zeros((len(along), 1))
    across = np.einsum("ij,ij->i", edge.outward[here], _normals(came, t))
    column[here, 0] = 4.0 * t * (1.0 - t) * across
    return column


def _shift(fault: _Fault, shift_mm: Array, cames: Sequence[Came]) -> Point:
    if fault.wrong is Wrong.JOINT:
        return as_point(shift_mm)
    came = next(c for c in cames if c.id == fault.id)
    return as_point(np.array(_normal(came, 0.5)) * shift_mm[0])


def bowed_at(came: Came, asked: Asked, share: float) -> Point:
    """Return where a lead that bows otherwise lies at a share of its length."""
    middle, here = _normal(came, 0.5), _normal(came, share)
    rise = 4.0 * share * (1.0 - share) * float(np.dot(middle, asked.by_mm))
    at = LineString(came.path).interpolate(share, normalized=True)
    return at.x + rise * here[0], at.y + rise * here[1]


def _normal(came: Came, share: float) -> Point:
    return as_point(_normals(came, np.array([share]))[0])


def _normals(came: Came, shares: Array) -> Array:
    """Return the normals of a lead, to its left, at shares of its length, (N, 2)."""
    line = LineString(came.path)
    low, high = (
        shapely.get_coordinates(line.interpolate(np.clip(shares + by, 0.0, 1.0), normalized=True))
        for by in (-_BESIDE, _BESIDE)
    )
    return turned_left(high - low)


def _middle(came: Came) -> Point:
    return as_point(LineString(came.path).interpolate(0.5, normalized=True).coords[0])


def _runs_by(panel: Panel, joint: str, without: str) -> bool:
    """Return whether other leads run through at a joint, so that this one slides along them."""
    ways = []
    for came in panel.cames:
        if came.id != without and joint in (came.start, came.end):
            path = came.path if came.start == joint else came.path[::-1]
            step = path[min(1, len(path) - 1)] - path[0]
            ways.append(math.degrees(math.atan2(step[1], step[0])))
    return any(
        abs((a - b) % 360.0 - 180.0) < _IN_LINE_DEG for k, a in enumerate(ways) for b in ways[:k]
    )
