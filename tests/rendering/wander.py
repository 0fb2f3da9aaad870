"""Small, smooth, random shifts: leads that wander from the drawn line, paper that creeps."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from tests.rendering.geometry import Array
from tests.rendering.sheet import Rng

MODES = 24


def wander(
    sigma_mm: float, shortest_mm: float, longest_mm: float, rng: Rng
) -> Callable[[Array], Array]:
    """Return a map that shifts points (N, 2) by `sigma_mm` (one deviation, each way).

    The shift is a sum of waves in random directions, their lengths spread evenly on a logarithmic
    scale. It is the same for all leads, so that what met before meets afterwards.
    """
    length = np.exp(rng.uniform(np.log(shortest_mm), np.log(longest_mm), MODES))
    way = rng.uniform(0, 2 * np.pi, MODES)
    wave = 2 * np.pi / length * np.vstack((np.cos(way), np.sin(way)))
    phase = rng.uniform(0, 2 * np.pi, (2, MODES))
    height = sigma_mm * np.sqrt(2.0 / MODES)

    def moved(points: Array) -> Array:
        at = points @ wave
        shift = np.column_stack([np.cos(at + p).sum(axis=1) for p in phase])
        return np.asarray(points + height * shift)

    return moved
