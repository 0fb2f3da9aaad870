"""The openings of a panel, as loose glass meets them."""

from __future__ import annotations

from shapely.geometry import Polygon

from rubbing2pattern.matching.loose import Opening
from rubbing2pattern.model import Panel
from rubbing2pattern.paneling.outlines import largest_part


def openings_of(panel: Panel, opening_mm: float) -> tuple[Opening, ...]:
    """Return the openings of all pieces that leave room for glass, in the order of their numbers.

    Parameters
    ----------
    panel : a numbered panel.
    opening_mm : one standard deviation of a lead line across itself; the scale's own comes on top.
    """
    found = []
    for piece in panel.pieces:
        if piece.cut_outline.is_empty:
            continue
        cut = Polygon(largest_part(piece.cut_outline).exterior)
        hearts = cut.buffer(panel.clearance_mm, join_style="mitre")
        x_min, y_min, x_max, y_max = cut.bounds
        by_scale = 0.5 * panel.scale.relative_uncertainty * max(x_max - x_min, y_max - y_min)
        uncertainty_mm = float((opening_mm**2 + by_scale**2) ** 0.5)
        found.append(Opening(piece.number, hearts, cut, piece.sight_outline, uncertainty_mm))
    return tuple(sorted(found, key=lambda opening: opening.number))
