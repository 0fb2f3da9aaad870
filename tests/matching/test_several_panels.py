"""Glass of several panels in one box: each piece goes to one panel, or is alike in several."""

from __future__ import annotations

from dataclasses import replace

import pytest

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.findings import Code
from rubbing2pattern.geometry.frame import Warp
from rubbing2pattern.matching.known import KnownNumber, Seen, pieces_meant
from rubbing2pattern.matching.loose import LoosePiece
from rubbing2pattern.matching.matching_all import match_all
from rubbing2pattern.matching.panel_openings import openings_of
from rubbing2pattern.matching.several_panels import raised, side_by_side
from rubbing2pattern.model import Panel
from rubbing2pattern.options import Options
from tests.matching.loose import uneven
from tests.panels import lattice, mosaic

FIRST = mosaic(5, 140.0, 150.0, seed=2)
SECOND = replace(mosaic(5, 140.0, 150.0, seed=7), name="other")
BOTH = side_by_side([(FIRST, "a"), (SECOND, "b")])


def glass_of(panel: Panel, letter: str) -> list[LoosePiece]:
    return [
        LoosePiece(f"{letter}{o.number}", "", uneven(o.cut, o.number, 0.2), 0.1)
        for o in openings_of(panel, 0.2)
    ]


def test_each_piece_goes_to_its_own_panel() -> None:
    glass = [*glass_of(FIRST, "A"), *glass_of(SECOND, "B")]
    openings = [o for own in BOTH for o in openings_of(own.panel, 0.2)]
    matches = match_all(glass[1:], openings, Options())
    for match in matches.matches:
        assert match.placed is not None
        home = next(own for own in BOTH if own.holds(match.placed.number))
        assert home.label(match.placed.number) == match.piece.id
    assert [BOTH[0].label(number) for number in matches.unfilled] == ["A1"]


def test_a_piece_that_is_alike_in_two_panels_has_the_numbers_of_both() -> None:
    twins = side_by_side([(lattice(1, 1), "a"), (replace(lattice(1, 1), name="twin"), "b")])
    openings = [o for own in twins for o in openings_of(own.panel, 0.2)]
    (match,) = match_all(glass_of(lattice(1, 1), "P"), openings, Options()).matches
    assert match.numbers == (1, 1 + twins[1].raised_by)


def test_numbers_are_raised_everywhere_and_lowered_again() -> None:
    up = BOTH[1].panel
    assert [p.number for p in up.pieces] == [p.number + 10 for p in SECOND.pieces]
    assert {n for c in up.cames for n in c.pieces} == {p.number for p in up.pieces}
    down = raised(up, -BOTH[1].raised_by)
    assert down.pieces == SECOND.pieces
    assert [c.pieces for c in down.cames] == [c.pieces for c in SECOND.cames]


def test_a_single_panel_keeps_its_numbers_and_has_no_letter() -> None:
    (alone,) = side_by_side([(FIRST, "a")])
    assert alone.panel is FIRST and alone.label(3) == "3"


@pytest.mark.parametrize(
    ("other", "words"),
    [
        (FIRST, "two of the panels are named 'mosaic'"),
        (replace(SECOND, seen_from="outside"), "seen from inside, panel 'other' from outside"),
        (raised(SECOND, 700_000), "too large a number for 2 panels"),
    ],
)
def test_panels_that_do_not_go_together(other: Panel, words: str) -> None:
    with pytest.raises(UsageFault, match=words):
        side_by_side([(FIRST, "a"), (other, "b")])


def test_letters_go_on_after_z() -> None:
    many = side_by_side([(replace(FIRST, name=str(k)), "") for k in range(28)])
    assert [own.letter for own in many[25:]] == ["Z", "AA", "AB"]


def test_a_known_number_says_its_panel() -> None:
    seen = [Seen("a.jpg", Warp.similarity(1.0, 100), tuple(glass_of(FIRST, "P")))]
    line = KnownNumber("line 2", 3, "P1", panel="other")
    assert pieces_meant([line], seen, BOTH) == {"P1": 13}
    with pytest.raises(UsageFault, match="line 2: name the panel in a column panel"):
        pieces_meant([replace(line, panel="")], seen, BOTH)
    with pytest.raises(UsageFault, match="no panel 'third'; given are mosaic, other"):
        pieces_meant([replace(line, panel="third")], seen, BOTH)
    with pytest.raises(UsageFault, match="panel other has no piece 6"):
        pieces_meant([replace(line, number=6)], seen, BOTH)


def test_findings_show_letters() -> None:
    glass = glass_of(SECOND, "B")
    odd = replace(glass[0], outline=glass[0].outline.buffer(2.4, join_style="mitre"))
    openings = [o for own in BOTH for o in openings_of(own.panel, 0.2)]
    matches = match_all([odd, *glass[1:]], openings, Options())
    (near,) = [f for f in matches.findings if f.code is Code.NEAREST_PLACE]

    def label(number: int) -> str:
        return next(own for own in BOTH if own.holds(number)).label(number)

    assert f"number {label(11)} comes nearest" in near.sentence("mm", label)
