"""Fragments laid into a hole: the pose settled, and how likely it is.

A place of a fragment's edge either lies along the edge of the hole (off by a normal spread, facing
the same way) or is free and lies anywhere inside; hardly any place lies beyond the hole. The
edge of a stranger lies anywhere within `reach_mm`. The sum of the logarithms of the ratio of both
likelihoods, one for each `steady_mm` of edge, speaks for the fragment in that pose.
Legend for shapes: M poses, N places on an edge.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon

from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.matching.distances import DistanceGrid
from rubbing2pattern.matching.fragment_edges import Glass, Poses, alike_stretches, moved
from rubbing2pattern.options.fragments import FragmentOptions

_CELL_MM = 1.0
"""Cell of the grid of distances round a hole."""
_MARGIN_MM = 5.0
"""How far that grid reaches beyond the hole."""
_FACING = 0.8
"""Cosine from which an edge faces the same way as the hole's."""
_WIDEST = 4.0
"""Times the deviation that is tolerated in the first round."""
_ROUNDS = 8
"""Rounds in which a place is settled, with less and less tolerance."""
_SETTLED = 6
"""Best first places of each fragment that are settled."""
_ROUGH_SPREAD = 3.0
"""Times the deviation that is tolerated when first places are judged."""
_ROUGH_EVERY = 4
"""Every such place of an edge counts then."""
_SETTLED_EVERY = 2
"""Every such place of an edge counts when places are settled."""
_ONE_TURN = 0.02
"""Radians within which two settled places are one."""
_ONE_PLACE_MM = 1.0
"""Distance within which two settled places are one."""


class Laying:
    """All fragments, for laying them into holes."""

    def __init__(self, glasses: Sequence[Glass], options: FragmentOptions) -> None:
        """Take the fragments, turned over ones as fragments of their own."""
        self.glasses = tuple(glasses)
        self.options = options
        self.places = np.stack([glass.places for glass in glasses])
        self.normals = np.stack([glass.normals for glass in glasses])
        self.counted = np.array([glass.step_mm for glass in glasses]) / options.steady_mm
        self.prior = np.log([options.over_share if glass.over else 1.0 for glass in glasses])

    def into(self, hole: Polygon | MultiPolygon, allowed: Sequence[int]) -> tuple[Poses, Array]:
        """Return settled poses of allowed fragments in a hole, likeliest first, and their values.

        Rules:

        1. begin wherever a stretch of the edge of a fragment is like one of the hole;
        2. of each fragment the few beginnings that are likeliest by a wide spread are settled.
        """
        begun = alike_stretches([self.glasses[k] for k in allowed], hole, self.options)
        begun = Poses(np.asarray(allowed)[begun.glass], begun.turn, begun.centre)
        if not len(begun):
            return begun, np.zeros(0)
        sides = _Sides(hole)
        rough = self.value(begun, sides, _ROUGH_SPREAD, _ROUGH_EVERY)
        begun = begun.chosen(_best_of_each(begun, rough, _SETTLED))
        settled = self.settled(begun, sides)
        value = self.value(settled, sides, 1.0)
        order = np.argsort(-value, kind="stable")
        settled, value = settled.chosen(order), value[order]
        once = settled.unlike(_ONE_TURN, _ONE_PLACE_MM)
        return settled.chosen(once), value[once]

    def value(self, poses: Poses, sides: _Sides, widening: float, every: int = 1) -> Array:
        """Return the logarithms of the ratios of likelihoods, shape (M,), by every so many places.

        The spread of a cut edge is taken as wider by a factor `widening`.
        """
        options = self.options
        away, facing, _ = self._met(poses, sides, every)
        sigma = options.cut_mm * widening
        on = np.exp(-0.5 * (away / sigma) ** 2) / (sigma * math.sqrt(2.0 * math.pi))
        free = np.where(away < 0.0, options.free_share, options.beyond_share)
        ratio = (1.0 - options.free_share) * on * facing * options.reach_mm + free
        return np.asarray(
            np.log(ratio).sum(axis=1) * every * self.counted[poses.glass] + self.prior[poses.glass]
        )

    def settled(self, poses: Poses, sides: _Sides) -> Poses:
        """Return poses moved by weighted least squares, the spread narrowed from round to round."""
        turn, centre = poses.turn, poses.centre
        for widening in np.geomspace(_WIDEST, 1.0, _ROUNDS):
            now = Poses(poses.glass, turn, centre)
            away, facing, slope = self._met(now, sides, _SETTLED_EVERY)
            sigma = self.options.cut_mm * widening
            weight = np.exp(-0.5 * (away / sigma) ** 2) * facing
            weight = np.where(away > 0.0, np.maximum(weight, 0.3), weight)
            arm = moved(self.places[poses.glass, ::_SETTLED_EVERY], turn, np.zeros_like(centre))
            step = least_squares_step(np.clip(away, -3.0, 3.0), slope, arm, weight)
            turn, centre = turn + step[:, 0], centre + step[:, 1:]
        return Poses(poses.glass, turn, centre)

    def _met(self, poses: Poses, sides: _Sides, every: int = 1) -> tuple[Array, Array, Array]:
        """Return distances, whether a place faces the same way as the hole's edge, and slopes."""
        places = moved(self.places[poses.glass, ::every], poses.turn, poses.centre)
        outward = moved(self.normals[poses.glass, ::every], poses.turn, np.zeros_like(poses.centre))
        away, slope = sides.at(places)
        facing = np.einsum("mni,mni->mn", outward, slope) > _FACING
        return away, facing.astype(float), slope


class _Sides:
    """Signed distances from a hole that may have several parts."""

    def __init__(self, hole: Polygon | MultiPolygon) -> None:
        self.grids = [
            DistanceGrid.around(Polygon(part.exterior), _CELL_MM, _MARGIN_MM)
            for part in shapely.get_parts(hole)
        ]

    def at(self, places: Array) -> tuple[Array, Array]:
        away, slope = self.grids[0].at(places)
        for grid in self.grids[1:]:
            other, other_slope = grid.at(places)
            nearer = other < away
            away = np.where(nearer, other, away)
            slope = np.where(nearer[..., None], other_slope, slope)
        return away, slope


def least_squares_step(away: Array, slope: Array, arm: Array, weight: Array) -> Array:
    """Return turns and shifts (M, 3) that bring weighted distances (M, N) nearest to 0.

    A motion that changes no distance (a straight edge along a straight line) is not made.
    """
    turning = slope[..., 1] * arm[..., 0] - slope[..., 0] * arm[..., 1]
    jacobian = np.concatenate((turning[..., None], slope), axis=-1)
    weighted = jacobian * weight[..., None]
    normal = np.einsum("mni,mnj->mij", weighted, jacobian)
    right = np.einsum("mni,mn->mi", weighted, away)
    length = (arm**2).sum(axis=(1, 2)) / arm.shape[1]
    held = 1e-3 * weight.sum(axis=1) + 1e-9
    normal[:, 0, 0] += held * length
    normal[:, [1, 2], [1, 2]] += held[:, None]
    return np.asarray(-np.linalg.solve(normal, right[..., None])[..., 0])


def _best_of_each(poses: Poses, value: Array, count: int) -> np.ndarray:
    order = np.lexsort((-value, poses.glass))
    glass = poses.glass[order]
    first = np.searchsorted(glass, glass)
    return np.asarray(order[np.arange(len(order)) - first < count])
