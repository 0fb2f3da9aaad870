"""The sheet of pieces seen by a spreadsheet library: figures, pictures, drop-down lists."""

from __future__ import annotations

import csv
import io
import zipfile
from dataclasses import replace

import numpy as np
import pytest
from openpyxl import load_workbook
from PIL import Image

from rubbing2pattern.documents.lists.shape_picture import HEIGHT_PX, WIDTH_PX, shape_png
from rubbing2pattern.glazing.columns import MEASURES, SHEET, columns, of_heading
from rubbing2pattern.glazing.entries import (
    DECORATIONS,
    TYPED,
    Action,
    Entry,
    Filled,
    State,
    Vanished,
)
from tests import panels
from tests.glazing.sheets import FOUR, INCHES, METRIC, column_of, documents

EVIL = '=HYPERLINK("x","y")'
SIGNS = ("=1+1", "+1+cmd", "-x", "@SUM(A1)", EVIL)


def test_the_workbook_and_the_list_say_the_same() -> None:
    files = documents(Filled({2: Entry(State.CRACKED, Action.PLATE, "clear", "4 mm")}))
    listed = list(csv.DictReader(io.StringIO(files["pieces.csv"].decode())))
    book = load_workbook(io.BytesIO(files["pieces.xlsx"]))
    found = set()
    for sheet, names in ((book["pieces"], SHEET), (book["measures"], MEASURES)):
        assert sheet.max_row == len(listed) + 1 == len(FOUR.pieces) + 1
        meant = [of_heading(str(cell.value)) for cell in sheet[1]]
        assert [m[0] for m in meant if m] == list(names)
        for k, row in enumerate(listed, start=2):
            for heading, text in row.items():
                column = of_heading(heading)
                assert column is not None
                if column[0] not in names:
                    continue
                found.add(column[0])
                value = sheet.cell(k, column_of(sheet, column[0])).value
                if isinstance(value, int | float):
                    assert value == float(text)
                else:
                    assert (value or "") == text
    assert found == {*columns(picture=False)}, "both sheets hold all that the list has"


def test_what_is_filled_in_prints_first_and_large_enough_to_read() -> None:
    """A4 across: the width of the printed columns at 96 dots to the inch, against the paper's."""
    book = load_workbook(io.BytesIO(documents()["pieces.xlsx"]))
    sheet = book["pieces"]
    last = column_of(sheet, "findings")
    assert [column_of(sheet, name) for name in TYPED] == list(range(3, 3 + len(TYPED)))
    letter = sheet.cell(1, last).column_letter
    assert sheet.print_area == f"'pieces'!$A$1:${letter}$5"
    for shown in (sheet, book["measures"]):
        assert shown.page_setup.paperSize == 9 and shown.page_setup.orientation == "landscape"
        assert shown.print_title_rows == "$1:$1"
        end = last if shown is sheet else shown.max_column
        letters = [shown.cell(1, k + 1).column_letter for k in range(end)]
        wide_px = sum(7.0 * shown.column_dimensions[name].width + 5.0 for name in letters)
        margins_in = shown.page_margins.left + shown.page_margins.right
        scale = min(1.0, (297.0 / 25.4 - margins_in) * 96.0 / wide_px)
        assert 11.0 * scale >= 9.0, "print under 9 point is not read at arm's length"
    assert sheet["A2"].font.size >= 14


def test_every_piece_has_the_picture_of_its_shape_in_its_row() -> None:
    panel = panels.roundel_in_square()
    book = load_workbook(io.BytesIO(documents(panel=panel)["pieces.xlsx"]))
    sheet = book["pieces"]
    rows = sorted(image.anchor._from.row for image in sheet._images)
    assert rows == list(range(1, len(panel.pieces) + 1))
    assert {image.anchor._from.col + 1 for image in sheet._images} == {column_of(sheet, "shape")}
    for image in sheet._images:
        row = image.anchor._from.row
        points = sheet.row_dimensions[row + 1].height
        assert points > HEIGHT_PX * 0.75, "a picture must not reach into the next row"
        piece = next(p for p in panel.pieces if p.number == sheet.cell(row + 1, 1).value)
        assert image._data() == shape_png(piece)


