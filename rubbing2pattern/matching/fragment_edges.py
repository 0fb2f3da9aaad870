"""Stretches of edges compared: where an edge of a fragment may lie along the edge of a hole.

Two stretches of W even places, each about its own middle and read as x + i y, are a and b. The sum
C of conj(a_k) b_k holds the best rigid fit: its angle is the turn, and the mean square distance
left is (|a|^2 + |b|^2 - 2 |C|) / W. This is the fit of Kabsch (1976, Acta Crystallographica A 32,
922-923) in the plane; one product of matrices gives it for all pairs of stretches.
Legend for shapes: M poses, N places on an edge, S stretches, W places of a stretch.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import MultiPolygon, Polygon

from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.matching.distances import even_ring
from rubbing2pattern.options.fragments import FragmentOptions

PLACES = 96
"""Places on the edge of a fragment that are laid."""
FINE_MM = 0.5
"""Step of the edge where fragments are settled on each other."""
_STEP_MM = 1.0
"""Step of the stretches of edge that are compared."""
_EVERY = 3
"""Every such stretch of a fragment is compared; its neighbours are nearly the same."""
_STRAIGHT_MM = 0.5
"""Deviation from a line below which a stretch fits along any straight edge and does not count."""
_SAME_TURN = 0.1
"""Radians within which two first places of a fragment are one."""
_SAME_PLACE_MM = 3.0
"""Distance within which two first places of a fragment are one."""

Index = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Glass:
    """The edge of a fragment about its middle.

    Attributes
    ----------
    piece : index of the loose piece.
    over : whether it is turned over.
    outline : in the photograph's frame, turned over if need be.
    centre : (2,), mean of the places of its ring.
    places, normals : (N, 2), even places about the centre, and the unit normals outwards there.
    step_mm : way between two places.
    fine, fine_normals : (F, 2), the same every half millimetre, for edges of neighbours.
    stretches, middles : (S, W) and (S,), see the head of this file; middles about the centre.
        Straight ones are left out, for they fit anywhere along a straight line.
    """

    piece: int
    over: bool
    outline: Polygon
    centre: Array
    places: Array
    normals: Array
    step_mm: float
    fine: Array
    fine_normals: Array
    stretches: npt.NDArray[np.complex128]
    middles: npt.NDArray[np.complex128]

    @property
    def length_mm(self) -> float:
        """Length of the whole edge."""
        return self.step_mm * len(self.places)

    @classmethod
    def of(cls, piece: int, outline: Polygon, over: bool, options: FragmentOptions) -> Glass:
        """Take the edge of a loose piece."""
        ring = even_ring(outline, PLACES)
        centre = ring.mean(axis=0)
        fine = even_ring(outline, math.ceil(outline.exterior.length / FINE_MM))
        stretches, middles = _stretches(outline, options)
        bent = _bent(stretches[::_EVERY])
        return cls(
            piece,
            over,
            outline,
            centre,
            ring - centre,
            ring_normals(ring),
            float(outline.exterior.length) / PLACES,
            fine - centre,
            ring_normals(fine),
            stretches[::_EVERY][bent],
            middles[::_EVERY][bent] - complex(*centre),
        )


@dataclass(frozen=True, slots=True)
class Poses:
    """Fragments laid somewhere: which (M,), turn in rad (M,), where their centres lie (M, 2)."""

    glass: Index
    turn: Array
    centre: Array

    def __len__(self) -> int:
        """Return how many there are."""
        return len(self.glass)

    def chosen(self, index: npt.NDArray[np.int64] | npt.NDArray[np.bool_]) -> Poses:
        """Return some of them."""
        return Poses(self.glass[index], self.turn[index], self.centre[index])

    def unlike(self, turn: float, place_mm: float) -> Index:
        """Return the first of each set that differs by less than a turn (rad) and a shift."""
        turns = np.round(np.mod(self.turn, 2.0 * np.pi) / turn).astype(np.int64)
        column, row = np.round(self.centre / place_mm).astype(np.int64).T
        key = ((self.glass * 1000 + turns) * 20_000 + column + 10_000) * 20_000 + row + 10_000
        _, first = np.unique(key, return_index=True)
        return np.sort(first)


def alike_stretches(
    glasses: Sequence[Glass], hole: Polygon | MultiPolygon, options: FragmentOptions
) -> Poses:
    """Return the poses at which a stretch of a fragment's edge lies along the edge of a hole.

    Rule: every pair of stretches that leaves less than `window_gate_mm`, and less than the pairs
    beside it along the hole; poses that are next to the same count once.
    """
    parts = [_stretches(part, options) for part in shapely.get_parts(hole)]
    theirs = np.vstack([stretches for stretches, _ in parts])
    their_middles = np.concatenate([middles for _, middles in parts])
    own = np.vstack([glass.stretches for glass in glasses])
    own_middles = np.concatenate([glass.middles for glass in glasses])
    which = np.repeat(np.arange(len(glasses)), [len(glass.stretches) for glass in glasses])
    sums = np.conj(own) @ theirs.T
    square = (
        (np.abs(own) ** 2).sum(axis=1)[:, None]
        + (np.abs(theirs) ** 2).sum(axis=1)
        - 2.0 * np.abs(sums)
    ) / own.shape[1]
    near = square < options.window_gate_mm**2
    near[:, 1:] &= square[:, 1:] <= square[:, :-1]
    near[:, :-1] &= square[:, :-1] <= square[:, 1:]
    i, j = np.nonzero(near)
    turn = np.angle(sums[i, j])
    centre = their_middles[j] - np.exp(1j * turn) * own_middles[i]
    found = Poses(which[i], turn, np.column_stack((centre.real, centre.imag)))
    return found.chosen(found.unlike(_SAME_TURN, _SAME_PLACE_MM))


def moved(points: Array, turn: Array, shift: Array) -> Array:
    """Turn points (M, N, 2) about the origin and shift them by (M, 2)."""
    c, s = np.cos(turn)[:, None], np.sin(turn)[:, None]
    x, y = points[..., 0], points[..., 1]
    return np.stack((c * x - s * y, s * x + c * y), axis=-1) + shift[:, None, :]


def _stretches(
    outline: Polygon, options: FragmentOptions
) -> tuple[npt.NDArray[np.complex128], npt.NDArray[np.complex128]]:
    """Return all stretches (S, W) of an outline about their middles, and the middles (S,)."""
    count = max(8, round(outline.exterior.length / _STEP_MM))
    ring = even_ring(Polygon(outline.exterior), count) @ (1.0, 1.0j)
    half = round(0.5 * options.window_mm / _STEP_MM)
    around = np.arange(count)[:, None] + np.arange(-half, half + 1)
    stretches = ring[around % count]
    middles = stretches.mean(axis=1)
    return stretches - middles[:, None], middles


def _bent(stretches: npt.NDArray[np.complex128]) -> npt.NDArray[np.bool_]:
    """Return which stretches (S, W) stray from a straight line; all of them if none does."""
    square = (np.abs(stretches) ** 2).mean(axis=1)
    across = 0.5 * (square - np.abs((stretches**2).mean(axis=1)))
    bent = across > _STRAIGHT_MM**2
    return np.asarray(bent if bent.any() else ~bent)


def ring_normals(ring: Array) -> Array:
    """Return unit normals outwards of an anticlockwise ring (N, 2)."""
    way = np.roll(ring, -1, axis=0) - np.roll(ring, 1, axis=0)
    normal = np.column_stack((way[:, 1], -way[:, 0]))
    return np.asarray(normal / np.maximum(np.hypot(*normal.T), 1e-9)[:, None])
