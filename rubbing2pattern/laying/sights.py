"""What is in sight along the laid leads: the edges that nothing else covers, and the ridge.

Legend: R runs, N places along all of them, J joints.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from rubbing2pattern.fitting.ragged import Ints, quantiles
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.laying.net import Laid, trimmed
from rubbing2pattern.laying.ridge import ridge_deviation, ridge_near
from rubbing2pattern.laying.rows import (
    Mask,
    Pieces,
    Rows,
    beside,
    ink_across,
    pieces_of,
    rows_along,
)
from rubbing2pattern.laying.tracks import edges_near
from rubbing2pattern.options.laying import LayingOptions
from rubbing2pattern.reading import LeadMap, Rubbing


@dataclass(frozen=True, slots=True)
class Sight:
    """What was read along all runs.

    Attributes
    ----------
    rows : places along the laid lines.
    pieces : these lines as short polylines.
    middle_mm : (N,) offset of the lead's middle from the laid line, by edges and ridge together.
    sigma_mm : (N,) deviation of that; infinite where nothing is in sight.
    soldered : (N,) whether solder may cover an edge there.
    height : (N,) of the ridge.
    width_mm : (R,) width of every run.
    """

    rows: Rows
    pieces: Pieces
    middle_mm: Array
    sigma_mm: Array
    soldered: Mask
    height: Array
    width_mm: Array


def sight_of(net: Laid, rubbing: Rubbing, lead: LeadMap, options: LayingOptions) -> Sight:
    """Read all runs along their laid lines.

    1. an edge is in sight where it lies beside no leaf of another run; where solder may cover it,
       it counts little;
    2. the width of a run is the median distance of its edges where both are in sight;
    3. where one edge alone is in sight the middle lies half a width from it;
    4. the ridge counts everywhere but beside another lead, where it may be that one's.
    """
    rows = rows_along([trimmed(net, k) for k in range(len(net.runs))], options.step_mm, 1.5)
    width = np.array([r.width_mm for r in net.runs])
    half = 0.5 * width[rows.owner]
    reach = (
        0.5 * float(width.max())
        + options.edge_mm
        + options.strip_mm
        + 2.0 * options.profile_step_mm
    )
    ink = ink_across(rows, rubbing, lead, reach, options.profile_step_mm, options.along_mm)
    pieces = pieces_of(rows)
    ways = (1.0, -1.0)
    edges = np.vstack([rows.base + way * half[:, None] * rows.normal for way in ways])
    shown, covered = in_sight(edges, np.tile(rows.owner, 2), pieces, width, net, options)  # rule 1
    soldered: Mask = np.logical_or(*covered.reshape(2, -1))
    place, fall = edges_near(ink, np.zeros(len(half)), half, options)
    seen = np.where(shown.reshape(2, -1), np.clip(fall / ink.strength, 0.0, 1.0), 0.0)
    width = _widths(place, seen, soldered, rows, width, options)  # rule 2
    middle, sigma = _middles(place, seen, soldered, width[rows.owner], options)  # rule 3
    sigma *= _unsteady(middle, sigma, rows, options)[rows.owner]
    ridge = ridge_near(rows, lead, options, options.ridge_mm)
    off = ridge_deviation(ridge, rows, pieces, options)
    middle, sigma = _with_ridge(middle, sigma, ridge.off_mm, off)  # rule 4
    return Sight(rows, pieces, middle, sigma, soldered, ridge.height, width)


def _widths(
    place: Array,
    seen: Array,
    soldered: Mask,
    rows: Rows,
    width_mm: Array,
    options: LayingOptions,
) -> Array:
    """Width of every run by its edges, (R,); as before where they are in sight hardly anywhere."""
    clean = (np.minimum(*seen) > options.seen_above) & ~soldered
    owner = rows.owner[clean]
    enough = np.bincount(owner, minlength=rows.lines) * options.step_mm >= options.clear_mm
    measured = quantiles((place[0] - place[1])[clean], owner, rows.lines, 0.5)
    return np.where(enough, np.clip(measured, 0.7 * width_mm, 1.3 * width_mm), width_mm)


def _middles(
    place: Array, seen: Array, soldered: Mask, width_mm: Array, options: LayingOptions
) -> tuple[Array, Array]:
    """Middle of the lead by its edges at every place, and its deviation, (N,) mm each."""
    shown = [s > options.seen_above for s in seen]
    both = shown[0] & shown[1]
    middle = np.where(both, 0.5 * (place[0] + place[1]), 0.0)
    sigma = np.full(len(middle), np.inf)
    sure = np.maximum(0.5 * (seen[0] + seen[1]), 0.2)
    sigma[both] = options.centre_mm / sure[both]
    limit = options.merged_mm + options.merged * width_mm
    odd = both & (np.abs(place[0] - place[1] - width_mm) > limit)
    sigma[odd] *= options.odd
    for one, two, side in ((0, 1, -0.5), (1, 0, 0.5)):
        alone = shown[one] & ~shown[two]
        middle[alone] = (place[one] + side * width_mm)[alone]
        sigma[alone] = options.one_sided * options.centre_mm / np.maximum(seen[one][alone], 0.2)
    within = np.where(both & ~odd, options.one_sided, options.odd)
    return middle, sigma * np.where(soldered, within, 1.0)


def _unsteady(middle: Array, sigma: Array, rows: Rows, options: LayingOptions) -> Array:
    """Return how much more the ink's middle wavers along each run than is expected, (R,), >= 1.

    It is read twice the length apart that profiles are averaged over, so that the two share no ink.
    """
    apart = max(1, round(2.0 * options.along_mm / options.step_mm))
    both = (rows.owner[apart:] == rows.owner[:-apart]) & np.isfinite(sigma[apart:] + sigma[:-apart])
    one = np.flatnonzero(both)
    two, owner = one + apart, rows.owner[one]
    z = np.abs(middle[two] - middle[one]) / np.hypot(sigma[two], sigma[one])
    enough = np.bincount(owner, minlength=rows.lines) * options.step_mm >= options.clear_mm
    wavers = _NORMAL * quantiles(z, owner, rows.lines, 0.5)
    return np.where(enough, np.maximum(wavers, 1.0), 1.0)


_NORMAL = 1.4826
"""Standard deviations to a median deviation."""


def _with_ridge(middle: Array, sigma: Array, ridge: Array, off: Array) -> tuple[Array, Array]:
    """Weigh what the ink and the ridge say; where they differ widely, the ink is in more doubt."""
    odd = np.maximum(np.abs(middle - ridge) - 2.0 * off, 0.0)
    odd = np.where(np.isfinite(off) & np.isfinite(sigma), odd, 0.0)
    ink = 1.0 / (sigma**2 + odd**2)
    own = 1.0 / off**2
    total = ink + own
    mean = np.where(total > 0, (ink * middle + own * ridge) / np.maximum(total, 1e-12), 0.0)
    return mean, np.where(total > 0, 1.0 / np.sqrt(np.maximum(total, 1e-12)), np.inf)


def in_sight(
    edge: Array, owner: Ints, pieces: Pieces, width_mm: Array, net: Laid, options: LayingOptions
) -> tuple[Mask, Mask]:
    """Say which places (N, 2) on the edges of leaves no other leaf covers, and which solder may.

    Parameters
    ----------
    owner : (N,) number of the run of every place.
    """
    tree = cKDTree(net.places)
    radius = solder_of(net, options)
    count = np.arange(1, min(3, len(net.places)) + 1)
    far, which = tree.query(edge, k=count, distance_upper_bound=float(radius.max()) + 1.0)
    soldered = (far < np.append(radius, 0.0)[which]).any(axis=1)
    reach = 0.5 * width_mm[pieces.owner] + options.beside_mm
    free = np.ones(len(edge), dtype=bool)
    free[beside(edge, owner, pieces, reach).point] = False
    return free, soldered


def solder_of(net: Laid, options: LayingOptions) -> Array:
    """Radius of the solder at every joint, (J,) mm; none where fewer than two leads end."""
    widths: list[list[float]] = [[] for _ in net.places]
    for run, stops in zip(net.runs, net.stops, strict=True):
        for i, stop in enumerate(stops):
            count = 1 if i in (0, len(stops) - 1) else 2
            widths[stop.joint] += [run.width_mm] * count
    out = np.zeros(len(widths))
    for k, found in enumerate(widths):
        if len(found) > 1:
            out[k] = options.solder * float(np.mean(sorted(found)[:2])) + options.solder_mm
    return out
