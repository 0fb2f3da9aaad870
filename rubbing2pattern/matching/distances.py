"""Signed distances from an outline: negative inside, positive outside, in mm.

Legend for shapes: M poses, N places on an edge, S segments of an outline.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from scipy.spatial import cKDTree
from shapely.geometry import MultiPolygon, Polygon

from rubbing2pattern.geometry.curves import points_at, running_length
from rubbing2pattern.geometry.frame import Array, Frame

_SPACING_MM = 0.25
"""Distance of the places on an outline to which a grid takes its distances."""
_FLAT_MM = 0.01
"""How closely curves are kept."""
_FEWEST = 64
"""Places on a small outline at least."""
_CHUNK = 200_000
"""Pairs of place and segment that are worked off at a time, to bound the memory."""
_TOUCHING_MM = 0.02
"""Distance below which its own direction is not known and that of the edge is taken."""


def even_ring(outline: Polygon, count: int) -> Array:
    """Return `count` places at even steps along an outline, anticlockwise, shape (count, 2)."""
    ring = shapely.get_coordinates(shapely.orient_polygons(outline).exterior)
    along = running_length(ring)
    return points_at(ring, along, np.arange(count) * (along[-1] / count))


@dataclass(frozen=True, slots=True)
class DistanceGrid:
    """Distances on a grid around an outline, for poses that are still to be moved.

    Between the nodes they are interpolated, which rounds a corner by a fraction of a cell.
    """

    frame: Frame
    values: Array

    @classmethod
    def around(cls, outline: Polygon, cell_mm: float, margin_mm: float) -> DistanceGrid:
        """Lay a grid over an outline and a margin."""
        x_min, y_min, x_max, y_max = outline.bounds
        bounds = (x_min - margin_mm, y_min - margin_mm, x_max + margin_mm, y_max + margin_mm)
        frame = Frame.over(bounds, 1.0 / cell_mm)
        rows, columns = np.mgrid[0 : frame.height_px, 0 : frame.width_px]
        nodes = frame.to_mm(np.column_stack((columns.ravel(), rows.ravel())))
        count = max(_FEWEST, math.ceil(outline.exterior.length / _SPACING_MM))
        far, _ = cKDTree(even_ring(outline, count)).query(nodes, workers=-1)
        inside = shapely.contains_xy(outline, nodes[:, 0], nodes[:, 1])
        values = np.where(inside, -far, far).reshape(frame.height_px, frame.width_px)
        return cls(frame, values)

    def at(self, places: Array) -> tuple[Array, Array]:
        """Return distances (M, N) and their gradients (M, N, 2) at places (M, N, 2).

        Places off the grid get the distance of its rim, plus how far they are off it.
        """
        flat = places.reshape(-1, 2)
        wanted = self.frame.to_px(flat)
        limit = (self.frame.width_px - 1.001, self.frame.height_px - 1.001)
        pixels = np.clip(wanted, 0.0, limit)
        beyond = np.hypot(*(wanted - pixels).T) / self.frame.px_per_mm
        column, row = pixels.astype(np.int64).T
        u, v = pixels[:, 0] - column, pixels[:, 1] - row
        a, b = self.values[row, column], self.values[row, column + 1]
        c, d = self.values[row + 1, column], self.values[row + 1, column + 1]
        upper, lower = a + u * (b - a), c + u * (d - c)
        right = ((b - a) * (1.0 - v) + (d - c) * v) * self.frame.px_per_mm
        up = -(lower - upper) * self.frame.px_per_mm
        value = upper + v * (lower - upper) + beyond
        shape = places.shape[:-1]
        return value.reshape(shape), np.stack((right, up), axis=-1).reshape(places.shape)


class ExactDistance:
    """Exact signed distances from one or several outlines that do not touch each other."""

    def __init__(self, outline: Polygon | MultiPolygon) -> None:
        """Take in an outline with its holes; curves are kept to a hundredth of a millimetre."""
        self.outline = shapely.orient_polygons(shapely.simplify(outline, _FLAT_MM))
        shapely.prepare(self.outline)
        starts, ends = [], []
        for part in shapely.get_parts(self.outline):
            for ring in (part.exterior, *part.interiors):
                corners = shapely.get_coordinates(ring)
                starts.append(corners[:-1])
                ends.append(corners[1:])
        self.start = np.vstack(starts)
        self.way = np.vstack(ends) - self.start
        self.square = np.maximum(np.einsum("ij,ij->i", self.way, self.way), 1e-12)
        self.normal = np.column_stack((self.way[:, 1], -self.way[:, 0]))
        self.normal /= np.sqrt(self.square)[:, None]

    def at(self, places: Array) -> tuple[Array, Array]:
        """Return distances (N,) and unit gradients (N, 2) at places (N, 2)."""
        step = max(1, _CHUNK // len(self.start))
        parts = [self._nearest(places[i : i + step]) for i in range(0, len(places), step)]
        away = np.vstack([gap for gap, _ in parts])
        segment = np.concatenate([best for _, best in parts])
        far = np.hypot(*away.T)
        inside = shapely.contains_xy(self.outline, places[:, 0], places[:, 1])
        sign = np.where(inside, -1.0, 1.0)
        along = sign[:, None] * away / np.maximum(far, 1e-9)[:, None]
        return sign * far, np.where((far < _TOUCHING_MM)[:, None], self.normal[segment], along)

    def _nearest(self, places: Array) -> tuple[Array, npt.NDArray[np.int64]]:
        """Return the way from the nearest place of the outline, and the segment it lies on."""
        offset = places[:, None, :] - self.start
        along = np.clip(np.einsum("nsj,sj->ns", offset, self.way) / self.square, 0.0, 1.0)
        gap = offset - along[..., None] * self.way
        best = np.einsum("nsj,nsj->ns", gap, gap).argmin(axis=1)
        return gap[np.arange(len(places)), best], best
