"""Plane and lens fitted together to the edges of the sheet and to marks on it.

The lens bends the straight edges of the sheet (plumb-line method, Brown 1971), so their places give
its coefficient whatever else is known.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache, partial

import numpy as np

from rubbing2pattern.geometry.frame import Array, Warp
from rubbing2pattern.options.rectify import RectifyOptions
from rubbing2pattern.stages.rectify.lens import Lens
from rubbing2pattern.stages.rectify.plane import (
    apply,
    centres_of_squares,
    corners_of_squares,
    homography,
    inverse,
    rectangle,
)
from rubbing2pattern.stages.rectify.sheet_edges import Sides
from rubbing2pattern.stages.rectify.sheet_search import CORNERS
from rubbing2pattern.stages.rectify.solve import Residuals, freed, soft_least_squares

_NEXT = np.array([1, 2, 3, 0])
_K1, _K2 = 8, 9
"""Places of the lens's coefficients among the parameters, after the eight of the plane."""
_BLOCKS = 16
"""Parts of a side whose means show what errs slowly along it."""
_NOISE_PX = (0.05, 8.0)
"""Range of the noise of places on edges: less is not to be had, more is not an edge."""


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
        return replace(self, mm=self.mm[rows], px=self.px[rows], edges_px=edges)

    def noise_mm(self, matrix: Array) -> float:
        """Return one standard deviation of a pin's place, each way, under a homography to px."""
        reading_mm = self.uncertainty_px / local_scale(matrix, self.mm.mean(axis=0))
        return float(np.hypot(self.uncertainty_mm, reading_mm))


@dataclass(frozen=True, slots=True)
class Fit:
    """What was fitted.

    Attributes
    ----------
    base_mm : (4, 2) rectangle whose corners carry the homography.
    parameters : their ideal places (8), k1, k2 held at 0, and the ideal corners of a free sheet
        (8) if any.
    drift : how far the parameters would go if k2 were free.
    covariance : of the parameters, k2 free.
    lens : with the fitted k1.
    """

    base_mm: Array
    parameters: Array
    drift: Array
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
        return _sheet_part(self.parameters)

    def scale(self, at_mm: Array) -> float:
        """Return ideal px per mm at a place."""
        return local_scale(self.warp.matrix, at_mm)

    def length_uncertainty(self, region_px: Array) -> float:
        """Return one standard deviation of lengths across a region, as a share of them.

        The root mean square over the three widths, three heights and two diagonals of 3 by 3
        places in the region. A lens has more than one coefficient: what a second one would change
        counts in full, and how uncertain it is as well.

        Parameters
        ----------
        region_px : (4, 2) seen corners of the region, in order round it.
        """
        places = _grid(region_px)
        here = self._log_lengths(self.parameters, places)
        slopes = np.empty((len(here), _K2 + 1))
        for k in range(_K2 + 1):
            moved = self.parameters.copy()
            step = 1e-5 if k >= _K1 else 0.01
            moved[k] += step
            slopes[:, k] = (self._log_lengths(moved, places) - here) / step
        covariance = self.covariance[: _K2 + 1, : _K2 + 1]
        variance = np.einsum("ik,kl,il->i", slopes, covariance, slopes)
        return float(np.sqrt(np.mean(variance + (slopes @ self.drift[: _K2 + 1]) ** 2)))

    def _log_lengths(self, parameters: Array, places: Array) -> Array:
        own = _lens_part(self.lens, parameters)
        matrix = inverse(homography(self.base_mm, parameters[:8].reshape(4, 2)))
        mm = apply(matrix, own.ideal(places.reshape(-1, 2))).reshape(3, 3, 2)
        diagonals = np.stack((mm[2, 2] - mm[0, 0], mm[2, 0] - mm[0, 2]))
        ways = np.concatenate((mm[2] - mm[0], mm[:, 2] - mm[:, 0], diagonals))
        return np.asarray(np.log(np.linalg.norm(ways, axis=1)))


def _sheet_part(parameters: Array) -> Array:
    part = parameters[10:] if len(parameters) > 10 else parameters[:8]
    return np.asarray(part.reshape(4, 2))


