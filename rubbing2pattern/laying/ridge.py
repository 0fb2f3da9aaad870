"""The ridge of the map's lead line: where the network believes that a lead runs.

Ink shows the edges of a lead more sharply, but solder, gaps and leads that run together hide them;
the ridge goes on through all of these. Legend: N places, M offsets across.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rubbing2pattern.fitting.ragged import quantiles
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.imaging.profiles import grid_across, grid_values, offsets
from rubbing2pattern.laying.rows import Pieces, Rows, along_mean, beside, peaks, rows_along
from rubbing2pattern.options.laying import LayingOptions
from rubbing2pattern.reading import Grid, LeadMap, RawNet


@dataclass(frozen=True, slots=True)
class Ridge:
    """The highest place of the map near every place of rows.

    Attributes
    ----------
    off_mm : (N,) offset from the row's base, positive to the left.
    height : (N,) of the map there, 0 .. 1.
    """

    off_mm: Array
    height: Array


def ridge_near(rows: Rows, lead: LeadMap, options: LayingOptions, reach_mm: float) -> Ridge:
    """Return the ridge within `reach_mm` of every place; what lies nearer is preferred."""
    off = offsets(reach_mm + 2.0 * options.profile_step_mm, options.profile_step_mm)
    profile = across(lead.maps.centre, rows, lead, off, options)
    zero = np.full(len(profile), len(off) // 2)
    reach = round(reach_mm / options.profile_step_mm)
    preferred = profile - options.ridge_pull * (off / reach_mm) ** 2
    place, height = peaks(preferred.astype(np.float32), zero - reach, zero + reach)
    return Ridge((place - zero) * options.profile_step_mm, np.asarray(height, dtype=np.float64))


def ridge_deviation(ridge: Ridge, rows: Rows, pieces: Pieces, options: LayingOptions) -> Array:
    """Deviation of the ridge at every place, (N,) mm; infinite where there is none.

    Beside another lead it may be that one's, or that of both.
    """
    at = rows.base + ridge.off_mm[:, None] * rows.normal
    near = beside(at, rows.owner, pieces, options.ridge_apart_mm)
    gap = np.full(len(at), options.ridge_apart_mm)
    np.minimum.at(gap, near.point, near.far_mm)
    sigma = options.ridge_off_mm * options.ridge_apart_mm / np.maximum(gap, 0.1)
    shown = (ridge.height > options.ridge_above) & (gap > 0.4 * options.ridge_apart_mm)
    return np.where(shown, sigma, np.inf)


def across(grid: Grid, rows: Rows, lead: LeadMap, off_mm: Array, options: LayingOptions) -> Grid:
    """Sample a map across rows, averaged along them, (N, M)."""
    values = grid_across(grid, lead, rows.base, rows.normal, off_mm)
    return along_mean(values, rows, options.ridge_along_mm)


def on_ridge(net: RawNet, lead: LeadMap, options: LayingOptions) -> RawNet:
    """Return the net with its paths moved onto the ridge, where there is one."""
    rows = rows_along(list(net.paths), options.dense_mm, options.ridge_along_mm)
    ridge = ridge_near(rows, lead, options, options.ridge_near_mm)
    off = np.where(ridge.height > options.ridge_above, ridge.off_mm, 0.0)
    off = along_mean(off[:, None], rows, options.ridge_along_mm)[:, 0]
    off[rows.first[:-1]] = off[rows.first[1:] - 1] = 0.0  # ends stay at their nodes
    moved = rows.base + off[:, None] * rows.normal
    paths = tuple(moved[rows.of(k)] for k in range(len(net.paths)))
    return RawNet(net.nodes, net.ends, paths, net.sides)


def shown_inside(rows: Rows, lead: LeadMap, options: LayingOptions) -> list[Array]:
    """Return the places of every row, away from its ends, that the map shows as lead line."""
    height = grid_values(lead.maps.centre, lead, rows.base)
    length = rows.length_mm[rows.owner]
    inner = np.minimum(rows.along_mm, length - rows.along_mm) > options.near_joint_mm
    shown = inner & (height > options.shown_above)
    return [rows.base[rows.of(k)][shown[rows.of(k)]] for k in range(len(rows.first) - 1)]


def widths_on(net: RawNet, lead: LeadMap) -> Array:
    """Return what the map says of the width along every path, (E,) mm."""
    owner = np.repeat(np.arange(len(net.paths)), [len(p) for p in net.paths])
    widths = grid_values(lead.maps.width_mm, lead, np.vstack(net.paths))
    return quantiles(widths, owner, len(net.paths), 0.5)
