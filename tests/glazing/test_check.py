"""Every cell of a filled-in sheet is checked; all problems are reported by row and column."""

from __future__ import annotations

import datetime
import io
import zipfile
from typing import Any

import pytest
from hypothesis import given, settings, strategies as st
from openpyxl import load_workbook
from openpyxl.chart import BarChart, Reference

from rubbing2pattern.documents.lists.pieces_table import pieces_csv
from rubbing2pattern.errors import InputUnreadable
from rubbing2pattern.glazing.entries import (
    Action,
    Decoration,
    Entry,
    Filled,
    State,
    Vanished,
)
from rubbing2pattern.glazing.table import read_book
from rubbing2pattern.options.glass import GlassOptions
from tests.glazing.sheets import (
    FOUR,
    HEADS,
    INCHES,
    METRIC,
    Formula,
    documents,
    read,
    saved,
    small_book,
    small_list,
    typed_into,
)

RUBY = Entry(
    State.MISSING,
    Action.REPLACE,
    "ruby, streaky",
    "3 mm",
    (Decoration.PAINTED, Decoration.SILVER_STAIN),
    "see photo 3",
)
NO = ("",) * 5


def refused(content: bytes, *words: str, **how: Any) -> str:
    with pytest.raises(InputUnreadable) as caught:
        read(content, **how)
    message = str(caught.value)
    assert message.startswith("sheet ")
    for word in words:
        assert word in message, message
    return message


def test_a_sheet_as_written_says_nothing() -> None:
    files = documents()
    for name in ("pieces.xlsx", "pieces.csv"):
        checked = read(files[name])
        assert checked.filled == Filled()
        assert checked.doubts == ()


def test_filled_in_with_a_spreadsheet_and_read_back() -> None:
    cells = {
        1: {
            "state": " Missing ", "action": "REPLACE", "glass": "ruby,  streaky", "thickness": 3,
            "decoration": "silver stain, painted", "remark": "see photo 3",
        },
        3: {"state": "former-repair", "action": "Edge bond", "thickness": "1/8 in"},
    }  # fmt: skip
    filled = read(typed_into(documents()["pieces.xlsx"], cells)).filled
    assert filled.entries == {
        1: RUBY,
        3: Entry(State.FORMER_REPAIR, Action.EDGE_BOND, "", "1/8 in"),
    }
    assert filled.entries[3].thickness_mm == pytest.approx(3.175)


@pytest.mark.parametrize("options", [METRIC, INCHES])
def test_what_was_written_comes_back_from_workbook_and_list(options: Any) -> None:
    filled = Filled(
        {1: RUBY, 2: Entry(remark="=1+1"), 4: Entry(thickness="1/8 in", glass="-5")},
        (Vanished(9, Entry(State.CRACKED, remark="+x")),),
    )
    files = documents(filled, options)
    assert read(files["pieces.xlsx"]).filled == filled
    assert read(files["pieces.csv"]).filled == Filled(filled.entries)
    again = documents(read(files["pieces.xlsx"]).filled, options)
    assert again == files


@pytest.mark.parametrize(
    ("typed", "degrees"),
    [
        (0, 0.0),
        (90, 90.0),
        (-22.5, -22.5),
        ("45°", 45.0),
        ("135 deg", 135.0),
        (" 30 Degrees", 30.0),
    ],
)
def test_the_grain_is_a_direction_in_degrees(typed: Any, degrees: float) -> None:
    book = typed_into(documents()["pieces.xlsx"], {2: {"grain_deg": typed}})
    filled = read(book).filled
    assert filled == Filled({2: Entry(grain_deg=degrees)})
    files = documents(filled)
    assert documents(read(files["pieces.xlsx"]).filled) == files
    assert read(files["pieces.csv"]).filled == filled


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("up", ("column G (grain_deg)", "'up' is not a direction", "90 for upright")),
        ("45,5", ("column G (grain_deg)", "'45,5'")),
        ("1e2", ("not a direction",)),
        ("nan", ("not a direction",)),
        (361, ("361 degrees are out of range: write -360 to 360",)),
        (True, ("not a direction",)),
        (datetime.date(2026, 1, 8), ("not a direction",)),
        (Formula("=A2"), ("column G (grain_deg): holds a formula",)),
    ],
)
def test_a_grain_that_is_no_direction(typed: Any, words: tuple[str, ...]) -> None:
    refused(typed_into(documents()["pieces.xlsx"], {2: {"grain_deg": typed}}), *words)


