"""Plane and lens fitted together to the edges of the sheet and to marks on it.

The lens bends the straight edges of the sheet (plumb-line method, Brown 1971), so their places tell
its coefficient whatever else is known.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache, partial

import numpy as np

from rubbing2pattern.frame import Array, Warp
from rubbing2pattern.options.rectify import RectifyOptions
from rubbing2pattern.rectifying.lens import Lens
from rubbing2pattern.rectifying.plane import (
    apply,
    centres_of_squares,
    homography,
    inverse,
    rectangle,
)
from rubbing2pattern.rectifying.sheet_edges import Sides
from rubbing2pattern.rectifying.sheet_search import CORNERS
from rubbing2pattern.rectifying.solve import soft_least_squares

_NEXT = np.array([1, 2, 3, 0])


@dataclass(frozen=True, slots=True)
class Pins:
    """Places known both in the picture and on the sheet.

    Attributes
    ----------
    mm : (N, 2) on the sheet.
    px : (N, 2) seen pixels.
    uncertainty_mm : one standard deviation of `mm`.
    uncertainty_px : one standard deviation of `px`.
    edges_px : (N, 4, 2, 2) two seen places on each edge of squares of which the pins are the
        centres, if they are.
    """

    mm: Array
    px: Array
    uncertainty_mm: float
    uncertainty_px: float
    edges_px: Array | None = None

    def ideal(self, lens: Lens) -> Array:
        """Return the ideal places (N, 2); of squares the centres."""
        if self.edges_px is None:
            return lens.ideal(self.px)
        return centres_of_squares(lens.ideal(self.edges_px))

    def only(self, rows: list[int]) -> Pins:
        """Return some of the pins."""
        edges = None if self.edges_px is None else self.edges_px[rows]
        return Pins(self.mm[rows], self.px[rows], self.uncertainty_mm, self.uncertainty_px, edges)


@dataclass(frozen=True, slots=True)
class Fit:
    """What was fitted.

    Attributes
    ----------
    base_mm : (4, 2) rectangle whose corners carry the homography.
    parameters : their ideal places (8), k1, and the ideal corners of a free sheet (8) if any.
    covariance : of the parameters.
    lens : with the fitted k1.
    """

    base_mm: Array
    parameters: Array
    covariance: Array
    lens: Lens

    @property
    def warp(self) -> Warp:
        """The warp from the sheet's mm to the picture."""
        matrix = homography(self.base_mm, self.parameters[:8].reshape(4, 2))
        matrix = matrix * (np.sign(matrix[2, 2]) / np.linalg.norm(matrix[2]))
        return Warp(
            tuple(float(v) for v in matrix.ravel()),
            self.lens.k1,
            self.lens.centre_px,
            self.lens.radius_px,
        )

    @property
    def sheet_corners(self) -> Array:
        """Ideal corners of the sheet, (4, 2), where its edges took part."""
        part = self.parameters[9:] if len(self.parameters) > 9 else self.parameters[:8]
        return np.asarray(part.reshape(4, 2))

    def scale(self, at_mm: Array) -> float:
        """Return ideal px per mm at a place."""
        return local_scale(self.warp.matrix, at_mm)

    def length_uncertainty(self, region_px: Array) -> float:
        """Return one standard deviation of lengths across a region, as a share of them.

        The lengths are those between neighbours and between opposite places of 3 by 3 places in
        the region, so that a lens not quite known counts as well.

        Parameters
        ----------
        region_px : (4, 2) seen corners of the region, in order round it.
        """
        places = _grid(region_px)
        here = self._log_lengths(self.parameters, places)
        slopes = np.empty((len(here), 9))
        for k in range(9):
            moved = self.parameters.copy()
            step = 1e-5 if k == 8 else 0.01
            moved[k] += step
            slopes[:, k] = (self._log_lengths(moved, places) - here) / step
        variance = np.einsum("ik,kl,il->i", slopes, self.covariance[:9, :9], slopes)
        return float(np.sqrt(np.max(variance)))

    def _log_lengths(self, parameters: Array, places: Array) -> Array:
        own = self.lens.with_k1(float(parameters[8]))
        matrix = inverse(homography(self.base_mm, parameters[:8].reshape(4, 2)))
        mm = apply(matrix, own.ideal(places.reshape(-1, 2))).reshape(3, 3, 2)
        ways = (mm[1:] - mm[:-1], mm[:, 1:] - mm[:, :-1], mm[2:] - mm[:1], mm[:, 2:] - mm[:, :1])
        diagonals = np.stack((mm[2, 2] - mm[0, 0], mm[2, 0] - mm[0, 2]))
        flat = np.concatenate([way.reshape(-1, 2) for way in ways] + [diagonals])
        return np.asarray(np.log(np.linalg.norm(flat, axis=1)))


def _grid(corners: Array) -> Array:
    """Return 3 by 3 places in a quadrilateral, (3, 3, 2)."""
    u = np.array([0.0, 0.5, 1.0])[:, None, None]
    v = np.array([0.0, 0.5, 1.0])[None, :, None]
    a, b, c, d = corners
    return np.asarray((1 - u) * ((1 - v) * a + v * b) + u * ((1 - v) * d + v * c))


