"""Joints: where the fitted runs of a knot cross, butt and meet.

A *stop* is a place on a run that belongs to a joint.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, field

import numpy as np
import shapely
from scipy.spatial import cKDTree
from shapely.geometry import LineString, Point

from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.laying.knots import Knot
from rubbing2pattern.laying.runs import Run, polyline_between
from rubbing2pattern.laying.stubs import Stubs
from rubbing2pattern.options.laying import LayingOptions


@dataclass(frozen=True, slots=True)
class Joint:
    """A joint: its place, the runs that go through it and those that end at it.

    `through` holds (run, length along it); `ending` holds (run, length, whether at its last end).
    """

    place: Array
    through: list[tuple[int, float]] = field(default_factory=list)
    ending: list[tuple[int, float, bool]] = field(default_factory=list)
    misfit_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class Way:
    """A stretch of a run in a knot: going through, or from the last clean place of an end on."""

    run: int
    low: float
    high: float
    line: LineString
    at_last: bool = False

    def length_at(self, place: Array) -> float:
        """Return the running length on the run of a place on the stretch."""
        share = float(self.line.project(Point(place)))
        return self.low - share if self.backwards else self.low + share

    @property
    def backwards(self) -> bool:
        """Whether the line is walked against the run, as from an end at its start."""
        return self.low > self.high


Hit = tuple[float, Array, Way]
"""How far an end goes, the place, and the lead it comes to."""


def joints_of(
    knot: Knot,
    runs: list[Run],
    run_of: dict[int, tuple[int, bool]],
    stubs: Stubs,
    centre: Array,
    options: LayingOptions,
) -> list[Joint] | None:
    """Return the joints of a knot, or None when its leads do not fit together.

    1. leads that run through and cross make a joint; those that pass within `meet_mm` too;
    2. an end goes on by its own curve to the first lead it comes to, and butts there; the
       nearest first, so that of two ends that would cross the farther butts against the nearer;
    3. with no lead running through, all ends meet where their curves pass nearest; if they miss
       each other by more than `meet_mm`, two make a corner and the others butt beside it;
    4. joints nearer to each other than `close_mm` are one, and those of the same two leads
       within `same_place_mm`: two leads do not part and meet again so soon;
    5. a knot whose leads do not all connect has a short lead that was taken for solder.

    Parameters
    ----------
    run_of : for an end, its run and whether it is the run's last end.
    centre : (2,) where the net had the knot.
    """
    through = [_through(pair, runs, run_of, stubs, options) for pair in knot.pairs]
    ends = [_ending(e, runs, run_of, stubs, centre, options.reach_mm) for e in knot.alone]
    if not through:
        return _met(ends, runs, centre, len(knot.nodes), options)
    joints: list[Joint] = []
    for i, one in enumerate(through):  # rule 1
        for two in through[:i]:
            joint = _crossed(one, two, centre, options)
            if joint is not None:
                joints.append(joint)
    butted = _butted(
        ends, through, runs, alone=len(knot.nodes) == 1, back_mm=options.clear_mm
    )  # rule 2
    if butted is None:
        return None
    joints = merged(joints + butted, runs, options)
    return joints if _tied(through + ends, joints) else None  # rule 5


def _butted(
    ends: list[Way], through: list[Way], runs: list[Run], *, alone: bool, back_mm: float
) -> list[Joint] | None:
    """Carry every end on to the first lead it comes to, the nearest first.

    An end that comes to none butts where it passes nearest, if the knot has one node `alone`.
    """
    joints: list[Joint] = []
    landed: list[Way] = []
    waiting = list(ends)
    while waiting:
        hits = [_first_hit(w, through + landed) for w in waiting]
        if not any(hits) and alone:
            hits = [_nearest(w, through + landed) for w in waiting]
        far = [hit[0] if hit else math.inf for hit in hits]
        i = far.index(min(far))
        hit, way = hits[i], waiting.pop(i)
        if hit is None:
            return None
        _, place, target = hit
        cut = way.length_at(place)
        through_here = [(target.run, target.length_at(place))]
        joints.append(Joint(place, through_here, [(way.run, cut, way.at_last)]))
        back = way.low - math.copysign(back_mm, way.high - way.low)
        landed.append(_way(runs, way.run, back, cut, way.at_last))
    return joints


def _tied(ways: list[Way], joints: list[Joint]) -> bool:
    """Whether all leads of a knot hang together."""
    group = {w.run: w.run for w in ways}
    for joint in joints:
        names = {group[run] for run in _leads(joint)}
        group = {run: min(names) if name in names else name for run, name in group.items()}
    return len(set(group.values())) == 1


def _way(runs: list[Run], run: int, low: float, high: float, at_last: bool = False) -> Way:
    shape = runs[run].shape
    points = polyline_between(shape, min(low, high), max(low, high))
    if low > high:
        points = points[::-1]
    return Way(run, low, high, LineString(points), at_last)


def _through(
    pair: tuple[int, int],
    runs: list[Run],
    run_of: dict[int, tuple[int, bool]],
    stubs: Stubs,
    options: LayingOptions,
) -> Way:
    run = run_of[pair[0]][0]
    shape = runs[run].shape
    t = sorted(shape.near(stubs.tip[e], 0.0, shape.last_mm) for e in pair)
    low = max(t[0] - options.window_mm, float(shape.t_mm[0]))
    high = min(t[1] + options.window_mm, float(shape.t_mm[-1]))
    return _way(runs, run, low, high)


def _ending(
    end: int,
    runs: list[Run],
    run_of: dict[int, tuple[int, bool]],
    stubs: Stubs,
    centre: Array,
    reach_mm: float,
) -> Way:
    run, at_last = run_of[end]
    shape = runs[run].shape
    half = 0.5 * shape.last_mm
    if stubs.seen_mm[end] > 0:
        limits = (half, math.inf) if at_last else (-math.inf, half)
        tip = shape.near(stubs.tip[end], *limits)
        ahead = math.dist(stubs.tip[end], centre) + reach_mm
    else:
        tip = half
        ahead = abs(half) + reach_mm
    if at_last:
        return _way(runs, run, tip, min(tip + ahead, float(shape.t_mm[-1])), True)
    return _way(runs, run, tip, max(tip - ahead, float(shape.t_mm[0])), False)


def _crossed(one: Way, two: Way, centre: Array, options: LayingOptions) -> Joint | None:
    common = shapely.get_coordinates(one.line.intersection(two.line))
    if len(common):
        place = common[int(np.hypot(*(common - centre).T).argmin())]
        misfit = 0.0
    else:
        a, b = shapely.get_coordinates(shapely.shortest_line(one.line, two.line))
        misfit = 0.5 * math.dist(a, b)
        if 2.0 * misfit > options.meet_mm:
            return None
        place = 0.5 * (a + b)
    stops = [(w.run, w.length_at(place)) for w in (one, two)]
    return Joint(np.asarray(place), stops, misfit_mm=misfit)


def _first_hit(way: Way, targets: list[Way]) -> Hit | None:
    """Return the first place where an end comes to another lead: how far, where, which."""
    best: Hit | None = None
    for target in targets:
        if _same_stretch(way, target):
            continue
        for p in shapely.get_coordinates(way.line.intersection(target.line)):
            far = float(way.line.project(Point(p)))
            if best is None or far < best[0]:
                best = (far, np.asarray(p), target)
    return best


def _same_stretch(way: Way, target: Way) -> bool:
    """Whether a way begins on the stretch of its own run that it might come to."""
    low, high = sorted((target.low, target.high))
    return way.run == target.run and low - 1.0 < way.low < high + 1.0


def _nearest(way: Way, targets: list[Way]) -> Hit | None:
    """Return where an end that meets no lead passes nearest to one, as `_first_hit`."""
    best: Hit | None = None
    gap = math.inf
    for target in targets:
        if _same_stretch(way, target):
            continue
        a, b = shapely.get_coordinates(shapely.shortest_line(way.line, target.line))
        if math.dist(a, b) < gap:
            gap = math.dist(a, b)
            best = (float(way.line.project(Point(a))), np.asarray(b), target)
    return best


def _met(
    ends: list[Way], runs: list[Run], centre: Array, nodes: int, options: LayingOptions
) -> list[Joint] | None:
    """Let all ends meet in one place (rule 3)."""
    if len(ends) == 1:
        way = ends[0]
        shape = runs[way.run].shape
        t = shape.last_mm if way.at_last else 0.0
        t = shape.near(
            centre,
            *((0.5 * shape.last_mm, math.inf) if way.at_last else (-math.inf, 0.5 * shape.last_mm)),
        )
        return [Joint(shape.at(t)[0], [], [(way.run, t, way.at_last)])]
    place, misfit = meeting([(w.run, w.at_last) for w in ends], runs, centre)
    if misfit > options.meet_mm:
        cornered = _cornered(ends, runs, centre, options) if len(ends) > 2 else None
        if cornered is not None or nodes > 1:
            return cornered
    joint = Joint(place, misfit_mm=misfit)
    for w in ends:
        joint.ending.append((w.run, _end_length(runs, w.run, w.at_last, place), w.at_last))
    return [joint]


def gathered(
    knot: Knot, runs: list[Run], run_of: dict[int, tuple[int, bool]], place: Array
) -> Joint:
    """Let all that comes to a knot come to one place, for its curves meet nowhere near."""
    joint = Joint(place)
    for end, _ in knot.pairs:
        run = run_of[end][0]
        joint.through.append((run, runs[run].shape.near(place)))
    for run, at_last in (run_of[end] for end in knot.alone):
        t = float(np.clip(_end_length(runs, run, at_last, place), 0.0, runs[run].shape.last_mm))
        joint.ending.append((run, t, at_last))
    return joint


def _cornered(
    ends: list[Way], runs: list[Run], centre: Array, options: LayingOptions
) -> list[Joint] | None:
    """Let two ends make a corner, and the others butt against them beside it.

    So a lead that butts close to a corner of the border comes out, which one node seems to hold. Of
    all pairs the one is taken whose corner and butts lie nearest to the node.
    """
    best: list[Joint] | None = None
    least = options.corner_near_mm
    for pair in itertools.combinations(ends, 2):
        place, misfit = meeting([(w.run, w.at_last) for w in pair], runs, centre)
        if misfit > options.meet_mm:
            continue
        corner = Joint(place, misfit_mm=misfit)
        sides = []
        for w in pair:
            t = _end_length(runs, w.run, w.at_last, place)
            corner.ending.append((w.run, t, w.at_last))
            sides.append(_way(runs, w.run, w.low, t, w.at_last))
        butted = _butted([w for w in ends if w not in pair], sides, runs, alone=False,
                         back_mm=options.clear_mm)  # fmt: skip
        if butted is None:
            continue
        far = max(math.dist(j.place, centre) for j in (corner, *butted))
        if far < least:
            best, least = [corner, *butted], far
    return best


def _end_length(runs: list[Run], run: int, at_last: bool, place: Array) -> float:
    shape = runs[run].shape
    half = 0.5 * shape.last_mm
    return shape.near(place, *((half, math.inf) if at_last else (-math.inf, half)))


def meeting(
    ends: list[tuple[int, bool]], runs: list[Run], start: Array, hold_mm: float = 4.0
) -> tuple[Array, float]:
    """Return the place nearest to the curves of several ends, weighed by how sure each is."""
    place = start
    pull = (0.3 / hold_mm) ** 2
    misfit = 0.0
    for _ in range(4):
        xx, xy, yy = pull, 0.0, pull
        right = pull * start
        normals = []
        for run, at_last in ends:
            shape = runs[run].shape
            t = _end_length(runs, run, at_last, place)
            foot, along = shape.at(t)
            x, y = -float(along[1]), float(along[0])
            weight = 0.09 / (0.09 + float(shape.sigma_mm[shape.index(t)]) ** 2)
            reach = x * float(foot[0]) + y * float(foot[1])
            xx, xy, yy = xx + weight * x * x, xy + weight * x * y, yy + weight * y * y
            right = right + weight * reach * np.array([x, y])
            normals.append((x, y, reach))
        det = xx * yy - xy * xy
        u, v = float(right[0]), float(right[1])
        misfit = max(abs(x * place[0] + y * place[1] - reach) for x, y, reach in normals)
        place = np.array([(yy * u - xy * v) / det, (xx * v - xy * u) / det])
    return place, float(misfit)


def merged(joints: list[Joint], runs: list[Run], options: LayingOptions) -> list[Joint]:
    """Make one of joints that lie too near each other, the nearest first (rule 4)."""
    out: dict[int, Joint] = dict(enumerate(joints))
    while len(out) > 1:
        names = list(out)
        tree = cKDTree([out[n].place for n in names])
        pairs = [
            (i, j)
            for i, j in sorted(tree.query_pairs(options.same_place_mm))
            if _are_one(out[names[i]], out[names[j]], options.close_mm)
        ]
        if not pairs:
            break
        gaps = [math.dist(out[names[i]].place, out[names[j]].place) for i, j in pairs]
        touched: set[int] = set()
        for k in np.argsort(gaps, kind="stable"):
            i, j = sorted(names[n] for n in pairs[k])
            if not {i, j} & touched:
                out[i] = united(out[i], out.pop(j), runs, options.same_place_mm)
                touched |= {i, j}
    return list(out.values())


def _are_one(one: Joint, two: Joint, close_mm: float) -> bool:
    """Whether joints lie too near each other, or the same two leads meet in both."""
    return math.dist(one.place, two.place) < close_mm or len(_leads(one) & _leads(two)) > 1


def _leads(joint: Joint) -> set[int]:
    return {run for run, _ in joint.through} | {run for run, _, _ in joint.ending}


def united(one: Joint, two: Joint, runs: list[Run], same_mm: float) -> Joint:
    """Make one joint of two; it lies on what runs through."""
    ending = one.ending + [e for e in two.ending if e not in one.ending]
    through = [
        (run, t)
        for run, t in one.through + two.through
        if not any(run == r and abs(t - e) < same_mm for r, e, _ in ending)
    ]
    weight = [len(q.through) + len(q.ending) for q in (one, two)]
    place = (weight[0] * one.place + weight[1] * two.place) / sum(weight)
    if len({run for run, _ in through}) > 1:
        place = one.place if len(one.through) > 1 else place
        place = two.place if len(two.through) > 1 and len(one.through) < 2 else place
    misfit = max(one.misfit_mm, two.misfit_mm)
    return carried(Joint(place, through, ending, misfit), runs, same_mm)


def carried(joint: Joint, runs: list[Run], same_mm: float) -> Joint:
    """Return a joint set on its leads as they are fitted now.

    If one lead alone runs through, the joint moves onto it.
    """
    through: dict[int, list[float]] = {}
    for run, t in joint.through:
        through.setdefault(run, []).append(t)
    place = joint.place
    if len(through) == 1:
        run = next(iter(through))
        t = runs[run].shape.near(place)
        place = runs[run].shape.at(t)[0]
    stops = [
        (run, runs[run].shape.near(place, min(t) - same_mm, max(t) + same_mm))
        for run, t in through.items()
    ]
    misfit = joint.misfit_mm
    for run, t, _ in joint.ending:
        foot, along = runs[run].shape.at(t)
        d = place - foot
        misfit = max(misfit, abs(float(along[0] * d[1] - along[1] * d[0])))
    ends = [(run, _end_length(runs, run, last, place), last) for run, _, last in joint.ending]
    return Joint(place, stops, ends, misfit)
