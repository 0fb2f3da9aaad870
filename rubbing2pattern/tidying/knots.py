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

from rubbing2pattern.fitting.solve import meeting_place
from rubbing2pattern.frame import Array
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.reading import LeadMap
from rubbing2pattern.tidying.evidence import ink_along
from rubbing2pattern.tidying.refine import Track
from rubbing2pattern.tidying.stubs import End, Stub, hidden, stub_of
from rubbing2pattern.tidying.web import Strand, Web

_BACK = 0.8  # of the clean lead behind a fit: what may be trusted as its course

Follows = dict[End, End]
"""For a strand end, the strand end in which its lead goes on."""


@dataclass(slots=True)
class _Bridge:
    """A lead that runs through a knot, from one stub to another, and the joints on it."""

    first: Stub
    second: Stub
    path: Array
    stops: list[tuple[float, int]]

    def place(self, at: float) -> Array:
        i = min(int(at * (len(self.path) - 1)), len(self.path) - 2)
        t = at * (len(self.path) - 1) - i
        return np.asarray((1 - t) * self.path[i] + t * self.path[i + 1])


def untie(
    web: Web, tracks: dict[int, Track], lead: LeadMap, options: TidyOptions
) -> Follows:
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
    _join_through(web, tracks, follows)
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
    """A knot with a hidden strand coming out of it is left as it is; clear leads still run on."""
    if len(nodes) > 1:
        for node in sorted(nodes):
            own = [s for s in clear if s.end in web.ends_at(node)]
            _follow_pairs(own, follows, options)
        return
    _follow_pairs(clear, follows, options)


def _follow_pairs(clear: list[Stub], follows: Follows, options: TidyOptions) -> None:
    pairs, _ = _paired(clear, options)
    for first, second in pairs:
        follows[first.end], follows[second.end] = second.end, first.end


def _paired(stubs: list[Stub], options: TidyOptions) -> tuple[list[tuple[Stub, Stub]], list[Stub]]:
    """The pairing with the least cost (rule 2); all pairings are tried, or the best eight stubs'."""
    n = len(stubs)
    cost = np.full((n, n), np.inf)
    for i, j in itertools.combinations(range(n), 2):
        cost[i, j] = cost[j, i] = _cost(stubs[i], stubs[j], options)
    best: tuple[float, list[tuple[int, int]]] = (math.inf, [])
    for pairs in _matchings(list(range(n)), cost, options.alone_cost):
        total = sum(cost[i, j] for i, j in pairs) + options.alone_cost * (n - 2 * len(pairs))
        if total < best[0] - 1e-12:
            best = (total, pairs)
    taken = {i for pair in best[1] for i in pair}
    return (
        [(stubs[i], stubs[j]) for i, j in best[1]],
        [s for i, s in enumerate(stubs) if i not in taken],
    )


def _matchings(items: list[int], cost: Array, alone: float) -> list[list[tuple[int, int]]]:
    """All sets of disjoint pairs cheaper than leaving both alone."""
    if len(items) < 2:
        return [[]]
    first, rest = items[0], items[1:]
    out = _matchings(rest, cost, alone)
    for j in rest:
        if cost[first, j] < 2.0 * alone:
            left = [x for x in rest if x != j]
            out = out + [[(first, j), *m] for m in _matchings(left, cost, alone)]
    return out


def _cost(one: Stub, two: Stub, options: TidyOptions) -> float:
    """Squared misfit, in standard deviations, of prolonging each stub to the other's tip.

    What may be expected grows with the gap: a lead may bend a little on the way, and a short stub
    tells its direction badly.
    """
    gap = math.dist(one.tip, two.tip)
    if gap < 1e-6:
        return math.inf
    if float(one.heading @ two.heading) > -0.5:
        return math.inf
    way = (two.tip - one.tip) / gap
    if gap > 3.0 and (float(one.heading @ way) < 0.6 or float(two.heading @ way) > -0.6):
        return math.inf
    total = 0.0
    for a, b in ((one, two), (two, one)):
        foot, along = a.fit.near(b.tip)
        along = along if float(along @ a.heading) > 0 else -along
        sure = max(min(a.seen_mm, options.local_mm), 2.0)
        aside = math.dist(foot, b.tip)
        turn = math.degrees(math.acos(float(np.clip(-(along @ b.heading), -1.0, 1.0))))
        slack_mm = 0.35 + 0.05 * gap + 0.15 * gap / sure
        slack_deg = 5.0 + 0.2 * gap + 12.0 / sure
        total += 0.5 * ((aside / slack_mm) ** 2 + (turn / slack_deg) ** 2)
    wide = (one.width_mm - two.width_mm) / (0.15 * (one.width_mm + two.width_mm) / 2 + 0.25)
    return total + wide**2


def _bridge(one: Stub, two: Stub) -> Array:
    """Points along both leads and a cubic (Hermite) from tip to tip, about half a mm apart.

    The leads are followed back a little, for a sharp joint may lie before its fork.
    """
    before = _followed(one, -one.heading, _BACK * one.seen_mm)
    after = _followed(two, -two.heading, _BACK * two.seen_mm)
    return np.vstack((before[:0:-1], _hermite(one, two), after[1:]))


def _hermite(one: Stub, two: Stub) -> Array:
    gap = math.dist(one.tip, two.tip)
    n = max(8, round(gap / 0.5))
    t = np.linspace(0.0, 1.0, n)[:, None]
    p, q = one.tip, two.tip
    u, v = gap * one.heading, -gap * two.heading
    return np.asarray(
        (2 * t**3 - 3 * t**2 + 1) * p
        + (t**3 - 2 * t**2 + t) * u
        + (-2 * t**3 + 3 * t**2) * q
        + (t**3 - t**2) * v
    )


