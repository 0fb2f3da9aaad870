"""Where the curves of several ends meet, for all knots at once.

Legend: R runs, M points of all their polylines, S ends, K knots.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from rubbing2pattern.fitting.ragged import Ints, firsts, lowest
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.laying.runs import Run

End = tuple[int, bool]
"""A run, and whether it is its last end."""
_COARSE = 8
"""Of so many points of a curve one is looked at first: within 4 mm no came turns back."""
_HOLD = (0.3 / 4.0) ** 2
"""Pull of the place where the net had the knot: as that of a curve known to 0.3 mm 4 mm away."""


class Meeting(NamedTuple):
    """Where ends meet, how far the worst misses that in mm, and the length of each there."""

    place: Array
    misfit_mm: float
    lengths_mm: list[float]


@dataclass(frozen=True, slots=True)
class Curves:
    """The polylines of all runs one after another.

    Attributes
    ----------
    points : (M, 2) in mm.
    t_mm, sigma_mm : (M,) running length and deviation, as in `Shape`.
    first : (R + 1,) index of the first point of every run.
    half : (R,) index of the point halfway.
    """

    points: Array
    t_mm: Array
    sigma_mm: Array
    first: Ints
    half: Ints

    @classmethod
    def of(cls, runs: list[Run]) -> Curves:
        """Gather the curves of runs."""
        shapes = [run.shape for run in runs]
        first = np.concatenate(([0], np.cumsum([len(s.t_mm) for s in shapes])))
        return cls(
            np.concatenate([s.points for s in shapes]),
            np.concatenate([s.t_mm for s in shapes]),
            np.concatenate([s.sigma_mm for s in shapes]),
            first,
            first[:-1] + [s.index(0.5 * s.last_mm) for s in shapes],
        )

    def meetings(self, knots: Sequence[Sequence[End]], starts: Array) -> list[Meeting]:
        """Return where the ends of every knot meet, weighed by how sure each is.

        Each end is met on its own half of the run. Strategy: the place is moved four times to where
        it lies nearest to the tangents at the points of the curves nearest to it.

        Parameters
        ----------
        starts : (K, 2) where the net had the knots.
        """
        if not knots:
            return []
        knot = np.repeat(np.arange(len(knots)), [len(ends) for ends in knots])
        run = np.array([run for ends in knots for run, _ in ends], dtype=np.int64)
        last = np.array([last for ends in knots for _, last in ends])
        low: Ints = np.where(last, self.half[run], self.first[run])
        high: Ints = np.where(last, self.first[run + 1], self.half[run] + 1)
        owner = np.repeat(np.arange(len(run)), -(-(high - low) // _COARSE))
        coarse = (np.arange(len(owner)) - firsts(owner, len(run))[:-1][owner]) * _COARSE
        coarse += low[owner]

        def nearest(place: Array) -> Ints:
            far = _square(self.points[coarse] - place[knot[owner]])
            near = coarse[lowest(far, owner, len(run))][:, None] + np.arange(-_COARSE, _COARSE + 1)
            near = np.clip(near, low[:, None], high[:, None] - 1)
            best = _square(self.points[near] - place[knot, None]).argmin(axis=1)
            return np.asarray(near[np.arange(len(run)), best])

        one, none = np.ones(len(knots)), np.zeros(len(knots))
        held = _HOLD * np.stack((one, none, one, *starts.T))
        place, misfit = starts, none
        for _ in range(4):
            foot = nearest(place)
            middle = np.clip(foot, self.first[run] + 1, self.first[run + 1] - 2)
            along = self.points[middle + 1] - self.points[middle - 1]
            along /= np.maximum(np.hypot(*along.T), 1e-12)[:, None]
            x, y = -along[:, 1], along[:, 0]
            weight = 0.09 / (0.09 + self.sigma_mm[foot] ** 2)
            reach = x * self.points[foot, 0] + y * self.points[foot, 1]
            off = np.abs(x * place[knot, 0] + y * place[knot, 1] - reach)
            misfit = np.maximum.reduceat(off, firsts(knot, len(knots))[:-1])
            pairs = (x, x), (x, y), (y, y), (x, reach), (y, reach)
            sums = np.array([np.bincount(knot, weight * a * b) for a, b in pairs])
            xx, xy, yy, u, v = sums + held
            place = (np.stack((yy * u - xy * v, xx * v - xy * u)) / (xx * yy - xy * xy)).T
        at = np.split(self.t_mm[nearest(place)], firsts(knot, len(knots))[1:-1])
        return [
            Meeting(p, m, t.tolist()) for p, m, t in zip(place, misfit.tolist(), at, strict=True)
        ]


def _square(away: Array) -> Array:
    return np.asarray((away * away).sum(axis=-1))
