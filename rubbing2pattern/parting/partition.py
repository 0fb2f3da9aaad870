"""The likeliest partition of the panel: which basins are one piece.

A set of boundaries can be all the lead of a panel only if it closes round every piece: then every
lead ends at a lead and the border is closed. Such sets are the partitions of the basins, and the
log odds of a partition is the sum over the boundaries that stay (Kappes et al. 2011, multicut).
"""

from __future__ import annotations

import heapq
from collections import defaultdict

import numpy as np
import numpy.typing as npt
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from rubbing2pattern.geometry.curves import polyline_length
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.reading import RawNet

Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]


def likeliest(net: RawNet, odds: Array, options: TidyOptions) -> tuple[Mask, Array]:
    """Return which boundaries stay, (E,), and the log odds of each with its neighbours known.

    Strategy: greedy contraction (Keuper et al. 2015): the two basins whose common boundaries have
    the lowest sum become one, as long as that sum is below 0; then single basins are moved to a
    neighbour while that raises the sum; both by turns until neither does. Inside a piece a lead
    that ends freely may stay: what has log odds over `free_odds`, is tied to a lead and `free_mm`
    long.

    Parameters
    ----------
    net : all boundaries; side 0 is the outside.
    odds : (E,) log odds that each is lead.
    """
    of: dict[int, int] = {}
    settled = {a: a for a in set(net.sides.ravel().tolist())}
    while settled != of:
        of = settled
        moved = _moved(net.sides, odds, _contracted(net.sides, odds, of))
        settled = _named(net.sides, moved)
    stays, sure = _decided(net.sides, odds, of)
    return stays | _free(net, odds, stays, options), sure


def _contracted(sides: Ints, odds: Array, of: dict[int, int]) -> dict[int, int]:
    """Return the piece of every basin by greedy contraction of the pieces so far."""
    weight: dict[int, dict[int, float]] = defaultdict(dict)
    for (first, second), value in zip(sides.tolist(), odds.tolist(), strict=True):
        a, b = of[first], of[second]
        if a != b:
            weight[a][b] = weight[b][a] = weight[a].get(b, 0.0) + value
    heap = [(v, a, b) for a, others in weight.items() for b, v in others.items() if a < b]
    heapq.heapify(heap)
    parent = {a: a for a in of.values()}
    while heap and heap[0][0] < 0.0:
        value, a, b = heapq.heappop(heap)
        if weight.get(a, {}).get(b) != value:
            continue
        keep, gone = (a, b) if a < b else (b, a)  # the outside, 0, always stays
        for c, v in weight.pop(gone).items():
            del weight[c][gone]
            if c == keep:
                continue
            total = weight[keep].get(c, 0.0) + v
            weight[keep][c] = weight[c][keep] = total
            heapq.heappush(heap, (total, min(keep, c), max(keep, c)))
        parent[gone] = keep
    return {basin: _root(parent, a) for basin, a in of.items()}


def _root(parent: dict[int, int], a: int) -> int:
    while parent[a] != a:
        a = parent[a]
    return a


def _moved(sides: Ints, odds: Array, of: dict[int, int]) -> dict[int, int]:
    """Move basins one by one to the piece, or to one of their own, where the sum is highest."""
    around: dict[int, dict[int, float]] = defaultdict(dict)
    for (a, b), value in zip(sides.tolist(), odds.tolist(), strict=True):
        if a != b:
            around[a][b] = around[b][a] = around[a].get(b, 0.0) + value
    of = dict(of)
    own = max(of, default=0) + 1
    for _ in range(len(of)):
        changed = False
        for a in sorted(around):
            if a == 0:
                continue
            held: dict[int, float] = defaultdict(float)
            for b, value in around[a].items():
                held[of[b]] -= value
            best = max([(0.0, own + a), *((v, p) for p, v in held.items())])
            if best[0] > held.get(of[a], 0.0) + 1e-9:
                of[a] = best[1]
                changed = True
        if not changed:
            break
    return of