@dataclass(slots=True)
class _Plan:
    """How a knot is to be put together: new places, which are one, what butts where."""

    bridges: list[_Bridge]
    places: dict[int, Array]
    butts: dict[int, list[Stub]]
    same: dict[int, int]


def _planned(
    web: Web, nodes: set[int], clear: list[Stub], lead: LeadMap, options: TidyOptions
) -> _Plan | None:
    centre = np.mean([web.nodes[n] for n in sorted(nodes)], axis=0)
    pairs, rest = _paired(clear, options)
    bridges = [_Bridge(a, b, _bridge(a, b), []) for a, b in pairs]
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
        node = web.new_number()
        places[node], butts[node] = place, list(rest)
    for one, two in itertools.combinations(bridges, 2):  # rule 3
        hit = _crossing(one.path, two.path)
        if hit is not None:
            node = web.new_number()
            places[node] = hit[2]
            one.stops.append((hit[0], node))
            two.stops.append((hit[1], node))
    ways: list[Array] = []
    for stub in rest if bridges else []:  # rule 4
        bridge, at, place, way = _landing(stub, bridges, centre)
        if len(nodes) > 1 and not _inked(way, lead, options):  # rule 7
            return None
        if any(_crossing(way, other) is not None for other in ways):
            return None
        ways.append(way)
        node = web.new_number()
        places[node], butts[node] = place, [stub]
        bridge.stops.append((at, node))
    same = _merged(bridges, places, options.close_mm)  # rule 5
    return _Plan(bridges, places, butts, same)


def _inked(path: Array, lead: LeadMap, options: TidyOptions) -> bool:
    """Whether a way lies in ink nearly all along."""
    if float(np.hypot(*np.diff(path, axis=0).T).sum()) < 1.0:
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


def _join_through(web: Web, tracks: dict[int, Track], follows: Follows) -> None:
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


def _crossing(one: Array, two: Array) -> tuple[float, float, Array] | None:
    """Where two polylines cross: shares of their lengths and the place; None if they do not."""
    a, b = one[:-1], one[1:]
    c, d = two[:-1], two[1:]
    r, s = b - a, d - c
    cross = r[:, None, 0] * s[None, :, 1] - r[:, None, 1] * s[None, :, 0]
    ca = c[None] - a[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        t = (ca[..., 0] * s[None, :, 1] - ca[..., 1] * s[None, :, 0]) / cross
        u = (ca[..., 0] * r[:, None, 1] - ca[..., 1] * r[:, None, 0]) / cross
    hit = (t >= 0) & (t <= 1) & (u >= 0) & (u <= 1)
    if not hit.any():
        return None
    i, j = (int(v) for v in np.argwhere(hit)[0])
    place = a[i] + t[i, j] * r[i]
    return (i + float(t[i, j])) / (len(one) - 1), (j + float(u[i, j])) / (len(two) - 1), place


def _followed(stub: Stub, heading: Array, length_mm: float) -> Array:
    """The stub's fitted curve from its tip on, by half a millimetre."""
    points, here = [stub.tip], stub.tip
    for _ in range(int(length_mm / 0.5)):
        here, along = stub.fit.near(here + 0.5 * heading)
        heading = along if float(along @ heading) > 0 else -along
        points.append(here)
    return np.array(points)


def _landing(
    stub: Stub, bridges: list[_Bridge], centre: Array
) -> tuple[_Bridge, float, Array, Array]:
    """The first bridge that the prolonged stub meets, where on it, the place and the way there."""
    ahead = _followed(stub, stub.heading, math.dist(stub.tip, centre) + 45.0)
    best: tuple[float, _Bridge, float, Array] | None = None
    for bridge in bridges:
        hit = _crossing(ahead, bridge.path)
        if hit is not None and (best is None or hit[0] < best[0]):
            best = (hit[0], bridge, hit[1], hit[2])
    if best is not None:
        way = ahead[: max(2, int(best[0] * (len(ahead) - 1)) + 1)]
        return best[1], best[2], best[3], way
    nearest: tuple[float, _Bridge, float, Array, Array] | None = None
    for bridge in bridges:
        d = np.hypot(
            ahead[:, None, 0] - bridge.path[None, :, 0], ahead[:, None, 1] - bridge.path[None, :, 1]
        )
        j = int(d.min(axis=0).argmin())
        if nearest is None or float(d.min()) < nearest[0]:
            way = np.array([stub.tip, bridge.path[j]])
            nearest = (float(d.min()), bridge, j / (len(bridge.path) - 1), bridge.path[j], way)
    assert nearest is not None
    return nearest[1:]


def _merged(bridges: list[_Bridge], places: dict[int, Array], close_mm: float) -> dict[int, int]:
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
        link = [
            _stop_at(web, bridge, at, plan, options) for bridge, at in ((one, i0), (two, j0))
        ]
        path = np.array([places[link[0]], places[link[1]]])
        width = min(one.first.width_mm, two.first.width_mm)
        tracks[web.add(Strand(link[0], link[1], path, 0, 0, width))] = Track.unseen(path, width)
        old = group[j]
        group = [group[0] if g == old else g for g in group]


def _stop_at(web: Web, bridge: _Bridge, at: int, plan: _Plan, options: TidyOptions) -> int:
    """The joint on a bridge at an index of its path: one that is close already, else a new one."""
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
    """Indices on two paths where a strand inside the knot ties them; else where they are nearest."""
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
    bridge: _Bridge,
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


