"""Glass to buy and the firings of the kiln."""

from __future__ import annotations

import csv
import io

import ezdxf
import numpy as np
import pytest
from openpyxl import load_workbook

from rubbing2pattern.documents.lists.glass_to_buy import NOT_STATED
from rubbing2pattern.glazing.entries import Action, Decoration, Entry, Filled, State
from rubbing2pattern.glazing.kiln import firings
from rubbing2pattern.glazing.new_glass import glass_orders
from rubbing2pattern.options.glass import GlassOptions
from tests import panels
from tests.glazing.sheets import FOUR, INCHES, documents

NEW = Action.REPLACE
PAINT, STAIN, ENAMEL = Decoration.PAINTED, Decoration.SILVER_STAIN, Decoration.ENAMEL
FILLED = Filled(
    {
        1: Entry(State.MISSING, NEW, "ruby", "3 mm", (PAINT, STAIN)),
        2: Entry(State.BROKEN, NEW, "Ruby", "3 mm", (ENAMEL,), "as piece 1"),
        3: Entry(State.CRACKED, Action.EDGE_BOND, "ruby", "3 mm", (PAINT,)),
        4: Entry(State.BROKEN, NEW),
    }
)


def rows(content: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(content.decode())))


def test_nothing_to_replace_makes_no_list() -> None:
    assert set(documents(Filled({1: Entry(State.CRACKED)}))) == {"pieces.csv", "pieces.xlsx"}


def test_pieces_to_replace_glass_by_glass() -> None:
    listed = rows(documents(FILLED, waste_share=0.2)["replacement.csv"])
    assert [(r["glass"], r["thickness"], r["number"]) for r in listed] == [
        ("ruby", "3 mm", "1"),
        ("ruby", "3 mm", "2"),
        (NOT_STATED, NOT_STATED, "4"),
    ]
    first = listed[0]
    # 100 x 150 mm to the lead lines; half a heart of 1.6 mm and 0.4 mm clearance on every side.
    assert (first["width_mm"], first["height_mm"]) == ("97.6", "147.6")
    assert (first["rectangle_width_mm"], first["rectangle_height_mm"]) == ("147.6", "97.6")
    assert (first["blank_width_mm"], first["blank_height_mm"]) == ("107.6", "157.6")
    assert float(first["cut_area_mm2"]) == pytest.approx(97.6 * 147.6, abs=0.06)
    assert float(first["area_with_waste_mm2"]) == pytest.approx(1.2 * 97.6 * 147.6, abs=0.06)
    total = 2 * 1.2 * 97.6 * 147.6
    assert float(first["glass_area_with_waste_mm2"]) == pytest.approx(total, abs=0.06)
    assert [r["sheets"] for r in listed] == ["1", "", "1"]
    assert listed[1]["remark"] == "as piece 1"


def test_the_workbook_of_glass_says_the_same() -> None:
    files = documents(FILLED)
    book = load_workbook(io.BytesIO(files["replacement.xlsx"]))
    listed = rows(files["replacement.csv"])
    pieces = list(book["pieces"].iter_rows(min_row=2, values_only=True))
    assert [row[2] for row in pieces] == [int(r["number"]) for r in listed]
    assert [row[9] for row in pieces] == [float(r["cut_area_mm2"]) for r in listed]
    glasses = list(book["glass"].iter_rows(min_row=2, max_row=3, values_only=True))
    assert glasses[0][:3] == ("ruby", "3 mm", 2)
    assert glasses[0][4] == float(listed[0]["glass_area_with_waste_mm2"])
    assert glasses[0][5:7] == (1, "1, 2")
    assert glasses[1][0] == NOT_STATED


def test_sheets_of_a_given_size() -> None:
    """Blanks of 107.6 x 157.6 mm with 2 mm between, 10 mm of the edge not used."""
    every = Filled({n: Entry(None, NEW, "clear") for n in (1, 2, 3, 4)})
    width, height = 2 * 107.6 + 2 + 20, 2 * 157.6 + 2 + 20

    def sheets(w: float, h: float, **more: bool) -> tuple[int, tuple[int, ...]]:
        options = GlassOptions(sheet_width_mm=w, sheet_height_mm=h, **more)  # type: ignore[arg-type]
        (order,) = glass_orders(FOUR, every, options)
        return order.sheets.sheets, order.too_large

    assert sheets(width, height) == (1, ())
    assert sheets(width, height - 0.1) == (2, ())
    assert sheets(107.6 + 20, 157.6 + 20) == (4, ())
    # With grain no piece may be turned; without, a sheet that lies across will do.
    assert sheets(157.6 + 20, 107.6 + 20) == (0, (1, 2, 3, 4))
    assert sheets(157.6 + 20, 107.6 + 20, grained=False) == (4, ())


