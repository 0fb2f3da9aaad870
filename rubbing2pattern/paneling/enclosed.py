"""What lines enclose together, whether they cross or not."""

from __future__ import annotations

from collections.abc import Iterable

import shapely
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from rubbing2pattern.geometry.frame import Array


def enclosed(paths: Iterable[Array]) -> BaseGeometry:
    """Return everything that polylines (N, 2) enclose, holes filled; loose ends add nothing.

    Lines count as joined wherever they meet or cross. Empty when they enclose nothing.
    """
    lines = shapely.union_all([LineString(path) for path in paths])
    faces = shapely.get_parts(shapely.polygonize([lines]))
    if not len(faces):
        return shapely.MultiPolygon()  # It has no parts, where an empty polygon is one.
    whole = shapely.get_parts(shapely.coverage_union_all(faces))  # They share their boundaries.
    filled: BaseGeometry = shapely.union_all([shapely.Polygon(p.exterior) for p in whole])
    return filled
