"""Numbers of windows and panels."""

from __future__ import annotations

import random

import pytest

from rubbing2pattern.trade.window_numbers import WindowNumber, in_order, window_number


def test_the_published_example() -> None:
    """n4 3b is the third panel of the second light of window n4.

    Corpus Vitrearum, Guidelines, 4th ed. 2016, section IX; summary by the CVMA (Great Britain).
    """
    assert window_number("n4 3b") == WindowNumber("n", False, 4, 3, "b")


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("s12", WindowNumber("s", False, 12)),
        ("NII 1a", WindowNumber("n", True, 2, 1, "a")),
        ("sXIII 12c", WindowNumber("s", False, 13, 12, "c")),
        ("I 5d", WindowNumber("", False, 1, 5, "d")),
        ("w1", WindowNumber("w", False, 1)),
        (" n4 3b ", WindowNumber("n", False, 4, 3, "b")),
    ],
)
def test_numbers_are_taken_apart(text: str, number: WindowNumber) -> None:
    assert window_number(text) == number


@pytest.mark.parametrize(
    "text", ["", "n", "n0", "n4 b3", "n4 3", "x4", "nIIII", "nVX", "n4 03b", "panel 1", "n4 3b x"]
)
def test_what_does_not_follow_the_scheme_is_no_number(text: str) -> None:
    assert window_number(text) is None


def test_names_are_sorted_as_the_windows_stand() -> None:
    right = ["I 1a", "n2 1a", "n2 1b", "n2 2a", "n2 10a", "n10 1a", "N2 1a", "s2 1a", "w1", "porch"]
    mixed = right.copy()
    random.Random(3).shuffle(mixed)
    assert sorted(mixed, key=in_order) == right
