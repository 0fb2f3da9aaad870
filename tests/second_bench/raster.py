"""Shapes as shares of pixels, exact along rows and eight times as fine across them; noise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from tests.second_bench.panes import Array, Rng
from tests.second_bench.view import Field

ROWS = 8


@dataclass(frozen=True, slots=True)
class Window:
    """A part of a picture: first column and row, width and height."""

    left: int
    top: int
    width: int
    height: int

    @classmethod
    def about(cls, rings: Sequence[Array], size_px: tuple[int, int], pad: int) -> Window:
        """Return the window around rings with a pad, within the picture."""
        every = np.vstack(rings)
        low = np.maximum(np.floor(every.min(axis=0)).astype(int) - pad, 0)
        high = np.minimum(np.ceil(every.max(axis=0)).astype(int) + pad + 1, size_px)
        return cls(int(low[0]), int(low[1]), int(high[0] - low[0]), int(high[1] - low[1]))

    def of(self, picture: Field) -> Field:
        """Return the view of a picture."""
        return picture[self.top : self.top + self.height, self.left : self.left + self.width]

    def cover(self, rings: Sequence[Array]) -> Field:
        """Return the share of each pixel inside rings (N, 2) px, which turn the same way.

        Areas right of every crossing of a fine row add up with the sign of the crossing.
        """
        h, w = self.height * ROWS, self.width
        total = np.zeros((h, w + 2))
        for ring in rings:
            p = np.asarray(ring, float) - (self.left - 0.5, self.top - 0.5)
            p = p * (1.0, ROWS)
            q = np.roll(p, -1, axis=0)
            sign = np.where(q[:, 1] > p[:, 1], 1.0, -1.0)
            low, high = np.minimum(p[:, 1], q[:, 1]), np.maximum(p[:, 1], q[:, 1])
            first = np.clip(np.ceil(low - 0.5), 0, h).astype(int)
            last = np.clip(np.ceil(high - 0.5), 0, h).astype(int)
            count = np.maximum(last - first, 0)
            edge = np.repeat(np.arange(len(p)), count)
            row = first[edge] + np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
            share = (row + 0.5 - p[edge, 1]) / (q[edge, 1] - p[edge, 1])
            x = np.clip(p[edge, 0] + share * (q[edge, 0] - p[edge, 0]), 0, w)
            column = np.minimum(x.astype(int), w)
            into = column + 1 - x
            np.add.at(total, (row, column), sign[edge] * into)
            np.add.at(total, (row, column + 1), sign[edge] * (1 - into))
        full = np.abs(np.cumsum(total, axis=1))[:, :w]
        mean = full.reshape(self.height, ROWS, w).mean(axis=1)
        return np.clip(mean, 0.0, 1.0).astype(np.float32)


def clouds(shape: tuple[int, ...], px: float, rng: Rng) -> Field:
    """Return smooth noise of unit spread whose detail is about so many pixels wide."""
    step = max(1.0, px / 4)
    small = rng.standard_normal((int(shape[0] / step) + 6, int(shape[1] / step) + 6), np.float32)
    small = cv2.GaussianBlur(small, (0, 0), max(0.4, px / step / 2.4))
    grown = cv2.resize(small, None, fx=step, fy=step, interpolation=cv2.INTER_CUBIC)
    grown = grown[: shape[0], : shape[1]]
    return np.asarray((grown - grown.mean()) / max(float(grown.std()), 1e-6), np.float32)


def soft(field: Field, sigma_px: float) -> Field:
    """Return a field blurred."""
    return field if sigma_px < 0.15 else np.asarray(cv2.GaussianBlur(field, (0, 0), sigma_px))