def fit_sides(
    sides: Sides, corners: Array, size_mm: tuple[float, float], lens: Lens, options: RectifyOptions
) -> Fit:
    """Fit plane and lens to the edges of a sheet.

    Parameters
    ----------
    sides : places on its edges.
    corners : (4, 2) rough ideal corners.
    size_mm : width and height. The frame's origin is the sheet's lower left corner as the picture
        shows it.
    lens : rough.
    options : `lens_k1`.
    """
    start = np.concatenate((corners.ravel(), [lens.k1]))
    distances = plumb(sides, lens)

    def residuals(parameters: Array, noise_px: float) -> Array:
        away = distances(parameters[:8].reshape(4, 2), float(parameters[8]))
        return np.append(away / noise_px, parameters[8] / options.lens_k1)

    return _solved(residuals, start, rectangle(*size_mm), sides, lens)


def fit_pins(
    pins: Pins, sides: Sides | None, corners: Array | None, lens: Lens, options: RectifyOptions
) -> Fit:
    """Fit plane and lens to marks and, where it shows, to a sheet of unknown size.

    The sheet's sides are straight, and square to each other within `squareness_mm`.
    """
    low, high = pins.mm.min(axis=0), pins.mm.max(axis=0)
    size = np.maximum(high - low, 0.05 * (high - low).max())
    base_mm = rectangle(float(size[0]), float(size[1]), float(low[0]), float(low[1]))
    matrix = homography(pins.mm, pins.ideal(lens))
    start = np.concatenate((apply(matrix, base_mm).ravel(), [lens.k1]))
    if corners is not None:
        start = np.concatenate((start, corners.ravel()))
    distances = None if sides is None else plumb(sides, lens)
    noise_mm = np.hypot(
        pins.uncertainty_mm, pins.uncertainty_px / local_scale(matrix, pins.mm.mean(axis=0))
    )

    def residuals(parameters: Array, noise_px: float) -> Array:
        own = lens.with_k1(float(parameters[8]))
        back = inverse(homography(base_mm, parameters[:8].reshape(4, 2)))
        away_mm = apply(back, pins.ideal(own)) - pins.mm
        parts = [away_mm.ravel() / noise_mm, [parameters[8] / options.lens_k1]]
        if distances is not None:
            free = parameters[9:].reshape(4, 2)
            parts.append(distances(free, float(parameters[8])) / noise_px)
            parts.append(_unsquareness_mm(apply(back, free)) / options.squareness_mm)
        return np.concatenate(parts)

    return _solved(residuals, start, base_mm, sides, lens)


def local_scale(matrix: Array, at_mm: Array) -> float:
    """Return px per mm of a homography at a place."""
    steps = np.array([(-0.5, 0.0), (0.5, 0.0), (0.0, -0.5), (0.0, 0.5)]) + at_mm
    seen = apply(matrix, steps)
    a, b = seen[1] - seen[0], seen[3] - seen[2]
    return float(np.sqrt(abs(a[0] * b[1] - a[1] * b[0])))


def plumb(sides: Sides, lens: Lens) -> Callable[[Array, float], Array]:
    """Return what measures seen edge places against straight sides.

    Returns
    -------
    Callable
        Maps ideal corners (4, 2) and k1 to the distances (N,) in ideal px of all places, side by
        side, from the lines of their sides.
    """
    points = np.concatenate(sides)
    side = np.repeat(np.arange(4), [len(each) for each in sides])
    first, last = np.array(CORNERS).T

    @lru_cache(maxsize=4)
    def ideal(k1: float) -> Array:
        return lens.with_k1(k1).ideal(points)

    def distances(corners: Array, k1: float) -> Array:
        way = corners[last] - corners[first]
        way = way / np.hypot(way[:, :1], way[:, 1:])
        offset = ideal(k1) - corners[first][side]
        return np.asarray(way[side, 0] * offset[:, 1] - way[side, 1] * offset[:, 0])

    return distances


def _unsquareness_mm(corners_mm: Array) -> Array:
    """Return by how many mm three corners miss a right angle, measured at the shorter side."""
    ways = corners_mm[_NEXT] - corners_mm
    length = np.linalg.norm(ways, axis=1)
    cosine = np.sum(ways * ways[_NEXT], axis=1) / (length * length[_NEXT])
    return np.asarray((cosine * np.minimum(length, length[_NEXT]))[:3])


def _solved(
    residuals: Callable[..., Array],
    start: Array,
    base_mm: Array,
    sides: Sides | None,
    lens: Lens,
) -> Fit:
    """Solve twice: the first round tells how noisy the edges are."""
    noise_px = 1.0
    for _ in range(2):
        start, covariance = soft_least_squares(partial(residuals, noise_px=noise_px), start)
        own = lens.with_k1(float(start[8]))
        if sides is not None:
            corners = (start[9:] if len(start) > 9 else start[:8]).reshape(4, 2)
            away = np.abs(np.append(plumb(sides, lens)(corners, own.k1), 0.0))
            noise_px = float(np.clip(1.4826 * np.median(away), 0.05, 8.0))
    return Fit(base_mm, start, covariance, own)
