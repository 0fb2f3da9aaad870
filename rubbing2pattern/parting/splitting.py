"""Boundaries cut where the map shows no lead for long: there a lead may end inside a piece."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from rubbing2pattern.imaging.profiles import evenly, grid_values
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.reading import Grid, LeadMap, RawNet

_SURE = 0.6
"""Of the map: there runs a lead, whether ink shows or not."""


def split_at_gaps(
    net: RawNet, line: Grid, ink: Grid, lead: LeadMap, options: TidyOptions
) -> RawNet:
    """Return the net with every boundary cut at both ends of a gap in the lead line.

    Rules:

    1. a gap is a stretch where the map stays below `gap_below`, longer than this rubbing's own
       drop-outs: `gap_mm` amid a lead, `end_gap_mm` between its end and another lead, and more
       as more of the rubbing's leads are bare;
    2. what shows at the end of a boundary, no further than the lead there covers, is that lead, not
       the boundary: a gap that begins there begins at the end;
    3. a gap at the end of a boundary is longer by as much as the lead there covers.
    """
    nodes = [tuple(p) for p in net.nodes.tolist()]
    ends, paths, sides = [], [], []
    covered = 0.5 * grid_values(lead.maps.width_mm, lead, net.nodes) + options.covered_mm
    longer = longer_gap(ink, lead, options)
    for k, path in enumerate(net.paths):
        places = evenly(path, options.evidence_step_mm)
        a, b = (int(n) for n in net.ends[k])
        seen = grid_values(line, lead, places) >= options.gap_below
        cuts = [] if a == b else _cuts(seen, (covered[a], covered[b]), longer, options)
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


def longer_gap(ink: Grid, lead: LeadMap, options: TidyOptions) -> float:
    """Return by how much gaps must be longer in this rubbing, whose drop-outs are longer, mm."""
    sure = lead.maps.centre > _SURE
    bare = float(np.mean(ink[sure] < options.bare_ink)) if sure.any() else 0.0
    return options.bare_gap_mm * max(0.0, bare - options.bare_usual)


def _cuts(
    seen: npt.NDArray[np.bool_],
    covered: tuple[float, float],
    longer: float,
    options: TidyOptions,
) -> list[int]:
    """Return the indices at which a boundary is cut."""
    n = len(seen)
    step = options.evidence_step_mm
    middle, end = (round((mm + longer) / step) for mm in (options.gap_mm, options.end_gap_mm))
    edges = np.flatnonzero(np.diff(np.concatenate(([True], seen, [True])).astype(np.int8)))
    cuts: list[int] = []
    hidden = [round(mm / step) for mm in covered]
    for low, high in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        low = 0 if low <= hidden[0] else low  # rule 2
        high = n if high >= n - hidden[1] else high
        need = end if low == 0 or high == n else middle
        need += (hidden[0] if low == 0 else 0) + (hidden[1] if high == n else 0)  # rule 3
        if high - low < need:
            continue
        cuts += [c for c in (low, high) if 1 < c < n - 2]
    return cuts
