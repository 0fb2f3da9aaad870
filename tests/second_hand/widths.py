"""How wide each came shows: from the expected density of the same deposit, no other formula."""

from __future__ import annotations

import numpy as np
import shapely
from scipy.ndimage import map_coordinates
from shapely.geometry import LineString

from tests.second_hand.leadwork import Array, Lead
from tests.second_hand.network import Came, Network
from tests.second_hand.relief import Field, Grid

STEP_MM = 0.05
BEYOND_MM = 1.3
FAINT = 0.1
"""Below this share of the greatest cover a place shows nothing."""


def shown_widths(
    found: Network, leads: list[Lead], even: Field, rubbed: Field, grid: Grid
) -> list[float | None]:
    """Return the mean full width at half of the greatest expected density, for each came.

    Parameters
    ----------
    found : the graph, in the sheet's frame like `leads`.
    even, rubbed : expected cover under an even hand, and as it was rubbed; 0..1.
    """
    joints = np.array([(j.x_mm, j.y_mm) for j in found.joints])
    degree = np.array([j.degree for j in found.joints])
    solid = joints[degree > 1]
    return [_shown(c, leads[c.lead].face_mm, solid, even, rubbed, grid) for c in found.cames]


def _shown(
    came: Came, face_mm: float, joints: Array, even: Field, rubbed: Field, grid: Grid
) -> float | None:
    line = LineString(came.path)
    clear = min(0.8 * face_mm + 2, line.length / 3)
    s = np.linspace(clear, line.length - clear, max(3, int((line.length - 2 * clear) / 2)))
    p = np.array([g.coords[0] for g in shapely.line_interpolate_point(line, s)])
    far = np.hypot(*(p[:, None] - joints[None]).transpose(2, 0, 1)).min(axis=1)
    p, s = p[far >= 0.99 * clear], s[far >= 0.99 * clear]
    if not len(p):
        return None
    d = np.array([g.coords[0] for g in shapely.line_interpolate_point(line, s + 0.3)])
    d -= np.array([g.coords[0] for g in shapely.line_interpolate_point(line, s - 0.3)])
    d /= np.hypot(*d.T)[:, None]
    across = np.column_stack((-d[:, 1], d[:, 0]))
    t = np.arange(-face_mm / 2 - BEYOND_MM, face_mm / 2 + BEYOND_MM, STEP_MM)
    at = grid.at(p[:, None] + t[None, :, None] * across[:, None])
    coords = at[..., ::-1].transpose(2, 0, 1)
    seen = map_coordinates(rubbed, coords, order=1).max(axis=1)
    if np.mean(seen > FAINT) < 0.4:
        return None
    profile = map_coordinates(even, coords, order=1)[seen > FAINT]
    widths = [w for w in map(_full_width, profile) if w is not None]
    return float(np.mean(widths)) if widths else None


def _full_width(profile: Array) -> float | None:
    """Return the distance between the outermost places at half of the greatest density."""
    half = profile.max() / 2
    if half < FAINT / 2:
        return None
    above = np.flatnonzero(profile >= half)
    i, j = int(above[0]), int(above[-1])
    left = 0.0 if i == 0 else (profile[i] - half) / (profile[i] - profile[i - 1])
    right = 0.0 if j == len(profile) - 1 else (profile[j] - half) / (profile[j] - profile[j + 1])
    return (j - i + left + right) * STEP_MM
