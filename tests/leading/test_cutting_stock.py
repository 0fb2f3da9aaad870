"""Sticks of lead: the cutting-stock problem against worked examples, bounds and brute force."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.leading.cutting import (
    Cutting,
    Limits,
    best_pattern,
    cut_stock,
    full_patterns,
)
from rubbing2pattern.leading.filling import first_fit, full_sticks, least_by_bounds


def spread(demand: dict[int, int]) -> list[int]:
    return [size for size, n in demand.items() for _ in range(n)]


def check_whole(cutting: Cutting, lengths: Sequence[int], stick: int) -> None:
    """Every strip lies on one stick, and no stick is cut into more than it is."""
    assert sorted(k for one in cutting.sticks for k in one) == list(range(len(lengths)))
    assert all(one for one in cutting.sticks)
    assert all(sum(lengths[k] for k in one) <= stick for one in cutting.sticks)
    assert len(cutting.sticks) >= cutting.least


def first_fit_decreasing(lengths: Sequence[int], stick: int) -> int:
    """Count the sticks of the plain textbook rule, written anew for the test."""
    rooms: list[int] = []
    for length in sorted(lengths, reverse=True):
        for i, room in enumerate(rooms):
            if room >= length:
                rooms[i] -= length
                break
        else:
            rooms.append(stick - length)
    return len(rooms)


def fewest(lengths: Sequence[int], stick: int) -> int:
    """Least number of sticks by trying all subsets: dynamic programming over sets of strips."""
    best = {0: (0, 0)}
    for chosen in range(1, 1 << len(lengths)):
        options = []
        for k, length in enumerate(lengths):
            if chosen >> k & 1:
                sticks, used = best[chosen & ~(1 << k)]
                fits = sticks > 0 and used + length <= stick
                options.append((sticks, used + length) if fits else (sticks + 1, length))
        best[chosen] = min(options)
    return best[(1 << len(lengths)) - 1][0]


@pytest.mark.parametrize(
    ("stick", "demand", "optimum"),
    [
        # V. Chvátal, Linear Programming (1983), ch. 13: raws of 100 in; the linear programme gives
        # 452.25. Figures from memory.
        (1000, {450: 97, 360: 610, 310: 395, 140: 211}, 453),
        # R. Fourer, D. Gay, B. Kernighan, AMPL (2nd ed. 2003), ch. 14 and 15: raws of 110 in; the
        # linear programme gives 46.25. Figures from memory.
        (110, {20: 48, 45: 35, 50: 24, 55: 10, 75: 8}, 47),
    ],
    ids=["Chvatal", "Fourer-Gay-Kernighan"],
)
def test_worked_examples_of_the_literature(
    stick: int, demand: dict[int, int], optimum: int
) -> None:
    lengths = spread(demand)
    cutting = cut_stock(lengths, stick)
    check_whole(cutting, lengths, stick)
    assert (len(cutting.sticks), cutting.least, cutting.proven) == (optimum, optimum, True)


def test_the_worked_example_of_a_paper_machine() -> None:
    """Thirteen widths cut from 5600 mm: 73 master rolls (much-copied example; from memory)."""
    demand = {
        1380: 22, 1520: 25, 1560: 12, 1710: 14, 1820: 18, 1880: 18, 1930: 20,
        2000: 10, 2050: 12, 2100: 14, 2140: 16, 2150: 18, 2200: 20,
    }  # fmt: skip
    lengths = spread(demand)
    every = cut_stock(lengths, 5600)
    check_whole(every, lengths, 5600)
    assert (len(every.sticks), every.proven) == (73, True)


@pytest.mark.parametrize("patterns", [1, 3000])
def test_the_solver_betters_first_fit_decreasing(patterns: int) -> None:
    """Where the rule of thumb and filling fail, few patterns or many are solved to the optimum."""
    lengths = [32, 40, 51, 40, 26, 54, 20, 29]
    assert first_fit_decreasing(lengths, 100) == 4
    cutting = cut_stock(lengths, 100, Limits(fillings=1, patterns=patterns))
    check_whole(cutting, lengths, 100)
    assert (len(cutting.sticks), cutting.proven) == (3, True)
    assert cutting.method == "integer programme over patterns"
    filled = cut_stock(lengths, 100, Limits(fillings=60))
    assert (len(filled.sticks), filled.method[:6]) == (3, "sticks")


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.integers(1, 100), min_size=1, max_size=60),
    st.sampled_from([100, 117, 180]),
    st.sampled_from([1, 3000]),
)
def test_never_worse_than_first_fit_decreasing(
    lengths: list[int], stick: int, patterns: int
) -> None:
    cutting = cut_stock(lengths, stick, Limits(patterns=patterns))
    check_whole(cutting, lengths, stick)
    assert len(cutting.sticks) <= first_fit_decreasing(lengths, stick)
    assert cutting.least >= -(-sum(lengths) // stick)
    assert cut_stock(lengths, stick, Limits(patterns=patterns)) == cutting


@settings(max_examples=40, deadline=None)
@given(st.lists(st.integers(20, 70), min_size=1, max_size=9), st.sampled_from([1, 3000]))
def test_optimum_agrees_with_trying_everything(lengths: list[int], patterns: int) -> None:
    cutting = cut_stock(lengths, 100, Limits(patterns=patterns))
    optimum = fewest(lengths, 100)
    assert cutting.least <= optimum <= len(cutting.sticks)
    if patterns > 1:
        assert (len(cutting.sticks), cutting.proven) == (optimum, True)
    sizes = sorted(set(lengths), reverse=True)
    demand = [Counter(lengths)[size] for size in sizes]
    assert least_by_bounds(sizes, demand, 100) <= optimum
    assert len(first_fit(sizes, demand, 100)) == first_fit_decreasing(lengths, 100)
    assert len(full_sticks(sizes, demand, 100)) >= optimum


@settings(max_examples=40, deadline=None)
@given(st.lists(st.integers(5, 60), min_size=1, max_size=7), st.data())
def test_best_pattern_agrees_with_trying_everything(
    lengths: list[int], data: st.DataObject
) -> None:
    counts = Counter(lengths)
    sizes = sorted(counts, reverse=True)
    price = data.draw(
        st.lists(st.floats(0.0, 1.0), min_size=len(sizes), max_size=len(sizes)), label="price"
    )
    demand = [counts[size] for size in sizes]
    pattern, worth = best_pattern(np.array(price), sizes, demand, 100)
    assert all(0 <= n <= most for n, most in zip(pattern, demand, strict=True))
    assert sum(n * size for n, size in zip(pattern, sizes, strict=True)) <= 100
    assert worth == pytest.approx(sum(n * p for n, p in zip(pattern, price, strict=True)))
    by_size = dict(zip(sizes, price, strict=True))
    most = max(
        sum(by_size[size] for size in chosen)
        for r in range(len(lengths) + 1)
        for chosen in combinations(lengths, r)
        if sum(chosen) <= 100
    )
    assert worth == pytest.approx(most)


def test_full_patterns_are_all_and_full() -> None:
    assert set(full_patterns([5, 3, 2], [1, 2, 1], 8)) == {(1, 1, 0), (1, 0, 1), (0, 2, 1)}


def test_few_branches_still_give_sticks_and_say_so() -> None:
    lengths = spread({20: 48, 45: 35, 50: 24, 55: 10, 75: 8})
    cutting = cut_stock(lengths, 110, Limits(patterns=1, rounds=1, nodes=1))
    check_whole(cutting, lengths, 110)
    assert not cutting.proven
    assert f"{cutting.least} might do" in cutting.method


def test_order_of_the_strips_changes_no_count_and_nothing_to_cut_needs_no_stick() -> None:
    lengths = spread({20: 48, 45: 35, 50: 24, 55: 10, 75: 8})
    forth, back = cut_stock(lengths, 110), cut_stock(lengths[::-1], 110)
    assert [len(one) for one in forth.sticks] == [len(one) for one in back.sticks]
    assert cut_stock([], 110).sticks == ()


@pytest.mark.parametrize("length", [0, -3, 111])
def test_a_strip_that_no_stick_gives_is_refused(length: int) -> None:
    with pytest.raises(UsageFault, match=rf"strip 2 is {length} long.* 1 to 110"):
        cut_stock([20, length], 110)