def test_an_empty_grain_takes_what_the_older_sheet_says() -> None:
    upright, level = Entry(grain_deg=90.0), Entry(grain_deg=0.0)
    assert Entry().completed(level) == level
    assert level.completed(upright) == level, "level is something, though it is nought"
    assert level.differing(upright) == ("grain_deg",)
    assert Entry(State.WHOLE).completed(upright) == Entry(State.WHOLE, grain_deg=90.0)


def test_a_sheet_from_before_has_no_column_of_the_grain() -> None:
    assert "grain_deg" not in HEADS
    assert read(small_book((1, "whole", *NO))).filled == Filled({1: Entry(State.WHOLE)})


def test_bare_numbers_are_in_the_unit_of_the_heading() -> None:
    book = typed_into(documents(options=INCHES)["pieces.xlsx"], {1: {"thickness": "1/8"}})
    assert read(book).filled.entries[1].thickness == "1/8 in"
    book = typed_into(documents(options=INCHES)["pieces.xlsx"], {1: {"thickness": 0.125}})
    assert read(book).filled.entries[1].thickness_mm == pytest.approx(3.175)


def test_rows_and_columns_may_be_in_any_order() -> None:
    heads = ("remark", "state", "thickness_mm", "glass", "Number", "action", "decoration")
    row = ("x", "broken", "4", "clear", "2", "replace", "plain")
    for content in (
        small_book(row, heads=heads),
        small_list(row, heads=heads),
        small_list(row, heads=heads, sep=";"),
        small_list(row, heads=heads, sep="\t"),
        b"\xef\xbb\xbf" + small_list(row, heads=heads, sep=";"),
    ):
        assert read(content).filled.entries == {
            2: Entry(State.BROKEN, Action.REPLACE, "clear", "4 mm", (Decoration.PLAIN,), "x")
        }


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ((1, "crakced", *NO), ("row 2, column B (state)", "'crakced'", "did you mean cracked?")),
        ((1, "replace", *NO), ("(state)", "a word of action", "change places")),
        ((1, "", "mend", *NO[1:]), ("row 2, column C (action)", "not one of keep, edge-bond")),
        ((1, "", "", "", "thick", "", ""), ("column E (thickness)", "'thick")),
        ((1, "", "", "", "3,5", "", ""), ("column E (thickness)", "point, not a comma")),
        ((1, "", "", "", 300, "", ""), ("300 mm is not a thickness", "0.5 mm to 25.0 mm")),
        ((1, "", "", "", 0, "", ""), ("column E (thickness)", "not a thickness")),
        ((1, "", "", "", -3, "", ""), ("column E (thickness)",)),
        ((1, "", "", "", True, "", ""), ("column E (thickness)", "not a thickness")),
        ((1, "", "", "", datetime.date(2026, 1, 8), "", ""), ("is a date", "1/8 in")),
        ((1, "", "", datetime.date(2026, 1, 8), "", "", ""), ("(glass)", "is a date")),
        ((1, "", "", "", "", "plain + painted", ""), ("(decoration)", "plain glass")),
        ((1, "", "", "", "", "gilt", ""), ("(decoration)", "'gilt' is not one of plain, painted")),
        ((1, "missing", "keep", *NO[1:]), ("(action)", "missing can only be given replace")),
        ((1, "", "", "g" * 201, "", "", ""), ("(glass)", "201 characters", "200")),
        (("one", "cracked", *NO), ("row 2, column A (number)", "'one' is not a piece number")),
        ((1.5, "cracked", *NO), ("'1.5' is not a piece number",)),
        ((-1, "cracked", *NO), ("column A (number)",)),
        ((0, "cracked", *NO), ("column A (number)",)),
        (("", "cracked", *NO), ("row 2, column A (number): is empty",)),
        ((99, "cracked", *NO), ("the panel has no piece 99",)),
        ((1, Formula("=B3"), *NO), ("row 2, column B (state): holds a formula",)),
        ((1, *NO, Formula("=HYPERLINK(1)")), ("column G (remark): holds a formula",)),
        ((Formula("=1"), "cracked", *NO), ("column A (number): holds a formula",)),
    ],
)  # fmt: skip
def test_a_wrong_cell_is_named(row: tuple[Any, ...], words: tuple[str, ...]) -> None:
    refused(small_book(row), *words)


