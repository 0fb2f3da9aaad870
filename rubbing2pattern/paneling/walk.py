"""Walking round the openings between cames.

A *side* is a came walked in one direction: side 2 c runs from the start of came c to its end, side
2 c + 1 back; ``side ^ 1`` is the other direction. A *walk* is a closed round of sides that keeps
the same opening on its left, so openings are walked anticlockwise and the outside clockwise.

Legend for shapes: J joints, E cames, S = 2 E sides. All lengths in mm.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np

from rubbing2pattern.geometry.curves import running_length
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.paneling.lines import LeadLines, signed_area

Walk = tuple[int, ...]
Turn = tuple[float, float]


def leaving_joint(lines: LeadLines) -> list[int]:
    """Return the joint that each side leaves, S numbers."""
    joints: list[int] = lines.ends.reshape(-1).tolist()
    return joints


def side_areas(lines: LeadLines) -> list[float]:
    """Return what each side adds to the area of a walk (shoelace formula), S numbers in mm2.

    Each came is taken from the net's middle, so the sum over a closed walk is its area.
    """
    areas = []
    middle = lines.joints_mm.mean(axis=0)
    for path in lines.paths:
        closed = np.vstack((middle, path, middle))
        area = signed_area(closed)
        areas += [area, -area]
    return areas


def leaving_angles(lines: LeadLines, reach_mm: float) -> Array:
    """Return the direction of each side as it leaves its joint, S angles in radians.

    The direction is that to the point `reach_mm` along the lead line (no further than a third of
    it); a reach of 0 takes the first chord.
    """
    runs = [run for path in lines.paths for run in (path, path[::-1])]
    ahead = np.array([_ahead(run, reach_mm) for run in runs]).reshape(-1, 2)
    step = ahead - np.array([run[0] for run in runs]).reshape(-1, 2)
    return np.array([math.atan2(y, x) for x, y in step.tolist()])


def side_turns(lines: LeadLines, reach_mm: float = 0.0) -> list[Turn]:
    """Return by what the sides are put in order round the joint that each leaves, S pairs."""
    # Two cames that part tangentially have one direction; which way they bend decides.
    near, far = leaving_angles(lines, reach_mm), leaving_angles(lines, 2.0 * reach_mm + 1.0)
    circle = 2.0 * math.pi
    bend = (far - near + math.pi) % circle - math.pi
    turn = np.round(near % circle, 9)
    turn[turn >= round(circle, 9)] = 0.0
    return list(zip(turn.tolist(), bend.tolist(), strict=True))


def walks(lines: LeadLines, cames: Iterable[int], turns: Sequence[Turn]) -> list[Walk]:
    """Return all closed walks along the cames given; every side is in exactly one.

    `turns` says in which order the sides lie round their joints; see `side_turns`.

    Strategy: round every joint the sides are put in anticlockwise order; who arrives by a side
    leaves by the next one clockwise from where he came, and so keeps to the left.
    """
    kept = sorted(cames)
    leaves = leaving_joint(lines)
    sides = [s for c in kept for s in (2 * c, 2 * c + 1)]
    onward = _onward(sides, leaves, turns)
    found: list[Walk] = []
    seen: set[int] = set()
    for first in sides:
        if first in seen:
            continue
        walk = [first]
        while (side := onward[walk[-1]]) != first:
            walk.append(side)
        seen.update(walk)
        found.append(tuple(walk))
    return found


def parts(lines: LeadLines, cames: Iterable[int]) -> dict[int, int]:
    """Return for each joint of the cames the lowest joint of the connected part it lies in."""
    above: dict[int, int] = {}

    def root(j: int) -> int:
        while above.setdefault(j, j) != j:
            above[j] = above[above[j]]
            j = above[j]
        return j

    for c in cames:
        a, b = sorted((root(int(lines.ends[c, 0])), root(int(lines.ends[c, 1]))))
        above[b] = a
    return {j: root(j) for j in sorted(above)}


def rounds(walk: Walk, leaves: Sequence[int]) -> list[Walk]:
    """Split a walk that comes through a joint more than once into simple rounds.

    Each round starts at its first joint, so that outlines do not depend on chance.
    """
    found: list[Walk] = []
    path: list[int] = []
    place: dict[int, int] = {}
    for side in walk:
        place[leaves[side]] = len(path)
        path.append(side)
        arrival = leaves[side ^ 1]
        if arrival in place:
            start = place[arrival]
            found.append(_from_first_joint(path[start:], leaves))
            for passed in path[start:]:
                del place[leaves[passed]]
            del path[start:]
    return found


def walk_points(walk: Walk, paths: Sequence[Array]) -> Array:
    """Return the closed polyline of a walk, first point repeated at the end, shape (N, 2)."""
    runs = [paths[s >> 1][:: -1 if s & 1 else 1][:-1] for s in walk]
    return np.vstack([*runs, runs[0][:1]])


def _ahead(run: Array, reach_mm: float) -> Array:
    if reach_mm <= 0.0 or len(run) == 2:
        return np.asarray(run[1])
    at = running_length(run)
    reach = min(reach_mm, at[-1] / 3.0)
    if reach <= at[1]:
        return np.asarray(run[1])
    return np.array([np.interp(reach, at, run[:, k]) for k in (0, 1)])


def _onward(sides: Sequence[int], leaves: Sequence[int], keys: Sequence[Turn]) -> dict[int, int]:
    round_joint: dict[int, list[int]] = {}
    for side in sides:
        round_joint.setdefault(leaves[side], []).append(side)
    onward = {}
    for around in round_joint.values():
        around.sort(key=lambda s: (*keys[s], s))
        for k, side in enumerate(around):
            onward[side ^ 1] = around[k - 1]
    return onward


def _from_first_joint(ring: Sequence[int], leaves: Sequence[int]) -> Walk:
    k = min(range(len(ring)), key=lambda i: leaves[ring[i]])
    return (*ring[k:], *ring[:k])
