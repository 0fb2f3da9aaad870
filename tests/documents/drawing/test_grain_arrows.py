"""Where the arrow for the grain goes: the best of all lines, though few of them are cut."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import pytest
import shapely
from shapely.affinity import rotate
from shapely.geometry import Polygon, box

from rubbing2pattern.documents.templates.one_piece import longest_near
from tests import panels

LEAST_MM = 5.0


def rooms() -> Iterator[tuple[shapely.Geometry, tuple[float, float]]]:
    """Yield shapes as the templates have them, with the place of the number."""
    for piece in panels.mosaic(40, 400.0, 400.0).pieces:
        at = piece.label_at
        words = box(at[0] - 9.0, at[1] - 6.0, at[0] + 9.0, at[1] + 6.0).buffer(1.5)
        yield piece.sight_outline.buffer(-1.0).difference(words), at
        yield piece.cut_outline, at
    for panel in (panels.roundel_in_square(), panels.arched(), panels.lattice(2, 2)):
        for piece in panel.pieces:
            yield piece.cut_outline, piece.label_at
    # Sides and corners on the very lines that are tried, and parts that are just long enough.
    yield box(0.0, 0.0, 40.0, 30.0), (20.0, 15.0)
    yield box(0.0, 0.0, 40.0, 30.0).difference(box(18.0, 2.0, 22.0, 28.0)), (20.0, 15.0)
    yield box(0.0, 0.0, LEAST_MM, LEAST_MM), (2.0, 2.0)
    yield rotate(box(0.0, 0.0, LEAST_MM, 60.0), 45.0), (2.0, 2.0)
    yield Polygon(), (0.0, 0.0)
    yield box(0.0, 0.0, 3.0, 3.0), (1.5, 1.5)


def best_of_all(
    room: shapely.Geometry, at: np.ndarray, along: np.ndarray, longest_mm: float
) -> np.ndarray | None:
    """Cut every line a millimetre apart and take the best: first of equals, to the micrometre."""
    if room.is_empty:
        return None
    across = np.array((-along[1], along[0]))
    corners = shapely.get_coordinates(room) - at
    beside = corners @ across
    reach = float(np.abs(corners @ along).max()) + 1.0
    best, ends = -math.inf, None
    for offset in range(math.floor(beside.min()), math.ceil(beside.max())):
        foot = at + offset * across
        line = shapely.linestrings(np.array((foot - reach * along, foot + reach * along)))
        for part in shapely.get_parts(shapely.intersection(line, room)):
            worth = round(min(part.length, longest_mm) - 0.5 * abs(offset), 6)
            if part.length >= LEAST_MM and worth > best:
                best, ends = worth, shapely.get_coordinates(part)[[0, -1]]
    return ends


@pytest.mark.parametrize("grain_deg", [0.0, 90.0, 33.0, -125.0])
@pytest.mark.parametrize("longest_mm", [12.0, 60.0])
def test_no_line_would_be_better(grain_deg: float, longest_mm: float) -> None:
    turn = math.radians(grain_deg)
    along = np.array((math.cos(turn), math.sin(turn)))
    found = 0
    for room, place in rooms():
        at = np.array(place)
        expected = best_of_all(room, at, along, longest_mm)
        ends = longest_near(room, at, along, longest_mm)
        assert (ends is None) is (expected is None)
        if ends is not None and expected is not None:
            assert np.array_equal(ends, expected)
            found += 1
    assert found > 60
