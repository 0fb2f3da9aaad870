"""Numbers that a person gives to loose pieces: the file, and which pieces it means."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
import shapely

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.geometry.frame import Warp
from rubbing2pattern.matching.known import KnownNumber, Seen, pieces_meant, read_known
from rubbing2pattern.matching.loose import LoosePiece
from rubbing2pattern.matching.several_panels import PanelMatched
from tests.panels import mosaic

PANEL = mosaic(3, 100.0, 100.0)
TWO = [PanelMatched(replace(PANEL, pieces=PANEL.pieces[:2]), "")]


def seen() -> list[Seen]:
    warp = Warp.similarity(1.0, 100)
    square = shapely.box(10.0, 10.0, 20.0, 20.0)
    return [
        Seen("a.jpg", warp, (LoosePiece("P1", "a.jpg", square, 0.1),)),
        Seen("b.jpg", warp, (LoosePiece("P2", "b.jpg", square, 0.1),)),
    ]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("piece,number\nP1,2\nP1,3\n", "line 3: P1 is in .*line 2 already"),
        ("piece,number\nP1,2\nP2,2\n", "line 3: number 2 is in .*line 2 already"),
        ("piece,number\nP1,x\n", "line 2, column number: 'x'"),
        ("piece,number\n17,2\n", "line 2, column piece: '17'"),
        ("piece,number\nP0,2\n", "line 2, column piece"),
        ("piece;number\nP1;2\n", "the separator is a comma"),
        ("piece,number\n", "gives no number"),
        ("pixel_x,pixel_y,number\n5,five,2\n", "line 2, column pixel_y"),
    ],
)
def test_a_wrong_file_of_known_numbers(tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "known.csv"
    path.write_text(text)
    with pytest.raises(UsageFault, match=words):
        read_known(path)


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (KnownNumber("line 2", 9, "P1"), "line 2: the panel has no piece 9"),
        (KnownNumber("line 2", 1, "P5"), "no loose piece P5; found were P1 to P2"),
        (KnownNumber("line 2", 1, "P2", photo="a.jpg"), "no loose piece P2 in a.jpg"),
        (KnownNumber("line 2", 1, "P2", photo="c.jpg"), "no photograph 'c.jpg'"),
        (KnownNumber("line 2", 1, pixel=(15.0, 84.0)), "name the photograph"),
        (KnownNumber("line 2", 1, pixel=(50.0, 50.0), photo="a.jpg"), "no loose piece lies at"),
    ],
)
def test_known_numbers_that_mean_nothing(line: KnownNumber, words: str) -> None:
    with pytest.raises(UsageFault, match=words):
        pieces_meant([line], seen(), TWO)


def test_a_place_and_a_name_that_mean_one_piece() -> None:
    place = KnownNumber("line 3", 2, pixel=(15.0, 84.0), photo="a.jpg")
    assert pieces_meant([place], seen(), TWO) == {"P1": 2}
    with pytest.raises(UsageFault, match="line 3: P1 is in line 2 already"):
        pieces_meant([KnownNumber("line 2", 1, "P1"), place], seen(), TWO)
