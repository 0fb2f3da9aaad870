"""Joints: directions of leads outside the solder, crossings pulled apart, leads that run through."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from rubbing2pattern.fitting.primitives import Fit, fit_circle, fit_line
from rubbing2pattern.fitting.solve import meeting_place
from rubbing2pattern.frame import Array
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.tidying.refine import Track
from rubbing2pattern.tidying.web import Web

End = tuple[int, bool]
"""A strand and whether it starts at the joint."""


@dataclass(frozen=True, slots=True)
class Stub:
    """A lead where it comes out of the solder of a joint.

    Attributes
    ----------
    fit : line or circle through the first stretch of clean lead.
    sure : False when too little clean lead is left to trust the direction.
    """

    fit: Fit
    sure: bool


def reach_of_solder(web: Web, node: int, options: TidyOptions) -> float:
    """Radius in mm within which solder may hide the leads of a joint."""
    widths = [web.strands[k].width_mm for k, _ in web.ends_at(node)]
    if len(widths) < 2:
        return 0.0
    return options.blob * max(widths) + 0.5


def stub(web: Web, tracks: dict[int, Track], end: End, options: TidyOptions) -> Stub:
    """Fit the clean stretch of a lead next to a joint."""
    k, starts = end
    strand, track = web.strands[k], tracks[k]
    node, other = (strand.a, strand.b) if starts else (strand.b, strand.a)
    points = track.points if starts else track.points[::-1]
    response = track.response if starts else track.response[::-1]
    along = track.along_mm if starts else track.along_mm[-1] - track.along_mm[::-1]
    here, there = reach_of_solder(web, node, options), reach_of_solder(web, other, options)
    length = float(along[-1])
    sure = length - here - there >= 3.0
    if not sure:
        here = min(here, 0.35 * length)
        there = max(0.0, min(there, 0.65 * length - here))
    near = (along >= here) & (along <= min(here + options.local_mm, length - there))
    if near.sum() < 4:
        near = (along >= 0.25 * length) & (along <= 0.75 * length)
    if near.sum() < 2:
        near = np.ones(len(along), dtype=bool)
    local = track.local_mm if starts else track.local_mm[::-1]
    trust = np.clip(response, 0.05, 1.0)
    trust = np.where(local <= options.merged * track.width_mm + 0.4, trust, 0.05 * trust)
    weights = trust[near]
    line = fit_line(points[near], weights)
    if not sure or length - here - there < 2.0 * options.local_mm:
        far = near
    else:
        far = (along >= here) & (along <= min(here + 2.0 * options.local_mm, length - there))
    return Stub(_bent(points[far], trust[far], line, options), sure)


def _bent(points: Array, weights: Array, line: Fit, options: TidyOptions) -> Fit:
    """The circle through a longer stretch when a line clearly will not do there."""
    if len(points) < 12:
        return line
    straight = fit_line(points, weights)
    if float(np.sqrt(np.mean(straight.residuals(points) ** 2))) < 2.0 * options.noise_mm:
        return straight
    circle = fit_circle(points, weights)
    if circle is None:
        return line
    better = float(np.sqrt(np.mean(circle.residuals(points) ** 2)))
    return circle if better < 2.5 * options.noise_mm and circle.radius_mm > 12.0 else line


def fuse_crossings(web: Web, tracks: dict[int, Track], options: TidyOptions) -> None:
    """Put together joints that the skeleton pulled apart.

    Rules, for every strand shorter than `short_mm` or than its leads are wide, shortest first:

    1. the other leads of both its joints, prolonged, pass one place within `merge_mm`: one joint;
       (a corner and a joint next to it count too);
    2. the leads of either joint by themselves meet at places nearer than `close_mm`: one joint;
    3. else they are two joints.
    """
    waiting = sorted(
        (s.length_mm, k)
        for k, s in web.strands.items()
        if s.a != s.b and s.length_mm <= _short_limit(web, k, options)
    )
    for _, k in waiting:
        if k not in web.strands:
            continue
        strand = web.strands[k]
        if strand.a == strand.b:
            continue
        sides = [
            [e for e in web.ends_at(node) if e[0] != k] for node in (strand.a, strand.b)
        ]
        few = min(len(sides[0]), len(sides[1]))
        if few < 1 or len(sides[0]) + len(sides[1]) < 3:
            continue
        if few == 1 and strand.length_mm > options.close_mm + reach_of_solder(
            web, strand.a, options
        ):
            continue
        if _one_joint(web, tracks, k, sides, options):
            web.fuse(k)


def _short_limit(web: Web, k: int, options: TidyOptions) -> float:
    strand = web.strands[k]
    reach = max(reach_of_solder(web, strand.a, options), reach_of_solder(web, strand.b, options))
    return max(options.short_mm, 1.6 * reach)


def _one_joint(
    web: Web, tracks: dict[int, Track], k: int, sides: list[list[End]], options: TidyOptions
) -> bool:
    strand = web.strands[k]
    ends = sides[0] + sides[1]
    stubs = [stub(web, tracks, e, options) for e in ends]
    middle = 0.5 * (web.nodes[strand.a] + web.nodes[strand.b])
    weights = [1.0 if s.sure else 0.15 for s in stubs]
    place, misfit = meeting_place([s.fit for s in stubs], middle, weights)
    sure = np.array([s.sure for s in stubs])
    reach = 0.6 * strand.length_mm + 3.0
    near = math.dist(place, middle) <= reach
    limit = np.where(sure, options.merge_mm, 2.0 * options.merge_mm)
    if near and sure.sum() >= 3 and bool(np.all(np.abs(misfit) <= limit)):  # rule 1
        return True
    if min(len(sides[0]), len(sides[1])) < 2:
        return False
    places = []
    for node, side in zip((strand.a, strand.b), sides, strict=True):  # rule 2
        own = [stub(web, tracks, e, options).fit for e in side]
        if not _cross(own, web.nodes[node]):
            return False
        places.append(meeting_place(own, web.nodes[node])[0])
    apart = math.dist(places[0], places[1])
    return near and apart < options.close_mm


def _cross(fits: list[Fit], place: Array) -> bool:
    """Whether two of the curves meet at 20 degrees or more near a place."""
    directions = [f.near(place)[1] for f in fits]
    for i, u in enumerate(directions):
        for v in directions[i + 1 :]:
            if abs(float(u[0] * v[1] - u[1] * v[0])) > 0.34:
                return True
    return False


def runs_through(
    web: Web, tracks: dict[int, Track], node: int, options: TidyOptions
) -> list[tuple[End, End]]:
    """Return the pairs of strand ends at a joint that are one continuous lead.

    The pair that bends least comes first; unequal widths and a step sideways count like a bend.
    """
    ends = web.ends_at(node)
    if len(ends) < 2:
        return []
    stubs = [stub(web, tracks, e, options) for e in ends]
    place, _ = meeting_place([s.fit for s in stubs], web.nodes[node])
    outward, lateral = [], []
    for end, s in zip(ends, stubs, strict=True):
        foot, along = s.fit.near(place)
        path = web.away(*end)
        ahead = path[min(len(path) - 1, max(1, len(path) // 3))] - path[0]
        along = along if float(along @ ahead) >= 0 else -along
        outward.append(along)
        lateral.append(foot)
    costs = []
    for i in range(len(ends)):
        for j in range(i + 1, len(ends)):
            if ends[i][0] == ends[j][0] and len(ends) > 2 and web.strands[ends[i][0]].length_mm < 60:
                continue
            turn = math.degrees(math.acos(float(np.clip(-(outward[i] @ outward[j]), -1.0, 1.0))))
            normal = np.array([-outward[i][1], outward[i][0]])
            aside = abs(float(normal @ (lateral[i] - lateral[j])))
            wide = abs(web.strands[ends[i][0]].width_mm - web.strands[ends[j][0]].width_mm)
            if turn <= options.through_deg:
                costs.append((turn + 4.0 * max(0.0, aside - 0.3) + 3.0 * wide, i, j))
    pairs: list[tuple[End, End]] = []
    taken: set[int] = set()
    for _, i, j in sorted(costs):
        if i not in taken and j not in taken:
            taken |= {i, j}
            pairs.append((ends[i], ends[j]))
    return pairs
