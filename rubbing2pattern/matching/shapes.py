"""Outlines compared as rings of complex numbers: turn, start and likeness in closed form.

Two rings of A even places run anticlockwise, centred and read as x + i y, are a and b. For every
start s of b the sum C(s) of conj(a_k) b_(k+s) holds all of the best rigid fit: its angle is the
turn, and the mean square distance left is (|a|^2 + |b|^2 - 2 |C(s)|) / A. This is the fit of Kabsch
(1976, Acta Crystallographica A 32, 922-923) in the plane; by Fourier transform it costs next to
nothing for all starts at once. Legend for shapes: P pieces, O openings, A places on a ring.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely import affinity
from shapely.geometry import Polygon

from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.matching.distances import even_ring
from rubbing2pattern.options.match import MatchOptions

PLACES = 128
"""Places on an outline; a power of two suits the Fourier transform."""

Spectrum = npt.NDArray[np.complex128]


@dataclass(frozen=True, slots=True)
class Shape:
    """What of an outline does not depend on where it lies.

    Attributes
    ----------
    centre : mean of the places of its ring (x, y).
    area_mm2, perimeter_mm : of the outline.
    spectrum : (A,) Fourier transform of the centred ring.
    square_mm2 : mean square distance of the ring from its centre.
    """

    centre: Array
    area_mm2: float
    perimeter_mm: float
    spectrum: Spectrum
    square_mm2: float

    @classmethod
    def of(cls, outline: Polygon, places: int = PLACES) -> Shape:
        """Measure an outline at so many places."""
        around = even_ring(outline, places)
        centre = around.mean(axis=0)
        ring = (around - centre) @ (1.0, 1.0j)
        square = float(np.mean(np.abs(ring) ** 2))
        return cls(centre, float(outline.area), float(outline.length), np.fft.fft(ring), square)


@dataclass(frozen=True, slots=True)
class Start:
    """A pose to begin with: the piece turned about its centre, which is put on the opening's."""

    opening: int
    turn_deg: float
    rms_mm: float


def turned_over(outline: Polygon) -> Polygon:
    """Return an outline turned over: x becomes -x."""
    return shapely.orient_polygons(affinity.scale(outline, -1.0, 1.0, origin=(0.0, 0.0)))


def likely_starts(
    piece: Shape, openings: Sequence[Shape], options: MatchOptions
) -> tuple[Start, ...]:
    """Return the likeliest beginnings for a piece in all openings, likeliest first.

    Rules:

    1. openings of another size are left out (area over perimeter is the mean width at the edge);
    2. of the starts at which both rings agree better than at the starts beside them the best few
       of each opening are taken, if what is left is small enough, and the best of all of these.
    """
    fits = np.array([k for k, o in enumerate(openings) if _of_a_size(piece, o, options)], np.int64)
    if len(fits) == 0:
        return ()
    sums = ring_sums(piece, [openings[k] for k in fits])
    strength = np.abs(sums)
    peak = (strength >= np.roll(strength, 1, axis=1)) & (strength >= np.roll(strength, -1, axis=1))
    order = np.argsort(np.where(peak, -strength, np.inf), axis=1, kind="stable")
    row = np.arange(len(fits))[:, None]
    start = order[:, : options.turns]
    square = np.array([openings[k].square_mm2 for k in fits])[:, None] + piece.square_mm2
    left = np.sqrt(np.maximum(square - 2.0 * strength[row, start], 0.0))
    good = peak[row, start] & (left < options.start_gate_mm)
    turn = np.degrees(np.angle(sums[row, start]))[good]
    opening = np.broadcast_to(fits[:, None], good.shape)[good]
    best = np.argsort(left[good], kind="stable")[: options.starts]
    return tuple(Start(int(opening[i]), float(turn[i]), float(left[good][i])) for i in best)


@dataclass(frozen=True, slots=True)
class Fits:
    """The best rigid fit of one ring to each of several: turn in radians, start, both (O,)."""

    turn: Array
    start: npt.NDArray[np.int64]


def best_fits(piece: Shape, openings: Sequence[Shape]) -> Fits:
    """Return the best rigid fit of a ring to each of others; centre goes on centre."""
    sums = ring_sums(piece, openings)
    start = np.abs(sums).argmax(axis=1)
    return Fits(np.angle(sums[np.arange(len(sums)), start]), start)


def ring_sums(piece: Shape, openings: Sequence[Shape]) -> Spectrum:
    """Return C(s) / A for every opening and start, shape (O, A)."""
    theirs = np.stack([opening.spectrum for opening in openings])
    return np.asarray(np.fft.ifft(theirs * np.conj(piece.spectrum), axis=1) / len(piece.spectrum))


def _of_a_size(piece: Shape, opening: Shape, options: MatchOptions) -> bool:
    wide = abs(piece.area_mm2 - opening.area_mm2) / opening.perimeter_mm
    return wide < options.size_gate_mm
