"""Oriented bands: how much a place is darker than *both* sides of a strip through it.

A lead under paper is a dark strip with paler glass on either side. A tape edge, the margin of the
rubbing or a smudge is darker on one side only, so the darker of the two flanks is subtracted.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import cv2
import numpy as np
import numpy.typing as npt

from rubbing2pattern.frame import Array
from rubbing2pattern.reading import Grid

_TILE_PX = 320
_FLANK_GAP_MM = 0.4


@dataclass(frozen=True, slots=True)
class Bands:
    """The strongest band at every cell: response (density), index of direction, width in mm."""

    response: Grid
    angle: npt.NDArray[np.uint8]
    width_mm: Grid


@dataclass(frozen=True, slots=True)
class BandShape:
    """What is looked for.

    Attributes
    ----------
    widths_mm : widths of the strips.
    along_mm : standard deviations of the smoothing along the strip; their mean is used.
    angles : directions in 180 degrees.
    core : share of the width that counts as the strip.
    """

    widths_mm: tuple[float, ...]
    along_mm: tuple[float, ...]
    angles: int
    core: float


@dataclass(frozen=True, slots=True)
class _Turned:
    """One direction: where its strips lie along the rows, and which width was best there."""

    to_turned: Array
    which: npt.NDArray[np.uint8]


def strongest_bands(density: Grid, px_per_mm: float, shape: BandShape) -> Bands:
    """Return the strongest band at every cell of a density picture (H, W).

    Strategy: for each direction the picture is turned so that the strips lie along the rows; then
    smoothing along and boxes across are separable and cheap. The smoothing leaves nothing finer
    than its own spread along the rows, so there the turned picture needs only few columns. All
    this is done tile by tile, so that the arrays stay in the processor's cache and two tiles run
    side by side; a tile takes so much of its neighbours along that no seam shows. Direction k runs
    at ``180 * k / angles`` degrees anticlockwise from the x axis.
    """
    h, w = density.shape
    halo = int(np.ceil(2.5 * max(shape.along_mm) * px_per_mm))
    halo = max(halo, 2 * _reach(max(shape.widths_mm), px_per_mm))
    padded = cv2.copyMakeBorder(density, halo, halo, halo, halo, cv2.BORDER_REPLICATE)
    out = Bands(
        np.zeros((h, w), dtype=np.float32),
        np.zeros((h, w), dtype=np.uint8),
        np.full((h, w), shape.widths_mm[0], dtype=np.float32),
    )

    def fill(corner: tuple[int, int]) -> None:
        r, c = corner
        rows, cols = slice(r, min(r + _TILE_PX, h)), slice(c, min(c + _TILE_PX, w))
        part = np.asarray(padded[r : rows.stop + 2 * halo, c : cols.stop + 2 * halo], np.float32)
        found = _strongest_in(part, px_per_mm, shape)
        inner = (slice(halo, halo + rows.stop - r), slice(halo, halo + cols.stop - c))
        out.response[rows, cols] = found.response[inner]
        out.angle[rows, cols] = found.angle[inner]
        out.width_mm[rows, cols] = found.width_mm[inner]

    corners = [(r, c) for r in range(0, h, _TILE_PX) for c in range(0, w, _TILE_PX)]
    with ThreadPoolExecutor(max_workers=2) as pool:
        list(pool.map(fill, corners))
    return out


def finer_and_coarser(density: Grid, px_per_mm: float, shape: BandShape, split_mm: float) -> Bands:
    """As `strongest_bands`, but strips wider than `split_mm` are sought on a grid half as fine.

    They are also sought in half as many directions: a strip twice as wide tells a direction half
    as sharply.
    """
    fine = tuple(v for v in shape.widths_mm if v <= split_mm)
    wide = tuple(v for v in shape.widths_mm if v > split_mm)
    first = strongest_bands(density, px_per_mm, replace(shape, widths_mm=fine))
    if not wide:
        return first
    h, w = density.shape
    half = cv2.resize(density, ((w + 1) // 2, (h + 1) // 2), interpolation=cv2.INTER_AREA)
    few = replace(shape, widths_mm=wide, angles=shape.angles // 2)
    second = strongest_bands(np.asarray(half, np.float32), px_per_mm / 2.0, few)
    response = cv2.resize(second.response, (w, h), interpolation=cv2.INTER_LINEAR)
    better = response > first.response
    direction = cv2.resize(2 * second.angle, (w, h), interpolation=cv2.INTER_NEAREST)
    width = cv2.resize(second.width_mm, (w, h), interpolation=cv2.INTER_NEAREST)
    np.copyto(first.response, response, where=better)
    np.copyto(first.angle, direction, where=better, casting="unsafe")
    np.copyto(first.width_mm, width, where=better)
    return first


def _strongest_in(density: Grid, px_per_mm: float, shape: BandShape) -> Bands:
    h, w = density.shape
    best = np.zeros((h, w), dtype=np.float32)
    angle = np.zeros((h, w), dtype=np.uint8)
    turned = []
    thin = max(1.0, 0.5 * min(shape.along_mm) * px_per_mm)
    kernel = _along_kernel(shape.along_mm, px_per_mm / thin)
    pad = _reach(max(shape.widths_mm), px_per_mm)
    for k in range(shape.angles):
        turn, size = _turn(h, w, 180.0 * k / shape.angles, thin, pad)
        picture = cv2.warpAffine(
            density, turn, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
        smooth = cv2.sepFilter2D(
            picture, -1, kernel, np.ones(1, np.float32), borderType=cv2.BORDER_REPLICATE
        )
        found, which = _across(np.asarray(smooth, np.float32), px_per_mm, shape, pad)
        turn[1, 2] -= pad
        back = cv2.warpAffine(found, turn, (w, h), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)
        np.copyto(angle, np.uint8(k), where=back > best)
        np.maximum(best, back, out=best)
        turned.append(_Turned(turn, which))
    return Bands(best, angle, _widths_found(best, angle, turned, shape.widths_mm))


def _turn(h: int, w: int, angle_deg: float, thin: float, pad: int) -> tuple[Array, tuple[int, int]]:
    """Affine map (2, 3) into the turned picture, `thin` times fewer columns, `pad` rows around."""
    # A direction anticlockwise as seen runs upwards on the screen, so it is turned clockwise back.
    a = np.radians(angle_deg)
    c, s = float(np.cos(a)), float(np.sin(a))
    columns = int((abs(w * c) + abs(h * s)) / thin) + 2
    rows = int(abs(w * s) + abs(h * c)) + 2 + 2 * pad
    matrix = np.array([[c / thin, -s / thin, 0.0], [s, c, 0.0]])
    centre = matrix[:, :2] @ np.array([(w - 1) / 2.0, (h - 1) / 2.0])
    matrix[:, 2] = np.array([(columns - 1) / 2.0, (rows - 1) / 2.0]) - centre
    return matrix, (columns, rows)


def _along_kernel(along_mm: Sequence[float], px_per_mm: float) -> Grid:
    """Mean of Gaussians, cut off at 2.5 times the widest deviation; sums to 1."""
    reach = int(np.ceil(2.5 * max(along_mm) * px_per_mm))
    x = np.arange(-reach, reach + 1) / px_per_mm
    bells = [np.exp(-0.5 * (x / sigma) ** 2) for sigma in along_mm]
    return np.asarray(sum(b / b.sum() for b in bells) / len(bells), dtype=np.float32)


def _reach(width_mm: float, px_per_mm: float) -> int:
    """Rows from the middle of a strip to the middle of its flank."""
    flank = _odd(_flank_mm(width_mm) * px_per_mm)
    return round((0.5 * width_mm + _FLANK_GAP_MM) * px_per_mm + 0.5 * flank)


def _flank_mm(width_mm: float) -> float:
    return max(1.5, 0.35 * width_mm)


def _across(
    smooth: Grid, px_per_mm: float, shape: BandShape, pad: int
) -> tuple[Grid, npt.NDArray[np.uint8]]:
    """Strip less its darker flank, best of the widths, for all rows but `pad` at either end."""
    rows = smooth.shape[0] - 2 * pad
    best = np.zeros((rows, smooth.shape[1]), dtype=np.float32)
    which = np.zeros(best.shape, dtype=np.uint8)
    for i, width_mm in enumerate(shape.widths_mm):
        offset = _reach(width_mm, px_per_mm)
        side = _box(smooth, _odd(_flank_mm(width_mm) * px_per_mm))
        above, below = pad - offset, pad + offset
        flank = np.maximum(side[above : above + rows], side[below : below + rows])
        core = _box(smooth[pad : pad + rows], _odd(shape.core * width_mm * px_per_mm))
        np.subtract(core, flank, out=core)
        np.copyto(which, np.uint8(i), where=core > best)
        np.maximum(best, core, out=best)
    return best, which


def _odd(rows: float) -> int:
    # An even box would shift the picture by half a cell.
    return 2 * int(rows / 2.0) + 1


def _box(picture: Grid, rows: int) -> Grid:
    return np.asarray(
        cv2.blur(picture, (1, rows), borderType=cv2.BORDER_REPLICATE), dtype=np.float32
    )


def _widths_found(
    best: Grid,
    angle: npt.NDArray[np.uint8],
    turned: list[_Turned],
    widths_mm: tuple[float, ...],
) -> Grid:
    """Look the width up in the turned picture of each cell's own direction."""
    sizes = np.asarray(widths_mm, dtype=np.float32)
    width = np.full(best.shape, sizes[0], dtype=np.float32)
    rows, columns = np.nonzero(best > 0.05 * float(best.max(initial=0.0)))
    chosen = angle[rows, columns]
    for k, one in enumerate(turned):
        here = chosen == k
        place = np.vstack((columns[here], rows[here], np.ones(int(here.sum()))))
        at = np.rint(one.to_turned @ place).astype(np.int64)
        h, w = one.which.shape
        index = one.which[np.clip(at[1], 0, h - 1), np.clip(at[0], 0, w - 1)]
        width[rows[here], columns[here]] = sizes[index]
    return width