def test_a_picture_shows_the_shape_upright_with_its_hole() -> None:
    panel = panels.roundel_in_square()
    ringed = next(p for p in panel.pieces if p.outline.interiors)
    grey = np.asarray(Image.open(io.BytesIO(shape_png(ringed))))
    assert grey.shape == (HEIGHT_PX, WIDTH_PX)
    x_min, y_min, x_max, y_max = ringed.cut_outline.bounds
    side = HEIGHT_PX - 6
    glass = (grey > 150) & (grey < 235)
    share = glass.sum() / side**2
    area = ringed.cut_area_mm2 / ((x_max - x_min) * (y_max - y_min))
    assert share == pytest.approx(area, abs=0.15)  # the black edge takes its part
    assert grey[HEIGHT_PX // 2, WIDTH_PX // 2] > 250


def test_a_tall_piece_points_up() -> None:
    arched = panels.arched(400.0, 180.0)
    piece = max(arched.pieces, key=lambda p: p.label_at[1])
    grey = np.asarray(Image.open(io.BytesIO(shape_png(piece))))
    dark = grey < 235
    rows = np.flatnonzero(dark.any(axis=1))
    top, bottom = dark[rows[0] + 3].sum(), dark[rows[-1] - 3].sum()
    assert top < bottom, "the crown of an arch is above"


def test_drop_down_lists_hold_the_words() -> None:
    sheet = load_workbook(io.BytesIO(documents()["pieces.xlsx"]))["pieces"]
    rules = {str(r.sqref): r.formula1 for r in sheet.data_validations.dataValidation}
    words = {
        "state": [w.value for w in State],
        "action": [w.value for w in Action],
        "decoration": list(DECORATIONS),
    }
    assert len(rules) == len(words)
    for name, allowed in words.items():
        letter = sheet.cell(1, column_of(sheet, name)).column_letter
        assert rules[f"{letter}2:{letter}5"] == f'"{",".join(allowed)}"'
        assert len(rules[f"{letter}2:{letter}5"]) <= 257, "a spreadsheet refuses longer ones"


def test_cells_to_fill_in_are_text_so_that_no_day_is_made_of_a_fraction() -> None:
    sheet = load_workbook(io.BytesIO(documents()["pieces.xlsx"]))["pieces"]
    for name in TYPED:
        assert {sheet.cell(k, column_of(sheet, name)).number_format for k in range(2, 6)} == {"@"}


@pytest.mark.parametrize("text", SIGNS)
def test_a_text_that_looks_like_a_formula_is_none_anywhere(text: str) -> None:
    entry = Entry(State.BROKEN, Action.REPLACE, glass=text, remark=text)
    files = documents(Filled({1: entry, 2: Entry(remark="plain")}, (Vanished(9, entry),)))
    for name in ("pieces.xlsx", "replacement.xlsx"):
        book = load_workbook(io.BytesIO(files[name]))
        found = [c for sheet in book for row in sheet for c in row if c.value == text]
        assert len(found) >= 2
        assert all(c.data_type == "s" and c.quotePrefix for c in found)
        assert all(c.data_type != "f" for sheet in book for row in sheet for c in row)
        with zipfile.ZipFile(io.BytesIO(files[name])) as packed:
            for part in packed.namelist():
                if part.startswith("xl/worksheets/"):
                    assert b"<f>" not in packed.read(part)
    for name in ("pieces.csv", "replacement.csv"):
        cells = [c for row in csv.reader(io.StringIO(files[name].decode())) for c in row]
        assert f"'{text}" in cells
        assert text not in cells


def test_vanished_rows_stand_on_a_sheet_of_their_own() -> None:
    gone = (Vanished(9, Entry(State.CRACKED, remark="lost")),)
    book = load_workbook(io.BytesIO(documents(Filled({}, gone))["pieces.xlsx"]))
    assert book.sheetnames == ["pieces", "measures", "vanished", "notes"]
    assert [c.value for c in book["vanished"][2]][:2] == [9, "cracked"]
    assert load_workbook(io.BytesIO(documents()["pieces.xlsx"])).sheetnames == [
        "pieces", "measures", "notes"
    ]  # fmt: skip


@pytest.mark.parametrize("options", [METRIC, INCHES])
def test_the_same_bytes_again_and_no_time_of_day(options: object) -> None:
    filled = Filled({1: Entry(State.BROKEN, Action.REPLACE, "clear", "3 mm")})
    first, second = documents(filled, options), documents(filled, options)  # type: ignore[arg-type]
    assert first == second
    for name in ("pieces.xlsx", "replacement.xlsx"):
        with zipfile.ZipFile(io.BytesIO(first[name])) as packed:
            assert {part.date_time for part in packed.infolist()} == {(1980, 1, 1, 0, 0, 0)}
            core = packed.read("docProps/core.xml")
        assert b"created" not in core and b"modified" not in core


def test_no_mixture_of_units() -> None:
    files = documents(Filled({1: Entry(State.BROKEN, Action.REPLACE)}), INCHES)
    for name in ("pieces.csv", "replacement.csv"):
        heads = files[name].decode().splitlines()[0]
        assert "_mm" not in heads and "_in" in heads
    sheet = load_workbook(io.BytesIO(files["pieces.xlsx"]))["pieces"]
    assert not any("mm" in str(cell.value) for cell in sheet[1])


def test_the_footer_shows_any_name_of_a_panel() -> None:
    panel = replace(FOUR, name="n4 & s2")
    sheet = load_workbook(io.BytesIO(documents(panel=panel)["pieces.xlsx"]))["pieces"]
    assert "n4 && s2" in str(sheet.oddFooter.left.text)
    assert sheet.print_title_rows == "$1:$1"
