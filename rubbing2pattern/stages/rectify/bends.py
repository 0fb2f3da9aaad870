"""How the edges of a sheet depart from straight lines: smooth bends, as of a sheet not flat.

A bend is the offset ``sum of shape[k] * basis[k](t)`` px across a side, positive towards the
sheet, t from -1 to 1 along it; see `rubbing2pattern.stages.rectify.edge_tracks`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.stages.rectify.edge_tracks import basis
from rubbing2pattern.stages.rectify.fit import Fit, plumb
from rubbing2pattern.stages.rectify.plane import apply, inverse
from rubbing2pattern.stages.rectify.sheet_edges import PROFILES, Sides, fine_step_px
from rubbing2pattern.stages.rectify.sheet_search import CORNERS

TERMS = 5
"""Terms by which the bend of a side is described."""
_ROUNDS = 6
"""Rounds of weighing anew; a fixed number, so that the same places give the same bend."""
_QUARTERS, _LEAST_IN_QUARTER = 4, PROFILES // 10
_RIDGE = 1e-3
"""Share of a side's places that pull its bend to none; it settles what the places leave open."""


@dataclass(frozen=True, slots=True)
class Bow:
    """The largest bend of a side: how far in mm, which side, where on the sheet in mm."""

    size_mm: float
    side: int
    at_mm: tuple[float, float]


def away_and_along(sides: Sides, fit: Fit) -> list[tuple[Array, Array]]:
    """Return the distance in ideal px from its side, and t along it, of every place by side."""
    away = plumb(sides, fit.lens)(fit.sheet_corners, fit.lens.k1)
    parts = np.split(away, np.cumsum([len(side) for side in sides])[:-1])
    found = []
    for places, part, (first, last) in zip(sides, parts, CORNERS, strict=True):
        start, way = fit.sheet_corners[first], fit.sheet_corners[last] - fit.sheet_corners[first]
        share = (fit.lens.ideal(places) - start) @ way / (way @ way)
        found.append((part, 2.0 * share - 1.0))
    return found


def bends_of(sides: Sides, fit: Fit, step_px: float) -> Array:
    """Return the bends of the sides by robust least squares, (4, `TERMS`) px.

    A side that was met in some of its quarters only, or half of whose places lie on no smooth line
    within `step_px`, is taken for straight.
    """
    return np.array([_bend(*each, step_px) for each in away_and_along(sides, fit)])


def _bend(away: Array, along: Array, step_px: float) -> Array:
    quarter = np.clip(((along + 1.0) / 2.0 * _QUARTERS).astype(int), 0, _QUARTERS - 1)
    if np.bincount(quarter, minlength=_QUARTERS).min() < _LEAST_IN_QUARTER:
        return np.zeros(TERMS)
    terms = basis(along, TERMS)
    weight: Array = np.ones(len(away))
    shape: Array = np.zeros(TERMS)
    for _ in range(_ROUNDS):
        normal = (terms.T * weight) @ terms + _RIDGE * len(away) * np.eye(TERMS)
        shape = np.asarray(np.linalg.solve(normal, (terms.T * weight) @ away))
        left = np.abs(away - terms @ shape)
        usual = max(1.4826 * float(np.median(left)), 0.1)
        weight = np.asarray(1.0 / (1.0 + (left / usual) ** 2), dtype=np.float64)
    met = np.abs(away - terms @ shape) < step_px
    return shape if met.sum() >= PROFILES // 2 else np.zeros(TERMS)


def unmet_px(sides: Sides, fit: Fit, bends: Array) -> list[Array]:
    """Return how far every place lies from its bent side, in px, by side."""
    pairs = zip(away_and_along(sides, fit), bends, strict=True)
    return [np.abs(away - basis(along, TERMS) @ bend) for (away, along), bend in pairs]


def largest_bow(sides: Sides, fit: Fit) -> Bow:
    """Return where a side bends most from its straight line.

    What lies at the ends of a side, a twentieth each, is left out: corners are bent by hands.
    """
    back = inverse(fit.warp.matrix)
    t = np.linspace(-0.9, 0.9, 37)
    best = Bow(0.0, 0, (0.0, 0.0))
    step_px = fine_step_px(fit.scale(fit.base_mm.mean(axis=0)))
    for side, bend in enumerate(bends_of(sides, fit, step_px)):
        first, last = (fit.sheet_corners[k] for k in CORNERS[side])
        on_line = first + (t[:, None] + 1.0) / 2.0 * (last - first)
        way = (last - first) / np.linalg.norm(last - first)
        bent = on_line + (basis(t, TERMS) @ bend)[:, None] * np.array((-way[1], way[0]))
        at_mm = apply(back, on_line)
        size_mm = np.linalg.norm(apply(back, bent) - at_mm, axis=1)
        k = int(np.argmax(size_mm))
        if size_mm[k] > best.size_mm:
            best = Bow(float(size_mm[k]), side, (float(at_mm[k, 0]), float(at_mm[k, 1])))
    return best
