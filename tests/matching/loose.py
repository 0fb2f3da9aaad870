"""Loose glass and openings drawn by hand, for the tests of matching."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry import Polygon

from rubbing2pattern.geometry.frame import Placement
from rubbing2pattern.matching.loose import LoosePiece, Opening

CLEARANCE_MM = 0.4
COVER_MM = 2.0
"""From the cut outline to the edge of the leaf."""

KITE = Polygon([(0, 0), (60, 4), (72, 40), (18, 52)])
ANGLE = Polygon([(0, 0), (70, 0), (70, 25), (30, 30), (30, 62), (0, 62)])
TRIANGLE = Polygon([(0, 0), (66, 0), (20, 45)])
BAR = Polygon([(0, 0), (80, 0), (80, 30), (0, 30)])
LEAN = Polygon([(0, 0), (58, 0), (72, 33), (10, 33)])


def opening(number: int, cut: Polygon, at: tuple[float, float] = (0.0, 0.0)) -> Opening:
    """Return an opening with its hearts and leaves at even distances from the cut outline."""
    moved = shapely.transform(cut, Placement(0.0, *at).apply)
    assert isinstance(moved, Polygon)
    return Opening(
        number,
        moved.buffer(CLEARANCE_MM, join_style="mitre"),
        moved,
        moved.buffer(-COVER_MM, join_style="mitre"),
        0.15,
    )


def lying(
    name: str, glass: Polygon, turn_deg: float, at: tuple[float, float], over: bool = False
) -> LoosePiece:
    """Return glass as it lies in a photograph: moved out of its opening, turned over if said."""
    moved = shapely.transform(glass, Placement(turn_deg, *at).apply)
    if over:
        moved = shapely.transform(moved, lambda p: p * (-1.0, 1.0))
    assert isinstance(moved, Polygon)
    return LoosePiece(name, "bench.jpg", shapely.orient_polygons(moved), 0.1)


def uneven(glass: Polygon, seed: int, most_mm: float = 0.3) -> Polygon:
    """Return glass whose edge strays smoothly, no more than a limit."""
    rng = np.random.default_rng(seed)
    ring = shapely.get_exterior_ring(shapely.orient_polygons(glass))
    count = int(ring.length)
    places = shapely.get_coordinates(ring.interpolate(np.arange(count) * ring.length / count))
    along = 2.0 * np.pi * np.arange(count) / count
    stray = sum(rng.normal() * np.cos(k * along + rng.uniform(0, 6.3)) for k in range(5))
    stray = np.clip(0.5 * most_mm * stray, -most_mm, most_mm)
    way = np.roll(places, -1, axis=0) - np.roll(places, 1, axis=0)
    normal = np.column_stack((way[:, 1], -way[:, 0])) / np.hypot(*way.T)[:, None]
    return Polygon(places + normal * stray[:, None])
