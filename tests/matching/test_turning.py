"""Painted glass that fits its opening in other ways too."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from shapely.geometry import Point, Polygon, box

from rubbing2pattern.findings import Code
from rubbing2pattern.geometry.frame import Warp
from rubbing2pattern.matching.assigning import assign
from rubbing2pattern.matching.loose import LoosePiece
from rubbing2pattern.matching.painted import is_painted
from rubbing2pattern.matching.turning import ways_too, with_turning_doubts
from rubbing2pattern.options.match import MatchOptions
from tests.matching.loose import ANGLE, BAR, KITE, LEAN, lying, opening

ROUND, OVER = "turned round", "turned over"
SIDE_PX, PX_PER_MM = 320, 4.0
WARP = Warp.similarity(PX_PER_MM, SIDE_PX)
PANE = box(10.0, 10.0, 70.0, 70.0)


@pytest.mark.parametrize(
    ("shape", "ways"),
    [
        (box(0, 0, 50, 50), (ROUND, OVER)),
        (BAR, (ROUND, OVER)),
        (LEAN, (ROUND,)),
        (Polygon([(0, 0), (60, 0), (30, 75)]), (OVER,)),
        (KITE, ()),
        (ANGLE, ()),
        (Point(0, 0).buffer(30.0), (ROUND, OVER)),
    ],
)
def test_ways_in_which_a_shape_goes_into_its_opening(shape: Polygon, ways: tuple[str, ...]) -> None:
    assert ways_too(shape.buffer(-0.2, join_style="mitre"), shape) == ways


def pane(kind: str) -> np.ndarray:
    """Paint a pane of blue glass on white paper: plain, with strokes, or uneven with a dark rim."""
    picture = np.full((SIDE_PX, SIDE_PX, 3), 240, np.uint8)
    ring = np.round(WARP.to_px(np.array(PANE.exterior.coords))).astype(np.int32)
    cv2.fillPoly(picture, [ring], (70, 110, 180))
    if kind == "strokes":
        for k in range(3):
            cv2.line(picture, (80, 110 + 40 * k), (240, 90 + 50 * k), (30, 28, 26), 5)
    if kind == "uneven":
        wave = 1.0 + 0.12 * np.sin(np.arange(SIDE_PX) / 6.0)
        picture = np.clip(picture * wave[None, :, None], 0, 255).astype(np.uint8)
        cv2.polylines(picture, [ring], True, (25, 25, 25), 12)
    return picture


@pytest.mark.parametrize(("kind", "seen"), [("plain", False), ("strokes", True), ("uneven", False)])
def test_strokes_of_paint_are_seen(kind: str, seen: bool) -> None:
    assert is_painted(LoosePiece("P1", "a.jpg", PANE, 0.1), pane(kind), WARP) is seen


def test_glass_too_small_to_look_at_counts_as_unpainted() -> None:
    assert not is_painted(LoosePiece("P1", "", box(10, 10, 15, 15), 0.1), pane("strokes"), WARP)


def test_painted_glass_that_fits_in_other_ways_gives_a_finding() -> None:
    openings = [opening(1, BAR), opening(2, KITE, (200.0, 0.0)), opening(3, LEAN, (400.0, 0.0))]
    pieces = [lying("P1", BAR, 30.0, (0, 300)), lying("P2", KITE, 70.0, (200, 300))]
    pieces.append(lying("P3", LEAN, 10.0, (400, 300)))
    matches = assign(pieces, openings, MatchOptions())
    told = with_turning_doubts(matches, {o.number: o for o in openings}, {"P1", "P2"})
    (finding,) = [f for f in told.findings if f.code is Code.MAY_BE_TURNED]
    assert finding.message == (
        "P1 is painted and fits number 1 turned round or turned over as well: look at its paint "
        "before it is set."
    )
