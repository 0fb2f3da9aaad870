"""What the learned map and the ink say along every boundary, as one log odds each.

Legend: E boundaries; M places on all of them together, `first` the row where each begins.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from rubbing2pattern.fitting.fitted_weights import fitted_weights
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.imaging.profiles import evenly, grid_values
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.reading import Grid, LeadMap, RawNet

Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Evidence:
    """What is known of every boundary, (E,) each.

    Attributes
    ----------
    mean : of the lead line's log odds along it.
    leaf : mean share of lead on the map.
    ink : mean density over the strength of lead nearby.
    length_mm : of the part that counts.
    odds : log odds that it is lead.
    alone : the same, were it no stump (rule 4 of `evidence_of`).
    """

    mean: Array
    leaf: Array
    ink: Array
    length_mm: Array
    odds: Array
    alone: Array

    @property
    def figures(self) -> Array:
        """What is weighed, (E, 4) in the order of `BOUNDARY_FIGURES` without the constant."""
        return _figures(self.mean, self.leaf, self.ink, self.length_mm)


def _figures(mean: Array, leaf: Array, ink: Array, length_mm: Array) -> Array:
    return np.column_stack((mean, leaf, ink, np.log(length_mm)))


def highest_near(lead: LeadMap, options: TidyOptions) -> Grid:
    """Return the lead line at its highest within `stray_mm` of every cell, for paths waver."""
    wide = 2 * round(options.stray_mm * lead.frame.px_per_mm) + 1
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (wide, wide))
    return np.asarray(cv2.dilate(lead.maps.centre, kernel), dtype=np.float32)


def smooth_ink(lead: LeadMap) -> Grid:
    """Return the ink as a share of the local strength, smoothed over three cells."""
    ink = cv2.blur(np.minimum(lead.density / lead.strength, 1.5), (3, 3))
    return np.asarray(ink, dtype=np.float32)


def evidence_of(
    net: RawNet, line: Grid, ink: Grid, lead: LeadMap, options: TidyOptions
) -> Evidence:
    """Weigh every boundary of a net.

    Rules:

    1. `line` is read along the path: the map at its highest nearby;
    2. at both ends as much is left out as the leads there cover, for a lead that butts is lost
       from sight under the one it meets; but at least a third of the boundary is read. Where it
       was cut at a gap, nothing covers it;
    3. the log odds are a weighted sum of the mean log odds of the lead line, the mean share of
       lead, the ink and the length's logarithm; weights fitted on the training's validation set;
    4. of a boundary shorter than `telling_mm` only a share counts: a stump of solder shows little;
    5. where the log odds stay below -`ends_odds` for more than `none_mm`, and the ink agrees, a
       lead ends, whatever else parts the same two pieces.
    """
    covered = 0.5 * grid_values(lead.maps.width_mm, lead, net.nodes).astype(np.float64)
    covered[np.bincount(net.ends.ravel(), minlength=len(covered)) == 2] = 0.0
    covered += options.covered_mm
    rows = [_counted(net, k, covered, options) for k in range(len(net.paths))]
    places = np.vstack(rows)
    first = np.concatenate(([0], np.cumsum([len(r) for r in rows])[:-1])).astype(np.int64)
    logit = _logit(grid_values(line, lead, places))
    dark = grid_values(ink, lead, places)
    count = np.diff(np.append(first, len(places)))
    mean = np.add.reduceat(logit, first) / count
    inked = np.add.reduceat(dark, first) / count
    leaf = np.add.reduceat(grid_values(lead.maps.leaf, lead, places).astype(float), first) / count
    length = count * options.evidence_step_mm
    constant, *weights = fitted_weights().boundary
    alone = constant + _figures(mean, leaf, inked, length) @ np.array(weights)
    odds = alone * np.minimum(length / options.telling_mm, 1.0)  # rule 4
    none = (alone < -options.ends_odds) & (inked < options.none_ink) & (length > options.none_mm)
    odds, alone = (np.where(none, options.no_lead, v) for v in (odds, alone))  # rule 5
    return Evidence(mean, leaf, inked, length, odds, alone)


def _counted(net: RawNet, k: int, covered: Array, options: TidyOptions) -> Array:
    """Return the places of a boundary that count (rule 2)."""
    places = evenly(net.paths[k], options.evidence_step_mm)
    a, b = net.ends[k]
    if a == b:
        return places
    n = len(places)
    off = covered[[a, b]] / options.evidence_step_mm
    first, last = np.floor(off * min(1.0, 2 * n / 3 / off.sum())).astype(int)
    return places[first : n - last]


def _logit(share: Grid) -> Array:
    p = np.clip(share.astype(np.float64), 0.02, 0.98)
    return np.asarray(np.log(p / (1.0 - p)))
