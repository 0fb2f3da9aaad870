"""Printed targets in the picture, and their places on the sheet from the distances between them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import cv2
import numpy as np
from scipy.optimize import least_squares

from rubbing2pattern.errors import ScaleNotFound
from rubbing2pattern.frame import Array
from rubbing2pattern.options.rectify import RectifyOptions
from rubbing2pattern.reading import Grey, MarkResidual
from rubbing2pattern.reference import LEAST_MARKS, TargetDistance

_LONGER_SIDES_PX = (1600, 3200, 1 << 30)
_WINDOW = 0.08
_UNMEASURED = 1e9


def find_targets(grey: Grey, ids: Sequence[int]) -> dict[int, Array]:
    """Find printed targets of OpenCV's dictionary DICT_4X4_50.

    Strategy: detected on a reduced picture, then on finer ones as long as some are missing; the
    corners are refined on the full picture. The centre is where the diagonals cross, which
    perspective does not shift.

    Returns
    -------
    dict
        The seen centre (2,) in px by id, for those of `ids` that were found.

    Raises
    ------
    ScaleNotFound
        When fewer than four are found, or one is seen twice.
    """
    corners: dict[int, Array] = {}
    for longer_px in _LONGER_SIDES_PX:
        corners = _detected(grey, longer_px, ids) | corners
        if len(corners) == len(ids) or longer_px >= max(grey.shape):
            break
    if len(corners) < LEAST_MARKS:
        missing = ", ".join(str(i) for i in ids if i not in corners)
        found = ", ".join(str(i) for i in sorted(corners)) or "none"
        raise ScaleNotFound(
            f"targets found: {found}; not found: {missing}. Four are needed: lay them flat, "
            "uncovered and sharp in the picture, or use --marks"
        )
    return {i: _centre(_refined(grey, corners[i])) for i in sorted(corners)}


def _detected(grey: Grey, longer_px: int, ids: Iterable[int]) -> dict[int, Array]:
    """Return corners (4, 2) in px of the full picture by id."""
    height, width = grey.shape
    ratio = min(1.0, longer_px / max(height, width))
    size = (round(width * ratio), round(height * ratio))
    small = grey if ratio == 1.0 else cv2.resize(grey, size, interpolation=cv2.INTER_AREA)
    tags = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    quads, numbers, _ = cv2.aruco.ArucoDetector(tags).detectMarkers(small)
    found: dict[int, Array] = {}
    factor = np.array((width / size[0], height / size[1]))
    for quad, number in zip(quads, [] if numbers is None else numbers.ravel(), strict=True):
        if int(number) not in ids:
            continue
        if int(number) in found:
            raise ScaleNotFound(f"target {number} is seen twice; lay each target down once")
        found[int(number)] = (quad.reshape(4, 2).astype(np.float64) + 0.5) * factor - 0.5
    return found


def _refined(grey: Grey, corners: Array) -> Array:
    """Refine corners to a part of a pixel on the picture around them."""
    side_px = float(np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1).mean())
    half = int(np.clip(_WINDOW * side_px, 2, 15))
    rim = half + 8
    low = np.maximum(np.floor(corners.min(axis=0)).astype(int) - rim, 0)
    high = np.ceil(corners.max(axis=0)).astype(int) + rim
    part = np.ascontiguousarray(grey[low[1] : high[1], low[0] : high[0]])
    places = (corners - low).astype(np.float32).reshape(-1, 1, 2)
    stop = (cv2.TERM_CRITERIA_COUNT + cv2.TERM_CRITERIA_EPS, 40, 0.005)
    refined = cv2.cornerSubPix(part, places, (half, half), (-1, -1), stop).reshape(4, 2) + low
    moved = np.linalg.norm(refined - corners, axis=1)
    return np.where((moved < 2.0 * half)[:, None], refined, corners)


def _centre(corners: Array) -> Array:
    first, second = corners[2] - corners[0], corners[3] - corners[1]
    share = np.linalg.solve(np.stack((first, -second), axis=1), corners[1] - corners[0])
    return np.asarray(corners[0] + share[0] * first)


def lay_out(
    distances: Sequence[TargetDistance], seen_px: dict[int, Array], options: RectifyOptions
) -> tuple[dict[int, Array], tuple[MarkResidual, ...]]:
    """Place targets on the sheet by the distances between them.

    Rules:

    1. Distances that are not given start as the shortest way along those that are; classical
       scaling (Torgerson 1952) gives first places, least squares on the given distances the last.
    2. Distances do not tell a figure from its mirror image: the picture does.
    3. x runs as the picture's columns do, as nearly as can be; the origin is the lower left.

    Returns
    -------
    tuple
        Place (2,) in mm by id, for the targets seen, and the residual of every distance.

    Raises
    ------
    ScaleNotFound
        When a distance is off by more than `misfit_mm`.
    """
    ids = sorted({i for d in distances for i in (d.id_a, d.id_b)})
    row = {number: k for k, number in enumerate(ids)}
    ends = np.array([(row[d.id_a], row[d.id_b]) for d in distances])
    given = np.array([d.distance_mm for d in distances])
    start = _first_places(len(ids), ends, given)

    def away(flat: Array) -> Array:
        at = flat.reshape(-1, 2)
        return np.asarray(np.linalg.norm(at[ends[:, 0]] - at[ends[:, 1]], axis=1) - given)

    places = least_squares(away, start.ravel(), x_scale=max(float(given.max()), 1.0)).x
    residuals = away(places)
    worst = int(np.argmax(np.abs(residuals)))
    if abs(residuals[worst]) > options.misfit_mm:
        d = distances[worst]
        raise ScaleNotFound(
            f"the distances between the targets contradict each other: {d.id_a} to {d.id_b}, "
            f"{d.distance_mm:g} mm, is off by {abs(residuals[worst]):.1f} mm "
            f"(limit {options.misfit_mm:g}); measure all of them again"
        )
    told = tuple(
        MarkResidual(f"distance {d.id_a} to {d.id_b}", round(abs(float(r)), 4))
        for d, r in zip(distances, residuals, strict=True)
    )
    seen = [i for i in ids if i in seen_px]
    at = _as_seen(
        places.reshape(-1, 2), [row[i] for i in seen], np.array([seen_px[i] for i in seen])
    )
    return {i: at[row[i]] for i in seen}, told


def _first_places(count: int, ends: Array, given: Array) -> Array:
    """Return first places (N, 2) from some of the distances (rule 1)."""
    table = np.full((count, count), _UNMEASURED)
    np.fill_diagonal(table, 0.0)
    for (a, b), distance in zip(ends, given, strict=True):
        table[a, b] = table[b, a] = min(distance, table[a, b])
    for k in range(count):
        table = np.minimum(table, table[:, k : k + 1] + table[k : k + 1])
    middle = np.eye(count) - 1.0 / count
    values, vectors = np.linalg.eigh(-0.5 * middle @ table**2 @ middle)
    return np.asarray(vectors[:, -2:] * np.sqrt(np.maximum(values[-2:], 1e-6)))


def _as_seen(places: Array, rows: list[int], seen_px: Array) -> Array:
    """Turn and if need be mirror places so that they lie as the picture shows them."""
    picture = seen_px * (1.0, -1.0)
    best, best_away = places, np.inf
    for mirror in (1.0, -1.0):
        at = places * (mirror, 1.0)
        a, b = at[rows] - at[rows].mean(axis=0), picture - picture.mean(axis=0)
        left, size, right = np.linalg.svd(a.T @ b)
        turn = left @ np.diag([1.0, np.sign(np.linalg.det(left @ right))]) @ right
        away = float(np.sum((a @ turn * size.sum() / np.sum(a**2) - b) ** 2))
        if away < best_away:  # rule 2
            best, best_away = at @ turn, away
    return np.asarray(best - best[rows].min(axis=0))  # rule 3
