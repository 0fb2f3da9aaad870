"""How far each lead jogs at every place of its course: both sides extrapolated to the place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.joining.courses import STEP_MM, Courses, Ints
from rubbing2pattern.options.joining import JoiningOptions


@dataclass(frozen=True, slots=True)
class Jogs:
    """Readings of the jog along all courses.

    Legend: N readings.

    Attributes
    ----------
    places : (N, 2) in mm.
    tangent : (N, 2) unit vectors along the course.
    jog_mm : (N,) what lies ahead less what lies behind, to the left of the tangent.
    doubt_mm : (N,) its standard deviation.
    course : (N,) number of the course.
    """

    places: Array
    tangent: Array
    jog_mm: Array
    doubt_mm: Array
    course: Ints

    @property
    def normal(self) -> Array:
        """Unit vectors to the left of the tangents, (N, 2)."""
        return np.column_stack((-self.tangent[:, 1], self.tangent[:, 0]))


def jogs_of(courses: Courses, options: JoiningOptions) -> Jogs:
    """Read the jog wherever there is enough clean course on both sides.

    Strategy: about each place the course is fitted by a parabola with a step in the middle,
    ``a + J (t > 0) + b t + c t**2``, x and y alike, over a window without the nearest
    millimetres. All sums over windows are correlations along the row of courses, so that all places
    are done at once. The step across the course is the jog. An even bend of both sides is taken
    up by b and c; a slope that changes at the place is even about it and leaves J alone.

    Of three windows each place takes the one with the least doubt. All doubts are raised alike
    until the median jog is as great as they say, for most leads do not jog.
    """
    windows = (options.long_mm, options.middle_mm, options.small_mm)
    jog = np.full(len(courses.places), np.nan)
    doubt = np.full(len(courses.places), np.inf)
    tangent = np.zeros_like(courses.places)
    for window_mm in windows if len(jog) else ():
        at, way, step, sigma = _read(courses, window_mm, options)
        better = sigma < doubt[at]
        at, way, step = at[better], way[better], step[better]
        jog[at], doubt[at], tangent[at] = step, sigma[better], way
    keep = np.flatnonzero(np.abs(jog) < options.most_mm)
    jog, doubt = jog[keep], doubt[keep]
    usual = _NORMAL * float(np.median(np.abs(jog / doubt))) if len(jog) else 1.0
    places, course = courses.places[keep], courses.course[keep]
    return Jogs(places, tangent[keep], jog, doubt * max(usual, 1.0), course)


_NORMAL = 1.4826
"""Standard deviations to a median deviation."""


def _read(
    courses: Courses, window_mm: float, options: JoiningOptions
) -> tuple[Ints, Array, Array, Array]:
    """Return which places have a jog by one window, their tangents, jogs and doubts."""
    behind, ahead = (_sums(courses, side, window_mm, options) for side in (-1, 1))
    least = options.clean * window_mm / STEP_MM
    ok = (courses.course >= 0) & (behind.w[0] >= least) & (ahead.w[0] >= least)
    for side in (behind, ahead):
        ok &= _spread(side, ok) >= options.clean / 4.0
    at = np.flatnonzero(ok)
    matrix = _matrix(behind.w[:, at], ahead.w[:, at])
    right = np.stack((_right(behind.x, ahead.x, at), _right(behind.y, ahead.y, at)), axis=-1)
    inverse = np.linalg.inv(matrix + 1e-9 * np.eye(4))
    found = inverse @ right
    total = (behind.square + ahead.square)[at]
    misfit = np.maximum(total - np.sum(found * right, axis=(1, 2)), 0.0)
    spread = np.sqrt(misfit / (behind.w[0, at] + ahead.w[0, at]) + options.course_mm**2)
    way = found[:, 2] / np.maximum(np.hypot(*found[:, 2].T), 1e-9)[:, None]
    jog = found[:, 1, 1] * way[:, 0] - found[:, 1, 0] * way[:, 1]
    alike = np.sqrt(np.maximum(inverse[:, 1, 1], 0.0) * options.alike_mm / STEP_MM)
    return at, way, jog, spread * alike


@dataclass(frozen=True, slots=True)
class _Sums:
    """Weighted sums over one side's window: w (5, N) of t**k, x and y (3, N) of x t**k, x² + y²."""

    w: Array
    x: Array
    y: Array
    square: Array


def _sums(courses: Courses, side: int, window_mm: float, options: JoiningOptions) -> _Sums:
    half = round(window_mm / STEP_MM)
    t = np.arange(-half, half + 1) / half
    inside = t * side >= options.skip_mm / window_mm
    # Only this side's half is summed, with the middle, where a place has no share.
    part = slice(half, None) if side > 0 else slice(0, half + 1)
    t, inside = t[part], inside[part]
    nothing = np.zeros(half)
    centred = courses.places - courses.places.mean(axis=0)
    w, (x, y) = courses.weight, centred.T

    def over(values: Array, power: int) -> Array:
        around = (values, nothing) if side > 0 else (nothing, values)
        return np.correlate(np.concatenate(around), inside * t**power, "valid")

    return _Sums(
        np.stack([over(w, k) for k in range(5)]),
        np.stack([over(w * x, k) for k in range(3)]),
        np.stack([over(w * y, k) for k in range(3)]),
        over(w * (x * x + y * y), 0),
    )


def _spread(side: _Sums, ok: Array) -> Array:
    """Return the standard deviation of t on one side, 0 where it is not asked for."""
    w = np.where(ok, np.maximum(side.w[0], 1e-9), 1.0)
    variance = side.w[2] / w - (side.w[1] / w) ** 2
    return np.asarray(np.where(ok, np.sqrt(np.maximum(variance, 0.0)), 0.0))


def _matrix(behind: Array, ahead: Array) -> Array:
    s = behind + ahead
    rows = (
        (s[0], ahead[0], s[1], s[2]),
        (ahead[0], ahead[0], ahead[1], ahead[2]),
        (s[1], ahead[1], s[2], s[3]),
        (s[2], ahead[2], s[3], s[4]),
    )
    return np.moveaxis(np.array(rows), -1, 0)


def _right(behind: Array, ahead: Array, at: Ints) -> Array:
    s = behind[:, at] + ahead[:, at]
    return np.stack((s[0], ahead[0, at], s[1], s[2]), axis=-1)
