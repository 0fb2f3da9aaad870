"""Four lines that may be the four edges of a sheet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.reading import Grid
from rubbing2pattern.stages.rectify.edge_evidence import Slopes
from rubbing2pattern.stages.rectify.lens import Lens
from rubbing2pattern.stages.rectify.straight_lines import (
    Index,
    Lines,
    canvas,
    canvas_maps,
    strongest,
)

SIDES = ("left", "upper", "right", "lower")
"""Names of the sides as the picture shows them, in the order used everywhere here."""

_LEAST_TURN = 0.5
"""Least sine of the angle at each corner of a possible sheet: 30 degrees."""
_STRETCH_FREE = 0.14
"""Log ratio by which the sides of a sheet may be out without cost; perspective stretches them."""
_LARGEST_AREA = 0.8
"""Share of the picture beyond which a larger sheet is not preferred."""


@dataclass(frozen=True, slots=True)
class Quads:
    """N quadrilaterals out of lists of lines, for one trial lens.

    Attributes
    ----------
    lens : of the reduced picture.
    lines : candidates for each side; those of "upper" and "lower" are on the transposed canvas.
    index : (N, 4) which line is which side.
    corners : (N, 4, 2) ideal places, counted from the centre: upper left, upper right, lower
        right, lower left.
    bonus : (N,) what size and shape add to the score.
    """

    lens: Lens
    lines: tuple[Lines, Lines, Lines, Lines]
    index: Index
    corners: Array
    bonus: Array

    def evidence(self) -> Array:
        """Return the mean evidence of each side between its corners, (N, 4)."""
        c = self.corners
        spans = (
            (c[:, 0, 1], c[:, 3, 1]),
            (c[:, 0, 0], c[:, 1, 0]),
            (c[:, 1, 1], c[:, 2, 1]),
            (c[:, 3, 0], c[:, 2, 0]),
        )
        return np.stack(
            [
                lines.mean(self.index[:, side], start, stop)
                for side, (lines, (start, stop)) in enumerate(zip(self.lines, spans, strict=True))
            ],
            axis=1,
        )

    def score(self, sides: Array) -> Array:
        """Weigh quadrilaterals by what their sides (N, 4) show: the mean, and the worst again."""
        return np.asarray(sides.mean(axis=1) + sides.min(axis=1) + self.bonus)


def possible_quads(
    brightness: Slopes,
    texture: Slopes,
    lens: Lens,
    count: int,
    least_share: float,
    ratio: float | None,
) -> Quads:
    """Build all quadrilaterals from the strongest lines of one trial lens.

    Rules:

    1. The paper may be lighter or darker than the ground, on each side for itself; it is smoother
       than the ground or as smooth.
    2. The sheet covers at least `least_share` of the picture.
    3. Its mean sides are as long as `ratio` says, one way or the other; tilt and perspective may
       stretch them by a seventh.
    4. Of two equally well seen quadrilaterals the larger one is the sheet: what is inside may be
       the margin of the rubbing.
    """
    steep = _sides(brightness.along_x, texture.along_x, lens, count)
    flat = _sides(brightness.along_y.T, texture.along_y.T, _transposed(lens), count)
    lines = (steep[0], flat[0], steep[1], flat[1])
    index = np.stack(
        np.meshgrid(*(np.arange(len(each.at)) for each in lines), indexing="ij"), axis=-1
    ).reshape(-1, 4)
    height, width = brightness.along_x.shape
    index = index[_apart(lines, index, width, height, least_share)]
    corners = _corners(lines, index)
    convex = _convex(corners)
    index, corners = index[convex], corners[convex]
    share = _area(corners) / (width * height)
    bonus = 0.3 * np.minimum(share, _LARGEST_AREA)  # rule 4
    if ratio is not None:
        bonus -= 2.0 * np.maximum(_stretch(corners, ratio) - _STRETCH_FREE, 0.0)  # rule 3
    keep = share >= least_share  # rule 2
    return Quads(lens, lines, index[keep], corners[keep], bonus[keep])


def _sides(brightness: Grid, texture: Grid, lens: Lens, count: int) -> tuple[Lines, Lines]:
    """Return the candidates for the side towards smaller and for that towards larger x (rule 1)."""
    maps = canvas_maps(brightness.shape, lens)
    lighter, darker = strongest(canvas(brightness, maps), count)
    rougher, smoother = strongest(canvas(texture, maps), count)
    either = lighter.joined(darker)
    return either.joined(smoother), either.joined(rougher)


def _transposed(lens: Lens) -> Lens:
    return Lens(lens.centre_px[::-1], lens.radius_px, lens.k1)


def _apart(
    lines: tuple[Lines, ...], index: Index, width: int, height: int, least_share: float
) -> npt.NDArray[np.bool_]:
    """Keep sides in order and far enough apart for rule 2."""
    left, upper, right, lower = (each.at[index[:, side]] for side, each in enumerate(lines))
    wide, high = right - left, lower - upper
    enough = 0.5 * least_share
    return np.asarray(
        (wide > enough * width) & (high > enough * height) & (wide * high > enough * width * height)
    )


def _corners(lines: tuple[Lines, ...], index: Index) -> Array:
    at = [each.at[index[:, side]] for side, each in enumerate(lines)]
    slope = [each.slope[index[:, side]] for side, each in enumerate(lines)]

    def crossing(steep: int, flat: int) -> Array:
        y = (at[flat] + slope[flat] * at[steep]) / (1.0 - slope[flat] * slope[steep])
        return np.stack((at[steep] + slope[steep] * y, y), axis=-1)

    return np.stack((crossing(0, 1), crossing(2, 1), crossing(2, 3), crossing(0, 3)), axis=1)


def _convex(corners: Array) -> npt.NDArray[np.bool_]:
    """Keep quadrilaterals that turn the same way, by a good angle, at all four corners."""
    way = np.roll(corners, -1, axis=1) - corners
    way = way / np.maximum(np.linalg.norm(way, axis=-1, keepdims=True), 1e-9)
    after = np.roll(way, -1, axis=1)
    turn = way[..., 0] * after[..., 1] - way[..., 1] * after[..., 0]
    return np.asarray((turn > _LEAST_TURN).all(axis=1))


def _area(corners: Array) -> Array:
    """Return the signed area; of a crossed or turned-over quadrilateral it is small or negative."""
    first, second = corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1]
    return np.asarray(0.5 * (first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]))


def _stretch(corners: Array, ratio: float) -> Array:
    """Return how far the mean sides are from a ratio or its inverse, as a logarithm."""
    sides = np.linalg.norm(corners - np.roll(corners, -1, axis=1), axis=-1)
    seen = np.log((sides[:, 0] + sides[:, 2]) / (sides[:, 1] + sides[:, 3]))
    given = np.log(ratio)
    return np.asarray(np.minimum(np.abs(seen - given), np.abs(seen + given)))
