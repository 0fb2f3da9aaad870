"""Beginnings of laying one panel over another: from pieces that are alike, and from the borders."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from shapely.geometry import Polygon

from rubbing2pattern.comparing.rigid import Motion, closed_fit, turned
from rubbing2pattern.geometry.frame import Array, Placement
from rubbing2pattern.matching.distances import even_ring
from rubbing2pattern.model import Panel
from rubbing2pattern.options.compare import CompareOptions

_RING = 64
"""Places on each outline that are compared."""
_AS_LARGE = 0.15
"""Pieces whose areas differ by a greater share are not alike."""
_PER_PIECE = 4
"""Pieces of the other panel that each piece is laid on."""
_NEAR_BEST = 0.97
"""Share of the best overlap from which another turn of a piece is tried as well."""
_SAME_TURN_DEG, _SAME_PLACE_MM = 1.0, 2.0
"""Within such a turn and shift two beginnings are one."""


def beginnings(
    before: Panel, after: Panel, mirrored: bool, options: CompareOptions
) -> list[Motion]:
    """Return motions from the frame of `after` to that of `before` that are worth trying.

    Rules:

    1. both frames as they are: panels are levelled, and are mostly the same way up;
    2. the smallest rectangles around both, corner on corner, in all four turns;
    3. pairs of pieces whose rings agree best, not more than a few for each piece, in every turn in
       which they agree about as well (a square has four).
    """
    width_mm = after.width_mm if mirrored else 0.0
    found = [Motion(mirrored, Placement(0.0, width_mm, 0.0))]  # rule 1
    found += _rectangles(before, after, mirrored)  # rule 2
    found += _pieces(before, after, mirrored, options.seeds)  # rule 3
    kept: dict[tuple[int, int, int], Motion] = {}
    middle = np.array([[0.5 * after.width_mm, 0.5 * after.height_mm]])
    for motion in found:
        x, y = motion.apply(middle)[0]
        turn = round(motion.placement.angle_deg / _SAME_TURN_DEG)
        kept.setdefault((turn, round(x / _SAME_PLACE_MM), round(y / _SAME_PLACE_MM)), motion)
    return list(kept.values())


def _facing(outline: Polygon, mirrored: bool) -> Polygon:
    return shapely.transform(outline, Motion(mirrored).apply)


def _rectangles(before: Panel, after: Panel, mirrored: bool) -> Iterator[Motion]:
    one = _corners(before.outline)
    other = _corners(_facing(after.outline, mirrored))
    for k in range(4):
        yield Motion(mirrored, closed_fit(other, np.roll(one, k, axis=0)))


def _corners(shape: shapely.Geometry) -> Array:
    around = shapely.orient_polygons(shapely.minimum_rotated_rectangle(shape))
    return np.asarray(shapely.get_coordinates(around)[:4])


def _pieces(before: Panel, after: Panel, mirrored: bool, most: int) -> list[Motion]:
    """Fit rings of pieces to each other for all starts at once; see `matching.shapes`."""
    ones = _rings([piece.outline for piece in before.pieces])
    others = _rings([_facing(piece.outline, mirrored) for piece in after.pieces])
    if not len(ones) or not len(others):
        return []
    sizes, spectra = _spectra(ones)
    own_sizes, own_spectra = _spectra(others)
    areas = np.array([piece.centre_area_mm2 for piece in before.pieces])
    ranked: list[tuple[float, int, int, float]] = []
    for k, piece in enumerate(after.pieces):
        alike = np.flatnonzero(np.abs(areas / piece.centre_area_mm2 - 1.0) < _AS_LARGE)
        if not len(alike):
            continue
        sums = np.fft.ifft(np.conj(own_spectra[k]) * spectra[alike], axis=1)
        size = np.abs(sums)
        off = (own_sizes[k] + sizes[alike] - 2.0 * size.max(axis=1) / _RING) / own_sizes[k]
        for i in np.argsort(off, kind="stable")[:_PER_PIECE]:
            ranked += [(float(off[i]), int(alike[i]), k, t) for t in _turns(sums[i])]
    # The rarest first: the fewer pieces of a size there are, the more a pair shows.
    rare = [int(np.sum(np.abs(areas / a - 1.0) < _AS_LARGE)) for a in areas]
    ranked.sort(key=lambda r: (rare[r[1]], round(r[0], 6), r[1], r[2], r[3]))
    found = []
    for _, i, k, turn in ranked[:most]:
        dx, dy = ones[i].mean(axis=0) - turned(others[k].mean(axis=0), turn)[0]
        found.append(Motion(mirrored, Placement(math.degrees(turn), float(dx), float(dy))))
    return found


def _rings(outlines: Sequence[Polygon]) -> list[Array]:
    return [even_ring(outline, _RING) for outline in outlines]


def _spectra(rings: Sequence[Array]) -> tuple[Array, np.ndarray]:
    """Return the mean square distances from the middle (R,) and spectra (R, A) of R rings."""
    centred = np.array([(ring - ring.mean(axis=0)) @ (1.0, 1.0j) for ring in rings])
    return np.mean(np.abs(centred) ** 2, axis=1), np.fft.fft(centred, axis=1)


def _turns(sums: np.ndarray) -> list[float]:
    """Return the turns at which two rings agree about as well as at best."""
    size = np.abs(sums)
    peak = (size >= np.roll(size, 1)) & (size > np.roll(size, -1))
    peak &= size >= _NEAR_BEST * size.max()
    peak[int(np.argmax(size))] = True
    order = sorted(np.flatnonzero(peak), key=lambda s: (-size[s], s))
    return [float(np.angle(sums[s])) for s in order[:4]]
