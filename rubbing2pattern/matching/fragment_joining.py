"""Fragments of one opening settled together, and how well each of them is borne out there.

Legend for shapes: N places on an edge, B places on all that bounds a part.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from scipy.spatial import cKDTree
from shapely.geometry import Polygon

from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.matching.distances import even_ring
from rubbing2pattern.matching.fragment_edges import FINE_MM, Glass, moved, ring_normals
from rubbing2pattern.matching.fragment_laying import least_squares_step
from rubbing2pattern.options.fragments import FragmentOptions

_FACING = 0.8
"""Cosine from which an edge faces the same way as what bounds it."""
_ROUNDS = 6
"""Rounds in which fragments are settled, with less and less tolerance."""
_WIDEST = 3.0
"""Times the deviation that is tolerated in the first round."""
_MET = 3.0
"""Deviations within which an edge meets what bounds it."""
_NEAREST = 6
"""Nearest places among which one that faces the same way is sought."""


@dataclass(frozen=True, slots=True)
class Part:
    """A fragment in an opening: turn in radians, and where its centre lies (2,)."""

    glass: Glass
    turn: float
    centre: Array

    def laid(self, points: Array) -> Array:
        """Carry points (N, 2) about the fragment's centre to the panel's frame."""
        return np.asarray(moved(points[None], np.array([self.turn]), self.centre[None])[0])

    def turned(self, ways: Array) -> Array:
        """Turn directions (N, 2) of the fragment as it lies."""
        return np.asarray(moved(ways[None], np.array([self.turn]), np.zeros((1, 2)))[0])

    @property
    def outline(self) -> Polygon:
        """The fragment's outline in the panel's frame."""
        laid = shapely.transform(self.glass.outline, lambda p: self.laid(p - self.glass.centre))
        assert isinstance(laid, Polygon)
        return laid


@dataclass(frozen=True, slots=True)
class Borne:
    """How well a part is borne out.

    Attributes
    ----------
    value : logarithm of the ratio of the likelihoods here and as a stranger.
    met : share of its edge that meets the cut outline or a neighbour.
    met_line : share of its edge that meets the cut outline.
    rms_mm : root of the mean squared distance of the places that meet.
    """

    value: float
    met: float
    met_line: float
    rms_mm: float


def settled_together(
    parts: Sequence[Part], cut: Polygon, options: FragmentOptions
) -> tuple[Part, ...]:
    """Return the parts moved so that all edges lie closest to the outline and to each other.

    Least squares on the distances of all parts, solved for one part after the other (the method of
    Gauss and Seidel), each distance weighted by its spread; broken edges are kept `gap_mm` apart.
    """
    now = list(parts)
    outline = _Bounds.of_outline(cut, options)
    for widening in np.geomspace(_WIDEST, 1.0, _ROUNDS):
        for k, part in enumerate(now):
            bounds = outline.with_neighbours(now[:k] + now[k + 1 :], options)
            away, facing, slope, sigma = bounds.met_by(part)
            wide = sigma * widening
            weight = np.exp(-0.5 * (away / wide) ** 2) * facing / wide**2
            arm = part.laid(part.glass.places) - part.centre
            (step,) = least_squares_step(away[None], slope[None], arm[None], weight[None])
            now[k] = Part(part.glass, part.turn + float(step[0]), part.centre + step[1:])
    return tuple(now)


def borne_out(parts: Sequence[Part], cut: Polygon, options: FragmentOptions) -> tuple[Borne, ...]:
    """Return how well each of the parts of an opening is borne out by outline and neighbours."""
    outline = _Bounds.of_outline(cut, options)
    found = []
    for k, part in enumerate(parts):
        others = [*parts[:k], *parts[k + 1 :]]
        bounds = outline.with_neighbours(others, options)
        away, facing, _, sigma = bounds.met_by(part)
        on = np.exp(-0.5 * (away / sigma) ** 2) / (sigma * math.sqrt(2.0 * math.pi))
        free = np.where(away < 0.0, options.bare_share, options.beyond_share)
        ratio = (1.0 - options.bare_share) * on * facing * options.reach_mm + free
        met = (facing > 0.0) & (np.abs(away) < _MET * sigma)
        value = float(np.log(ratio).sum()) * part.glass.step_mm / options.steady_mm
        if part.glass.over:
            value += math.log(options.over_share)
        rms = float(np.sqrt(np.mean(away[met] ** 2))) if met.any() else 0.0
        on_line = met & (sigma == options.cut_mm)
        found.append(Borne(value, float(met.mean()), float(on_line.mean()), rms))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class _Bounds:
    """What bounds a part: places (B, 2), normals away from the part, spreads, and gaps (B,)."""

    places: Array
    normals: Array
    sigma: Array
    gap: Array

    @classmethod
    def of_outline(cls, cut: Polygon, options: FragmentOptions) -> _Bounds:
        """Take the cut outline of an opening."""
        ring = even_ring(cut, math.ceil(cut.exterior.length / FINE_MM))
        ones = np.ones(len(ring))
        return cls(ring, ring_normals(ring), options.cut_mm * ones, 0.0 * ones)

    def with_neighbours(self, parts: Sequence[Part], options: FragmentOptions) -> _Bounds:
        """Add the edges of other parts where they lie away from the outline."""
        places, normals = [self.places], [self.normals]
        sigma, gap = [self.sigma], [self.gap]
        for part in parts:
            ring = part.laid(part.glass.fine)
            places.append(ring)
            normals.append(-part.turned(part.glass.fine_normals))
            sigma.append(np.full(len(ring), options.break_mm))
            gap.append(np.full(len(ring), options.gap_mm))
        return _Bounds(*(np.concatenate(each) for each in (places, normals, sigma, gap)))

    def met_by(self, part: Part) -> tuple[Array, Array, Array, Array]:
        """Return distances (N,), whether faced (N,), slopes (N, 2) and spreads (N,) at its edge.

        The nearest place that faces the same way counts, else the nearest of all.
        """
        own = part.laid(part.glass.places)
        outward = part.laid(part.glass.normals) - part.centre
        _, near = cKDTree(self.places).query(own, k=min(_NEAREST, len(self.places)))
        faces = np.einsum("ni,nki->nk", outward, self.normals[near]) > _FACING
        first = np.where(faces.any(axis=1), faces.argmax(axis=1), 0)
        rows = np.arange(len(own))
        which = near[rows, first]
        slope = self.normals[which]
        away = np.einsum("ni,ni->n", own - self.places[which], slope) + self.gap[which]
        along = np.hypot(*(own - self.places[which]).T)
        facing = faces[rows, first] & (along < np.abs(away) + 2.0 * FINE_MM)
        return away, facing.astype(float), slope, self.sigma[which]