def test_an_error_of_the_spreadsheet_is_no_word() -> None:
    book = load_workbook(io.BytesIO(small_book((1, "whole", *NO))))
    cell = book["pieces"].cell(2, 2)
    cell.value, cell.data_type = "#REF!", "e"
    refused(saved(book), "column B (state)", "#REF!")


@pytest.mark.parametrize(
    ("heads", "words"),
    [
        (("number", *HEADS[2:]), ("no column 'state'",)),
        (HEADS[1:], ("no column 'number'",)),
        (
            (*HEADS[:-1], "price"),
            ("row 1, column G: 'price' is not a heading", "no column 'remark'"),
        ),
        ((*HEADS, "state"), ("row 1, column H: 'state' is in column B too",)),
        ((*HEADS[:4], "", *HEADS[5:]), ("no column 'thickness_mm'",)),
        (tuple(str(k) for k in range(7)), ("no column 'number'", "no column 'remark'")),
        (("number", Formula("=A1"), *HEADS[2:]), ("column B: a formula is not a heading",)),
    ],
)
def test_wrong_missing_and_doubled_columns(heads: tuple[str, ...], words: tuple[str, ...]) -> None:
    refused(small_book((1, *NO, ""), heads=heads), *words)


def test_headings_that_changed_places_are_guessed() -> None:
    heads = ("number", "action", "state", *HEADS[3:])
    message = refused(small_book((1, "broken", "replace", *NO[1:]), heads=heads))
    assert message.count("did the columns change places?") == 2


def test_a_column_without_a_heading_that_holds_something() -> None:
    refused(small_book((1, *NO, "", "mine")), "row 1, column H: no heading, but row 2")


def test_doubled_numbers_and_empty_rows() -> None:
    message = refused(
        small_book((1, *NO, ""), ("",) * 7, (1, "cracked", *NO), (2, *NO, "")),
        "row 3 is empty",
        "row 4, column A (number): piece 1 is in row 2 already",
    )
    assert "2 problems" in message.splitlines()[0]


def test_empty_rows_at_the_end_do_no_harm() -> None:
    content = small_book((1, "whole", *NO), ("",) * 7, ("",) * 7)
    assert read(content).filled.entries == {1: Entry(State.WHOLE)}


def test_merged_cells_are_refused() -> None:
    book = load_workbook(io.BytesIO(small_book((1, "whole", *NO), (2, *NO, ""))))
    book["pieces"].merge_cells("B2:B3")
    refused(saved(book), "cells B2:B3 are merged")


def test_all_problems_are_reported_up_to_a_limit() -> None:
    rows = [(k, "odd", *NO) for k in (1, 2, 3, 4)]
    message = refused(small_book(*rows), "4 problems", "row 5")
    assert len(message.splitlines()) == 5
    few = GlassOptions(most_faults=2)
    message = refused(small_book(*rows), "and 2 more", options=few)
    assert "row 4" not in message


def test_text_in_a_column_of_figures() -> None:
    book = typed_into(documents()["pieces.xlsx"], {2: {"cut_area": "large"}})
    refused(book, "row 3", "(cut_area)", "'large' is not a number")


def test_a_formula_in_a_column_of_figures() -> None:
    book = typed_into(documents()["pieces.xlsx"], {2: {"cut_area": Formula("=1+1")}})
    refused(book, "row 3", "(cut_area)", "formula")


def test_numbers_that_slipped_against_their_rows_are_a_doubt() -> None:
    checked = read(typed_into(documents()["pieces.xlsx"], {2: {"cut_area": 123.0}}))
    assert len(checked.doubts) == 1
    assert "row 3" in checked.doubts[0] and "piece 2" in checked.doubts[0]


