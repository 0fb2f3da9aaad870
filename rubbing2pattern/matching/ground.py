"""What loose pieces lie on, seen bare: a light table, paper, cloth or the lid of a scanner.

Legend for shapes: H, W rows and columns of the working picture; B blocks; T terms of a polynomial.
Colours are coded as in the file, divided by 255: the coding of sRGB evens out the noise of light
and dark places, so that one measure of noise serves both.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
import numpy.typing as npt

from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.options.loose import LooseOptions
from rubbing2pattern.reading import Grid

Colour = npt.NDArray[np.uint8]
Mask = npt.NDArray[np.bool_]

_BLOCK_MM = 2.0
"""Blocks whose mean colours represent the ground."""
_MODES = 5
"""Commonest colours that are tried as the ground."""
_TILES = 8
"""Parts of the picture each way over which the ground should spread."""
_ENOUGH = 8_000
"""Blocks or pixels that settle a surface or a spread; of more, some are taken."""
_THIN = 2
"""Every how many-th pixel each way counts when it is measured how the ground varies."""
_BINS = 16
"""Steps of each colour when the commonest are counted."""
_DEGREES = ((0, 0.14), (1, 0.12), (2, 0.10), (3, 0.08), (3, 0.06))
"""Degrees of the surface, and differences of colour up to which a block belongs to it, in turn."""
_ROUNDS = 3
"""Rounds of fitting at each degree; blocks come in and fall out."""
_SOFT_MM = 25.0
"""Width over which what the surface leaves is followed: light changes no faster."""
_USUAL = 3.0
"""Deviations within which a pixel is taken for ground when its noise is measured."""
_QUIET = 0.008
"""Spread, of full white, up to which a ground is quiet: two steps of 255."""
_MOTTLED = 0.016
"""Spread of a pixel, of full white, from which a ground is mottled: twice that of a quiet one."""
_LEAST_PIXELS = 1000
"""Pixels of bare ground by which it is known how the ground varies."""
_SIGMA = 1.4826
"""Median deviation to standard deviation, of a normal distribution."""


@dataclass(frozen=True, slots=True)
class Working:
    """The photograph reduced to what finding needs.

    Attributes
    ----------
    colour : (H, W, 3) float32, 0 .. 1, slightly smoothed.
    step : pixels of the photograph to one of its own, each way.
    px_per_mm : its mean resolution.
    inside : (H, W) bool, False where nothing is to be looked for.
    left, top : column and row of its first pixel in the whole working picture.
    """

    colour: Grid
    step: int
    px_per_mm: float
    inside: Mask
    left: int = 0
    top: int = 0

    def to_photo(self, pixels: Array) -> Array:
        """Return places (N, 2), column and row, in pixels of the photograph."""
        first = np.array((self.left, self.top))
        return np.asarray((pixels + first + 0.5) * self.step - 0.5)

    def from_photo(self, pixels: Array) -> Array:
        """Return places (N, 2) of the photograph in pixels of its own."""
        return np.asarray((pixels + 0.5) / self.step - 0.5 - np.array((self.left, self.top)))

    def part(self, rows: slice, columns: slice) -> Working:
        """Return the part within rows and columns, whose first ones are stated."""
        return replace(
            self,
            colour=self.colour[rows, columns],
            inside=self.inside[rows, columns],
            left=self.left + columns.start,
            top=self.top + rows.start,
        )


@dataclass(frozen=True, slots=True)
class Ground:
    """The bare ground as it would look without anything on it.

    Attributes
    ----------
    colour, stiff : (H, W, 3) float32; and as a surface that is too stiff to follow glass.
    noise : (3,) one standard deviation of a pixel of the working picture from it.
    evened : (3, 3) by which differences of colour from it are multiplied: mottled cloth varies in
        light far more than in colour, so that differences in the ways it varies count less.
    quiet : one standard deviation of a pixel from it, evened.
    steps : usual change per mm on the bare ground, evened.
    bare : (H, W) bool, where it is bare, as far as its colour says.
    slopes : (H, W) change per mm of the picture's difference from it, evened.
    has_colour : whether the picture has, so that colour can tell what lies there.
    """

    colour: Grid
    stiff: Grid
    noise: Array
    evened: Array
    quiet: float
    steps: float
    bare: Mask
    slopes: Grid
    has_colour: bool

    @property
    def mottled(self) -> bool:
        """Whether it varies in light as much as clear glass changes it, in a coloured picture."""
        return self.has_colour and bool(self.noise.max() > _MOTTLED)

    def off(self, colour: Grid) -> Grid:
        """Return evened differences (H, W, 3) of a picture from the ground."""
        return np.asarray(cv2.transform(colour - self.colour, self.evened.T))


def reduced(colour: Colour, px_per_mm: float, inside: Mask | None, o: LooseOptions) -> Working:
    """Return the working picture; `inside` (H, W) of the photograph bounds what is read."""
    step = max(1, round(px_per_mm / o.work_px_per_mm))
    h, w = colour.shape[0] // step, colour.shape[1] // step
    small = cv2.resize(colour[: h * step, : w * step], (w, h), interpolation=cv2.INTER_AREA)
    scale = px_per_mm / step
    soft = cv2.GaussianBlur(small.astype(np.float32) / 255.0, (0, 0), o.blur_mm * scale)
    if inside is None:
        where = np.ones((h, w), dtype=np.bool_)
    else:
        seen = inside[: h * step, : w * step].astype(np.uint8)
        where = cv2.resize(seen, (w, h), interpolation=cv2.INTER_NEAREST) > 0
    return Working(np.asarray(soft, dtype=np.float32), step, scale, where)


def steps_of(picture: Grid, px_per_mm: float) -> Grid:
    """Return the largest change of colour per mm at every pixel, (H, W).

    The root of the greater eigenvalue of the summed products of all channels' derivatives (Di
    Zenzo 1986, A note on the gradient of a multi-image).
    """
    dx = cv2.Sobel(picture, cv2.CV_32F, 1, 0, ksize=3) * np.float32(px_per_mm / 8.0)
    dy = cv2.Sobel(picture, cv2.CV_32F, 0, 1, ksize=3) * np.float32(px_per_mm / 8.0)
    xx, yy, xy = (np.einsum("ijk,ijk->ij", a, b) for a, b in ((dx, dx), (dy, dy), (dx, dy)))
    root = cv2.magnitude(xx - yy, np.float32(2.0) * xy)
    return np.asarray(cv2.sqrt(np.float32(0.5) * (xx + yy + root)), dtype=np.float32)


def bare_ground(work: Working) -> Ground:
    """Model the bare ground from the picture alone.

    Strategy: the ground is the one colour that goes on, slowly changing, all over the picture.
    Starting from each of the commonest colours, polynomials of rising degree over the picture are
    fitted to the blocks that agree with them. Of the starts the one is the ground whose connected
    blocks reach into most parts of the picture: glass may cover more, but piece by piece. What a
    polynomial cannot follow is then added smoothly from the pixels that agree.
    """
    at, mean, use = _blocks(work)
    every = max(1, int(use.sum()) // _ENOUGH)
    powers = _powers(at.reshape(-1, 2), _DEGREES[-1][0])
    some = powers[use.ravel()][::every], mean[use][::every]
    grown = [_grown(*some, mode) for mode in _commonest(mean[use])]
    reach = [_spread(np.abs(mean - (powers @ t).reshape(mean.shape)), use) for t in grown]
    terms = grown[max(range(len(grown)), key=lambda i: reach[i])]
    h, w = work.inside.shape
    stiff = _surface(terms, h, w)
    agrees = (largest(work.colour - stiff) < _DEGREES[-1][1]) & work.inside
    colour = stiff + followed(work, work.colour - stiff, agrees)
    return measured(work, stiff, colour, agrees)


def measured(work: Working, stiff: Grid, colour: Grid, agrees: Mask) -> Ground:
    """Return a ground of known colour (H, W, 3) with how it varies where it agrees (H, W)."""
    thin = (slice(None, None, _THIN), slice(None, None, _THIN))
    off = work.colour[thin] - colour[thin]
    there = agrees[thin] & (largest(off) < _DEGREES[-1][1])
    near = np.asarray(off[there], dtype=np.float64)
    noise = _SIGMA * np.median(np.abs(near), axis=0) if len(near) else np.zeros(3)
    noise = np.maximum(noise, 0.5 / 255.0)
    evened = _evening(near, noise)
    quiet = _SIGMA * float(np.median(np.abs(near @ evened))) if len(near) else 1.0
    quiet = max(quiet, 0.5 / 255.0)
    colour = np.asarray(colour, dtype=np.float32)
    red, blue = work.colour[..., 0][thin], work.colour[..., 2][thin]
    has_colour = bool(np.abs(red - blue).max() > _QUIET)
    ground = Ground(colour, stiff, noise, evened, quiet, 0.0, agrees, colour[..., 0], has_colour)
    slopes = steps_of(ground.off(work.colour), work.px_per_mm)
    usual = float(np.median(slopes[thin][there])) if len(near) else 0.0
    return replace(ground, steps=usual, slopes=slopes)


def _evening(off: Array, noise: Array) -> Array:
    """Return what evens out differences (N, 3) of bare ground: each way counts by its spread.

    The way in which it varies least keeps its size; one in which it varies less than a quiet
    ground does is not made more of. Places off by more than usual are not ground.
    """
    within = np.abs(off) < _USUAL * noise
    near = off[within[:, 0] & within[:, 1] & within[:, 2]]
    if len(near) < _LEAST_PIXELS:
        return np.eye(3)
    variance, ways = np.linalg.eigh(np.cov(near[:: max(1, len(near) // _ENOUGH)].T))
    spread = np.sqrt(np.maximum(variance, _QUIET**2))
    return np.asarray(ways @ np.diag(spread.min() / spread) @ ways.T)


def difference(seen: Grid, ground: Ground) -> Grid:
    """Return by how much evened differences (H, W, 3) exceed the ground's noise, (H, W)."""
    return np.asarray(
        np.sqrt(_sum(np.square(seen)) / np.float32(3.0)) / np.float32(ground.quiet),
        dtype=np.float32,
    )


