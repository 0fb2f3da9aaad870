"""Leads that stray: how many run more than 1 mm off their place, and whether a finding says so.

The measure looks at leads one by one and at the worst place of each, because a lead that is right
for nine tenths of its length and 7 mm off at a joint spoils two pieces of glass, and no mean shows
it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import LineString

from benchmarks.alignment import sample

Array = npt.NDArray[np.float64]

STRAY_MM = 1.0
"""A lead that is farther than this from its place at any point has strayed."""
RUN_ON_MM = 1.0
"""How far the ends of leads that end freely are run on before distances are taken."""
STEP_MM = 0.5


@dataclass(frozen=True, slots=True)
class Leads:
    """The lead lines of one side, in the truth's frame.

    Attributes
    ----------
    paths : lead lines, each (N, 2), mm.
    free : for each, whether its first and its last point end freely.
    """

    paths: list[Array]
    free: list[tuple[bool, bool]]

    def run_on(self) -> list[LineString]:
        """Return the lines with their free ends run straight on by 1 mm."""
        return [_run_on(p, f) for p, f in zip(self.paths, self.free, strict=True)]


def strayed(true: Leads, traced: Leads, places: Array, near_mm: float) -> tuple[int, int]:
    """Return how many leads have strayed, and how many of those without a finding near.

    1. A true came counts when any of its points lies more than 1 mm from the nearest traced lead
       line: it was missed, or is drawn beside its place. A traced came counts when any of its
       points lies more than 1 mm from the nearest true one: it is false, or bends away. Both
       counts are needed, because the lines are compared with the nearest line and not with a
       partner: a hook at a joint leaves every true point near some traced lead, but is itself far
       from all true ones. The share is both counts over both numbers of cames.
    2. Where a came ends freely its length is in question, not its place. What lies within 1 mm
       past such an end is left out: the ends are run straight on by 1 mm before distances to
       them are taken, on both sides. A free end counts only when it is more than 2 mm too short
       or too long.
    3. A came that strayed is reported when a finding is within `near_mm` of the place of its
       greatest deviation. A finding elsewhere along it does not lead the eye there, and a finding
       without a place does not either.

    Parameters
    ----------
    true, traced : lead lines in one frame.
    places : (K, 2) the places of findings in that frame, mm; notes are left out by the caller.
    near_mm : how near a finding must be.
    """
    worst = _worst(true.paths, traced.run_on()) + _worst(traced.paths, true.run_on())
    silent = sum(not _near(at, places, near_mm) for at in worst)
    return len(worst), silent


def _worst(paths: list[Array], lines: list[LineString]) -> list[Array]:
    """Return the place of greatest deviation of every path that has strayed from the lines."""
    if not lines:
        return [p[len(p) // 2] for p in paths]
    tree = shapely.STRtree(lines)
    found = []
    for path in paths:
        points = np.vstack((path[:1], sample(path, STEP_MM), path[-1:]))
        _, off = tree.query_nearest(shapely.points(points), return_distance=True, all_matches=False)
        if off.max() > STRAY_MM:
            found.append(points[int(off.argmax())])
    return found


def _near(at: Array, places: Array, near_mm: float) -> bool:
    return bool((np.hypot(*(places.reshape(-1, 2) - at).T) <= near_mm).any())


def _run_on(path: Array, free: tuple[bool, bool]) -> LineString:
    parts = [path]
    if free[0]:
        parts.insert(0, _beyond(path[::-1])[None])
    if free[1]:
        parts.append(_beyond(path)[None])
    return LineString(np.vstack(parts))


def _beyond(path: Array) -> Array:
    """Return the point 1 mm past the last one, in the direction of the last mm."""
    far = np.hypot(*(path - path[-1]).T)
    # A path of length 0 has no direction and is not run on.
    back = path[max((k for k in range(len(path)) if far[k] >= min(1.0, far.max())), default=0)]
    length = float(np.hypot(*(path[-1] - back)))
    step = RUN_ON_MM / length if length > 1e-9 else 0.0
    return np.asarray(path[-1] + (path[-1] - back) * step)
