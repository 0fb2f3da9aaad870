"""Painted glass that goes into its opening in other ways too: turned round, or turned over."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace

import numpy as np
from shapely.geometry import Polygon

from rubbing2pattern.findings import Kind, finding_of
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.matching.loose import Matches, Opening, Verdict
from rubbing2pattern.matching.shapes import PLACES, Shape, ring_sums, turned_over

_NEARLY_MM = 0.5
"""By so much worse a glass may fit another way (root of the mean square) and still go in."""
_OTHER_DEG = 20.0
"""A smaller turn is the same way."""
_ROUND, _OVER = "turned round", "turned over"


def ways_too(outline: Polygon, cut: Polygon) -> tuple[str, ...]:
    """Return in what other ways a glass fits an opening in which it lies.

    Parameters
    ----------
    outline, cut : of the glass in its place, and of the opening.
    """
    there = Shape.of(cut)
    turn_deg, off_mm = _fits(Shape.of(outline), there)
    _, over_mm = _fits(Shape.of(turned_over(outline)), there)
    # The places of both rings may lie half a step off each other along the edge.
    limit_mm = float(off_mm.min()) + _NEARLY_MM + 0.5 * there.perimeter_mm / PLACES
    away = np.abs((turn_deg - turn_deg[off_mm.argmin()] + 180.0) % 360.0 - 180.0)
    found = ((_ROUND, bool((off_mm[away > _OTHER_DEG] < limit_mm).any())),)
    return tuple(w for w, fits in (*found, (_OVER, bool(over_mm.min() < limit_mm))) if fits)


def with_turning_doubts(
    matches: Matches, openings: Mapping[int, Opening], painted: Collection[str]
) -> Matches:
    """Return matches with a finding for each painted glass that fits in another way as well.

    Parameters
    ----------
    openings : by their numbers.
    painted : ids of the loose pieces on which paint is seen.
    """
    found = []
    for match in matches.matches:
        placed = match.placed
        if placed is None or match.verdict is Verdict.FRAGMENT or match.piece.id not in painted:
            continue
        ways = ways_too(placed.outline, openings[placed.number].cut)
        if ways:
            at = placed.outline.representative_point()
            found.append(
                finding_of(
                    Kind.PAINTED_AND_ALIKE,
                    (at.x, at.y),
                    pieces=match.numbers,
                    loose=match.piece.id,
                    ways=" or ".join(ways),
                )
            )
    return replace(matches, findings=(*matches.findings, *found))


def _fits(glass: Shape, opening: Shape) -> tuple[Array, Array]:
    """Return turns in degrees and how much is off then, in mm, for every start of the rings."""
    sums = ring_sums(glass, [opening])[0]
    square = glass.square_mm2 + opening.square_mm2
    off = np.sqrt(np.maximum(square - 2.0 * np.abs(sums), 0.0))
    return np.degrees(np.angle(sums)), off
