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
from rubbing2pattern.inputs.toml_forms import toml_table
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
