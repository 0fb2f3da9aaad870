"""Joints: where the fitted runs of a knot cross, butt and meet.

A *stop* is a place on a run that belongs to a joint.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from scipy.spatial import cKDTree
from shapely.geometry import LineString, Point

from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.laying.knots import Knot
from rubbing2pattern.laying.meetings import Curves, End, Meeting
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
    knots: list[Knot],
    runs: list[Run],
    run_of: dict[int, End],
    stubs: Stubs,
    centres: Array,
    options: LayingOptions,
) -> list[list[Joint] | None]:
    """Return the joints of every knot, or None when its leads do not fit together.

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
    centres : (K, 2) where the net had the knots.
    """
    curves = Curves.of(runs)
    plain = [i for i, knot in enumerate(knots) if not knot.pairs and len(knot.alone) > 1]
    met = curves.meetings([[run_of[e] for e in knots[i].alone] for i in plain], centres[plain])
    meeting = dict(zip(plain, met, strict=True))
    out: list[list[Joint] | None] = []
    for i, (knot, centre) in enumerate(zip(knots, centres, strict=True)):
        at = _At(runs, run_of, stubs, centre, options)
        if knot.pairs:
            out.append(_with_through(knot, at))
        elif i in meeting:  # rule 3
            out.append(_met(knot, meeting[i], curves, at))
        elif knot.alone:
            out.append([_loose(knot.alone[0], at)])
        else:
            out.append([])
    return out


def _with_through(knot: Knot, at: _At) -> list[Joint] | None:
    through = [at.through(pair) for pair in knot.pairs]
    ends = [at.ending(e) for e in knot.alone]
    joints: list[Joint] = []
    for i, one in enumerate(through):  # rule 1
        for two in through[:i]:
            joint = _crossed(one, two, at.centre, at.options)
            if joint is not None:
                joints.append(joint)
    butted = _butted(
        ends, through, at.runs, alone=len(knot.nodes) == 1, back_mm=at.options.clear_mm
    )  # rule 2
    if butted is None:
        return None
    joints = merged(joints + butted, at.runs, at.options)
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


@dataclass(frozen=True, slots=True)
class _At:
    """What a knot lies in: all runs, which of them every end is of, where the net had the knot."""

    runs: list[Run]
    run_of: dict[int, End]
    stubs: Stubs
    centre: Array
    options: LayingOptions

    def through(self, pair: tuple[int, int]) -> Way:
        """Return the stretch of a run between the tips of two ends, and a window on."""
        run = self.run_of[pair[0]][0]
        shape = self.runs[run].shape
        t = sorted(shape.near(self.stubs.tip[e], 0.0, shape.last_mm) for e in pair)
        low = max(t[0] - self.options.window_mm, float(shape.t_mm[0]))
        high = min(t[1] + self.options.window_mm, float(shape.t_mm[-1]))
        return _way(self.runs, run, low, high)

    def ending(self, end: int) -> Way:
        """Return the stretch of a run from the tip of an end on, beyond the knot."""
        run, at_last = self.run_of[end]
        shape = self.runs[run].shape
        half = 0.5 * shape.last_mm
        if self.stubs.seen_mm[end] > 0:
            tip = _end_length(self.runs, run, at_last, self.stubs.tip[end])
            ahead = math.dist(self.stubs.tip[end], self.centre) + self.options.reach_mm
        else:
            tip = half
            ahead = abs(half) + self.options.reach_mm
        if at_last:
            return _way(self.runs, run, tip, min(tip + ahead, float(shape.t_mm[-1])), True)
        return _way(self.runs, run, tip, max(tip - ahead, float(shape.t_mm[0])), False)


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


def _loose(end: int, at: _At) -> Joint:
    """Let a lead end where its curve passes nearest to the knot."""
    run, at_last = at.run_of[end]
    t = _end_length(at.runs, run, at_last, at.centre)
    return Joint(at.runs[run].shape.place(t), [], [(run, t, at_last)])


def _met(knot: Knot, meeting: Meeting, curves: Curves, at: _At) -> list[Joint] | None:
    """Let all ends meet in one place (rule 3)."""
    ends = [at.run_of[e] for e in knot.alone]
    if meeting.misfit_mm > at.options.meet_mm:
        cornered = _cornered(knot.alone, curves, at) if len(ends) > 2 else None
        if cornered is not None or len(knot.nodes) > 1:
            return cornered
    return [_joint_at(meeting, ends)]


def _joint_at(meeting: Meeting, ends: Sequence[End]) -> Joint:
    stops = [(run, t, last) for (run, last), t in zip(ends, meeting.lengths_mm, strict=True)]
    return Joint(meeting.place, [], stops, meeting.misfit_mm)


def gathered(knot: Knot, runs: list[Run], run_of: dict[int, End], place: Array) -> Joint:
    """Let all that comes to a knot come to one place, for its curves meet nowhere near."""
    joint = Joint(place)
    for end, _ in knot.pairs:
        run = run_of[end][0]
        joint.through.append((run, runs[run].shape.near(place)))
    for run, at_last in (run_of[end] for end in knot.alone):
        t = float(np.clip(_end_length(runs, run, at_last, place), 0.0, runs[run].shape.last_mm))
        joint.ending.append((run, t, at_last))
    return joint


def _cornered(alone: tuple[int, ...], curves: Curves, at: _At) -> list[Joint] | None:
    """Let two ends make a corner, and the others butt against them beside it.

    So a lead that butts close to a corner of the border comes out, which one node seems to hold. Of
    all pairs the one is taken whose corner and butts lie nearest to the node.
    """
    best: list[Joint] | None = None
    least = at.options.corner_near_mm
    ways = [at.ending(e) for e in alone]
    pairs = list(itertools.combinations(ways, 2))
    ends = [[(w.run, w.at_last) for w in pair] for pair in pairs]
    met = curves.meetings(ends, np.tile(at.centre, (len(pairs), 1)))
    for pair, two, meeting in zip(pairs, ends, met, strict=True):
        if meeting.misfit_mm > at.options.meet_mm:
            continue
        corner = _joint_at(meeting, two)
        sides = [
            _way(at.runs, w.run, w.low, t, w.at_last)
            for w, t in zip(pair, meeting.lengths_mm, strict=True)
        ]
        others = [w for w in ways if w not in pair]
        butted = _butted(others, sides, at.runs, alone=False, back_mm=at.options.clear_mm)
        if butted is None:
            continue
        far = max(math.dist(j.place, at.centre) for j in (corner, *butted))
        if far < least:
            best, least = [corner, *butted], far
    return best


def _end_length(runs: list[Run], run: int, at_last: bool, place: Array) -> float:
    shape = runs[run].shape
    half = 0.5 * shape.last_mm
    return shape.near(place, *((half, math.inf) if at_last else (-math.inf, half)))


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
        place = runs[run].shape.place(t)
    stops = [
        (run, runs[run].shape.near(place, min(t) - same_mm, max(t) + same_mm))
        for run, t in through.items()
    ]
    misfit = joint.misfit_mm
    for run, t, _ in joint.ending:
        foot, along = runs[run].shape.place(t), runs[run].shape.way(t)
        d = place - foot
        misfit = max(misfit, abs(float(along[0] * d[1] - along[1] * d[0])))
    ends = [(run, _end_length(runs, run, last, place), last) for run, _, last in joint.ending]
    return Joint(place, stops, ends, misfit)
