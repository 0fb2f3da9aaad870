"""Rows from the top, from left to right within a row."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, strategies as st

from rubbing2pattern.paneling.reading_order import reading_order, rows_of

SHARE = 0.35


def rows(places: list[tuple[float, float]], heights: list[float]) -> list[list[int]]:
    return rows_of(np.array(places, dtype=float), np.array(heights, dtype=float), SHARE)


def test_nothing_has_no_order() -> None:
    assert reading_order(np.zeros((0, 2)), np.zeros(0), SHARE) == []


def test_a_sagging_row_stays_one_row() -> None:
    sag = [(x, 200.0 - 20.0 * np.sin(x / 500 * np.pi)) for x in range(0, 501, 50)]
    lower = [(x + 1.0, y - 100.0) for x, y in sag]
    found = rows(sag + lower, [100.0] * 22)
    assert found == [sorted(found[0], key=lambda i: -(sag + lower)[i][1]), found[1]]
    assert sorted(found[0]) == list(range(11))
    assert reading_order(np.array(sag + lower), np.full(22, 100.0), SHARE) == list(range(22))


def test_staggered_quarries_are_two_rows() -> None:
    """Diamonds 100 mm high stand in rows half their height apart."""
    upper = [(x, 150.0) for x in (50.0, 110.0, 170.0)]
    lower = [(x, 100.0) for x in (20.0, 80.0, 140.0, 200.0)]
    found = rows(upper + lower, [100.0] * 7)
    assert [sorted(row) for row in found] == [[0, 1, 2], [3, 4, 5, 6]]


def test_small_pieces_stacked_beside_a_large_one_are_rows_of_their_own() -> None:
    large = [(100.0, 150.0)]
    stack = [(10.0, 250.0), (10.0, 150.0), (10.0, 50.0)]
    found = rows(large + stack, [300.0, 100.0, 100.0, 100.0])
    assert [sorted(row) for row in found] == [[1], [0, 2], [3]]


def test_the_widest_gaps_divide_the_rows() -> None:
    places = [(0.0, 128.0), (1.0, 102.0), (2.0, 100.0), (3.0, 98.0), (4.0, 70.0)]
    assert [sorted(row) for row in rows(places, [100.0] * 5)] == [[0, 1, 2, 3], [4]]
    assert len(rows(places, [50.0] * 5)) == 3


def test_ties_are_read_from_the_top() -> None:
    places = np.array([(10.0, 5.0), (10.0, 9.0), (5.0, 7.0)])
    assert reading_order(places, np.full(3, 100.0), SHARE) == [2, 1, 0]


@given(st.integers(0, 10**6), st.integers(1, 40))
def test_the_order_of_the_input_does_not_matter(seed: int, count: int) -> None:
    rng = np.random.default_rng(seed)
    places = rng.uniform(0.0, 300.0, (count, 2))
    heights = rng.uniform(10.0, 100.0, count)
    mixed = rng.permutation(count)
    first = reading_order(places, heights, SHARE)
    second = reading_order(places[mixed], heights[mixed], SHARE)
    assert sorted(first) == list(range(count))
    assert [int(mixed[i]) for i in second] == first


@given(st.integers(0, 10**6))
def test_rows_keep_to_their_height_and_follow_one_another(seed: int) -> None:
    rng = np.random.default_rng(seed)
    places = rng.uniform(0.0, 300.0, (30, 2))
    heights = rng.uniform(10.0, 100.0, 30)
    found = rows_of(places, heights, SHARE)
    for row in found:
        typical = np.exp(np.mean(np.log(heights[row])))
        assert np.ptp(places[row, 1]) <= SHARE * typical + 1e-9
    for upper, lower in pairwise(found):
        assert places[upper, 1].min() >= places[lower, 1].max()


@pytest.mark.parametrize("seed", range(5))
def test_no_division_has_fewer_rows(seed: int) -> None:
    """Brute force over all divisions of nine heights."""
    rng = np.random.default_rng(seed)
    places = np.column_stack((np.arange(9.0), rng.uniform(0.0, 120.0, 9)))
    heights = rng.uniform(20.0, 100.0, 9)
    order = np.argsort(-places[:, 1])
    best = (99, np.inf)
    for cuts in range(2**8):
        bounds = [0, *(k + 1 for k in range(8) if cuts >> k & 1), 9]
        parts = [order[a:b] for a, b in pairwise(bounds)]
        spreads = [float(np.ptp(places[part, 1])) for part in parts]
        limits = [SHARE * np.exp(np.mean(np.log(heights[part]))) for part in parts]
        if all(s <= limit for s, limit in zip(spreads, limits, strict=True)):
            best = min(best, (len(parts), sum(spreads)))
    found = rows_of(places, heights, SHARE)
    spread = sum(float(np.ptp(places[row, 1])) for row in found)
    assert (len(found), spread) == (best[0], pytest.approx(best[1]))
