"""Weigh strands: lead or not, by a few things that a glazier would look at as well.

Every strand gets log odds, a weighted sum of features; the weights are options and were fitted to
rendered rubbings (docs/finding-lead.md). All features are ratios or angles, so that they do not
depend on how dark a rubbing is.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Callable, Mapping, Sequence
from enum import Enum

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from rubbing2pattern.curves import polyline_length
from rubbing2pattern.findings import Code, Finding, Severity
from rubbing2pattern.frame import Array
from rubbing2pattern.imaging.profiles import evenly
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.reading import LeadMap
from rubbing2pattern.tidying.evidence import aligned_share, band_along, ink_along, straightness
from rubbing2pattern.tidying.openings import angle_deg
from rubbing2pattern.tidying.prior import shift_to_own_share
from rubbing2pattern.tidying.refine import Track
from rubbing2pattern.tidying.web import Strand, Web

Features = dict[str, float]
Tracks = dict[int, Track]
Mask = npt.NDArray[np.bool_]


class Kind(Enum):
    """By what a strand is weighed: most of it is seen, little of it, or nothing but ink."""

    LEAD = "lead"
    LINK = "link"
    COVERED = "covered"


FIRST = ("mean", "aligned", "straight")
SECOND = ("mean", "wiggle", "aligned", "goes_on", "free", "corner", "elbow")
LINK = ("mean", "least", "wiggle", "free", "corner", "elbow")
FINISHED = ("mean", "wiggle", "aligned", "goes_on", "free", "least")
"""The features that each look weighs, in the order of the weights."""

_TURN_MM = 6.0
_PROLONGED_DEG = 12.0
_WELL_SEEN = 0.5
_TOLD_MM = 5.0


def log_odds(features: Features, names: Sequence[str], weights: Sequence[float]) -> float:
    """Return the weighted sum of the features named, plus the first weight."""
    return weights[0] + sum(
        weight * features[name] for name, weight in zip(names, weights[1:], strict=True)
    )


def first_look(strand: Strand, lead: LeadMap) -> tuple[Features, float]:
    """Return what the working grids say of a strand, and the median width of the band in mm.

    mean : mean band response, 0 .. 1.
    aligned : share of the length that runs along the strongest band.
    straight : chord over length within 8 mm.
    """
    response, width = band_along(strand.path, lead)
    features = {
        "mean": float(np.clip(response, 0.0, 1.0).mean()),
        "aligned": aligned_share(strand.path, lead),
        "straight": straightness(strand.path),
    }
    return features, float(np.median(width))


def drop_clearly_false(web: Web, lead: LeadMap, options: TidyOptions) -> None:
    """Remove strands that already the first look shows to be no lead, weakest first.

    What is left of a joint of three is joined and weighed again as one. A link that is inked all
    along is left for the second look: between wide leads no flank shows, and it is no band. So is a
    strand that is a band all along, if a pale one: beside darker leads its mean tells nothing.
    """
    odds: dict[int, float] = {}

    def look(k: int) -> Features:
        features, web.strands[k].width_mm = first_look(web.strands[k], lead)
        return features

    def weigh(k: int, features: Features) -> None:
        odds[k] = log_odds(features, FIRST, options.first_look)
        if is_link(web, k, options):
            inked = least_ink(web.strands[k], lead) > options.inkless_below
            odds[k] = 0.0 if inked else odds[k] + options.clearly_false - options.clearly_no_link
        if odds[k] < options.clearly_false and _steady(web, k, lead, options):
            odds[k] = 0.0

    looks = {k: look(k) for k in web.strands}
    for k, features in looks.items():  # what is hidden depends on the neighbours' widths
        weigh(k, features)
    heap = [(value, k) for k, value in odds.items()]
    heapq.heapify(heap)
    while heap and heap[0][0] < options.clearly_false:
        _, k = heapq.heappop(heap)
        if k not in web.strands:
            continue
        strand = web.strands[k]
        response, _ = band_along(strand.path, lead)
        good = _as_long(response > _WELL_SEEN, strand.path) & ~_bends(strand.path)
        for new in replace_by_runs(web, k, strand.path, good, options):
            weigh(new, look(new))
            heapq.heappush(heap, (odds[new], new))


def _steady(web: Web, k: int, lead: LeadMap, options: TidyOptions) -> bool:
    """Whether a strand is band-like in nine places of ten where no other lead covers it."""
    strand = web.strands[k]
    response, _ = band_along(strand.path, lead)
    along = np.linspace(0.0, strand.length_mm, len(response))
    start, end = (_half_leaf(web, k, n) + options.leaf_margin_mm for n in (strand.a, strand.b))
    clear = response[(along > start) & (along < strand.length_mm - end)]
    if len(clear) < 3 or strand.length_mm - start - end < options.steady_mm:
        return False
    return float(np.percentile(clear, 10.0)) > options.steady_above


def second_look(
    web: Web, k: int, tracks: Mapping[int, Track], lead: LeadMap, options: TidyOptions
) -> Features:
    """Return what the full picture and the strands around say of a strand.

    mean : mean response over the local strength along the track, 0 .. 1.
    wiggle : log of how much the track turns from stretch to stretch, -1.6 when straight.
    aligned : share of the length that runs along the strongest band.
    least : faintest tenth of the ink along a link, over the local strength.
    free : number of ends tied to nothing.
    goes_on : number of ends that a well seen strand prolongs.
    corner : ends without which a seen lead would be left with a sharp bend, 0 .. 2.
    elbow : ends at which it meets one other strand alone, at a sharp bend.
    """
    strand, track = web.strands[k], tracks[k]
    features = {
        "mean": _mean_response(track),
        "wiggle": math.log(
            0.1 * float(np.abs(_turns_deg(track.points, track.width_mm)).mean()) + 0.2
        ),
        "aligned": aligned_share(track.points, lead),
        "free": float(sum(web.degree(n) == 1 for n in (strand.a, strand.b))),
        "goes_on": float(sum(_prolonged(web, k, starts, tracks) for starts in (True, False))),
        "corner": sum(_cornered(web, k, starts, tracks) for starts in (True, False)),
        "elbow": float(sum(web.is_elbow(n) for n in (strand.a, strand.b))),
    }
    if is_link(web, k, options):
        features["least"] = least_ink(strand, lead)
    return features


def least_ink(strand: Strand, lead: LeadMap) -> float:
    """Return the faintest tenth of the ink along a strand, over the local strength, at most 1.2."""
    return min(float(np.percentile(ink_along(strand.path, lead), 10.0)), 1.2)


def odds_of(
    web: Web, k: int, tracks: Mapping[int, Track], lead: LeadMap, options: TidyOptions
) -> float:
    """Return the log odds that a strand is lead.

    Of a link the leads it joins hide much, so its ink counts; of a covered one only that is left.
    What is narrower than any lead is sooner a crease or the drawing of textured glass.
    """
    kind = kind_of(web, k, options)
    if kind is Kind.COVERED:
        inked = least_ink(web.strands[k], lead) > options.inkless_below
        return options.covered_odds if inked else -options.covered_odds
    features = second_look(web, k, tracks, lead, options)
    if kind is Kind.LINK:
        return log_odds(features, LINK, options.link_look)
    thin = tracks[k].width_mm < options.narrowest_mm
    return log_odds(features, SECOND, options.second_look) - (options.thin_odds if thin else 0.0)


def drop_false(
    web: Web,
    tracks: Tracks,
    measure: Callable[[], None],
    lead: LeadMap,
    options: TidyOptions,
) -> tuple[Finding, ...]:
    """Remove the weakest strand while it is plainly no lead, and weigh again.

    `measure` makes the tracks of strands that have none. Rules:

    1. a strand whose log odds, moved to the share of lead in this rubbing, are under `false_below`
       goes, weakest first;
    2. a stump that ends freely, shorter than `stump_mm` or than its neighbour is wide, goes;
    3. a strand that goes although a fair chance speaks for it, and that is longer than a link, is
       reported, so that someone looks.

    Each strand left carries its probability as ``seen["probability"]``.
    """
    odds: dict[int, float] = {}
    found: list[Finding] = []
    fitted = {k: odds_of(web, k, tracks, lead, options) for k in sorted(web.strands)}
    shift = _shift(web, fitted, options)
    while True:
        for k in sorted(web.strands):
            if k not in odds:
                own = fitted.pop(k) if k in fitted else odds_of(web, k, tracks, lead, options)
                moved = 0.0 if kind_of(web, k, options) is Kind.COVERED else shift
                stump = _is_stump(web, k, options)  # rule 2
                odds[k] = -math.inf if stump else own + moved
        weakest, k = min(((odds[k], k) for k in web.strands), default=(math.inf, -1))
        if weakest >= options.false_below:  # rule 1
            break
        strand = web.strands[k]
        if weakest > options.fair_chance and strand.length_mm > options.link_mm:  # rule 3
            found.append(_possible(strand, tracks[k], weakest))
        near = _around(web, (strand.a, strand.b))
        track = tracks[k]
        good = (track.response > _WELL_SEEN) & ~_bends(track.points)
        made = replace_by_runs(web, k, track.points, good, options)
        measure()
        for new in made:
            near |= _around(web, (web.strands[new].a, web.strands[new].b))
        for stale in near | {k}:
            odds.pop(stale, None)
    for k, strand in web.strands.items():
        strand.seen["probability"] = 1.0 / (1.0 + math.exp(-odds[k]))
    return tuple(found)


def kind_of(web: Web, k: int, options: TidyOptions) -> Kind:
    """Say by which look a strand is weighed: all of it, as a link, or by its ink alone."""
    clear_mm = _clear_mm(web, k, options)
    if clear_mm <= options.covered_mm:
        return Kind.COVERED
    return Kind.LINK if clear_mm <= options.link_mm else Kind.LEAD


def _shift(web: Web, odds: Mapping[int, float], options: TidyOptions) -> float:
    """Return what moves log odds to the share of lead in this rubbing.

    It is read from what is seen at some length; links are too few, and share the glass with it.
    """
    seen = [value for k, value in odds.items() if kind_of(web, k, options) is Kind.LEAD]
    limits = (options.least_shift, options.greatest_shift)
    return shift_to_own_share(seen, options.lead_share, limits)


def replace_by_runs(web: Web, k: int, path: Array, good: Mask, options: TidyOptions) -> list[int]:
    """Remove a strand, but leave the long runs of it that are good. Return the strands made new.

    A lead that ends freely or fades is often drawn on by a false line; as a whole that looks bad,
    and the lead must not go with it. `good` (N,) says which places of the path (N, 2) are like
    lead. Runs shorter than `run_mm` go too, and what was left once is not left again.
    """
    strand = web.strands[k]
    runs = [] if strand.seen.get("left") else _runs(path, good, options.run_mm)
    before = set(web.strands)
    last = len(path) - 1
    if sum(j - i for i, j in runs) > 0.9 * last:
        runs = []
    for i, j in runs:
        part = np.array(path[i : j + 1])
        ends = []
        for index, node in ((i, strand.a), (j, strand.b)):
            near = index * 1.0 if node == strand.a and index == i else float(last - index)
            step = strand.length_mm / max(last, 1)
            if strand.a != strand.b and near * step <= options.run_tie_mm:
                ends.append(node)
                part[0 if index == i else -1] = web.nodes[node]
            else:
                new = web.new_number()
                web.nodes[new] = np.array(part[0 if index == i else -1])
                ends.append(new)
        left = Strand(ends[0], ends[1], part, strand.left, strand.right, strand.width_mm)
        left.seen["left"] = 1.0
        web.add(left)
    web.remove(k)
    return sorted(set(web.strands) - before)


def _runs(path: Array, good: Mask, run_mm: float) -> list[tuple[int, int]]:
    """First and last index of every run of good places; up to 3 mm of bad ones do not end it."""
    step = polyline_length(path) / max(len(path) - 1, 1)
    gap = max(1, round(3.0 / max(step, 1e-6)))
    closed = ndimage.binary_closing(np.pad(good, gap), np.ones(gap + 1))[gap:-gap]
    edges = np.diff(np.concatenate(([0], closed.astype(np.int8), [0])))
    starts, ends = np.nonzero(edges == 1)[0], np.nonzero(edges == -1)[0] - 1
    return [(int(i), int(j)) for i, j in zip(starts, ends, strict=True) if (j - i) * step >= run_mm]


def _as_long(values: Mask, path: Array) -> Mask:
    """Spread values at even places along a path to its points."""
    at = np.linspace(0.0, len(values) - 1.0, len(path))
    return np.asarray(values[np.rint(at).astype(np.int64)])


def _bends(path: Array, reach_mm: float = 5.0, limit_deg: float = 25.0) -> Mask:
    """Say where a path turns by more than a limit between the stretches before and after."""
    step = polyline_length(path) / max(len(path) - 1, 1)
    n = max(1, round(reach_mm / max(step, 1e-6)))
    out = np.zeros(len(path), dtype=bool)
    if len(path) <= 2 * n:
        return out
    way = path[n:] - path[:-n]
    heading = np.arctan2(way[:, 1], way[:, 0])
    turn = np.abs((heading[n:] - heading[:-n] + np.pi) % (2 * np.pi) - np.pi)
    out[n : len(path) - n] = turn > math.radians(limit_deg)
    return out


def _around(web: Web, nodes: tuple[int, int]) -> set[int]:
    return {k for node in nodes if node in web.incident for k in web.incident[node]}


def _is_stump(web: Web, k: int, options: TidyOptions) -> bool:
    strand = web.strands[k]
    tied = [n for n in (strand.a, strand.b) if web.degree(n) > 1]
    if len(tied) != 1:
        return False
    beside = [web.strands[other].width_mm for other in web.incident[tied[0]] if other != k]
    return strand.length_mm < max(options.stump_mm, *beside)


def _possible(strand: Strand, track: Track, odds: float) -> Finding:
    place = track.points[len(track.points) // 2]
    chance = 1.0 / (1.0 + math.exp(-odds))
    return Finding(
        Code.POSSIBLE_LEAD,
        Severity.CHECK,
        f"a dark line {strand.length_mm:.0f} mm long is left out, but may be lead "
        f"(probability {chance:.2f}); look whether a lead runs here",
        (float(place[0]), float(place[1])),
    )


def is_link(web: Web, k: int, options: TidyOptions) -> bool:
    """Whether the leaves of the leads it joins leave no more than `link_mm` of a strand."""
    return _clear_mm(web, k, options) <= options.link_mm


def _clear_mm(web: Web, k: int, options: TidyOptions) -> float:
    """Length of a strand that no leaf of another lead covers.

    Under solder a path wanders; a short came is straight, so the chord counts unless it is far
    shorter.
    """
    strand = web.strands[k]
    if strand.a == strand.b:
        return strand.length_mm
    chord = math.dist(web.nodes[strand.a], web.nodes[strand.b])
    length = chord if strand.length_mm < options.straying * chord else strand.length_mm
    return length - _half_leaf(web, k, strand.a) - _half_leaf(web, k, strand.b)


def _half_leaf(web: Web, k: int, node: int) -> float:
    widths = [web.strands[other].width_mm for other in web.incident[node] if other != k]
    return 0.5 * max(widths, default=0.0)


def _turns_deg(points: Array, width_mm: float) -> Array:
    """Turn of a line from each stretch to the next, signed.

    A stretch is 6 mm, or as long as the lead is wide, for the middle of a wide lead is found less
    well; on a short line it is a third of what there is.
    """
    length = polyline_length(points)
    stretch = max(min(max(_TURN_MM, width_mm), length / 3.0), 0.1)
    even = evenly(points, stretch / _TURN_MM)
    n = max(1, min(round(_TURN_MM), (len(even) - 1) // 3))
    way = even[n:] - even[:-n]
    heading = np.unwrap(np.arctan2(way[:, 1], way[:, 0]))
    turns = np.asarray(np.degrees(heading[n:] - heading[:-n]))
    return turns if turns.size else np.zeros(1)


def _prolonged(web: Web, k: int, starts: bool, tracks: Mapping[int, Track]) -> bool:
    """Whether some other, well seen strand goes on from an end; a ring goes on in itself."""
    strand = web.strands[k]
    if strand.a == strand.b and web.degree(strand.a) == 2:
        return True
    own = _way_out(web, k, starts)
    for other, other_starts in web.ends_at(strand.a if starts else strand.b):
        if other == k or other not in tracks or web.strands[other].length_mm < 8.0:
            continue
        if _mean_response(tracks[other]) < _WELL_SEEN:
            continue
        if angle_deg(own, -_way_out(web, other, other_starts)) < _PROLONGED_DEG:
            return True
    return False


def _cornered(web: Web, k: int, starts: bool, tracks: Mapping[int, Track]) -> float:
    """How surely a lead has to leave from an end, for without it glass would get a notch, 0 .. 1.

    No piece can be cut with a sharp inner corner, so where two seen leads meet at one, a third goes
    off on the outer side. The share grows with the angle there, from 20 degrees over a straight
    line to 60, and is as good as the fainter of the two is seen.
    """
    strand = web.strands[k]
    own = _heading_deg(_way_out(web, k, starts))
    beside = sorted(
        ((_heading_deg(_way_out(web, *end)) - own) % 360.0, end[0])
        for end in web.ends_at(strand.a if starts else strand.b)
        if end[0] != k
    )
    if len(beside) < 2:
        return 0.0
    (first, one), (last, other) = beside[0], beside[-1]
    notch = min(max((first + 360.0 - last - 200.0) / 40.0, 0.0), 1.0)
    if min(web.strands[one].length_mm, web.strands[other].length_mm) < _TOLD_MM:
        return 0.0
    return notch * min(_mean_response(tracks.get(one)), _mean_response(tracks.get(other)))


def _mean_response(track: Track | None) -> float:
    return 0.0 if track is None else float(np.clip(track.response, 0.0, 1.0).mean())


def _heading_deg(way: Array) -> float:
    return math.degrees(math.atan2(way[1], way[0]))


def _way_out(web: Web, k: int, starts: bool) -> Array:
    path = web.away(k, starts)
    n = len(path) - 1
    return np.asarray(path[min(n, 30)] - path[min(n // 3, 6)])
