"""Corrections that cannot be made: refused with the reason, and nothing is changed."""

from __future__ import annotations

import pytest

from rubbing2pattern.errors import UsageFault
from tests.correcting.making import ACROSS, FOUR, RING, corrected, refused

REFUSALS = {
    "unknown came": ('[[remove_lead]]\ncame = "C99"\n', ["remove_lead 1: there is no came C99"]),
    "no lead there": ("[[remove_lead]]\nat = [50, 75]\n", ["no lead within 8 mm", "nearest"]),
    "outside": ("[[remove_lead]]\nat = [900, 75]\n", ["outside the panel", "limit 8 mm"]),
    "border": ("[[remove_lead]]\nat = [0, 75]\n", ["is border", "border = true"]),
    "twice": (
        "[[remove_lead]]\nat = [100, 75]\n[[remove_lead]]\nat = [101, 80]\n",
        ["remove_lead 2", "changed already by remove_lead 1"],
    ),
    "moved and removed": (
        "[[remove_lead]]\nat = [100, 75]\n[[move_lead]]\nat = [100, 75]\nby = [1, 0]\n",
        ["move_lead 1", "changed already by remove_lead 1"],
    ),
    "ends in nothing": ("[[add_lead]]\nfrom = [0, 75]\nto = [50, 75]\n", ["add_lead 1: no lead"]),
    "no length": ("[[add_lead]]\nfrom = [0, 75]\nto = [0, 75.2]\n", ["no length"]),
    "begins and ends at one joint": ("[[add_lead]]\nfrom = [0, 0]\nto = [2, 0]\n", ["one joint"]),
    "doubles a lead": ("[[add_lead]]\nfrom = [100, 150]\nto = [100, 0]\n", ["runs along"]),
    "crosses itself": (
        "[[add_lead]]\nfrom = [0, 75]\nto = [100, 75]\nthrough = [[80, 20], [20, 20]]\n",
        ["crosses itself"],
    ),
    "runs out on its way": (
        "[[add_lead]]\nfrom = [0, 20]\nto = [0, 120]\nthrough = [[-5, 70]]\n",
        ["add_lead 1: it runs out of the panel"],
    ),
    "free end on a lead": (
        "[[add_lead]]\nfrom = [0, 75]\nto = [100, 75]\nfree_end = true\n",
        ["free_end is true, but the lead ends on"],
    ),
    "no joint there": ("[[move_joint]]\nat = [50, 75]\nto = [50, 80]\n", ["no joint within 8 mm"]),
    "unknown joint": ('[[move_joint]]\njoint = "J99"\nto = [50, 80]\n', ["no joint J99"]),
    "onto another joint": ("[[move_joint]]\nat = [0, 0]\nto = [100, 0.1]\n", ["is the place of"]),
    "over another lead": (
        "[[move_joint]]\nat = [100, 150]\nto = [150, -2]\n",
        ["leads would cross at", "no joint"],
    ),
    "onto another lead": (
        "[[add_lead]]\nfrom = [0, 75]\nto = [100, 75]\nthrough = [[50, 75.6]]\n"
        "[[add_lead]]\nfrom = [0, 75]\nto = [100, 75]\nthrough = [[50, 75.9]]\n",
        ["add_lead 2: it runs along C"],
    ),
    "not neighbours": ("[[join_pieces]]\npieces = [1, 4]\n", ["piece 4 shares no lead"]),
    "unknown piece": ("[[join_pieces]]\npieces = [1, 9]\n", ["there is no piece 9"]),
    "piece twice": ("[[join_pieces]]\npieces = [1, 1]\n", ["is listed twice"]),
    "split elsewhere": (ACROSS.replace("piece = 1", "piece = 4"), ["runs out of piece 4"]),
    "split of no piece": (ACROSS.replace("piece = 1", "piece = 8"), ["there is no piece 8"]),
    "number taken": ("[[renumber]]\npiece = 1\nnumber = 2\n", ["number 2", "another piece"]),
    "number given twice": (
        "[[renumber]]\npiece = 1\nnumber = 7\n[[renumber]]\npiece = 2\nnumber = 7\n",
        ["renumber 2: number 7 is given twice"],
    ),
    "piece gone": (
        "[[join_pieces]]\npieces = [1, 2]\n[[renumber]]\npiece = 2\nnumber = 7\n",
        ["renumber 1: piece 2 is gone"],
    ),
    "no such finding": (
        '[[dismiss]]\ncode = "free-end"\nwhy = "no"\n',
        ["dismiss 1: there is no finding free-end of the whole panel"],
    ),
    "width of a removed lead": (
        '[[remove_lead]]\nat = [100, 75]\n[[set_width]]\nat = [100, 75]\nwidth_mm = 5\n',
        ["set_width 1: no lead within"],
    ),
    "one width twice": (
        "[[set_width]]\nat = [100, 75]\nwidth_mm = 5\n"
        "[[set_width]]\nat = [100, 76]\nwidth_mm = 6\n",
        ["set_width 2", "from set_width 1 already"],
    ),
}  # fmt: skip


@pytest.mark.parametrize("what", REFUSALS)
def test_a_bad_correction_is_refused_and_changes_nothing(what: str) -> None:
    text, words = REFUSALS[what]
    refused(FOUR, text, "nothing was changed", *words)


def test_a_lead_that_ends_nowhere_is_refused_with_the_cure_that_there_is() -> None:
    ends = "from = [0, 60]\nto = [50, 60]\n"
    refused(FOUR, f"[[add_lead]]\n{ends}", "no lead within", "if it ends freely", "free_end")
    with pytest.raises(UsageFault, match="no lead within") as caught:
        corrected(FOUR, f"[[split_piece]]\npiece = 1\n{ends}")
    assert "free_end" not in str(caught.value)


def test_one_bad_correction_refuses_the_good_ones_too_and_all_are_reported() -> None:
    text = ACROSS + '[[remove_lead]]\ncame = "C99"\n[[join_pieces]]\npieces = [1, 4]\n'
    refused(FOUR, text, "remove_lead 1", "join_pieces 1")


def test_a_lead_between_rings_that_parts_nothing_is_no_split() -> None:
    """From the frame to the ring inside it a lead goes through one piece, which stays whole."""
    outer = next(p.number for p in RING.pieces if p.outline.interiors)
    text = f"[[split_piece]]\npiece = {outer}\nfrom = [0, 100]\nto = [60, 100]\n"
    refused(RING, text, f"does not part piece {outer}")


def test_the_same_corrections_are_not_made_twice() -> None:
    done = corrected(
        FOUR, "[[renumber]]\npiece = 1\nnumber = 2\n[[renumber]]\npiece = 2\nnumber = 1\n"
    )
    text = "[[renumber]]\npiece = 1\nnumber = 2\n[[renumber]]\npiece = 2\nnumber = 1\n"
    refused(done.panel, text, "applied already, by A. Glazier on 2026-11-25 (corrections-1.toml)")
