"""A number of thousands of digits in a file of TOML: refused with its line, as any wrong value."""

from __future__ import annotations

import sys
import tomllib
from pathlib import Path

import pytest

from rubbing2pattern.errors import InputUnreadable, UsageFault
from rubbing2pattern.inputs.about import read_about
from rubbing2pattern.inputs.collection_list import _job
from rubbing2pattern.inputs.corrections import corrections_from
from rubbing2pattern.inputs.reference import read_targets
from rubbing2pattern.inputs.toml_forms import toml_table
from rubbing2pattern.matching.known import read_known
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
