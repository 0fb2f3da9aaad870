"""The shift of an outline by the thickness of the glass.

The upper edge of a piece is nearer to the camera than the table, so it seems to lie too far from
the foot of the camera by its distance times t / (h - t), with t the thickness and h the height of
the camera: 3 mm seen from 1 m is 0.3 %. On the side of a piece that faces the foot the lower edge
is seen instead, and it lies on the table. So each place moves outwards by
``max(0, r . n) t / (h - t)``, with r from the foot to the place and n the outline's outward normal:
similar triangles.

Legend for shapes: N places along an outline.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rubbing2pattern.geometry.frame import Array, Warp
from rubbing2pattern.imaging.profiles import left_normals
from rubbing2pattern.options.loose import LooseOptions
from rubbing2pattern.reading import Rubbing

_HALVINGS = 60
"""Halvings of the range of focal lengths; more change no digit."""
_NEAR, _FAR = 0.2, 50.0
"""Range of focal lengths, in diagonals of the picture: all lenses there are."""
_SCANNED = ("dpi",)


@dataclass(frozen=True, slots=True)
class Camera:
    """Where the camera was.

    Attributes
    ----------
    foot_mm : (2,) the place under it.
    height_mm : over the plane of the sheet.
    stated : whether its height was given.
    """

    foot_mm: Array
    height_mm: float
    stated: bool


def camera_of(rubbing: Rubbing, o: LooseOptions) -> Camera | None:
    """Return where the camera was, or None for a scanner, which looks straight down.

    The homography and square pixels about the picture's middle fix the camera except its focal
    length (Zhang 2000, equations 3 and 4). With the height stated, the focal length that puts the
    camera there is found by halving; else one is assumed.
    """
    if rubbing.scale.reference in _SCANNED:
        return None
    h, w = rubbing.photograph.grey.shape
    middle = np.array(((w - 1) / 2.0, (h - 1) / 2.0))
    diagonal = float(np.hypot(w, h))
    if o.camera_mm <= 0.0:
        centre = _centre(rubbing.warp, middle, o.assumed_focus * diagonal)
        return Camera(centre[:2], float(abs(centre[2])), stated=False)
    low, high = _NEAR * diagonal, _FAR * diagonal
    for _ in range(_HALVINGS):
        focal = float(np.sqrt(low * high))
        if abs(_centre(rubbing.warp, middle, focal)[2]) < o.camera_mm:
            low = focal
        else:
            high = focal
    centre = _centre(rubbing.warp, middle, float(np.sqrt(low * high)))
    return Camera(centre[:2], o.camera_mm, stated=True)


def shifts(path: Array, camera: Camera, glass_mm: float) -> Array:
    """Return how far each place of an anticlockwise outline lies too far out, (N,) mm."""
    outward = -left_normals(np.vstack((path, path[:1])), closed=True)[:-1]
    reach = np.maximum(0.0, np.sum((path - camera.foot_mm) * outward, axis=1))
    return np.asarray(reach * glass_mm / max(camera.height_mm - glass_mm, glass_mm))


def taken_out(path: Array, camera: Camera | None, o: LooseOptions) -> tuple[Array, float]:
    """Return the outline without the shift as far as it is known, and what is left as 1 sd, mm."""
    if camera is None:
        return path, 0.0
    glass_mm = o.glass_mm if o.glass_mm > 0.0 else o.assumed_glass_mm
    shift = shifts(path, camera, glass_mm)
    usual = float(np.sqrt(np.mean(shift**2)))
    if not (camera.stated and o.glass_mm > 0.0):
        return path, usual
    outward = -left_normals(np.vstack((path, path[:1])), closed=True)[:-1]
    return path - shift[:, None] * outward, o.stated_share * usual


def _centre(warp: Warp, middle: Array, focal: float) -> Array:
    """Return the camera's centre (3,) in mm of the sheet for a focal length in px."""
    m = warp.matrix.copy()
    m[:2] = (m[:2] - middle[:, None] * m[2]) / focal
    scale = 2.0 / (np.linalg.norm(m[:, 0]) + np.linalg.norm(m[:, 1]))
    a, b, t = (scale * m).T
    turn = np.column_stack((a, b, np.cross(a, b)))
    # The nearest rotation: measured columns are not quite square to each other.
    u, _, v = np.linalg.svd(turn)
    return np.asarray(-(u @ v).T @ t)
