"""When a fragment counts as laid where it belongs."""

from __future__ import annotations

import pytest
import shapely
from shapely.geometry import Polygon, box

from benchmarks.matching_scores import goes_over
from rubbing2pattern.geometry.frame import Placement
from tests.matching.loose import BAR, KITE, opening

CORNER = box(0, 0, 22, 14)


def lying(outline: Polygon, *motion: float) -> Polygon:
    return shapely.transform(outline, Placement(*motion).apply)


@pytest.mark.parametrize("cut", [KITE, BAR])
def test_a_small_fragment_turned_by_a_hair_lies_right_in_a_large_opening(cut: Polygon) -> None:
    fragment = cut.intersection(CORNER)
    assert goes_over(fragment, lying(fragment, 1.5, 0.1, -0.2), opening(1, cut), opening(1, cut))


@pytest.mark.parametrize("motion", [(0.0, 3.0, 0.0), (8.0, 0.0, 0.0), (90.0, 0.0, 0.0)])
def test_a_fragment_shifted_or_turned_lies_wrong(motion: tuple[float, ...]) -> None:
    fragment = KITE.intersection(CORNER)
    assert not goes_over(fragment, lying(fragment, *motion), opening(1, KITE), opening(1, KITE))


def test_a_fragment_may_lie_turned_round_in_an_opening_like_its_own() -> None:
    there = opening(2, lying(BAR, 30.0, 200.0, 40.0))
    turned = lying(lying(CORNER, 180.0, 80.0, 30.0), 30.0, 200.0, 40.0)
    assert goes_over(CORNER, turned, opening(1, BAR), there)
    assert not goes_over(CORNER, turned, opening(1, BAR), opening(2, BAR))
