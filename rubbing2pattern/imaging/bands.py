"""Oriented bands: how much a place is darker than *both* sides of a strip through it.

A lead under paper is a dark strip with paler glass on either side. A tape edge, the margin of the
rubbing or a smudge is darker on one side only, so the darker of the two flanks is subtracted.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from rubbing2pattern.reading import Grid


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


def strongest_bands(density: Grid, px_per_mm: float, shape: BandShape) -> Bands:
    """Return the strongest band at every cell of a density picture (H, W).

    Strategy: for each direction the picture is turned so that the strips lie along the rows; then
    smoothing along and boxes across are separable and cheap. Direction k runs at
    ``180 * k / angles`` degrees anticlockwise from the x axis.
    """
    h, w = density.shape
    best = np.zeros((h, w), dtype=np.float32)
    angle = np.zeros((h, w), dtype=np.uint8)
    width = np.full((h, w), shape.widths_mm[0], dtype=np.float32)
    for k in range(shape.angles):
        turn, size = _turn(h, w, 180.0 * k / shape.angles)
        turned = cv2.warpAffine(
            density, turn, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
        found, which = _along_rows(turned, px_per_mm, shape)
        back = cv2.WARP_INVERSE_MAP
        found = cv2.warpAffine(found, turn, (w, h), flags=cv2.INTER_LINEAR | back)
        which = cv2.warpAffine(which, turn, (w, h), flags=cv2.INTER_NEAREST | back)
        better = found > best
        np.copyto(best, found, where=better)
        np.copyto(angle, np.uint8(k), where=better)
        np.copyto(width, np.asarray(shape.widths_mm, np.float32)[which], where=better)
    return Bands(best, angle, width)


def finer_and_coarser(density: Grid, px_per_mm: float, shape: BandShape, split_mm: float) -> Bands:
    """As `strongest_bands`, but strips wider than `split_mm` are sought on a grid half as fine."""
    fine = tuple(v for v in shape.widths_mm if v <= split_mm)
    wide = tuple(v for v in shape.widths_mm if v > split_mm)
    first = strongest_bands(density, px_per_mm, _with_widths(shape, fine))
    if not wide:
        return first
    h, w = density.shape
    half = cv2.resize(density, ((w + 1) // 2, (h + 1) // 2), interpolation=cv2.INTER_AREA)
    second = strongest_bands(half, px_per_mm / 2.0, _with_widths(shape, wide))
    response = cv2.resize(second.response, (w, h), interpolation=cv2.INTER_LINEAR)
    better = response > first.response
    direction = cv2.resize(second.angle, (w, h), interpolation=cv2.INTER_NEAREST)
    width = cv2.resize(second.width_mm, (w, h), interpolation=cv2.INTER_NEAREST)
    return Bands(
        np.where(better, response, first.response),
        np.where(better, direction, first.angle),
        np.where(better, width, first.width_mm),
    )


def _with_widths(shape: BandShape, widths_mm: tuple[float, ...]) -> BandShape:
    return BandShape(widths_mm, shape.along_mm, shape.angles, shape.core)


def _turn(h: int, w: int, angle_deg: float) -> tuple[npt.NDArray[np.float64], tuple[int, int]]:
    # A direction anticlockwise as seen runs upwards on the screen, so it is turned clockwise back.
    a = np.radians(angle_deg)
    c, s = float(np.cos(a)), float(np.sin(a))
    out_w, out_h = int(abs(w * c) + abs(h * s)) + 2, int(abs(w * s) + abs(h * c)) + 2
    matrix = np.array([[c, -s, 0.0], [s, c, 0.0]])
    centre = matrix[:, :2] @ np.array([(w - 1) / 2.0, (h - 1) / 2.0])
    matrix[:, 2] = np.array([(out_w - 1) / 2.0, (out_h - 1) / 2.0]) - centre
    return matrix, (out_w, out_h)


def _along_rows(
    picture: Grid, px_per_mm: float, shape: BandShape
) -> tuple[Grid, npt.NDArray[np.uint8]]:
    smooth = np.zeros_like(picture)
    for sigma_mm in shape.along_mm:
        smooth += cv2.GaussianBlur(
            picture, (0, 0), sigmaX=sigma_mm * px_per_mm, sigmaY=1e-3, borderType=cv2.BORDER_REPLICATE
        )
    smooth *= 1.0 / len(shape.along_mm)
    best = np.zeros_like(picture)
    which = np.zeros(picture.shape, dtype=np.uint8)
    for i, width_mm in enumerate(shape.widths_mm):
        core = _odd(shape.core * width_mm * px_per_mm)
        flank = _odd(max(1.5, 0.35 * width_mm) * px_per_mm)
        offset = round((0.5 * width_mm + 0.4) * px_per_mm + 0.5 * flank)
        response = _box(smooth, core)
        side = _box(smooth, flank)
        response -= np.maximum(_shifted(side, offset), _shifted(side, -offset))
        better = response > best
        np.copyto(best, response, where=better)
        np.copyto(which, np.uint8(i), where=better)
    return best, which


def _odd(rows: float) -> int:
    # An even box would shift the picture by half a cell.
    return 2 * int(rows / 2.0) + 1


def _box(picture: Grid, rows: int) -> Grid:
    return np.asarray(
        cv2.blur(picture, (1, rows), borderType=cv2.BORDER_REPLICATE), dtype=np.float32
    )


def _shifted(picture: Grid, rows: int) -> Grid:
    out = np.empty_like(picture)
    if rows > 0:
        out[rows:] = picture[:-rows]
        out[:rows] = picture[0]
    else:
        out[:rows] = picture[-rows:]
        out[rows:] = picture[-1]
    return out
