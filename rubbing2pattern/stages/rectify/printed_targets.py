"""Printed targets in the picture, and their places on the sheet from the distances between them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from rubbing2pattern.errors import ScaleNotFound
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.inputs.reference import LEAST_MARKS, TargetDistance
from rubbing2pattern.options.rectify import RectifyOptions
from rubbing2pattern.reading import Grey, MarkResidual
from rubbing2pattern.stages.rectify.edge_profiles import across, peak_places, places
from rubbing2pattern.stages.rectify.edge_tracks import slopes
from rubbing2pattern.stages.rectify.lens import Lens

_LONGER_SIDES_PX = (1600, 3200, 1 << 30)
"""Longer sides at which targets are looked for; the finer a find, the more it counts."""
_WINDOW = 0.07
"""How far across a target's edge it is looked for, of its length: inside the black rim."""
_SPARED = 0.08
"""Share of an edge that is left out at both ends, for corners are rounded by print and lens."""
_PROFILES = 32
"""Profiles across each edge of a target."""


def find_targets(grey: Grey, ids: Sequence[int]) -> dict[int, Array]:
    """Find printed targets of OpenCV's dictionary DICT_4X4_50.

    Strategy: detected on a reduced picture, then on finer ones as long as some are missing; the
    edges are measured on the full picture.

    Returns
    -------
    dict
        Two seen places on each of the four edges, (4, 2, 2) in px, by id, for those of `ids` that
        were found.

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
    return {i: _edges(grey, corners[i]) for i in sorted(corners)}


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


def _edges(grey: Grey, corners: Array) -> Array:
    """Return two places on each edge of a target's black square, (4, 2, 2) seen px.

    A straight line fitted along an edge that a lens bends crosses it at the two Gaussian places,
    the root of a third of half its length from its middle; so these lie on the true edge.
    """
    ends = np.stack((corners, np.roll(corners, -1, axis=0)), axis=1)
    # The rounded ends of an edge do not lie on its line.
    ends = ends + _SPARED * np.stack((ends[:, 1] - ends[:, 0], ends[:, 0] - ends[:, 1]), axis=1)
    length_px = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    reach = max(3, round(_WINDOW * float(length_px.min())))
    offsets = np.arange(-reach - 2, reach + 3, dtype=np.float64)
    along = max(1, round(float(length_px.mean()) / _PROFILES))
    profiles = across(grey, ends, offsets, Lens.of(grey.shape), _PROFILES, along)
    light = (profiles / np.float32(255.0)) ** 2.2
    at, clear = peak_places(np.abs(slopes(light.astype(np.float32))))
    t = (np.arange(_PROFILES) + 0.5) / _PROFILES
    found = places(ends, t, at[..., None])[:, :, 0]
    return np.array([_line(*each) for each in zip(ends, found, clear, strict=True)])


def _line(ends: Array, found: Array, clear: npt.NDArray[np.bool_]) -> Array:
    """Return the Gaussian places (2, 2) on the line through places found along an edge."""
    points = found[clear]
    middle, way = ends.mean(axis=0), ends[1] - ends[0]
    half = 0.5 * float(np.linalg.norm(way))
    way = way / np.linalg.norm(way)
    kept = points
    for _ in range(3 if len(points) >= _PROFILES // 2 else 0):
        centre = kept.mean(axis=0)
        along = np.linalg.svd(kept - centre)[2][0]
        way = along * np.sign(along @ way)
        middle = centre + ((ends.mean(axis=0) - centre) @ way) * way
        offset = points - centre
        away = np.abs(way[0] * offset[:, 1] - way[1] * offset[:, 0])
        kept = points[away <= np.percentile(away, 80)]  # two strays in ten are left out
    gauss = half / np.sqrt(3.0)
    return np.stack((middle - gauss * way, middle + gauss * way))


@dataclass(frozen=True, slots=True)
class Layout:
    """Targets placed by the distances between them.

    Attributes
    ----------
    at_mm : place (2,) by id, for the targets seen.
    residuals : of every distance used.
    uncertainty_mm : one standard deviation of a place, each way: distances support each other.
    """

    at_mm: dict[int, Array]
    residuals: tuple[MarkResidual, ...]
    uncertainty_mm: float


def lay_out(
    distances: Sequence[TargetDistance], centres_px: dict[int, Array], options: RectifyOptions
) -> Layout:
    """Place targets on the sheet by the distances between them.

    Rules:

    1. Only distances between targets that are seen count.
    2. Least squares start from the picture, which also rules out the mirror image.
    3. x runs as the picture's columns do, as nearly as can be; the origin is the lower left.

    Raises
    ------
    ScaleNotFound
        When too few distances are left, or one is off by more than `misfit_mm`.
    """
    ids = sorted(centres_px)
    row = {number: k for k, number in enumerate(ids)}
    used = [d for d in distances if d.id_a in row and d.id_b in row]  # rule 1
    if len({frozenset((d.id_a, d.id_b)) for d in used}) < 2 * len(ids) - 3:
        raise ScaleNotFound(
            f"of the targets only {', '.join(map(str, ids))} are seen, and {len(used)} distances "
            "between them are too few; show all targets, or measure all distances"
        )
    ends = np.array([(row[d.id_a], row[d.id_b]) for d in used])
    given = np.array([d.distance_mm for d in used])
    picture = np.array([centres_px[i] for i in ids]) * (1.0, -1.0)
    apart = np.linalg.norm(picture[ends[:, 0]] - picture[ends[:, 1]], axis=1)
    start = picture * np.median(given / apart)  # rule 2

    def away(flat: Array) -> Array:
        at = flat.reshape(-1, 2)
        return np.asarray(np.linalg.norm(at[ends[:, 0]] - at[ends[:, 1]], axis=1) - given)

    # Only here: the library takes long to import, and targets alone need it.
    from scipy.optimize import least_squares

    solved = least_squares(away, start.ravel(), x_scale=max(float(given.max()), 1.0))
    residuals = away(solved.x)
    worst = int(np.argmax(np.abs(residuals)))
    if abs(residuals[worst]) > options.misfit_mm:
        d = used[worst]
        raise ScaleNotFound(
            f"the distances between the targets contradict each other: {d.id_a} to {d.id_b}, "
            f"{d.distance_mm:g} mm, is off by {abs(residuals[worst]):.1f} mm "
            f"(limit {options.misfit_mm:g}); measure all of them again"
        )
    measured = tuple(
        MarkResidual(f"distance {d.id_a} to {d.id_b}", round(abs(float(r)), 4))
        for d, r in zip(used, residuals, strict=True)
    )
    at = _as_seen(solved.x.reshape(-1, 2), picture)
    variance = np.diag(np.linalg.pinv(solved.jac.T @ solved.jac, rcond=1e-9, hermitian=True))
    noise_mm = options.mark_uncertainty_mm * float(np.sqrt(variance.mean()))
    return Layout({i: at[row[i]] for i in ids}, measured, noise_mm)


def _as_seen(at: Array, picture: Array) -> Array:
    """Turn places so that they lie as the picture shows them (rule 3)."""
    a, b = at - at.mean(axis=0), picture - picture.mean(axis=0)
    left, _, right = np.linalg.svd(a.T @ b)
    upright = at @ left @ np.diag([1.0, np.sign(np.linalg.det(left @ right))]) @ right
    return np.asarray(upright - upright.min(axis=0))
