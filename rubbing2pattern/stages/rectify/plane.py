"""Homographies of a plane, their inverses and what they say about a camera."""

from __future__ import annotations

import numpy as np

from rubbing2pattern.geometry.frame import Array, points_array

_USUAL_FOCAL, _UNUSUAL_FOCAL = 0.9, 0.012
"""Usual focal length by the picture's longer side, and what departing from it costs."""


def homography(mm: Array, px: Array) -> Array:
    """Return the least-squares homography (3, 3) from mm to px, four points or more, (N, 2).

    The direct linear transformation on normalised points (Hartley & Zisserman, *Multiple View
    Geometry*, 2nd ed., algorithm 4.2).
    """
    to_unit, from_unit = _normalising(mm), inverse(_normalising(px))
    a, b = apply(to_unit, mm), apply(_normalising(px), px)
    one, zero = np.ones(len(a)), np.zeros(len(a))
    rows_x = np.stack(
        (a[:, 0], a[:, 1], one, zero, zero, zero, *(-b[:, 0] * c for c in (a[:, 0], a[:, 1], one))),
        axis=1,
    )
    rows_y = np.stack(
        (zero, zero, zero, a[:, 0], a[:, 1], one, *(-b[:, 1] * c for c in (a[:, 0], a[:, 1], one))),
        axis=1,
    )
    unit = np.linalg.svd(np.concatenate((rows_x, rows_y)))[2][-1].reshape(3, 3)
    matrix = from_unit @ unit @ to_unit
    return np.asarray(matrix / np.linalg.norm(matrix))


def apply(matrix: Array, points: Array) -> Array:
    """Map points (N, 2) by a homography."""
    h = points @ matrix[:, :2].T + matrix[:, 2]
    return np.asarray(h[:, :2] / h[:, 2:3])


def inverse(matrix: Array) -> Array:
    """Return the inverse of a homography."""
    return np.asarray(np.linalg.inv(matrix), dtype=np.float64)


def crossings(first: Array, second: Array) -> Array:
    """Return where lines cross, each given by two places: (..., 2, 2) twice to (..., 2)."""
    start, way = first[..., 0, :], first[..., 1, :] - first[..., 0, :]
    other = second[..., 1, :] - second[..., 0, :]
    offset = second[..., 0, :] - start
    turn = way[..., 0] * other[..., 1] - way[..., 1] * other[..., 0]
    share = (offset[..., 0] * other[..., 1] - offset[..., 1] * other[..., 0]) / turn
    return np.asarray(start + share[..., None] * way)


def corners_of_squares(edges: Array) -> Array:
    """Return the corners of squares from two places on each edge: (N, 4, 2, 2) to (N, 4, 2)."""
    return crossings(np.roll(edges, 1, axis=1), edges)


def centres_of_squares(edges: Array) -> Array:
    """Return the centres of squares from two ideal places on each edge in turn.

    (N, 4, 2, 2) to (N, 2): where the diagonals cross, which perspective does not shift.
    """
    corners = corners_of_squares(edges)
    return crossings(corners[:, [0, 2]], corners[:, [1, 3]])


def same_side(matrix: Array, points: Array) -> bool:
    """Return whether all points lie on one side of the horizon of a homography."""
    h = points @ matrix[2, :2] + matrix[2, 2]
    return bool((h > 0).all() or (h < 0).all())


def turns_over(matrix: Array, at: Array) -> bool:
    """Return whether a homography to pixels (rows downwards) shows the plane in a mirror."""
    steps = points_array([(0.0, 0.0), (1e-3, 0.0), (0.0, 1e-3)]) + at
    seen = apply(matrix, steps)
    a, b = seen[1] - seen[0], seen[2] - seen[0]
    return bool(a[0] * b[1] - a[1] * b[0] > 0.0)


def camera_misfit(matrix: Array, centre_px: tuple[float, float], longer_px: float) -> float:
    """Return how far a homography is from what any camera makes, as a share.

    A camera with square pixels whose axis meets the middle of the picture shows the two axes of a
    plane at right angles and with equal scales, once its focal length is known (Zhang 2000, eq. 3
    and 4). Focal lengths from 0.4 to 4 times the longer side are tried, and the smallest misfit
    counts: the root of the squares of the cosine, of the logarithm of the ratio of scales, and of
    a little for a focal length far from what phones have, 0.9 times the longer side.
    """
    shift = np.array([[1.0, 0.0, -centre_px[0]], [0.0, 1.0, -centre_px[1]], [0.0, 0.0, 1.0]])
    axes = (shift @ matrix)[:, :2]
    share = np.geomspace(0.4, 4.0, 60)
    focal = longer_px * share[:, None]
    scaled = np.stack([axes[0] / focal, axes[1] / focal, np.broadcast_to(axes[2], (60, 2))])
    length = np.linalg.norm(scaled, axis=0)
    cosine = np.sum(scaled[..., 0] * scaled[..., 1], axis=0) / (length[:, 0] * length[:, 1])
    ratio = np.log(length[:, 0] / length[:, 1])
    unusual = _UNUSUAL_FOCAL * np.log(share / _USUAL_FOCAL)
    return float(np.sqrt(cosine**2 + ratio**2 + unusual**2).min())


def rectangle(width_mm: float, height_mm: float, x_mm: float = 0.0, y_mm: float = 0.0) -> Array:
    """Return the corners of an upright rectangle: upper left, upper right, lower right, lower left.

    (4, 2) in mm, y upwards, in the order of the corners of a picture.
    """
    right, top = x_mm + width_mm, y_mm + height_mm
    return points_array([(x_mm, top), (right, top), (right, y_mm), (x_mm, y_mm)])


def _normalising(points: Array) -> Array:
    middle = points.mean(axis=0)
    size = np.sqrt(np.mean(np.sum((points - middle) ** 2, axis=1))) / np.sqrt(2.0)
    scale = 1.0 / max(float(size), 1e-12)
    return np.array(
        [[scale, 0.0, -scale * middle[0]], [0.0, scale, -scale * middle[1]], [0.0, 0.0, 1.0]]
    )