def _sum(three: Grid) -> Grid:
    a, b, c = cv2.split(three)
    return np.asarray(a + b + c, dtype=np.float32)


def linear(coded: Grid) -> Grid:
    """Return light in even steps from sRGB-coded values 0 .. 1 (IEC 61966-2-1)."""
    low = coded / np.float32(12.92)
    high = ((np.maximum(coded, 0.0) + np.float32(0.055)) / np.float32(1.055)) ** np.float32(2.4)
    return np.asarray(np.where(coded <= 0.04045, low, high), dtype=np.float32)


def largest(off: Grid) -> Grid:
    """Return the largest amount among the three channels, (H, W)."""
    a, b, c = cv2.split(np.abs(off))
    return np.asarray(cv2.max(cv2.max(a, b), c), dtype=np.float32)


def disc(radius_px: float) -> npt.NDArray[np.uint8]:
    """Return a round patch for closing and opening."""
    r = max(1, round(radius_px))
    y, x = np.mgrid[-r : r + 1, -r : r + 1]
    return np.asarray(x**2 + y**2 <= (r + 0.3) ** 2, dtype=np.uint8)


def _spread(off: Array, use: Mask) -> tuple[int, int]:
    """Return into how many parts of the picture the largest connected agreement reaches."""
    agree = ((off.max(axis=2) < _DEGREES[-1][1]) & use).astype(np.uint8)
    _, labels, stats, _ = cv2.connectedComponentsWithStats(agree, connectivity=8)
    if len(stats) < 2:
        return 0, 0
    one = 1 + int(stats[1:, cv2.CC_STAT_AREA].argmax())
    rows, columns = np.nonzero(labels == one)
    h, w = use.shape
    parts = np.unique((rows * _TILES // h) * _TILES + columns * _TILES // w)
    return len(parts), len(rows)


def _blocks(work: Working) -> tuple[Array, Array, Mask]:
    """Return places from -1 to 1, mean colours and whether they lie inside, of a grid of blocks."""
    size = max(2, round(_BLOCK_MM * work.px_per_mm))
    h, w = work.inside.shape
    rows, columns = max(2, h // size), max(2, w // size)
    mean = cv2.resize(work.colour, (columns, rows), interpolation=cv2.INTER_AREA)
    full = cv2.resize(work.inside.astype(np.float32), (columns, rows), interpolation=cv2.INTER_AREA)
    y, x = np.mgrid[0:rows, 0:columns]
    use = full > 0.999
    if not use.any():
        use = full >= full.max()
    at = np.stack((2.0 * (x + 0.5) / columns - 1.0, 2.0 * (y + 0.5) / rows - 1.0), axis=-1)
    return at.astype(np.float64), np.asarray(mean, dtype=np.float64), use


def _commonest(mean: Array) -> list[Array]:
    """Return the commonest colours, a few, not near each other."""
    cells = np.clip((mean * _BINS).astype(int), 0, _BINS - 1)
    count = np.zeros((_BINS,) * 3)
    np.add.at(count, tuple(cells.T), 1.0)
    wide = np.pad(count, 1)
    near = sum(
        wide[i : i + _BINS, j : j + _BINS, k : k + _BINS]
        for i in range(3)
        for j in range(3)
        for k in range(3)
    )
    near = np.asarray(near)
    found: list[Array] = []
    for _ in range(_MODES):
        top = np.array(np.unravel_index(int(near.argmax()), near.shape))
        if near[tuple(top)] <= 0:
            break
        own = np.abs(cells - top).max(axis=1) <= 1
        found.append(np.median(mean[own], axis=0) if own.any() else (top + 0.5) / _BINS)
        low, high = np.maximum(top - 2, 0), top + 3
        near[low[0] : high[0], low[1] : high[1], low[2] : high[2]] = 0.0
    return found


def _grown(powers: Array, mean: Array, start: Array) -> Array:
    """Return the terms (T, 3) of the surface that grows from a colour; powers are (B, T)."""
    terms = np.zeros((powers.shape[1], 3))
    terms[0] = start
    for degree, within in _DEGREES:
        basis = powers[:, : (degree + 1) * (degree + 2) // 2]
        for _ in range(_ROUNDS):
            off = np.abs(mean - basis @ terms[: basis.shape[1]])
            agree = (off[:, 0] < within) & (off[:, 1] < within) & (off[:, 2] < within)
            if agree.sum() < 3 * basis.shape[1]:
                break
            # A little stiffness keeps parts of the picture without bare ground from running off.
            stiff = 1e-3 * agree.sum() * np.eye(basis.shape[1])
            stiff[0, 0] = 0.0
            a = basis[agree]
            own = np.linalg.solve(a.T @ a + stiff, a.T @ mean[agree])
            terms[: len(own)] = own
    return terms


def _powers(at: Array, degree: int) -> Array:
    """Return x^i y^j for i + j up to a degree, by rising degree, (B, T)."""
    x, y = at[:, 0], at[:, 1]
    pairs = [(i, d - i) for d in range(degree + 1) for i in range(d + 1)]
    return np.column_stack([x**i * y**j for i, j in pairs])


def _surface(terms: Array, h: int, w: int) -> Grid:
    """Return the polynomial at every pixel, (H, W, 3), through a coarse grid."""
    rows, columns = max(2, h // 32), max(2, w // 32)
    y, x = np.mgrid[0:rows, 0:columns]
    at = np.stack((2.0 * (x + 0.5) / columns - 1.0, 2.0 * (y + 0.5) / rows - 1.0), axis=-1)
    coarse = _powers(at.reshape(-1, 2), _DEGREES[-1][0]) @ terms
    field = coarse.reshape(rows, columns, 3).astype(np.float32)
    return np.asarray(cv2.resize(field, (w, h), interpolation=cv2.INTER_CUBIC), dtype=np.float32)


def followed(work: Working, off: Grid, agrees: Mask) -> Grid:
    """Return a smooth mean of what is left over, from the pixels that agree, (H, W, 3)."""
    h, w = agrees.shape
    factor = max(1, round(work.px_per_mm))
    size = (max(2, w // factor), max(2, h // factor))
    weight = agrees.astype(np.uint8)
    small_weight = cv2.resize(weight.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    small = cv2.resize(cv2.copyTo(off, weight), size, interpolation=cv2.INTER_AREA)
    sigma = _SOFT_MM * work.px_per_mm / factor
    total = cv2.GaussianBlur(small_weight, (0, 0), sigma)
    field = cv2.GaussianBlur(small, (0, 0), sigma) / (total[..., None] + np.float32(0.02))
    return np.asarray(cv2.resize(field, (w, h), interpolation=cv2.INTER_LINEAR), dtype=np.float32)
