"""Stretches that are not seen: bridged when the lead plainly goes on, cut out when it does not."""

from __future__ import annotations

import itertools
import math

import numpy as np
import shapely
from scipy import ndimage
from shapely.geometry import LineString

from rubbing2pattern.findings import Code, Finding, Severity
from rubbing2pattern.frame import Array
from rubbing2pattern.imaging.profiles import evenly, grid_values
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.paneling.enclosed import enclosed
from rubbing2pattern.reading import LeadMap
from rubbing2pattern.tidying.openings import angle_deg, heading, opening_at, turn_between
from rubbing2pattern.tidying.parts import tied_path
from rubbing2pattern.tidying.refine import Track
from rubbing2pattern.tidying.web import Strand, Web

Stretch = tuple[int, int]


def cut_unseen(web: Web, tracks: dict[int, Track], lead: LeadMap, options: TidyOptions) -> bool:
    """Cut out of every strand the stretches that are no continuation of a lead. True if any was.

    Rules, for a stretch longer than `gap_mm` where the response stays below `unseen_below` and
    the ink below `inkless_below` (where leads run together there is ink, but no flank to tell it):

    1. longer than `bridge_mm`: cut, for no fault of rubbing is so long;
    2. seen on at least one side, but the way across leaves the direction of the lead by more than
       `bridge_deg`: cut;
    3. else it stays, and is reported as bridged.

    What is left of a strand must be seen for `stump_mm`, else it goes too.
    """
    changed = False
    for k in sorted(web.strands):
        if k not in web.strands or k not in tracks:  # joined anew by a cut; the next round's
            continue
        strand, track = web.strands[k], tracks[k]
        if strand.length_mm < 2.0 * options.gap_mm or strand.a == strand.b:
            continue
        cuts = [s for s in _unseen(track, lead, options) if _must_go(track, s, options)]
        if cuts:
            _cut(web, k, track, cuts, options)
            changed = True
    return changed


def _unseen(track: Track, lead: LeadMap, options: TidyOptions) -> list[Stretch]:
    """First and last index of every long stretch that is not seen."""
    ink = _ink(track, lead)
    dim = (track.response < options.unseen_below) & (ink < options.inkless_below)
    edges = np.diff(np.concatenate(([0], dim.astype(np.int8), [0])))
    starts, ends = np.nonzero(edges == 1)[0], np.nonzero(edges == -1)[0] - 1
    s = track.along_mm
    return [
        (int(a), int(b)) for a, b in zip(starts, ends, strict=True) if s[b] - s[a] >= options.gap_mm
    ]


def _ink(track: Track, lead: LeadMap) -> Array:
    """Density over the local strength at every point of a track, smoothed over 3 mm."""
    step = float(track.along_mm[-1]) / max(len(track.points) - 1, 1)
    ratio = grid_values(lead.density, lead, track.points) / grid_values(
        lead.strength, lead, track.points
    )
    return np.asarray(ndimage.gaussian_filter1d(ratio, 1.5 / max(step, 1e-6), mode="nearest"))


def _must_go(track: Track, stretch: Stretch, options: TidyOptions) -> bool:
    first, last = stretch
    s = track.along_mm
    if s[last] - s[first] > options.bridge_mm:  # rule 1
        return True
    if first == 0 and last == len(s) - 1:
        return False
    chord = track.points[last] - track.points[first]
    for here, sign in ((first, 1.0), (last, -1.0)):  # rule 2
        ahead = _direction(track, here, sign)
        if ahead is not None and angle_deg(ahead, sign * chord) > options.bridge_deg:
            return True
    return False


def _direction(track: Track, here: int, sign: float) -> Array | None:
    """Direction of the seen lead as it enters the stretch at its first or last point."""
    s = track.along_mm
    if sign > 0:
        near = (s < s[here]) & (s >= s[here] - 15.0)
    else:
        near = (s > s[here]) & (s <= s[here] + 15.0)
    if near.sum() < 6:
        return None
    p = track.points[near]
    half = len(p) // 2
    way = p[half:].mean(axis=0) - p[:half].mean(axis=0)
    return np.asarray(sign * way)


def _cut(web: Web, k: int, track: Track, cuts: list[Stretch], options: TidyOptions) -> None:
    strand = web.strands[k]
    bounds = [-1, *(i for cut in cuts for i in cut), len(track.points)]
    keep = [
        (bounds[i] + (1 if i == 0 else 0), bounds[i + 1] - (1 if i + 2 == len(bounds) else 0))
        for i in range(0, len(bounds), 2)
    ]
    last = len(track.points) - 1
    parts = []
    for a, b in keep:
        if b - a < 2 or track.along_mm[b] - track.along_mm[a] < options.stump_mm:
            continue
        parts.append((a, b))
    path = np.array(track.points)
    path[0], path[-1] = web.nodes[strand.a], web.nodes[strand.b]
    for a, b in parts:
        ends = []
        for index, node in (
            (a, strand.a if a == 0 else None),
            (b, strand.b if b == last else None),
        ):
            if node is None:
                node = web.new_number()
                web.nodes[node] = np.array(path[index])
            ends.append(node)
        web.add(
            Strand(ends[0], ends[1], path[a : b + 1], strand.left, strand.right, strand.width_mm)
        )
    web.remove(k)


