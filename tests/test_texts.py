"""Texts from people: what they may hold, how messages show them, and what lists make of them."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given, settings, strategies as st

from rubbing2pattern.documents.formats.cells import separated
from rubbing2pattern.glazing.table import plain_text
from rubbing2pattern.texts import formula_like, printable, replaced, unfit, unfit_parts
from tests.hostile import live_cells

HOSTILE = st.text(alphabet="=+-@\t\r\n;,\"' a1\uff1d\uff0d|", max_size=12)


@pytest.mark.parametrize("sign", ["\0", "\a", "\x1b", "\r", "\x7f", "\x85", "\u202e", "\u2066"])
def test_a_sign_that_no_page_shows_is_named_with_its_place(sign: str) -> None:
    said = unfit(f"ab{sign}c")
    assert said.startswith(f"character 3 is U+{ord(sign):04X} (")
    assert said.endswith("delete it")
    assert sign not in said
    assert printable(f"ab{sign}c") == f"ab{ascii(sign)[1:-1]}c"
    assert replaced(f"ab{sign}c") == "ab\ufffdc"


@pytest.mark.parametrize("text", ["a\nb\tc", "Süd \u5357 \u05d3\u05e8\u05d5\u05dd", "", "\u200f"])
def test_letters_of_all_scripts_and_ends_of_lines_are_fit(text: str) -> None:
    assert unfit(text) == ""
    assert printable(text) == text


def test_a_text_of_one_line_has_no_end_of_line() -> None:
    assert "must be one line" in unfit("a\nb", lines=False)


def test_keys_and_values_are_found_wherever_they_lie() -> None:
    datum = {"a": [1.0, "x", {"b\a": 2, "c": "\u202e"}], "d": "fine"}
    assert [way for way, _ in unfit_parts(datum)] == [["a", "2", "b\\x07"], ["a", "2", "c"]]


@settings(max_examples=400)
@given(HOSTILE)
def test_no_cell_of_a_list_runs_whatever_separator_a_spreadsheet_takes(text: str) -> None:
    written = separated(["one", "two", "three"], [["a", text, "b"], ["a", "", text]])
    assert live_cells(written) == []


@settings(max_examples=400)
@given(HOSTILE)
def test_what_a_list_writes_comes_back_as_it_was_typed(text: str) -> None:
    kept = plain_text(text)
    assert plain_text(kept) == kept
    rows = list(csv.reader(io.StringIO(separated(["one"], [[kept]]), newline="")))
    assert plain_text(rows[1][0]) == kept


def test_numbers_stay_numbers() -> None:
    assert not any(formula_like(number) for number in ("-0.5", "+3", "-2 3/8", "12"))
    assert all(formula_like(text) for text in ("=1", "@a", '"=1', " -x", "\ta", "\uff1d1"))


@pytest.mark.parametrize("sign", "=+-@\t\r\n")
def test_a_cell_begins_with_no_sign_that_runs(sign: str) -> None:
    (row,) = list(csv.reader(io.StringIO(separated(["one"], [[f"{sign}a"]]), newline="")))[1:]
    assert row == [f"'{sign}a"]
