"""How well the picture supports a strand, read from the working grids."""

from __future__ import annotations

import numpy as np

from rubbing2pattern.frame import Array
from rubbing2pattern.imaging.profiles import evenly, grid_values, left_normals
from rubbing2pattern.reading import Grid, LeadMap


def band_along(path: Array, lead: LeadMap, reach_mm: float = 1.0) -> tuple[Grid, Grid]:
    """Return the strongest band response near each millimetre of a path, and the band's width."""
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


def aligned_share(path: Array, lead: LeadMap, within_deg: float = 20.0) -> float:
    """Return the share of a path that runs along the strongest band under it."""
    places = evenly(path, 1.0)
    way = np.gradient(places, axis=0)
    kernel = np.ones(min(7, len(places)))
    way = np.column_stack([np.convolve(way[:, i], kernel, mode="same") for i in (0, 1)])
    heading = np.degrees(np.arctan2(way[:, 1], way[:, 0]))
    p = np.rint(lead.frame.to_px(places)).astype(np.int64)
    row = np.clip(p[:, 1], 0, lead.band.shape[0] - 1)
    column = np.clip(p[:, 0], 0, lead.band.shape[1] - 1)
    band = lead.angle[row, column] * (180.0 / lead.angles)
    turn = np.abs((heading - band + 90.0) % 180.0 - 90.0)
    return float(((turn <= within_deg) & (lead.band[row, column] > 0.1)).mean())


def straightness(path: Array, window_mm: float = 8.0) -> float:
    """Return the mean chord over length of a path's stretches as long as the window, 0 .. 1."""
    even = evenly(path, 0.5)
    step = max(float(np.hypot(*(even[1] - even[0]))), 1e-6)
    n = min(len(even) - 1, max(1, round(window_mm / step)))
    chord = np.hypot(*(even[n:] - even[:-n]).T)
    return float(min(chord.mean() / (n * step), 1.0))