def bridge_free_ends(web: Web, options: TidyOptions) -> tuple[Finding, ...]:
    """Carry leads on over stretches that the rubbing does not show. Return what was bridged.

    Rules, for every strand longer than `stump_mm` that ends freely, and for every elbow:

    1. another of them lies ahead within `bridge_mm`, and both head for each other within
       `bridge_deg`: one lead joins them; nearest first; inside the net an elbow also heads to
       where a third lead would leave it;
    2. else, for a free end, another lead or joint lies straight ahead within `meet_mm`: it ends
       there;
    3. else it ends freely.
    """
    found: list[Finding] = []
    for node, other in _facing(web, options):  # rule 1
        if node in web.nodes and other in web.nodes:
            found.extend(_bridge(web, node, other, options))
    for node in sorted(web.nodes):  # rule 2
        if node in web.nodes and _ends_freely(web, node, options):
            target = _ahead(web, node, options)
            if target is not None:
                found.extend(_bridge(web, node, target, options))
    return tuple(found)


def _ends_freely(web: Web, node: int, options: TidyOptions) -> bool:
    if web.degree(node) != 1:
        return False
    (k,) = web.incident[node]
    return web.strands[k].length_mm >= options.stump_mm


def _facing(web: Web, options: TidyOptions) -> list[tuple[int, int]]:
    """Pairs of openings that head for each other, nearest first, none twice.

    Two elbows belong to one part of the net: what lies outside of it, as printed targets do, has
    corners too.
    """
    openings = {
        n: opening
        for n in sorted(web.nodes)
        if _is_open(web, n, options) and (opening := opening_at(web, n)) is not None
    }
    part_of = {n: k for k, part in enumerate(web.parts()) for n in part}
    ground = enclosed(tied_path(web, k) for k in sorted(web.strands))
    shapely.prepare(ground)
    pairs = []
    for (n, one), (m, other) in itertools.combinations(openings.items(), 2):
        apart = math.dist(one.place, other.place)
        if apart > options.bridge_mm or _tied(web, n, m):
            continue
        elbows = (one.between is not None) + (other.between is not None)
        if elbows == 2 and part_of[n] != part_of[m]:
            continue
        inside = elbows > 0 and bool(ground.covers(LineString((one.place, other.place))))
        if turn_between(one, other, inside=inside) <= options.bridge_deg:
            pairs.append((apart, n, m))
    out, taken = [], set()
    for _, n, m in sorted(pairs):
        if n not in taken and m not in taken:
            taken |= {n, m}
            out.append((n, m))
    return out


def _is_open(web: Web, node: int, options: TidyOptions) -> bool:
    return _ends_freely(web, node, options) or web.is_elbow(node)


def _tied(web: Web, one: int, other: int) -> bool:
    """Whether a strand runs from one node to the other."""
    return bool(web.incident[one] & web.incident[other])


def _ahead(web: Web, node: int, options: TidyOptions) -> int | None:
    """Node on the first lead straight ahead of a free end; the lead is cut there if need be."""
    ((own, _),) = web.ends_at(node)
    here, ahead_way = web.nodes[node], heading(web, web.ends_at(node)[0])
    best: tuple[float, int, int] | None = None
    for k in sorted(web.strands):
        strand = web.strands[k]
        rel = strand.path - here
        ahead = rel @ ahead_way
        aside = np.abs(rel @ np.array([-ahead_way[1], ahead_way[0]]))
        reach = options.meet_mm + 0.5 * strand.width_mm
        near = (ahead > 0.5) & (ahead <= reach) & (aside <= 0.6 + 0.12 * ahead)
        if k == own:
            near &= np.hypot(rel[:, 0], rel[:, 1]) < 0.0
        if near.any():
            index = int(np.nonzero(near)[0][ahead[near].argmin()])
            if best is None or ahead[index] < best[0]:
                best = (float(ahead[index]), k, index)
    if best is None:
        return None
    _, k, index = best
    strand = web.strands[k]
    along = strand.length_mm * index / max(len(strand.path) - 1, 1)
    for end, far in ((strand.a, along), (strand.b, strand.length_mm - along)):
        if far <= max(3.0, 0.75 * strand.width_mm):
            return end
    return web.split(k, index)


def _bridge(web: Web, node: int, other: int, options: TidyOptions) -> list[Finding]:
    k = min(web.incident[node])
    width = web.strands[k].width_mm
    chord = np.array([web.nodes[node], web.nodes[other]])
    gap_mm = float(np.hypot(*(chord[1] - chord[0])))
    web.add(Strand(node, other, evenly(chord, 0.5), 0, 0, width))
    for end in (node, other):
        if end in web.incident and not web.is_elbow(end):
            web.join(end)
    if gap_mm < options.gap_mm:
        return []
    middle = chord.mean(axis=0)
    return [
        Finding(
            Code.BRIDGED_GAP,
            Severity.CHECK,
            f"the rubbing does not show this lead for {gap_mm:.0f} mm; it is carried straight on",
            (float(middle[0]), float(middle[1])),
        )
    ]
