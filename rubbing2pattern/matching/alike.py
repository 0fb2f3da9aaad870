"""Openings that are alike: glass for the one goes into the other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.cluster.hierarchy import fcluster, linkage
from scipy.spatial.distance import squareform

from rubbing2pattern.geometry.frame import Array, Placement
from rubbing2pattern.matching.loose import Opening
from rubbing2pattern.matching.shapes import Shape, best_fits
from rubbing2pattern.options.match import MatchOptions

_PLACES = 256
"""Places on each outline that are compared."""
_FAR = 1e3
"""Distance, in limits, of openings that are not compared, for they differ in size."""
_NEARLY_ALL = 93.0
"""Per cent of the places of a ring; at each corner one place may meet one beyond the corner."""


@dataclass(frozen=True, slots=True)
class Group:
    """Openings that are alike.

    Attributes
    ----------
    members : their indices; the first represents all.
    placements : from the frame of the panel to itself, the first's outline onto each member's.
    """

    members: tuple[int, ...]
    placements: tuple[Placement, ...]


def groups_alike(openings: Sequence[Opening], options: MatchOptions) -> tuple[Group, ...]:
    """Return sets of openings of which all are alike, every opening in one set.

    Rule: two are alike when the cut outline of the one, laid onto the other's by the best rigid fit
    of their rings, leaves it nowhere by more than `alike_mm`, or than `alike_sd` deviations of
    both, corners apart: what differs by less than it is known is not told apart. A set holds only
    openings that are all alike in pairs (clustering by complete linkage), so that no chain of small
    steps joins unlike ones. One that is like another only when turned over is not alike.
    """
    count = len(openings)
    shapes = [Shape.of(opening.cut, _PLACES) for opening in openings]
    far = np.full((count, count), _FAR)
    np.fill_diagonal(far, 0.0)
    onto: dict[tuple[int, int], Placement] = {}
    for i, own in enumerate(shapes):
        both = np.hypot(openings[i].uncertainty_mm, [o.uncertainty_mm for o in openings])
        limit = np.maximum(options.alike_mm, options.alike_sd * both)
        near = _of_like_size(i, shapes, limit)
        if not near:
            continue
        fits = best_fits(own, [shapes[k] for k in near])
        off = _off(own, [shapes[k] for k in near], fits.turn, fits.start)
        far[i, near] = far[near, i] = off / limit[near]
        for k, turn in zip(near, fits.turn, strict=True):
            turn_deg = float(np.degrees(turn))
            shift = shapes[k].centre - Placement(turn_deg).apply([own.centre])[0]
            onto[i, k] = Placement(turn_deg, float(shift[0]), float(shift[1]))
    label = np.arange(count)
    if count > 1:
        label = fcluster(linkage(squareform(far), "complete"), 1.0, "distance")
    sets: dict[int, list[int]] = {}
    for k, name in enumerate(label):
        sets.setdefault(int(name), []).append(k)
    return tuple(
        Group(tuple(members), (Placement(), *(onto[members[0], k] for k in members[1:])))
        for members in sets.values()
    )


def _of_like_size(i: int, shapes: Sequence[Shape], limit_mm: Array) -> list[int]:
    """Return the openings after this one whose edges could be off by no more than a limit (O,)."""
    own = shapes[i]
    return [
        k
        for k in range(i + 1, len(shapes))
        if abs(shapes[k].area_mm2 - own.area_mm2) < limit_mm[k] * own.perimeter_mm
        and abs(shapes[k].square_mm2 - own.square_mm2) < limit_mm[k] * own.perimeter_mm
    ]


def _off(own: Shape, others: Sequence[Shape], turn: Array, start: npt.NDArray[np.int64]) -> Array:
    """Return by how much a ring, laid on others, leaves each of them across it, corners apart."""
    mine = np.fft.ifft(own.spectrum) * np.exp(1j * turn)[:, None]
    index = (np.arange(_PLACES) + start[:, None]) % _PLACES
    theirs = np.take_along_axis(np.fft.ifft([s.spectrum for s in others], axis=1), index, axis=1)
    along = np.roll(theirs, -1, axis=1) - np.roll(theirs, 1, axis=1)
    across = 1j * along / np.maximum(np.abs(along), 1e-12)
    off = np.abs(((theirs - mine) * np.conj(across)).real)
    return np.asarray(np.percentile(off, _NEARLY_ALL, axis=1))
