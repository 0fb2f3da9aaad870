"""Measures of one piece: smallest rectangle, place for its number, uncertainty of its area."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

import numpy as np
import shapely

from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.model import Rectangle
from rubbing2pattern.paneling.lines import LeadLines
from rubbing2pattern.paneling.outlines import Shapes
from rubbing2pattern.paneling.walk import Walk

_MOST_KEPT = 4096
"""Shapes whose rectangle is kept: most pieces are as they were when a panel is cut again."""


@lru_cache(maxsize=_MOST_KEPT)
def smallest_rectangle(shape: shapely.Geometry) -> Rectangle:
    """Return the rectangle of least area around a shape, the longer side first.

    One side of it lies along a side of the convex hull (Freeman and Shapira 1975), so every side of
    the hull is tried. The angle is that of the longer side, over -90 and up to 90 degrees.
    """
    hull = shapely.get_coordinates(shape.convex_hull)
    if len(hull) < 2:
        return Rectangle(0.0, 0.0, 0.0)
    steps = np.diff(hull, axis=0)
    steps = steps[np.hypot(steps[:, 0], steps[:, 1]) > 1e-9]
    angles = np.unique(np.round(np.arctan2(steps[:, 1], steps[:, 0]) % (math.pi / 2), 12))
    along = np.column_stack((np.cos(angles), np.sin(angles))) @ hull.T
    across = np.column_stack((-np.sin(angles), np.cos(angles))) @ hull.T
    widths, heights = np.ptp(along, axis=1), np.ptp(across, axis=1)
    # Rounded, so that of equal rectangles the one turned least is taken.
    k = int(np.argmin(np.round(widths * heights, 6)))
    width, height, angle_deg = float(widths[k]), float(heights[k]), math.degrees(angles[k])
    if width < height:
        width, height, angle_deg = height, width, angle_deg + 90.0
    return Rectangle(width, height, angle_deg - 180.0 if angle_deg > 90.0 else angle_deg)


def label_places(shapes: Shapes, tolerance_mm: float, central_share: float) -> tuple[Array, Array]:
    """Return where the numbers of P polygons are written, (P, 2), and the free circles, (P,).

    The place is the pole of inaccessibility: the middle of the largest circle inside. A long piece
    has many; where the circle round the centroid is nearly as large (`central_share` of it), the
    centroid is taken, so that numbers lie in rows. An empty polygon has no place (nan).
    """
    found = [_label_place(shape, tolerance_mm, central_share) for shape in shapes]
    places = np.array([(x, y) for x, y, _ in found]).reshape(-1, 2)
    return places, np.array([radius_mm for _, _, radius_mm in found])


@lru_cache(maxsize=_MOST_KEPT)
def _label_place(
    shape: shapely.Geometry, tolerance_mm: float, central_share: float
) -> tuple[float, float, float]:
    """Return place and radius of one polygon."""
    circle = shapely.maximum_inscribed_circle(shape, tolerance=tolerance_mm)
    radius_mm, middle = float(shapely.length(circle)), shapely.centroid(shape)
    free_mm = float(shapely.distance(middle, shapely.boundary(shape)))
    if shapely.within(middle, shape) and free_mm >= central_share * radius_mm:
        return (*shapely.get_coordinates(middle)[0].tolist(), free_mm)
    at = (math.nan, math.nan) if circle.is_empty else shapely.get_coordinates(circle)[0].tolist()
    return (*at, radius_mm)


def area_uncertainty_mm2(
    rounds: Sequence[Walk],
    area_mm2: float,
    lines: LeadLines,
    leaves: Sequence[int],
    joint_uncertainty_mm: Array,
    scale_uncertainty: float,
    line_uncertainty_mm: float,
    steady_mm: float,
) -> float:
    """Return one standard deviation of a centre area.

    Three causes, taken as independent:

    1. Scale: an area errs by twice the share by which a length errs.
    2. Joints: moving one joint by d changes the area by half of d times the chord between its
       neighbours (the derivative of the shoelace formula).
    3. Lead lines between the joints: a line that is off by d over a length l changes the area by
       d l. Errors further apart than `steady_mm` are independent, so a came of length L adds the
       variance d^2 L min(L, steady).

    Parameters
    ----------
    rounds : the walks around the piece and around its holes.
    area_mm2 : its centre area.
    lines : the lead lines.
    leaves : the joint that each side leaves, see `leaving_joint`.
    joint_uncertainty_mm : (J,) one standard deviation in each direction.
    scale_uncertainty : of lengths, as a share.
    line_uncertainty_mm : one standard deviation of a lead line across itself.
    steady_mm : length over which a lead line errs alike.
    """
    variance = (2.0 * area_mm2 * scale_uncertainty) ** 2
    for ring in rounds:
        corners = lines.joints_mm[[leaves[s] for s in ring]]
        chord = np.roll(corners, -1, axis=0) - np.roll(corners, 1, axis=0)
        sigma = joint_uncertainty_mm[[leaves[s] for s in ring]]
        variance += float(np.sum((0.5 * np.hypot(chord[:, 0], chord[:, 1]) * sigma) ** 2))
        for side in ring:
            length = lines.lengths_mm[side >> 1]
            variance += line_uncertainty_mm**2 * length * min(length, steady_mm)
    return math.sqrt(variance)
