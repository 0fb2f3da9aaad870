"""The documents of matched loose pieces, made from matches that are put together by hand."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np
import pymupdf
import pytest
import shapely
from openpyxl import load_workbook
from PIL import Image
from shapely.affinity import translate
from shapely.geometry import Polygon

from rubbing2pattern.documents.drawing import Text
from rubbing2pattern.documents.drawing.sheets import (
    BINDS,
    FIGURE,
    LEADER,
    MISSING,
    NUMBER,
    SHORT,
    View,
    hatched,
)
from rubbing2pattern.documents.matches import MATCH_NAMES, match_documents
from rubbing2pattern.documents.matches.panel_drawing import panel_page
from rubbing2pattern.documents.matches.record import matches_json, matches_schema, read_matches
from rubbing2pattern.errors import InputUnreadable, UsageFault
from rubbing2pattern.geometry.frame import Placement
from rubbing2pattern.inputs.corrections import read_corrections
from rubbing2pattern.matching.pattern_offer import PATTERN_NAMES, pattern_name
from rubbing2pattern.matching.result import Matching
from rubbing2pattern.options.documents import DocumentOptions
from tests.documents.matched import PANEL, cut_of, matching, with_pattern
from tests.running import ROOT

OPTIONS = DocumentOptions()
PATTERN_NAME = pattern_name("")
SCHEMA = ROOT / "docs" / "matches.schema.json"


@pytest.fixture(scope="module")
def whole() -> Matching:
    return with_pattern(matching())


@pytest.fixture(scope="module")
def files(whole: Matching) -> dict[str, bytes]:
    return match_documents(whole, OPTIONS)


def table(files: dict[str, bytes]) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(files["matches.csv"].decode())))


def test_the_same_matches_give_the_same_bytes(whole: Matching, files: dict[str, bytes]) -> None:
    assert tuple(files) == tuple(PATTERN_NAME if n == PATTERN_NAMES else n for n in MATCH_NAMES)
    assert match_documents(whole, OPTIONS) == files


def test_the_table_says_what_to_do_with_each_piece(files: dict[str, bytes]) -> None:
    rows = table(files)
    assert [(r["piece"], r["verdict"], r["numbers"]) for r in rows[:9]] == [
        ("P1", "fits", "1"), ("P2", "fits", "2"), ("P3", "groze", "3"), ("P4", "short", "4"),
        ("P5", "other side", "5"), ("P6", "no place", ""), ("P7", "fragment of", "6"),
        ("P8", "fragment of", "6"), ("P9", "cut off", ""),
    ]  # fmt: skip
    # Each of the three noses stands out by 1.8 mm, 1.4 mm beyond the heart, before it is shifted.
    assert 0.7 <= float(rows[2]["groze_mm"]) <= 1.4
    # A bay 6 mm deep from the cut outline, of which the leaf covers 2.5 - 1.2 mm, less the play.
    assert 3.5 <= float(rows[3]["short_mm"]) <= 4.8
    assert rows[4]["other_side"] == "yes" and rows[0]["other_side"] == ""
    assert (rows[6]["with"], rows[7]["with"]) == ("P8", "P7")
    assert rows[6]["margin"] == "" and float(rows[0]["margin"]) > 3.0
    # A stranger that fits nowhere at all has no margin to tell.
    assert rows[5]["margin"] == ""
    open_rows = [(r["verdict"], r["numbers"]) for r in rows[9:]]
    assert open_rows == [("part missing", "6"), *(("no glass", str(n)) for n in range(7, 15))]


def test_the_workbook_has_the_same_and_no_formula(files: dict[str, bytes]) -> None:
    book = load_workbook(io.BytesIO(files["matches.xlsx"]))
    assert book.sheetnames == ["loose pieces", "to cut", "notes"]
    sheet = book["loose pieces"]
    heads = [cell.value for cell in sheet[1]]
    assert heads[:5] == ["photo", "piece", "verdict", "numbers", "lies in"]
    assert [sheet.cell(k, 2).value for k in range(2, 11)] == [f"P{k}" for k in range(1, 10)]
    groze = sheet.cell(4, heads.index("groze mm") + 1)
    assert isinstance(groze.value, float) and f"{groze.value:.2f}" == table(files)[2]["groze_mm"]
    to_cut = list(book["to cut"].iter_rows(min_row=2, max_col=3, values_only=True))
    assert [row[0] for row in to_cut] == list(range(6, 15))
    assert to_cut[1][2] == pytest.approx(cut_of(7).area, abs=0.06)
    notes = " ".join(str(row[0].value) for row in book["notes"].iter_rows())
    assert "Local codes and licensed practice" in notes and "mask for toxic dust" in notes
    for page in book.worksheets:
        assert all(cell.data_type != "f" for row in page.iter_rows() for cell in row)


def test_a_photograph_named_like_a_formula_stays_a_text(whole: Matching) -> None:
    first = whole.matches.matches[0]
    odd = replace(first, piece=replace(first.piece, photo="=1+1.jpg"))
    matches = replace(whole.matches, matches=(odd, *whole.matches.matches[1:]))
    made = match_documents(replace(whole, matches=matches), OPTIONS)
    assert b"'=1+1.jpg" in made["matches.csv"]
    cell = load_workbook(io.BytesIO(made["matches.xlsx"]))["loose pieces"]["A2"]
    assert (cell.value, cell.data_type, cell.quotePrefix) == ("=1+1.jpg", "s", True)


def test_lengths_in_inches(whole: Matching, files: dict[str, bytes]) -> None:
    made = match_documents(whole, replace(OPTIONS, units="in"))
    rows = table(made)
    assert "groze_in" in rows[0]
    inches, mm = float(rows[3]["short_in"]), float(table(files)[3]["short_mm"])
    assert inches == pytest.approx(mm / 25.4, abs=6e-4)
    letter = pymupdf.open(stream=made["matches.pdf"])[0].rect
    assert sorted((letter.width, letter.height)) == pytest.approx([612.0, 792.0], abs=0.5)
    # The record is in mm whatever the documents are in.
    assert made["matches.json"] == files["matches.json"]


def test_the_record_is_read_back_and_lays_each_piece_where_it_says(
    files: dict[str, bytes], tmp_path: Path
) -> None:
    path = tmp_path / "matches.json"
    path.write_bytes(files["matches.json"])
    record = read_matches(path)
    assert [part.number for part in record.unfilled] == list(range(7, 15))
    assert record.unfilled[0].cut_area_mm2 == pytest.approx(cut_of(7).area, abs=0.006)
    placed = [part for part in record.pieces if part.placed is not None]
    assert len(placed) == 7
    for part in placed:
        assert part.placed is not None
        glass = Polygon(part.outline.outline)
        if part.placed.over:
            glass = shapely.transform(glass, lambda p: p * (-1.0, 1.0))
        move = part.placed.placement
        there = Placement(move.angle_deg, move.dx_mm, move.dy_mm)
        laid = shapely.transform(glass, there.apply)
        assert laid.symmetric_difference(Polygon(part.placed.outline.outline)).area < 1.5


def test_a_damaged_or_foreign_record_is_refused(files: dict[str, bytes], tmp_path: Path) -> None:
    datum = json.loads(files["matches.json"])
    path = tmp_path / "matches.json"
    for change, words in (
        ({"format": "letters"}, "is not a record of matches"),
        ({"version": 2}, "of version 2"),
        ({"unfilled": [{"number": 0, "cut_area_mm2": 1}]}, "unfilled.0.number"),
    ):
        path.write_text(json.dumps(datum | change))
        with pytest.raises(InputUnreadable, match=words):
            read_matches(path)
    with pytest.raises(InputUnreadable, match="cannot read"):
        read_matches(tmp_path / "none.json")


def test_the_schema_is_the_one_of_the_docs() -> None:
    assert SCHEMA.read_text(encoding="utf-8") == matches_schema(), "write it anew: make docs"


def test_what_binds_falls_short_and_is_missing_is_drawn_where_it_is(whole: Matching) -> None:
    page = panel_page(whole, OPTIONS)
    # The mapping of the page, from the lead that the page begins with and the panel it shows.
    drawn = [mark for mark in page.on("lead") if hasattr(mark, "points")]
    places = np.concatenate([np.array(mark.points) for mark in drawn])  # type: ignore[union-attr]
    x_min, y_min, x_max, _ = PANEL.outline.bounds
    share = (places[:, 0].max() - places[:, 0].min()) / (x_max - x_min)
    back = (places.min(axis=0), share, (x_min, y_min))

    def in_panel(layer: str) -> shapely.Geometry:
        points = []
        for mark in page.on(layer):
            points += list(mark.points if hasattr(mark, "points") else (mark.curve.start,))  # type: ignore[union-attr]
        return shapely.MultiPoint((np.array(points) - back[0]) / back[1] + back[2])

    hearts = {piece.number: piece.outline for piece in PANEL.pieces}
    assert hearts[3].buffer(1.0).covers(in_panel(BINDS))
    assert hearts[4].buffer(1.0).covers(in_panel(SHORT))
    open_or_part = shapely.union_all([hearts[n] for n in range(6, 15)])
    assert open_or_part.buffer(1.0).covers(in_panel(MISSING))


def test_figures_close_together_are_moved_apart_and_led_to_their_places(whole: Matching) -> None:
    (binds,) = [match for match in whole.matches.matches if match.piece.id == "P3"]
    assert binds.placed is not None
    (first, *_) = binds.placed.groze
    many = tuple(replace(first, most_mm=0.2 + 0.1 * k) for k in range(4))
    moved = replace(binds, placed=replace(binds.placed, groze=many))
    matches = tuple(moved if match is binds else match for match in whole.matches.matches)
    page = panel_page(replace(whole, matches=replace(whole.matches, matches=matches)), OPTIONS)
    texts = [mark for mark in page.on(FIGURE) if isinstance(mark, Text)]
    assert [text.text for text in texts] == ["G 0.5", "G 0.4", "G 0.3", "G 0.2"]
    assert len(page.on(LEADER)) >= 3
    texts += [mark for mark in page.on(NUMBER) if isinstance(mark, Text)]
    boxes = [translate(shapely.box(*text.patch_mm), *text.at) for text in texts]
    for figure, other in product(boxes[:4], boxes):
        assert figure is other or figure.intersection(other).area < 0.01


def test_the_pages_name_every_piece_and_number(files: dict[str, bytes]) -> None:
    pages = [page.get_text() for page in pymupdf.open(stream=files["matches.pdf"])]
    assert len(pages) == 3
    for number in range(1, 15):
        assert f"\n{number}\n" in f"\n{pages[0]}"
    for k in range(1, 10):
        assert f"\nP{k}" in f"\n{pages[1]}"
    assert "P3 groze" in pages[1] and "P4 short by" in pages[1] and "P5 turn over" in pages[1]
    assert "P7+P8" in pages[0] and "P5 T" in pages[0]
    assert "No glass was found for 7, 8, 9, 10, 11, 12, 13, 14" in pages[2]
    assert "P1 may lie in number 2." in pages[2] and "Local codes" in pages[2]


def test_the_list_goes_on_over_pages(whole: Matching) -> None:
    many = [
        replace(match, piece=replace(match.piece, id=f"P{9 * k + j + 1}"))
        for k in range(20)
        for j, match in enumerate(whole.matches.matches)
    ]
    photos = tuple(replace(photo, pieces=()) for photo in whole.photos)
    matches = replace(whole.matches, matches=tuple(many), assemblies=())
    made = match_documents(replace(whole, matches=matches, photos=photos), OPTIONS)
    pages = [page.get_text() for page in pymupdf.open(stream=made["matches.pdf"])][2:]
    assert len(pages) >= 3
    listed = "\n".join(pages).split("\n")
    assert all(f"P{k}" in listed for k in range(1, 181))


def test_the_picture_shows_the_glass_in_its_colours_and_red_where_it_binds(
    files: dict[str, bytes],
) -> None:
    picture = np.asarray(Image.open(io.BytesIO(files["matches.png"])).convert("RGB")).astype(int)
    assert picture.shape[1] > picture.shape[0]
    for colour in ((160, 30, 40), (213, 94, 0)):
        near = np.abs(picture - colour).max(axis=2) < 12
        assert near.sum() > 200


def test_a_view_keeps_shape_and_stays_in_its_room() -> None:
    view = View.within((10.0, 20.0, 410.0, 220.0), (5.0, 5.0, 105.0, 205.0))
    assert view.share == pytest.approx(0.25)
    assert view.places([(10.0, 20.0), (410.0, 220.0)]) == pytest.approx(
        np.array([(5.0, 155.0), (105.0, 205.0)])
    )
    assert View.within((0.0, 0.0, 10.0, 10.0), (0.0, 0.0, 100.0, 100.0)).share == 1.0


def test_hatching_covers_a_shape_evenly() -> None:
    shape = Polygon([(0, 0), (40, 0), (40, 30), (0, 30)], [[(10, 10), (20, 10), (20, 20)]])
    lines = [shapely.LineString([m.curve.start, m.curve.end]) for m in hatched("x", shape)]  # type: ignore[union-attr]
    assert all(shape.buffer(1e-6).covers(line) for line in lines)
    # The area is the length of the lines times their distance.
    assert sum(line.length for line in lines) * 1.8 == pytest.approx(shape.area, rel=0.05)


def test_the_record_does_not_depend_on_the_machine(whole: Matching) -> None:
    assert matches_json(whole) == matches_json(with_pattern(matching()))


def test_the_corrections_offered_are_signed_by_a_person_and_then_read(
    whole: Matching, files: dict[str, bytes], tmp_path: Path
) -> None:
    text = files[PATTERN_NAME].decode()
    assert "# The pattern may be wrong at joint J5: 3 and 4 fit better" in text
    path = tmp_path / PATTERN_NAME
    path.write_text(text)
    with pytest.raises(UsageFault, match="by"):
        read_corrections(path)
    path.write_text(text.replace('by = ""', 'by = "A. G."').replace('""', '"2026-11-25"'))
    (moved,) = read_corrections(path).corrections.move_joint
    assert (moved.joint, moved.to) == ("J5", (12.0, 19.0))
    # Nothing is offered where nothing is asked for.
    assert {*MATCH_NAMES} - {*match_documents(matching(), OPTIONS)} == {PATTERN_NAMES}


def test_where_the_pattern_may_be_wrong_is_said_everywhere(files: dict[str, bytes]) -> None:
    assert [row["pattern"] for row in table(files)[2:4]] == ["J5", "J5"]
    pages = [page.get_text() for page in pymupdf.open(stream=files["matches.pdf"])]
    for page in pages[1:3]:
        assert "the pattern may be wrong here (J5)" in " ".join(page.split())
    record = json.loads(files["matches.json"])
    assert [part["pattern"] for part in record["pieces"][2:4]] == [["J5"], ["J5"]]
    assert record["pattern"][0]["by_mm"] == [2.0, -1.0]
