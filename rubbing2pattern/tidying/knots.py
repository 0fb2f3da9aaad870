"""Knots: joints so near each other, or so sharp, that solder and leads hide how they connect.

What the skeleton shows inside is not to be trusted: a crossing comes out as two joints, leads that
meet at a point fork too early. So a knot is taken apart and put together anew from the leads that
come out of it: which two are one lead running through, and where the others butt against it.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

from rubbing2pattern.curves import polyline_length
from rubbing2pattern.fitting.solve import meeting_place
from rubbing2pattern.frame import Array
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.reading import LeadMap
from rubbing2pattern.tidying.bridges import Bridge, bridge_between, crossing, landing
from rubbing2pattern.tidying.evidence import ink_along
from rubbing2pattern.tidying.pairing import paired
from rubbing2pattern.tidying.refine import Track
from rubbing2pattern.tidying.stubs import End, Stub, hidden, reach_of_solder, stub_of
from rubbing2pattern.tidying.web import Strand, Web

Follows = dict[End, End]
"""For a strand end, the strand end in which its lead goes on."""


def untie(web: Web, tracks: dict[int, Track], lead: LeadMap, options: TidyOptions) -> Follows:
    """Take every knot apart and put it together anew; return which strand ends run on in which.

    Rules:

    1. a knot is a set of joints hanging together by hidden strands only; if these enclose glass,
       every joint is a knot by itself;
    2. the pairing of its stubs with the least cost makes leads that run through; cost counts the
       bend and the step aside that prolonging either stub to the other leaves, and a fixed sum for
       each stub left over;
    3. where two such leads cross inside the knot there is a joint;
    4. a stub left over is prolonged to the first lead that runs through, and butts against it;
    5. joints on one lead nearer than `close_mm` are one joint;
    6. with no lead running through, all meet in one joint if they pass near one place;
    7. every lead so prolonged must lie in ink and cross no other on its way; else, and if not all
       meet, the knot stays as it is.
    """
    follows: Follows = {}
    for nodes, inner in _knots(web, tracks, options):
        ends = [e for n in sorted(nodes) for e in web.ends_at(n) if e[0] not in inner]
        stubs = {e: stub_of(web, e, tracks, options) for e in ends}
        clear = [s for s in stubs.values() if s is not None]
        if len(clear) < len(ends) or not clear:
            _simple_knot(web, clear, nodes, follows, options)
            continue
        plan = _planned(web, nodes, clear, lead, options)
        if plan is None:
            _simple_knot(web, clear, nodes, follows, options)
        else:
            _rebuild(web, tracks, nodes, inner, plan, follows, options)
    join_through(web, tracks, follows)
    return follows


def _knots(
    web: Web, tracks: dict[int, Track], options: TidyOptions
) -> list[tuple[set[int], set[int]]]:
    """Nodes and inner strands of every knot (rule 1)."""
    dark = {
        k
        for k, s in web.strands.items()
        if s.length_mm <= options.fused_mm and hidden(web, k, tracks, options)
    }
    dark = {k for k in dark if min(web.degree(n) for n in _ends(web, k)) >= 2}
    seen: set[int] = set()
    out: list[tuple[set[int], set[int]]] = []
    for start in sorted(web.incident):
        if start in seen:
            continue
        nodes, inner, stack = {start}, set(), [start]
        while stack:
            for k in sorted(web.incident[stack.pop()]):
                if k in dark:
                    inner.add(k)
                    for n in _ends(web, k):
                        if n not in nodes:
                            nodes.add(n)
                            stack.append(n)
        seen |= nodes
        if len(inner) >= len(nodes):
            out.extend(({n}, set()) for n in sorted(nodes))
        else:
            out.append((nodes, inner))
    return out


def _ends(web: Web, k: int) -> tuple[int, int]:
    return web.strands[k].a, web.strands[k].b


def _simple_knot(
    web: Web, clear: list[Stub], nodes: set[int], follows: Follows, options: TidyOptions
) -> None:
    """Leave a knot with a hidden strand coming out of it as it is; clear leads still run on."""
    if len(nodes) > 1:
        for node in sorted(nodes):
            own = [s for s in clear if s.end in web.ends_at(node)]
            _follow_pairs(own, follows, options)
        return
    _follow_pairs(clear, follows, options)


def _follow_pairs(clear: list[Stub], follows: Follows, options: TidyOptions) -> None:
    pairs, _ = paired(clear, options)
    for first, second in pairs:
        follows[first.end], follows[second.end] = second.end, first.end


@dataclass(slots=True)
class _Plan:
    """How a knot is to be put together: new places, which are one, what butts where."""

    bridges: list[Bridge]
    places: dict[int, Array]
    butts: dict[int, list[Stub]]
    same: dict[int, int]


def _planned(
    web: Web, nodes: set[int], clear: list[Stub], lead: LeadMap, options: TidyOptions
) -> _Plan | None:
    centre = np.mean([web.nodes[n] for n in sorted(nodes)], axis=0)
    pairs, rest = paired(clear, options)
    bridges = [Bridge(a, b, bridge_between(a, b), []) for a, b in pairs]
    if any(not _inked(b.path, lead, options) for b in bridges):  # rule 7
        return None
    places: dict[int, Array] = {}
    butts: dict[int, list[Stub]] = {}
    if not bridges:  # rule 6
        place, misfit = meeting_place([s.fit for s in rest], centre)
        if len(nodes) > 1 and (
            float(np.abs(misfit).max()) > options.merge_mm
            or any(not _inked(np.array([s.tip, place]), lead, options) for s in rest)
        ):
            return None
        if len(rest) < 3 and math.dist(place, centre) > 2.0 * reach_of_solder(
            web, min(nodes), options
        ):
            place = centre  # two leads nearly in line meet anywhere; a corner is where it is seen
        node = web.new_number()
        places[node], butts[node] = place, list(rest)
    for one, two in itertools.combinations(bridges, 2):  # rule 3
        hit = crossing(one.path, two.path)
        if hit is not None:
            node = web.new_number()
            places[node] = hit[2]
            one.stops.append((hit[0], node))
            two.stops.append((hit[1], node))
    ways: list[Array] = []
    for stub in rest if bridges else []:  # rule 4
        bridge, at, place, way = landing(stub, bridges, centre)
        if len(nodes) > 1 and not _inked(way, lead, options):  # rule 7
            return None
        if any(crossing(way, other) is not None for other in ways):
            return None
        ways.append(way)
        node = web.new_number()
        places[node], butts[node] = place, [stub]
        bridge.stops.append((at, node))
    same = _merged(bridges, places, options.close_mm)  # rule 5
    return _Plan(bridges, places, butts, same)


def _inked(path: Array, lead: LeadMap, options: TidyOptions) -> bool:
    """Whether a way lies in ink nearly all along."""
    if polyline_length(path) < 1.0:
        return True
    return bool(np.percentile(ink_along(path, lead), 15.0) > options.unseen_below)


def _rebuild(
    web: Web,
    tracks: dict[int, Track],
    nodes: set[int],
    inner: set[int],
    plan: _Plan,
    follows: Follows,
    options: TidyOptions,
) -> None:
    places, same = plan.places, plan.same
    _link_apart(web, tracks, inner, plan, options)
    for k in sorted(inner):
        web.detach(k)
        tracks.pop(k, None)
    for node, stubs in plan.butts.items():
        for stub in stubs:
            web.attach(stub.end, same[node], places[same[node]])
    for bridge in plan.bridges:
        _lay(web, tracks, bridge, places, same, follows)
    for n in nodes:
        web.forget(n)


def join_through(web: Web, tracks: dict[int, Track], follows: Follows) -> None:
    """Make one strand of two that meet alone in a joint and are one lead."""
    for node in sorted(web.incident):
        ends = web.ends_at(node)
        if len(ends) != 2 or ends[0][0] == ends[1][0] or follows.get(ends[0]) != ends[1]:
            continue
        (k, k_starts), (m, m_starts) = ends
        head = tracks[k].backwards() if k_starts else tracks[k]
        tail = tracks[m] if m_starts else tracks[m].backwards()
        before, after = follows.get((k, not k_starts)), follows.get((m, not m_starts))
        for end in (*ends, (k, not k_starts), (m, not m_starts)):
            follows.pop(end, None)
        new = web.join(node)
        assert new is not None
        del tracks[k], tracks[m]
        tracks[new] = head.then(tail)
        for end, other in (((new, True), before), ((new, False), after)):
            if other is not None:
                other = (new, other[1] == m_starts) if other[0] in (k, m) else other
                follows[end], follows[other] = other, end


def _merged(bridges: list[Bridge], places: dict[int, Array], close_mm: float) -> dict[int, int]:
    """For each new node the node it is one with (rule 5)."""
    same = {n: n for n in places}

    def root(n: int) -> int:
        while same[n] != n:
            n = same[n]
        return n

    for bridge in bridges:
        bridge.stops.sort()
        for (_, m), (_, n) in itertools.pairwise(bridge.stops):
            a, b = root(m), root(n)
            if a != b and math.dist(places[a], places[b]) < close_mm:
                keep, gone = min(a, b), max(a, b)
                same[gone] = keep
                places[keep] = 0.5 * (places[a] + places[b])
    return {n: root(n) for n in same}


def _link_apart(
    web: Web,
    tracks: dict[int, Track],
    inner: set[int],
    plan: _Plan,
    options: TidyOptions,
) -> None:
    """Leads that run through side by side and hang together by nothing else keep a short link.

    It lies where a strand inside the knot comes nearest to both.
    """
    bridges, places, same = plan.bridges, plan.places, plan.same
    if len(bridges) < 2:
        return
    group = list(range(len(bridges)))
    for i, j in itertools.combinations(range(len(bridges)), 2):
        shared = {same[n] for _, n in bridges[i].stops} & {same[n] for _, n in bridges[j].stops}
        if shared:
            old, new = group[j], group[i]
            group = [new if g == old else g for g in group]
    for j in range(1, len(bridges)):
        if group[j] == group[0]:
            continue
        one, two = bridges[0], bridges[j]
        i0, j0 = _where_linked(web, inner, one.path, two.path)
        link = [_stop_at(web, bridge, at, plan, options) for bridge, at in ((one, i0), (two, j0))]
        path = np.array([places[link[0]], places[link[1]]])
        width = min(one.first.width_mm, two.first.width_mm)
        tracks[web.add(Strand(link[0], link[1], path, 0, 0, width))] = Track.unseen(path, width)
        old = group[j]
        group = [group[0] if g == old else g for g in group]


def _stop_at(web: Web, bridge: Bridge, at: int, plan: _Plan, options: TidyOptions) -> int:
    """Return the joint on a bridge at an index of its path: one close already, else a new one."""
    place = bridge.path[at]
    for _, node in bridge.stops:
        if math.dist(plan.places[plan.same[node]], place) < options.close_mm:
            return plan.same[node]
    node = web.new_number()
    plan.places[node], plan.same[node] = place, node
    bridge.stops.append((at / (len(bridge.path) - 1), node))
    bridge.stops.sort()
    web.nodes[node] = np.array(place)
    return node


def _where_linked(web: Web, inner: set[int], one: Array, two: Array) -> tuple[int, int]:
    """Return indices on two paths where a strand of the knot ties them, else their nearest."""
    best: tuple[float, int, int] | None = None
    for k in sorted(inner):
        path = web.strands[k].path
        for start, end in ((path[0], path[-1]), (path[-1], path[0])):
            a = np.hypot(one[:, 0] - start[0], one[:, 1] - start[1])
            b = np.hypot(two[:, 0] - end[0], two[:, 1] - end[1])
            total = float(a.min() + b.min())
            if best is None or total < best[0]:
                best = (total, int(a.argmin()), int(b.argmin()))
    if best is not None:
        return best[1], best[2]
    d = np.hypot(one[:, None, 0] - two[None, :, 0], one[:, None, 1] - two[None, :, 1])
    i, j = np.unravel_index(int(d.argmin()), d.shape)
    return int(i), int(j)


def _lay(
    web: Web,
    tracks: dict[int, Track],
    bridge: Bridge,
    places: dict[int, Array],
    same: dict[int, int],
    follows: Follows,
) -> None:
    """Tie a lead that runs through to its joints, with a strand between each two of them."""
    stops: list[tuple[float, int]] = []
    for at, node in bridge.stops:
        if not stops or stops[-1][1] != same[node]:
            stops.append((at, same[node]))
    if not stops:
        node = web.new_number()
        places[node], same[node] = bridge.place(0.5), node
        stops = [(0.5, node)]
    web.attach(bridge.first.end, stops[0][1], places[stops[0][1]])
    last = bridge.first.end
    for (s, m), (t, n) in itertools.pairwise(stops):
        inside = bridge.path[
            max(1, math.ceil(s * (len(bridge.path) - 1))) : int(t * (len(bridge.path) - 1)) + 1
        ]
        path = np.vstack((places[m][None], inside, places[n][None]))
        k = web.add(Strand(m, n, path, 0, 0, bridge.first.width_mm))
        tracks[k] = Track.unseen(path, bridge.first.width_mm)
        follows[last], follows[(k, True)] = (k, True), last
        last = (k, False)
    web.attach(bridge.second.end, stops[-1][1], places[stops[-1][1]])
    follows[last], follows[bridge.second.end] = bridge.second.end, last
