"""How much work a function does, counted and not timed: the same on every machine, busy or idle."""

from __future__ import annotations

import sys
from collections.abc import Callable
from types import FrameType

MOST_GROWTH = 2.6
"""Calls for twice the pieces over calls for the pieces: 2 if the work is linear, 4 if quadratic."""


def calls(work: Callable[[], object]) -> int:
    """Count the calls of Python and library functions while something is done."""
    counted = 0

    def count(frame: FrameType, event: str, argument: object) -> None:
        nonlocal counted
        if event in ("call", "c_call"):
            counted += 1

    before = sys.getprofile()
    sys.setprofile(count)
    try:
        work()
    finally:
        sys.setprofile(before)
    return counted


def grows_with_the_panel(half: Callable[[], object], whole: Callable[[], object]) -> None:
    """Check that twice the pieces need about twice the work, and not four times."""
    half()  # What is loaded and remembered at first use counts for neither.
    fewer, more = calls(half), calls(whole)
    assert fewer > 1000, "nothing was counted"
    assert more <= MOST_GROWTH * fewer, f"{fewer} calls for half the pieces, {more} for all"