def test_a_grain_of_its_own_turns_the_blank_and_the_template() -> None:
    """Pieces of 97.6 x 147.6 mm; one with a level grain lies across, one without may be turned."""
    entries = {
        1: Entry(None, NEW, "ruby", grain_deg=0.0),
        2: Entry(None, NEW, "ruby"),
        3: Entry(None, NEW, "clear", grain_deg=180.0),
    }
    files = documents(Filled(entries))
    by_number = {r["number"]: r for r in rows(files["replacement.csv"])}
    assert [by_number[n]["grain_deg"] for n in "123"] == ["0", "90", "180"]
    blanks = [(by_number[n]["blank_width_mm"], by_number[n]["blank_height_mm"]) for n in "123"]
    assert blanks == [("157.6", "107.6"), ("107.6", "157.6"), ("157.6", "107.6")]
    assert sorted(template_sizes(files["templates.dxf"])) == [
        (97.6, 147.6), (147.6, 97.6), (147.6, 97.6),
    ]  # fmt: skip
    # Without a grain of all glass only those with one of their own are kept upright.
    files = documents(Filled(entries), grained=False)
    by_number = {r["number"]: r for r in rows(files["replacement.csv"])}
    assert [by_number[n]["grain_deg"] for n in "123"] == ["0", "", "180"]
    book = load_workbook(io.BytesIO(files["replacement.xlsx"]))
    notes = " ".join(str(c.value) for c in book["glass"]["A"])
    assert "pieces without a grain turned as they fit" in notes


def template_sizes(content: bytes) -> list[tuple[float, float]]:
    space = ezdxf.read(io.StringIO(content.decode())).modelspace()
    outlines = [e for e in space.query("LWPOLYLINE") if e.dxf.layer == "cut outline"]
    boxes = [np.ptp(np.array(e.get_points("xy")), axis=0) for e in outlines]
    return [(round(float(w), 3), round(float(h), 3)) for w, h in boxes]


def test_a_piece_that_fits_on_no_sheet_is_reported() -> None:
    files = documents(FILLED, sheet_width_mm=100.0, sheet_height_mm=100.0)
    assert {r["note"] for r in rows(files["replacement.csv"])} == {
        "fits on no sheet of the given size"
    }


def test_firings_in_their_order() -> None:
    fired = rows(documents(FILLED)["kiln.csv"])
    assert [r["what"] for r in fired] == ["traced and shaded paint", "enamel", "silver stain"]
    assert [r["firing"] for r in fired] == ["1", "2", "3"]
    assert [r["numbers"] for r in fired] == ["1", "2", "1"], "piece 3 is not made new"
    assert [r["side"] for r in fired] == ["front", "as its maker's sheet says", "reverse"]
    assert (fired[0]["temperature_F"], fired[0]["temperature_C"]) == ("1175", "635")
    assert fired[1]["temperature_F"] == fired[1]["temperature_C"] == "by its maker's sheet"
    assert (fired[2]["temperature_F"], fired[2]["temperature_C"]) == ("1100", "593")
    assert "20 parts of powdered paint to 1 of gum arabic" in fired[0]["how"]
    assert "under it" in fired[2]["how"] and "reverse" not in fired[0]["side"]
    for row in fired:
        assert "toxic metals" in row["cautions"] and "test piece" in row["cautions"]
        assert "no source" in row["how"]


def test_temperatures_are_options_and_exact_in_both_scales() -> None:
    """°C = (°F - 32) / 1.8, by definition: 1112 °F is 600 °C."""
    first, *_ = firings(FOUR, FILLED, GlassOptions(paint_f=1112.0))
    assert first.temperature_c == pytest.approx(600.0, abs=1e-9)


def test_shelves_by_the_size_of_the_pieces() -> None:
    painted = Filled({n: Entry(None, NEW, decoration=(PAINT,)) for n in (1, 2, 3, 4)})
    (firing,) = firings(FOUR, painted, GlassOptions())
    # 97.6 x 147.6 mm each, 10 mm between.
    assert firing.shelf_mm2 == pytest.approx(4 * 107.6 * 157.6, abs=0.5)
    assert firing.loads == 1
    small = GlassOptions(shelf_width_mm=120.0, shelf_height_mm=170.0)
    (firing,) = firings(FOUR, painted, small)
    assert firing.loads == 4
    (firing,) = firings(FOUR, painted, GlassOptions(shelf_width_mm=110.0, shelf_height_mm=110.0))
    assert firing.loads == 0 and firing.too_large == (1, 2, 3, 4)


def test_plain_glass_has_no_kiln_list() -> None:
    plain = Filled({1: Entry(None, NEW, decoration=(Decoration.PLAIN,)), 2: Entry(None, NEW)})
    assert "kiln.csv" not in documents(plain)


def test_templates_of_just_these_pieces() -> None:
    files = documents(FILLED)
    assert {"templates.pdf", "templates.svg", "templates.dxf"} <= set(files)


def test_inches_with_fractions() -> None:
    row = rows(documents(FILLED, INCHES)["replacement.csv"])[0]
    assert row["width_in"] == "3 13/16"  # 97.6 mm are 3.843 in
    kiln = rows(documents(FILLED, INCHES)["kiln.csv"])[0]
    assert " mm" not in kiln["how"]


def test_two_hundred_and_fifty_pieces_are_all_in_one_list() -> None:
    panel = panels.lattice(25, 10)
    every = Filled({p.number: Entry(None, NEW, "clear") for p in panel.pieces})
    (order,) = glass_orders(panel, every, GlassOptions())
    assert len(order.pieces) == 250
    assert order.sheets.sheets >= order.sheets.least_sheets > 0
