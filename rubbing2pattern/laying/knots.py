"""Knots: nodes tied by leads that nothing shows alone, and which leads run through them.

What the net shows inside a knot is not to be trusted: a crossing comes out as two nodes, leads that
meet at a point fork too early. Only the leads that come out of it are.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

from shapely.geometry import LineString

from rubbing2pattern.fitting.ragged import Ints
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.laying.stubs import Stub, Stubs
from rubbing2pattern.options.laying import LayingOptions

_MOST = 8
"""Ends of a knot up to which all pairings are tried."""
Pair = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Knot:
    """Nodes that are read together.

    Attributes
    ----------
    nodes : numbers of the nodes.
    inner : edges between them that show no lead alone.
    pairs : ends in which one lead runs through.
    alone : ends that butt, or meet here.
    crossed : inner edges in which two leads lie on each other while they cross.
    """

    nodes: tuple[int, ...]
    inner: tuple[int, ...]
    pairs: tuple[Pair, ...]
    alone: tuple[int, ...]
    crossed: frozenset[int] = frozenset()


def knots_of(
    ends: Ints,
    lengths_mm: Array,
    clear_mm: Array,
    stubs: Stubs,
    plain: set[int],
    options: LayingOptions,
) -> list[Knot]:
    """Group the nodes and pair the ends that come out of every group.

    1. an edge no longer than `fused_mm` of which less than `clear_mm` is clean is hidden, and
       one in which two leads cross: at a flat angle they lie on each other and look like one;
    2. nodes tied by hidden edges are one knot, unless these enclose glass;
    3. the pairing with the least cost is taken; an end left over costs `alone_cost`.

    Parameters
    ----------
    ends : (E, 2) nodes of the edges.
    lengths_mm, clear_mm : (E,) length of each, and how much of it is clean.
    plain : nodes that are each a knot by themselves.
    """
    each = stubs.each()
    at: dict[int, list[int]] = {}
    for k, (a, b) in enumerate(ends.tolist()):
        at.setdefault(a, []).append(2 * k)
        at.setdefault(b, []).append(2 * k + 1)
    ties = {
        k: (a, b)
        for k, (a, b) in enumerate(ends.tolist())
        if lengths_mm[k] <= options.fused_mm and a != b and not {a, b} & plain
    }
    hidden = {
        k
        for k, (a, b) in ties.items()
        if clear_mm[k] < options.clear_mm and min(len(at[a]), len(at[b])) > 1
    }
    crossed = {
        k
        for k, (a, b) in ties.items()
        if k not in hidden
        and len(at[a]) == len(at[b]) == 3
        and _cross(_others(at[a], k, each), _others(at[b], k, each), options)
    }
    out: list[Knot] = []
    for nodes, inner in _groups(ends, at, hidden | crossed, lengths_mm, options.least_round_mm):
        out_of = [e for n in nodes for e in at[n] if e // 2 not in inner]
        pairs, alone = _paired(out_of, each, options)
        lying = frozenset(inner & crossed)
        out.append(Knot(tuple(nodes), tuple(sorted(inner)), tuple(pairs), tuple(alone), lying))
    return out


def _others(out_of: list[int], edge: int, stubs: list[Stub]) -> list[Stub]:
    return [stubs[e] for e in out_of if e // 2 != edge]


def _cross(here: list[Stub], there: list[Stub], options: LayingOptions) -> bool:
    """Say whether two ends at either node go on in the two at the other, and cross on the way.

    Only leads that bend less on that way than they cross: two arcs that touch look the same.
    """
    if min(stub.seen_mm for stub in (*here, *there)) <= 0:
        return False
    (a, b), (c, d) = here, there
    found = []
    for pairs in (((a, c), (b, d)), ((a, d), (b, c))):
        costs = [through_cost(*pair) for pair in pairs]
        found.append((sum(costs), max(costs), pairs))
    _, worst, pairs = min(found, key=lambda f: f[:2])
    if worst >= options.alone_cost:
        return False
    u, v = (two.tip - one.tip for one, two in pairs)
    turn = math.acos(min(1.0, abs(_dot(u, v)) / abs(u) / abs(v)))
    bend = max(abs(stub.bend) for stub in (a, b, c, d)) * max(abs(u), abs(v))
    one, two = (LineString([(s.tip.real, s.tip.imag) for s in pair]) for pair in pairs)
    return bool(one.crosses(two)) and bend < turn


def _groups(
    ends: Ints,
    at: dict[int, list[int]],
    hidden: set[int],
    lengths_mm: Array,
    least_round_mm: float,
) -> list[tuple[list[int], set[int]]]:
    seen: set[int] = set()
    out: list[tuple[list[int], set[int]]] = []
    for start in sorted(at):
        if start in seen:
            continue
        nodes, inner, stack = {start}, set(), [start]
        while stack:
            for e in at[stack.pop()]:
                if e // 2 in hidden:
                    inner.add(e // 2)
                    for n in ends[e // 2].tolist():
                        if n not in nodes:
                            nodes.add(n)
                            stack.append(n)
        seen |= nodes
        far = sum(float(lengths_mm[k]) for k in inner)
        if len(inner) >= len(nodes) and far > least_round_mm:  # rule 2
            out.extend(([n], set()) for n in sorted(nodes))
        else:
            out.append((sorted(nodes), inner))
    return out


def _paired(
    out_of: list[int], stubs: list[Stub], options: LayingOptions
) -> tuple[list[Pair], list[int]]:
    """Return the pairing with the least cost and the ends left over."""
    clear = [e for e in out_of if stubs[e].seen_mm > 0]
    n = len(clear)
    costs: dict[Pair, float] = {}
    for i, j in itertools.combinations(range(n), 2):
        cost = through_cost(stubs[clear[i]], stubs[clear[j]])
        if cost < 2.0 * options.alone_cost:
            costs[i, j] = cost
    # So many ends meet hardly ever: then the cheapest pairs go first.
    every = n <= _MOST
    chosen = _best(tuple(range(n)), costs, options.alone_cost)[1] if every else _greedy(costs)
    pairs = [(clear[i], clear[j]) for i, j in chosen]
    taken = {e for pair in pairs for e in pair}
    return pairs, [e for e in out_of if e not in taken]


def _best(
    items: tuple[int, ...], costs: dict[Pair, float], alone: float
) -> tuple[float, list[Pair]]:
    if not items:
        return 0.0, []
    first, rest = items[0], items[1:]
    total, pairs = _best(rest, costs, alone)
    best = (total + alone, pairs)
    for j in rest:
        if (first, j) in costs:
            total, pairs = _best(tuple(i for i in rest if i != j), costs, alone)
            if total + costs[first, j] < best[0]:
                best = (total + costs[first, j], [(first, j), *pairs])
    return best


def _greedy(costs: dict[Pair, float]) -> list[Pair]:
    taken: set[int] = set()
    out = []
    for (i, j), _ in sorted(costs.items(), key=lambda item: item[1]):
        if not {i, j} & taken:
            taken |= {i, j}
            out.append((i, j))
    return out


def through_cost(one: Stub, two: Stub) -> float:
    """Squared misfit, in deviations, of prolonging each of two ends to the other's tip.

    What may be expected grows with the gap: a bent lead may bend a little more or less on the way,
    and a short stub shows its direction badly.
    """
    way = two.tip - one.tip
    gap = abs(way)
    if gap < 1e-6 or _dot(one.heading, two.heading) > -0.5:
        return math.inf
    ahead, back = _dot(one.heading, way), -_dot(two.heading, way)
    if gap > 3.0 and min(ahead, back) < 0.6 * gap:
        return math.inf
    total = 0.0
    bend = max(abs(one.bend), abs(two.bend))
    for a, b, far in ((one, two, ahead), (two, one, back)):
        place, heading = a.prolonged(far, a.bend_towards(b))
        aside = abs(_dot(1j * heading, b.tip - place))
        turn = math.degrees(math.acos(min(max(-_dot(heading, b.heading), -1.0), 1.0)))
        sure = max(a.seen_mm, 2.0)
        short = 0.15 / sure + 1.2 / sure**2
        slack_mm = 0.3 + (0.02 + short) * gap + 0.1 * bend * gap**2
        slack_deg = 3.0 + 0.1 * gap + 80.0 * short + math.degrees(0.2 * bend * gap)
        total += 0.5 * ((aside / slack_mm) ** 2 + (turn / slack_deg) ** 2)
    mean = 0.5 * (one.width_mm + two.width_mm)
    wide = (one.width_mm - two.width_mm) / (0.15 * mean + 0.25)
    return total + wide**2


def _dot(one: complex, two: complex) -> float:
    return one.real * two.real + one.imag * two.imag
