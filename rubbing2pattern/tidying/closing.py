"""Joints that came to lie together, and leads that cross where they should meet."""

from __future__ import annotations

import math

import numpy as np
import shapely

from rubbing2pattern.curves import Point
from rubbing2pattern.fitting.primitives import Fit, LineFit
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.tidying.settle import Chain, curve_of
from rubbing2pattern.tidying.web import Web

Runs = list[tuple[Chain, bool]]


def close_up(
    web: Web, fits: dict[int, Fit], runs: Runs, options: TidyOptions, within_mm: float
) -> Runs:
    """Make one joint of every two that came to lie nearer than `within_mm` and are tied directly.

    Returns the runs of lead that are left.
    """
    gone: set[int] = set()
    for k in sorted(web.strands):
        strand = web.strands.get(k)
        if strand is None or strand.a == strand.b:
            continue
        if math.dist(web.nodes[strand.a], web.nodes[strand.b]) >= within_mm:
            continue
        if _holds_a_piece(web, k, fits, options):
            continue
        if curve_of(web, k, fits[k], options).length_mm <= 2.0 * options.close_mm:
            gone |= _shrunk(web, k, fits, options)
    return _without(runs, gone)


def uncross(web: Web, fits: dict[int, Fit], runs: Runs, options: TidyOptions) -> Runs:
    """Where two leads cross without a joint, shrink the shortest link next to the place.

    Near solder the order of joints along a lead may be read wrongly; its leads then cross. Joints
    so near each other are one for the bench.
    """
    near = 3.5 * options.close_mm
    for _ in range(3):
        paths = _paths(web, fits, options)
        gone: set[int] = set()
        for k, m, places in _crossings(web, paths):
            place = places[0]
            around = {
                n
                for e in (k, m)
                if e in web.strands
                for n in (web.strands[e].a, web.strands[e].b)
                if math.dist(web.nodes[n], place) < near
            }
            links = [
                (math.dist(web.nodes[web.strands[e].a], web.nodes[web.strands[e].b]), e)
                for n in sorted(around)
                for e, _ in web.ends_at(n)
                if web.strands[e].a != web.strands[e].b
                and not _holds_a_piece(web, e, fits, options)
            ]
            if links and min(links)[0] < near:
                gone |= _shrunk(web, min(links)[1], fits, options)
        if not gone:
            break
        runs = _without(runs, gone)
    return runs


def land_first(web: Web, fits: dict[int, Fit], runs: Runs, options: TidyOptions) -> None:
    """Let every lead end on the lead it butts against where it first comes to it.

    A curve may cross the other and come back to the joint; a glazier cuts it where it arrives.
    """
    run_of = {k: i for i, (chain, _) in enumerate(runs) for k, _ in chain}
    paths = _paths(web, fits, options)
    arrivals: dict[int, tuple[float, Point]] = {}
    for k, m, places in _crossings(web, paths):
        one, two = web.strands[k], web.strands[m]
        for node in sorted({one.a, one.b} & {two.a, two.b}):
            runs_here = [run_of[e] for e, _ in web.ends_at(node)]
            through = {r for r in runs_here if runs_here.count(r) > 1}
            if len(runs_here) != 3 or {run_of[k], run_of[m]} <= through:
                continue
            for place in places:
                back = math.dist(web.nodes[node], place)
                if any(
                    math.dist(web.nodes[n], place) < options.close_mm
                    for n in {one.a, one.b, two.a, two.b} - {node}
                ):
                    continue
                if arrivals.get(node, (0.0, place))[0] < back <= options.fused_mm / 2.0:
                    arrivals[node] = (back, place)
    for node, (_, place) in arrivals.items():
        tied = {n for e in web.incident[node] for n in (web.strands[e].a, web.strands[e].b)}
        if all(math.dist(web.nodes[n], place) >= options.close_mm for n in tied - {node}):
            web.nodes[node] = np.array(place)


def _paths(web: Web, fits: dict[int, Fit], options: TidyOptions) -> dict[int, np.ndarray]:
    return {k: curve_of(web, k, fits[k], options).points(0.05) for k in sorted(web.strands)}


def _crossings(web: Web, paths: dict[int, np.ndarray]) -> list[tuple[int, int, list[Point]]]:
    """Pairs of strands that cross away from a joint they share, with the places."""
    keys = list(paths)
    lines = np.array([shapely.LineString(paths[k]) for k in keys], dtype=object)
    first, second = shapely.STRtree(lines).query(lines, predicate="crosses")
    out = []
    for i, j in zip(first.tolist(), second.tolist(), strict=True):
        if i >= j:
            continue
        one, two = web.strands[keys[i]], web.strands[keys[j]]
        shared = {one.a, one.b} & {two.a, two.b}
        places = [
            (float(x), float(y))
            for x, y in shapely.get_coordinates(shapely.intersection(lines[i], lines[j]))
            if all(math.dist(web.nodes[n], (x, y)) > 0.3 for n in shared)
        ]
        if places:
            out.append((keys[i], keys[j], places))
    return out


def _holds_a_piece(web: Web, k: int, fits: dict[int, Fit], options: TidyOptions) -> bool:
    """Whether a longer lead ties the same two joints, so that a piece lies between the two.

    Between two straight leads that join the same two places lies nothing.
    """
    strand = web.strands[k]
    return any(
        e != k
        and not (isinstance(fits[e], LineFit) and isinstance(fits[k], LineFit))
        and {web.strands[e].a, web.strands[e].b} == {strand.a, strand.b}
        and web.strands[e].length_mm >= 4.0 * options.close_mm
        for e in web.incident[strand.a]
    )


def _shrunk(web: Web, k: int, fits: dict[int, Fit], options: TidyOptions) -> set[int]:
    """Shrink a strand, and with it what would be left as a loop of nothing; return what went."""
    node = web.fuse(k)
    gone = {k}
    for other in sorted(web.incident[node]):
        loop = web.strands[other]
        nothing = isinstance(fits[other], LineFit) or loop.length_mm < 4.0 * options.close_mm
        if loop.a == loop.b and nothing:
            web.detach(other)
            gone.add(other)
    return gone


def _without(runs: Runs, gone: set[int]) -> Runs:
    left = [([e for e in chain if e[0] not in gone], closed) for chain, closed in runs]
    return [(chain, closed) for chain, closed in left if chain]
