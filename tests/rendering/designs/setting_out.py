"""What all designs share: widths from the trade's list, the profile of leaves, plain shapes."""

from __future__ import annotations

import numpy as np
from shapely.geometry import Polygon

from tests.rendering.geometry import Array, chain, line

Rng = np.random.Generator


def widths(rng: Rng) -> tuple[float, float, float]:
    """Draw the face widths of field, ornament and border from the sizes on sale."""
    field = float(rng.choice([4.0, 5.0, 6.0]))
    ornament = float(rng.choice([w for w in (4.0, 5.0, 6.0, 8.0) if w != field]))
    border = float(rng.choice([w for w in (8.0, 10.0, 12.0) if w > ornament]))
    return field, ornament, border


def leaf(rng: Rng) -> str:
    """Draw the profile of the inner leads of a panel."""
    return "round" if rng.random() < 0.35 else "flat"


def box(w: float, h: float) -> Array:
    """Return a rectangle from (0, 0) as one closed run."""
    return chain(
        line((0, 0), (w, 0)),
        line((w, 0), (w, h)),
        line((w, h), (0, h)),
        line((0, h), (0, 0)),
        close=True,
    )


def rectangle(x0: float, y0: float, x1: float, y1: float) -> Polygon:
    """Return a rectangle as a region."""
    return Polygon([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])


def polar(centre: tuple[float, float], radius: float, angle_deg: float) -> tuple[float, float]:
    """Return the point at a distance and direction from a centre."""
    a = np.radians(angle_deg)
    return (float(centre[0] + radius * np.cos(a)), float(centre[1] + radius * np.sin(a)))
