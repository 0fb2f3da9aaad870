"""Profiles of optical density across a line, sampled on the full picture."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rubbing2pattern.geometry.curves import points_at, running_length, spaced
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.imaging.resample import at_points
from rubbing2pattern.reading import Grid, LeadMap, Rubbing


@dataclass(frozen=True, slots=True)
class Profiles:
    """Density across a line.

    Legend: N places along the line, M offsets across it.

    Attributes
    ----------
    base : (N, 2) places in mm.
    normal : (N, 2) unit vectors to the left of the line's direction.
    offsets_mm : (M,) from the line, positive to the left, evenly spaced about 0.
    density : (N, M) float32.
    """

    base: Array
    normal: Array
    offsets_mm: Array
    density: Grid


def evenly(path: Array, step_mm: float) -> Array:
    """Return points on a polyline about `step_mm` apart, first and last kept, (N, 2), N >= 2."""
    s = running_length(path)
    n = max(2, round(s[-1] / step_mm) + 1)
    return points_at(path, s, spaced(0.0, s[-1], n))


def left_normals(path: Array, closed: bool = False) -> Array:
    """Return unit normals to the left at every point of a polyline, (N, 2)."""
    if closed:
        ring = path[:-1]
        tangent = np.roll(ring, -1, axis=0) - np.roll(ring, 1, axis=0)
        tangent = np.vstack((tangent, tangent[:1]))
    else:
        tangent = np.gradient(path, axis=0)
    return turned_left(tangent)


def turned_left(tangent: Array) -> Array:
    """Return the unit normals to the left of directions of any length, (N, 2)."""
    length = np.maximum(np.hypot(tangent[:, 0], tangent[:, 1]), 1e-12)
    tangent = tangent / length[:, None]
    return np.column_stack((-tangent[:, 1], tangent[:, 0]))


def offsets(half_mm: float, step_mm: float) -> Array:
    """Return offsets from -half to +half, evenly spaced, 0 among them."""
    n = round(half_mm / step_mm)
    return np.asarray(np.arange(-n, n + 1) * step_mm, dtype=np.float64)


def sample(
    rubbing: Rubbing, lead: LeadMap, base: Array, normal: Array, offsets_mm: Array
) -> Profiles:
    """Sample the photograph across a line and turn grey into density.

    Strategy: the warp is exact at the middle and the two ends of each profile and quadratic
    between; over 20 mm nothing is lost, and a million samples cost milliseconds. A profile that
    crosses the seam of two joined papers is computed at every offset.
    """
    half = float(offsets_mm[-1])
    n = len(base)
    three = np.vstack((base - half * normal, base, base + half * normal))
    seen = rubbing.warp.to_px(three).reshape(3, n, 2).astype(np.float32)
    u = (offsets_mm / half).astype(np.float32)
    slope, bend = 0.5 * (seen[2] - seen[0]), 0.5 * (seen[2] + seen[0]) - seen[1]
    columns = seen[1, :, :1] + slope[:, :1] * u + bend[:, :1] * u**2
    rows = seen[1, :, 1:] + slope[:, 1:] * u + bend[:, 1:] * u**2
    if rubbing.warp.join is not None:
        side = rubbing.warp.join.moved(three).reshape(3, n)
        across = np.flatnonzero((side[0] != side[1]) | (side[2] != side[1]))
        places = base[across, None] + offsets_mm[None, :, None] * normal[across, None]
        exact = rubbing.warp.to_px(places).reshape(len(across), len(offsets_mm), 2)
        columns[across], rows[across] = exact[..., 0], exact[..., 1]
    grey = at_points(rubbing.photograph.grey, columns, rows)
    level = _paper(lead, base)
    density = np.log(np.maximum(level[:, None] / np.maximum(grey, 1.0), 1.0))
    return Profiles(base, normal, offsets_mm, density.astype(np.float32))


def _paper(lead: LeadMap, places: Array) -> Grid:
    p = lead.paper_frame.to_px(places).astype(np.float32)
    return at_points(lead.paper_level, p[:, :1], p[:, 1:])[:, 0]


def grid_values(grid: Grid, lead: LeadMap, places: Array) -> Grid:
    """Sample a working grid of the lead map at places (N, 2) in mm, result (N,)."""
    p = lead.frame.to_px(places).astype(np.float32)
    return at_points(grid, p[:, :1], p[:, 1:])[:, 0]


def grid_across(grid: Grid, lead: LeadMap, base: Array, normal: Array, offsets_mm: Array) -> Grid:
    """Sample a working grid of the lead map across lines, (N, M).

    Parameters
    ----------
    base, normal : (N, 2) places in mm and unit vectors to the left of the lines.
    offsets_mm : (M,).
    """
    across = (base[:, k : k + 1] + offsets_mm * normal[:, k : k + 1] for k in (0, 1))
    return at_points(grid, *(each.astype(np.float32) for each in lead.frame.px_apart(*across)))
