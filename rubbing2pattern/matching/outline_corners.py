"""Corners of an outline, which profiles across it round off, set back where its sides meet.

Legend for shapes: N places along a closed outline, first not repeated.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from rubbing2pattern.geometry.curves import running_length
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.options.loose import LooseOptions

_ARM_MM = 2.0
"""Length on either side over which the turn at a corner is taken."""
_SPARED_MM = 1.2
"""Part of a side next to its corner that is not used: it is chipped or rounded."""
_SIDE_MM = 6.0
"""Part of a side whose line gives the corner."""
_LEAST_PLACES = 5
"""Places that make a line."""
_ROUGH_MM = 0.12
"""Deviation above which a side is not straight."""
_KEPT = 0.67
"""Share of the places that the line is judged by; the others may be chipped."""
_AWAY_MM = 1.2
"""How far a corner may lie off the outline: farther, it is broken off."""


def corners_of(path: Array, o: LooseOptions) -> npt.NDArray[np.int64]:
    """Return the places (K,) where an outline bends by more than `corner_deg` within 2 mm."""
    step = _step(path)
    arm = max(1, round(_ARM_MM / step))
    n = len(path)
    if n < 4 * arm:
        return np.zeros(0, dtype=np.int64)
    to = np.roll(path, -arm, axis=0) - path
    back = path - np.roll(path, arm, axis=0)
    turn = np.abs(
        np.arctan2(
            back[:, 0] * to[:, 1] - back[:, 1] * to[:, 0],
            np.sum(back * to, axis=1),
        )
    )
    around = np.stack([np.roll(turn, k) for k in range(-arm, arm + 1)])
    top = (turn >= around.max(axis=0)) & (turn > np.radians(o.corner_deg))
    found = np.flatnonzero(top)
    # Of neighbours that are equal to the last digit the first is enough.
    return found[np.diff(found, prepend=found[-1:] - n) > 1] if len(found) > 1 else found


def with_corners(path: Array, corners_mm: Array, o: LooseOptions) -> Array:
    """Return an outline with each of its corners (K, 2) set where the sides beside it meet.

    Rules:

    1. Beside a corner the nearest 1.2 mm are left out; the next 6 mm, or as far as half-way to
       the next corner, give the direction of the side, by a line.
    2. Where the two lines are straight enough and meet near the outline, that place replaces what
       was left out. A corner that is broken off or rounded stays as it was seen.
    """
    n, step = len(path), _step(path)
    corners = _nearest(path, corners_mm)
    spared = max(1, round(_SPARED_MM / step))
    side = round(_SIDE_MM / step)
    new: dict[int, Array] = {}
    drop = np.zeros(n, dtype=np.bool_)
    for k, corner in enumerate(corners):
        after = (corners[(k + 1) % len(corners)] - corner - 1) % n + 1
        before = (corner - corners[k - 1] - 1) % n + 1
        ahead = _side(path, corner, spared, min(side, int(after) // 2), 1)
        behind = _side(path, corner, spared, min(side, int(before) // 2), -1)
        meet = _meeting(ahead, behind)
        off = np.hypot(*(corners_mm - (path[corner] if meet is None else meet)).T)
        if meet is None or off.min() > _AWAY_MM:  # rule 2
            continue
        new[int(corner)] = meet
        drop[np.arange(corner - spared + 1, corner + spared) % n] = True
    rows = []
    for i in range(n):
        if i in new:
            rows.append(new[i])
        elif not drop[i]:
            rows.append(path[i])
    return np.array(rows)


def _nearest(path: Array, corners_mm: Array) -> npt.NDArray[np.int64]:
    """Return the places of an outline that are nearest to its corners, in order."""
    if not len(corners_mm):
        return np.zeros(0, dtype=np.int64)
    away = np.linalg.norm(path[None] - corners_mm[:, None], axis=2)
    return np.unique(away.argmin(axis=1)).astype(np.int64)


def _step(path: Array) -> float:
    closed = np.vstack((path, path[:1]))
    return float(running_length(closed)[-1]) / len(path)


def _side(path: Array, corner: int, spared: int, reach: int, way: int) -> Array:
    """Return the places of the side beside a corner, (K, 2)."""
    return path[(corner + way * np.arange(spared, reach + 1)) % len(path)]


def _meeting(ahead: Array, behind: Array) -> Array | None:
    """Return where the lines through two sides meet, or None where they are not straight."""
    if min(len(ahead), len(behind)) < _LEAST_PLACES:
        return None
    a, b = _line(ahead), _line(behind)
    if a is None or b is None:
        return None
    cross = a[1][0] * b[1][1] - a[1][1] * b[1][0]
    if abs(cross) < np.sin(np.radians(15.0)):
        return None
    gap = b[0] - a[0]
    along = (gap[0] * b[1][1] - gap[1] * b[1][0]) / cross
    return np.asarray(a[0] + along * a[1])


def _line(places: Array) -> tuple[Array, Array] | None:
    """Return middle and direction of a line through places, the farthest third left out."""
    use = places[len(places) // 3 :]
    kept = max(1, round(_KEPT * (len(places) - 1)))
    for _ in range(4):
        middle = use.sum(axis=0) / len(use)
        x, y = (use - middle).T
        # The axis of least inertia.
        turn = 0.5 * np.arctan2(2.0 * (x @ y), x @ x - y @ y)
        way = np.array((np.cos(turn), np.sin(turn)))
        off = np.abs((places - middle) @ np.array((-way[1], way[0])))
        within = np.partition(off, kept)[kept]
        use = places[off <= within]
    if float(within) > _ROUGH_MM:
        return None
    return middle, way