def _lens_part(lens: Lens, parameters: Array) -> Lens:
    return lens.with_k1(float(parameters[_K1]), float(parameters[_K2]))


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
    options : `lens_k1`, `lens_k2`.
    """
    start = np.concatenate((corners.ravel(), [lens.k1, 0.0]))
    distances = plumb(sides, lens)

    def residuals(parameters: Array, noise_px: float) -> Array:
        corners = parameters[..., :_K1].reshape(*parameters.shape[:-1], 4, 2)
        away = distances(corners, parameters[..., _K1], parameters[..., _K2])
        return np.concatenate((away / noise_px, _lens_prior(parameters, options)), axis=-1)

    return _solved(residuals, start, rectangle(*size_mm), sides, lens, at_once=True)


def fit_pins(
    pins: Pins, sides: Sides | None, corners: Array | None, lens: Lens, options: RectifyOptions
) -> Fit:
    """Fit plane and lens to marks and, where it shows, to a sheet of unknown size.

    1. The sheet's sides are straight. That they are square to each other, within `squareness_mm`,
       is weak beside the marks.
    2. Pins that are centres of squares see those squares as such, whatever their size and turn.
    """
    low, high = pins.mm.min(axis=0), pins.mm.max(axis=0)
    size = np.maximum(high - low, 0.05 * (high - low).max())
    base_mm = rectangle(float(size[0]), float(size[1]), float(low[0]), float(low[1]))
    matrix = homography(pins.mm, pins.ideal(lens))
    start = np.concatenate((apply(matrix, base_mm).ravel(), [lens.k1, 0.0]))
    if corners is not None:
        start = np.concatenate((start, corners.ravel()))
    distances = None if sides is None else plumb(sides, lens)
    noise_mm = pins.noise_mm(matrix)
    reading_mm = pins.uncertainty_px / local_scale(matrix, pins.mm.mean(axis=0))

    def residuals(parameters: Array, noise_px: float) -> Array:
        own = _lens_part(lens, parameters)
        back = inverse(homography(base_mm, parameters[:8].reshape(4, 2)))
        away_mm = apply(back, pins.ideal(own)) - pins.mm
        parts = [away_mm.ravel() / noise_mm, _lens_prior(parameters, options)]
        if pins.edges_px is not None:  # rule 2
            seen = corners_of_squares(own.ideal(pins.edges_px))
            squares_mm = apply(back, seen.reshape(-1, 2)).reshape(seen.shape)
            parts.append(_unlike_squares(squares_mm, reading_mm, options.target_shape))
        if distances is not None:  # rule 1
            free = parameters[10:].reshape(4, 2)
            parts.append(distances(free, *parameters[_K1 : _K2 + 1]) / noise_px)
            parts.append(unsquareness_mm(apply(back, free)) / options.squareness_mm)
        return np.concatenate(parts)

    return _solved(residuals, start, base_mm, sides, lens)


def local_scale(matrix: Array, at_mm: Array) -> float:
    """Return px per mm of a homography at a place."""
    steps = np.array([(-0.5, 0.0), (0.5, 0.0), (0.0, -0.5), (0.0, 0.5)]) + at_mm
    seen = apply(matrix, steps)
    a, b = seen[1] - seen[0], seen[3] - seen[2]
    return float(np.sqrt(abs(a[0] * b[1] - a[1] * b[0])))


def plumb(sides: Sides, lens: Lens) -> Callable[..., Array]:
    """Return what measures seen edge places against straight sides.

    Returns
    -------
    Callable
        Maps ideal corners (4, 2), k1 and k2 to the distances (N,) in ideal px of all places, side
        by side, from the lines of their sides; outwards is negative. Of K trials at once, (K, 4,
        2), (K,) and (K,), it returns (K, N).
    """
    points = np.concatenate(sides)
    counts = [len(each) for each in sides]
    first, last = np.array(CORNERS).T

    @lru_cache(maxsize=4)
    def ideal(k1: float, k2: float) -> Array:
        return np.ascontiguousarray(lens.with_k1(k1, k2).ideal(points).T)

    def along(each: Array) -> Array:
        return np.repeat(each, counts, axis=-1)

    def distances(corners: Array, k1: Array | float, k2: Array | float = 0.0) -> Array:
        way = corners[..., last, :] - corners[..., first, :]
        way = way / np.hypot(way[..., :1], way[..., 1:])
        if np.ndim(k1) == 0:
            x, y = ideal(float(k1), float(k2))
        else:
            both = zip(np.asarray(k1).tolist(), np.asarray(k2).tolist(), strict=True)
            x, y = np.moveaxis(np.stack([ideal(*each) for each in both]), 1, 0)
        start = corners[..., first, :]
        across, down = x - along(start[..., 0]), y - along(start[..., 1])
        return np.asarray(along(way[..., 0]) * down - along(way[..., 1]) * across)

    return distances


def unsquareness_mm(corners_mm: Array) -> Array:
    """Return by how many mm three corners miss a right angle, measured at the shorter side."""
    ways = corners_mm[_NEXT] - corners_mm
    length = np.linalg.norm(ways, axis=1)
    cosine = np.sum(ways * ways[_NEXT], axis=1) / (length * length[_NEXT])
    return np.asarray((cosine * np.minimum(length, length[_NEXT]))[:3])


def _lens_prior(parameters: Array, options: RectifyOptions) -> Array:
    return np.asarray(parameters[..., _K1 : _K2 + 1] / (options.lens_k1, options.lens_k2))


def _unlike_squares(corners_mm: Array, reading_mm: float, shape_share: float) -> Array:
    """Return how far quadrilaterals (N, 4, 2) are from squares, in units of the noise, (4 N,).

    Of the four places as complex numbers the discrete Fourier transform has the centre, the square
    and two parts more, which a square of any size and turn has not.
    """
    waves = np.fft.fft(corners_mm[..., 0] + 1j * corners_mm[..., 1], axis=1) / 4.0
    ways = np.abs(waves[:, [1, 3]]).sum(axis=0)
    square, sheared = (1, 3) if ways[0] > ways[1] else (3, 1)
    noise_mm = np.hypot(0.5 * reading_mm, shape_share * np.abs(waves[:, square]))
    parts = waves[:, [2, sheared]] / noise_mm[:, None]
    return np.concatenate((parts.real.ravel(), parts.imag.ravel()))


def _solved(
    residuals: Callable[..., Array],
    start: Array,
    base_mm: Array,
    sides: Sides | None,
    lens: Lens,
    *,
    at_once: bool = False,
) -> Fit:
    """Solve twice, k2 held at 0: the first round shows how noisy the edges are.

    `at_once` says that the residuals are those of many trials as well.
    """
    noise_px = 1.0
    for _ in range(2):
        own = partial(residuals, noise_px=noise_px)
        start = _held(own, start, at_once)
        if sides is not None:
            noise_px = _edge_noise_px(plumb(sides, lens)(_sheet_part(start), start[_K1]), sides)
    drift, covariance = freed(own, start, own if at_once else None)
    return Fit(base_mm, start, drift, covariance, lens.with_k1(float(start[_K1])))


def _held(residuals: Residuals, start: Array, at_once: bool) -> Array:
    """Minimise with k2 held where it is."""
    free = np.arange(len(start)) != _K2

    def inner(some: Array) -> Array:
        every = np.broadcast_to(start, (*some.shape[:-1], len(start))).copy()
        every[..., free] = some
        return residuals(every)

    found = start.copy()
    found[free] = soft_least_squares(inner, start[free], inner if at_once else None)[0]
    return found


def _edge_noise_px(away_px: Array, sides: Sides) -> float:
    """Return how noisy edge places are, each as if independent of the others.

    An edge that waves is off by the same for many places; their means then scatter more than
    those of independent ones, and that counts.
    """
    means, lengths = [np.zeros(1)], [1]
    for part in np.split(away_px, np.cumsum([len(side) for side in sides])[:-1]):
        if len(part) >= _BLOCKS:
            blocks = np.array_split(part, _BLOCKS)
            means.append(np.array([block.mean() for block in blocks]))
            lengths.append(len(part) // _BLOCKS)
    single = float(np.median(np.abs(np.append(away_px, 0.0))))
    slow = float(np.median(np.abs(np.concatenate(means)))) * np.sqrt(max(lengths))
    return float(np.clip(1.4826 * max(single, slow), *_NOISE_PX))
