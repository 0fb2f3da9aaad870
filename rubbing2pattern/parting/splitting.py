"""Boundaries cut where the map shows no lead for long: there a lead may end inside a piece."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from rubbing2pattern.imaging.profiles import evenly, grid_values
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.reading import Grid, LeadMap, RawNet


def split_at_gaps(net: RawNet, line: Grid, lead: LeadMap, options: TidyOptions) -> RawNet:
    """Return the net with every boundary cut at both ends of a gap in the lead line.

    Rules:

    1. a gap is a stretch of `gap_mm` and more where the map stays below `gap_below`;
    2. what shows at the end of a boundary, no further than the lead there covers, is that lead, not
       the boundary: a gap that begins there begins at the end;
    3. a gap at the end of a boundary is as long as the lead there covers, and `gap_mm` more.
    """
    nodes = [tuple(p) for p in net.nodes.tolist()]
    ends, paths, sides = [], [], []
    covered = 0.5 * grid_values(lead.maps.width_mm, lead, net.nodes) + options.covered_mm
    for k, path in enumerate(net.paths):
        places = evenly(path, options.evidence_step_mm)
        a, b = (int(n) for n in net.ends[k])
        seen = grid_values(line, lead, places) >= options.gap_below
        cuts = [] if a == b else _cuts(seen, (covered[a], covered[b]), options)
        stops = [0, *cuts, len(places) - 1]
        at = [a, *range(len(nodes), len(nodes) + len(cuts)), b]
        nodes += [tuple(places[c].tolist()) for c in cuts]
        for i in range(len(stops) - 1):
            ends.append((at[i], at[i + 1]))
            paths.append(places[stops[i] : stops[i + 1] + 1] if cuts else path)
            sides.append(tuple(net.sides[k].tolist()))
    return RawNet(
        np.array(nodes, dtype=np.float64).reshape(-1, 2),
        np.array(ends, dtype=np.int64).reshape(-1, 2),
        tuple(paths),
        np.array(sides, dtype=np.int64).reshape(-1, 2),
    )


def _cuts(
    seen: npt.NDArray[np.bool_], covered: tuple[float, float], options: TidyOptions
) -> list[int]:
    """Return the indices at which a boundary is cut."""
    n = len(seen)
    step = options.evidence_step_mm
    least = round(options.gap_mm / step)
    edges = np.flatnonzero(np.diff(np.concatenate(([True], seen, [True])).astype(np.int8)))
    cuts: list[int] = []
    hidden = [round(mm / step) for mm in covered]
    for low, high in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        low = 0 if low <= hidden[0] else low  # rule 2
        high = n if high >= n - hidden[1] else high
        need = least + (hidden[0] if low == 0 else 0) + (hidden[1] if high == n else 0)  # rule 3
        if high - low < need:
            continue
        cuts += [c for c in (low, high) if 1 < c < n - 2]
    return cuts
