"""A picture of a panel as a camera sees it, for documents that show the rubbing."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry import LineString

from rubbing2pattern.geometry.frame import Warp
from rubbing2pattern.model import Panel
from rubbing2pattern.reading import Photograph, Rubbing


def photograph(panel: Panel, warp: Warp, width_px: int, height_px: int) -> Rubbing:
    """Return a picture with dark leads on light paper, each pixel looked up through the warp."""
    bodies = [
        LineString(c.path).buffer(c.face_width_mm / 2, cap_style="square") for c in panel.cames
    ]
    leads = shapely.union_all(bodies)
    shapely.prepare(leads)
    rows, columns = np.mgrid[:height_px, :width_px]
    pixels = np.column_stack((columns.ravel(), rows.ravel()))
    mm = panel.placement.apply(warp.to_mm(pixels))
    dark = shapely.contains_xy(leads, mm[:, 0], mm[:, 1]).reshape(height_px, width_px)
    grey = np.where(dark, 60, 230).astype(np.uint8)
    bounds = (0.0, 0.0, 400.0, 480.0)
    return Rubbing(Photograph(grey, "n4 3b.png", "0" * 64), warp, bounds, None, panel.scale)