def _named(sides: Ints, of: dict[int, int]) -> dict[int, int]:
    """Name every piece by its lowest basin; parts of one that touch nowhere are pieces each."""
    basins, rows = np.unique(sides, return_inverse=True)
    a, b = rows.reshape(-1, 2).T
    pieces = np.array([of[n] for n in basins.tolist()])
    same = pieces[a] == pieces[b]
    graph = coo_array((np.ones(same.sum()), (a[same], b[same])), shape=(len(basins),) * 2)
    part = connected_components(graph, directed=False)[1]
    lowest = np.full(len(basins), basins.max(initial=0))
    np.minimum.at(lowest, part, basins)
    return dict(zip(basins.tolist(), lowest[part].tolist(), strict=True))


def _decided(sides: Ints, odds: Array, of: dict[int, int]) -> tuple[Mask, Array]:
    """Return what stays, and for each boundary by how much that is better than otherwise."""
    pieces = np.array([[of[int(a)], of[int(b)]] for a, b in sides], dtype=np.int64).reshape(-1, 2)
    stays = pieces[:, 0] != pieces[:, 1]
    total: dict[tuple[int, int], float] = defaultdict(float)
    keys = [(min(p), max(p)) for p in pieces.tolist()]
    for key, value, kept in zip(keys, odds.tolist(), stays, strict=True):
        if kept:
            total[key] += value
    sure = [total[k] if s else v for k, v, s in zip(keys, odds.tolist(), stays, strict=True)]
    return stays, np.array(sure)


def _free(net: RawNet, odds: Array, stays: Mask, options: TidyOptions) -> Mask:
    """Return boundaries inside pieces that stay as leads that end freely: tied ones, one by one."""
    length = np.array([polyline_length(p) for p in net.paths])
    likely = (odds > options.free_odds) & ~stays & (length > options.free_mm)
    tied = set(net.ends[stays].ravel().tolist())
    out = np.zeros(len(stays), dtype=bool)
    while True:
        new = [k for k in np.flatnonzero(likely & ~out) if tied & set(net.ends[k].tolist())]
        if not new:
            return out
        out[new] = True
        tied |= set(net.ends[new].ravel().tolist())


def reduced(net: RawNet, stays: Mask, sure: Array) -> tuple[RawNet, Array]:
    """Return the net of the boundaries that stay, two that meet alone joined, and their log odds.

    The log odds of a joined boundary is the mean by length. Node numbers are those of `net`,
    nodes that nothing ends at left out.
    """
    chains = _chains(net, np.flatnonzero(stays))
    used: dict[int, int] = {}
    ends, paths, sides, values = [], [], [], []
    for chain in chains:
        parts = [net.paths[k] if forward else net.paths[k][::-1] for k, forward in chain]
        (k, forward), (last, onward) = chain[0], chain[-1]
        a = int(net.ends[k][0 if forward else 1])
        b = int(net.ends[last][1 if onward else 0])
        ends.append([used.setdefault(n, len(used)) for n in (a, b)])
        paths.append(np.vstack([parts[0], *(p[1:] for p in parts[1:])]))
        sides.append(net.sides[k] if forward else net.sides[k][::-1])
        weights = [len(net.paths[e]) for e, _ in chain]
        values.append(float(np.average([sure[e] for e, _ in chain], weights=weights)))
    nodes = net.nodes[list(used)] if used else np.zeros((0, 2))
    out = RawNet(
        nodes,
        np.array(ends, dtype=np.int64).reshape(-1, 2),
        tuple(paths),
        np.array(sides, dtype=np.int64).reshape(-1, 2),
    )
    return out, np.array(values)


def _chains(net: RawNet, kept: Ints) -> list[list[tuple[int, bool]]]:
    """Return chains of boundaries that meet alone; True: walked from its start."""
    at: dict[int, list[tuple[int, bool]]] = defaultdict(list)
    for k in kept.tolist():
        a, b = net.ends[k].tolist()
        at[a].append((k, True))
        at[b].append((k, False))
    seen: set[int] = set()
    out = []
    for k in kept.tolist():
        if k in seen:
            continue
        chain = [(k, True)]
        seen.add(k)
        for grow_tail in (True, False):
            while True:
                e, forward = chain[-1] if grow_tail else chain[0]
                node = int(net.ends[e][1 if forward == grow_tail else 0])
                others = [x for x in at[node] if x[0] != e]
                if len(at[node]) != 2 or len(others) != 1 or others[0][0] in seen:
                    break
                nxt, starts = others[0]
                seen.add(nxt)
                step = (nxt, starts == grow_tail)
                chain.insert(len(chain) if grow_tail else 0, step)
        out.append(chain)
    return out
