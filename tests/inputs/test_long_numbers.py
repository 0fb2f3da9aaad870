"""A number of thousands of digits, wherever it is given: refused as any wrong value is."""

from __future__ import annotations

import sys
import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest

from rubbing2pattern.errors import InputUnreadable, UsageFault
from rubbing2pattern.glazing.cell_meaning import Words
from rubbing2pattern.glazing.table import Cell, Kind
from rubbing2pattern.inputs.about import read_about
from rubbing2pattern.inputs.calipers import parse_calipers
from rubbing2pattern.inputs.collection_list import _job
from rubbing2pattern.inputs.corrections import corrections_from
from rubbing2pattern.inputs.reference import parse_reference, read_targets
from rubbing2pattern.inputs.toml_forms import toml_table, why_unreadable
from rubbing2pattern.matching.known import read_known
from rubbing2pattern.options import Options
from rubbing2pattern.options.glass import GlassOptions
from rubbing2pattern.options.paper import paper_given
from rubbing2pattern.options.setting import with_settings
from rubbing2pattern.trade.stock import parse_stock
from rubbing2pattern.units import parse_length, parse_sheet
from tests.correcting.making import HEAD

MOST = sys.get_int_max_str_digits()


def test_the_longest_number_is_read_and_a_longer_one_is_not() -> None:
    assert toml_table(f"a = {'1' * MOST}")["a"] > 0
    with pytest.raises(tomllib.TOMLDecodeError, match=rf"more than {MOST} digits.*line 3,"):
        toml_table(f"a = 1\n\nb = {'1' * (MOST + 1)}\n")


def test_every_reader_names_the_line(tmp_path: Path) -> None:
    file = tmp_path / "n4.toml"
    file.write_text(f'title = "n4"\ndpi = {"1" * (MOST + 1)}\n', encoding="utf-8")
    with pytest.raises(InputUnreadable, match=r"n4\.toml, line 2: .*digits"):
        read_about(file)
    assert f"{file}, line 2" in _job(file)[""] and "digits" in _job(file)[""]


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (f'came = "c{"1" * MOST}"\nwidth_mm = 6', ['write came = "C12"']),
        (f"came = 0x{'f' * MOST}\nwidth_mm = 6", ['write came = "C12"']),
        (f'came = "C1"\nwidth_mm = 0x{"f" * MOST}', ["width_mm: the number is too large"]),
    ],
)
def test_a_long_value_is_refused_in_few_words(given: str, words: list[str]) -> None:
    with pytest.raises(UsageFault) as caught:
        corrections_from(f"{HEAD}[[set_width]]\n{given}\n".encode())
    assert len(str(caught.value)) < 300
    for word in words:
        assert word in str(caught.value)


@pytest.mark.parametrize("line", [f"P1,{'1' * 5000}", f"P{'1' * 5000},1", "P1,\u0661", "P01,1"])
def test_a_long_number_of_a_piece_is_refused_by_line_and_column(tmp_path: Path, line: str) -> None:
    path = tmp_path / "known.csv"
    path.write_text(f"piece,number\n{line}\n", encoding="utf-8")
    with pytest.raises(UsageFault, match=r"known\.csv, line 2, column (piece|number)") as caught:
        read_known(path)
    assert len(str(caught.value)) < 400


def test_a_long_id_of_a_target_is_refused_by_line_and_column(tmp_path: Path) -> None:
    path = tmp_path / "targets.csv"
    path.write_text(f"id,x_mm,y_mm\n{'1' * 5000},0,0\n", encoding="utf-8")
    with pytest.raises(UsageFault, match=r"targets\.csv, line 2, column id"):
        read_targets(path)


def test_noughts_before_a_number_do_not_matter(tmp_path: Path) -> None:
    path = tmp_path / "numbers.csv"
    path.write_text(f"piece,number\nP1,{'0' * 5000}7\n", encoding="utf-8")
    assert [line.number for line in read_known(path)] == [7]
    path.write_text(f"id,x_mm,y_mm\n{'0' * 5000},0,0\n07,1,0\n2,1,1\n3,0,1\n", encoding="utf-8")
    assert read_targets(path).ids == (0, 2, 3, 7)


LENGTHS = [
    "1" * (MOST + 1),
    f"0.{'1' * MOST}",
    f"1/{'1' * MOST}",
    f"{'0' * MOST}3",
    f"{'1' * MOST}/{'1' * MOST}",
    "1" * 100_000 + "?",
]
"""Numbers that Python does not read; the last keeps a pattern that goes back and forth busy."""

PLACES: dict[str, Callable[[str], object]] = {
    "a length": parse_length,
    "a sheet": lambda text: parse_sheet(f"{text}x{text}in"),
    "feet": lambda text: parse_length(f"{text}' {text}\""),
    "--sheet": lambda text: parse_reference(sheet=f"{text}x30in"),
    "--ruler": lambda text: parse_reference(ruler=f"0,0 3,3 {text}in"),
    "--ruler, a place": lambda text: parse_reference(ruler=f"{text},0 3,3 {text}"),
    "--dpi": lambda text: parse_reference(dpi=f"{text}x"),
    "--stock": parse_stock,
    "--caliper": lambda text: parse_calipers([f"C1={text}in"]),
    "--paper": lambda text: paper_given(Options().paper, 100.0, papers=f"{text}x{text}mm"),
    "--print-scale": lambda text: paper_given(
        Options().paper, 100.0, print_scale=f"{text}mm,{text}in"
    ),
    "--set": lambda text: with_settings(Options(), [f"load.smallest_side_px={text}"]),
    "a correction": lambda text: corrections_from(
        f'{HEAD}[[set_width]]\ncame = "C1"\nwidth_mm = "{text} in"\n'.encode()
    ),
}


@pytest.mark.parametrize("text", LENGTHS, ids=range(len(LENGTHS)))
@pytest.mark.parametrize("place", PLACES)
def test_a_long_number_in_a_length_is_refused_in_few_words(place: str, text: str) -> None:
    with pytest.raises(UsageFault) as caught:
        PLACES[place](text)
    assert len(str(caught.value)) < 1000


@pytest.mark.parametrize("text", LENGTHS, ids=range(len(LENGTHS)))
@pytest.mark.parametrize("kind", [Kind.NUMBER, Kind.TEXT])
@pytest.mark.parametrize("column", ["thickness", "grain_deg", "state", "decoration", "glass"])
def test_a_long_cell_of_a_sheet_is_refused_in_few_words(column: str, kind: Kind, text: str) -> None:
    with pytest.raises(ValueError, match=r"limit|characters|not|proper|range") as caught:
        Words(GlassOptions()).read(column, Cell(kind, text), "mm")
    assert len(str(caught.value)) < 1000


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (f"a = 1\n{'a.' * 300_000}b = 1", "a key has 40 parts or more (at line 2,"),
        (f"a = 1\n[{'a . ' * 300_000}b]", "a key has 40 parts or more (at line 2,"),
        (f"{'1' * (MOST - 1)}\n" * 100, "at line 1,"),
        (f"a = {' ' * 1_000_000}x y", "at line 1,"),
    ],
    ids=range(4),
)
def test_no_file_of_toml_keeps_a_reader_busy(text: str, words: str) -> None:
    """Each of a megabyte took a time that grows with its square: hours."""
    with pytest.raises(tomllib.TOMLDecodeError) as caught:
        toml_table(text)
    assert words in str(caught.value)
    assert "line" in why_unreadable(caught.value, text)
    sentence = "etc. and so on. " * 1000 + "." * 1000 + "1.5." * 15
    assert toml_table(f'remark = "{sentence}"')["remark"] == sentence
