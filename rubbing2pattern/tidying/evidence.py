"""How well the picture supports a strand, read from the working grids."""

from __future__ import annotations

import heapq
from dataclasses import dataclass

import numpy as np

from rubbing2pattern.frame import Array
from rubbing2pattern.imaging.profiles import evenly, grid_values, left_normals
from rubbing2pattern.reading import Grid, LeadMap
from rubbing2pattern.tidying.web import Strand, Web


@dataclass(frozen=True, slots=True)
class Evidence:
    """What the grids say along a strand.

    Attributes
    ----------
    mean : mean band response, about 1 on a well rubbed lead.
    low : its 20th percentile.
    seen_share : share of the length above the level that counts as seen.
    width_mm : median width of the strongest band.
    """

    mean: float
    low: float
    seen_share: float
    width_mm: float


def band_along(path: Array, lead: LeadMap, reach_mm: float = 1.0) -> tuple[Grid, Grid]:
    """Return the strongest band response within reach of each millimetre of a path, and its width."""
    places = evenly(path, 1.0)
    normal = left_normals(places)
    best = np.full(len(places), -1.0, dtype=np.float32)
    width = np.zeros(len(places), dtype=np.float32)
    for offset in (-reach_mm, 0.0, reach_mm):
        shifted = places + offset * normal
        response = grid_values(lead.band, lead, shifted)
        better = response > best
        best = np.where(better, response, best)
        width = np.where(better, grid_values(lead.width_mm, lead, shifted), width)
    return best, width


def ink_along(path: Array, lead: LeadMap) -> Grid:
    """Return the density over the local strength at every half millimetre of a path."""
    places = evenly(path, 0.5)
    density = grid_values(lead.density, lead, places)
    smooth = np.convolve(np.pad(density, 2, mode="edge"), np.full(5, 0.2), mode="valid")
    return np.asarray(smooth / grid_values(lead.strength, lead, places), dtype=np.float32)


def weigh(strand: Strand, lead: LeadMap, seen_above: float) -> Evidence:
    """Return the evidence of one strand."""
    response, width = band_along(strand.path, lead)
    return Evidence(
        float(np.minimum(response, 1.0).mean()),
        float(np.percentile(response, 20.0)),
        float((response > seen_above).mean()),
        float(np.median(width)),
    )


def drop_clearly_false(web: Web, lead: LeadMap, seen_above: float, limit: float) -> None:
    """Remove strands with hardly any band under them, weakest first, joining what is left.

    A strand joined from two is weighed again as one.
    """
    evidence = {k: weigh(s, lead, seen_above) for k, s in web.strands.items()}
    heap = [(e.mean, k) for k, e in evidence.items()]
    heapq.heapify(heap)
    while heap:
        mean, k = heapq.heappop(heap)
        if k not in web.strands or evidence[k].mean != mean:
            continue
        if mean >= limit:
            break
        for new in web.remove(k):
            evidence[new] = weigh(web.strands[new], lead, seen_above)
            heapq.heappush(heap, (evidence[new].mean, new))
    for k, strand in web.strands.items():
        strand.width_mm = evidence[k].width_mm if k in evidence else strand.width_mm
