"""Parts of the net tied to nothing: another panel, writing that was taken for lead, roundels."""

from __future__ import annotations

import numpy as np
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from rubbing2pattern.findings import Code, Finding, Severity
from rubbing2pattern.frame import Array
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.paneling.enclosed import enclosed
from rubbing2pattern.reading import RawNet


def main_part(
    net: RawNet, odds: Array, options: TidyOptions
) -> tuple[RawNet, Array, tuple[Finding, ...]]:
    """Return the longest part of a net and what lies inside it, with their log odds.

    Parts outside are left out; those longer than `smallest_part_mm` are reported.
    """
    part = _parts(net)
    length = np.array([float(np.hypot(*np.diff(p, axis=0).T).sum()) for p in net.paths])
    total = np.bincount(part, length) if len(part) else np.zeros(0)
    if len(total) < 2:
        return net, odds, ()
    main = int(total.argmax())
    outline = enclosed(net.paths[k] for k in np.flatnonzero(part == main))
    keep = part == main
    found = []
    for number in range(len(total)):
        rows = np.flatnonzero(part == number)
        if number == main:
            continue
        if outline.contains(shapely.union_all([shapely.LineString(net.paths[k]) for k in rows])):
            keep[rows] = True
        elif total[number] >= options.smallest_part_mm:
            place = net.paths[rows[0]][len(net.paths[rows[0]]) // 2]
            found.append(_separate(float(total[number]), place))
    rows = np.flatnonzero(keep)
    used, ends = np.unique(net.ends[rows], return_inverse=True)
    out = RawNet(
        net.nodes[used], ends.reshape(-1, 2), tuple(net.paths[k] for k in rows), net.sides[rows]
    )
    return out, odds[rows], tuple(found)


def _parts(net: RawNet) -> np.ndarray:
    """Return the number of the part that every boundary belongs to."""
    n = len(net.nodes)
    a, b = net.ends.T
    graph = coo_array((np.ones(len(a)), (a, b)), shape=(n, n))
    return np.asarray(connected_components(graph, directed=False)[1][a])


def _separate(length_mm: float, place: Array) -> Finding:
    text = (
        f"dark lines {length_mm:.0f} mm long in all touch the panel nowhere and are left out; "
        "if they are another panel, trace it from a picture of its own"
    )
    return Finding(Code.SEPARATE_PARTS, Severity.CHECK, text, (float(place[0]), float(place[1])))
