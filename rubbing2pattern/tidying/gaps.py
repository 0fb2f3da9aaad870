"""Stretches that are not seen: bridged when the lead plainly goes on, cut out when it does not."""

from __future__ import annotations

import math

import numpy as np

from rubbing2pattern.frame import Array
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.tidying.refine import Track
from rubbing2pattern.tidying.web import Strand, Web

Stretch = tuple[int, int]


def cut_unseen(web: Web, tracks: dict[int, Track], options: TidyOptions) -> bool:
    """Cut out of every strand the stretches that are no continuation of a lead. True if any was.

    Rules, for a stretch longer than `gap_mm` where the response stays below `unseen_below`:

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
        cuts = [s for s in _unseen(track, options) if _must_go(track, s, options)]
        if cuts:
            _cut(web, k, track, cuts, options)
            changed = True
    return changed


def _unseen(track: Track, options: TidyOptions) -> list[Stretch]:
    """First and last index of every long stretch that is not seen."""
    dim = track.response < options.unseen_below
    edges = np.diff(np.concatenate(([0], dim.astype(np.int8), [0])))
    starts, ends = np.nonzero(edges == 1)[0], np.nonzero(edges == -1)[0] - 1
    s = track.along_mm
    return [
        (int(a), int(b)) for a, b in zip(starts, ends, strict=True) if s[b] - s[a] >= options.gap_mm
    ]


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
        if ahead is not None and _angle(ahead, sign * chord) > options.bridge_deg:
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


def _angle(u: Array, v: Array) -> float:
    scale = float(np.hypot(*u) * np.hypot(*v))
    if scale < 1e-9:
        return 0.0
    return math.degrees(math.acos(float(np.clip(u @ v / scale, -1.0, 1.0))))


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