def test_a_piece_that_corrections_took_away_is_kept_as_vanished() -> None:
    checked = read(small_book((7, "cracked", *NO), (8, *NO, "")), gone={7, 8})
    assert checked.filled == Filled({}, (Vanished(7, Entry(State.CRACKED)),))


@pytest.mark.parametrize(
    ("content", "word"),
    [
        (b"PK\x03\x04 no archive", "not a readable workbook"),
        (b"\xd0\xcf\x11\xe0 old", "password"),
        (b"\x89PNG\r\n\x1a\n\0\0", "neither a workbook"),
        (b"state\0", "neither a workbook"),
        (b'number,state\n1,"open', "row"),
        (b"", "is empty"),
        (b"\n\n", "is empty"),
        ("größe".encode("latin-1"), "UTF-8"),
    ],
)
def test_what_is_no_sheet(content: bytes, word: str) -> None:
    refused(content, word)


def test_an_archive_that_is_no_workbook_and_a_workbook_of_something_else() -> None:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as packed:
        packed.writestr("letter.txt", "dear")
    assert refused(stream.getvalue(), "not a readable workbook").endswith("once more")
    book = load_workbook(io.BytesIO(small_book()))
    book["pieces"].title = "accounts"
    refused(saved(book), "no sheet 'pieces', only accounts")


def test_a_list_from_before_has_nothing_to_keep() -> None:
    old = b"number,rectangle_width_mm\r\n1,2.0\r\n"
    assert read(old, blank_list=True).filled == Filled()
    refused(old, "no column 'state'")


CELLS = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(allow_nan=False, allow_infinity=False),
    st.dates(min_value=datetime.date(1901, 1, 1)),
    st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs")), max_size=12),
    st.sampled_from(["cracked", "replace", "painted", "=1+1", "+1", "-1", "@x", "3 mm", "1/8 in"]),
    st.sampled_from([Formula("=A1"), Formula("=cmd|'/C calc'!A0")]),
)  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(*[CELLS] * 7), max_size=3))
def test_any_cells_are_read_or_refused_and_never_become_formulas(
    rows: list[tuple[Any, ...]],
) -> None:
    try:
        filled = read(small_book(*rows)).filled
    except InputUnreadable as fault:
        assert "row " in str(fault)
        return
    files = documents(filled)
    assert read(files["pieces.xlsx"]).filled == filled
    assert read(files["pieces.csv"]).filled == filled
    book = load_workbook(io.BytesIO(files["pieces.xlsx"]))
    assert all(c.data_type != "f" for sheet in book for row in sheet for c in row)


@settings(max_examples=100, deadline=None)
@given(st.text(st.characters(codec="utf-8"), min_size=1, max_size=30))
def test_any_remark_comes_back_or_is_refused(remark: str) -> None:
    try:
        filled = read(small_list((1, *NO, remark))).filled
    except InputUnreadable:
        return
    text = pieces_csv(FOUR, METRIC, filled)
    assert read(text.encode()).filled == filled
    if filled.entries:
        kept = filled.entries[1].remark
        assert kept == kept.strip()


def test_a_workbook_with_more_cells_than_any_panel_needs_is_refused_unread() -> None:
    """Half a million rows take minutes to read, and packed they are small."""
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as packed:
        rows = "".join(f'<row r="{k}"><c r="A{k}"/></row>' for k in range(1000))
        packed.writestr("xl/worksheets/sheet1.xml", rows * 700)
    assert len(held.getvalue()) < 500_000
    with pytest.raises(InputUnreadable, match=r"2[0-9] MB of cells, but at most 20 MB are read"):
        read_book(held.getvalue(), "pieces.xlsx")


def test_what_someone_draws_on_the_sheet_does_no_harm() -> None:
    book = load_workbook(io.BytesIO(documents()["pieces.xlsx"]))
    sheet: Any = book["pieces"]
    chart = BarChart()
    chart.add_data(Reference(sheet, 1, 2, 1, 5))
    sheet.add_chart(chart, "A9")
    sheet.cell(2, 1).hyperlink = "#measures!A1"
    assert read(typed_into(saved(book), {1: {"glass": "ruby"}})).filled.of(1).glass == "ruby"
