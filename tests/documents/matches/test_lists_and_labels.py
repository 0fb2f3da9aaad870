"""Lists and labels of matched loose pieces: groups, words for doubt, pictures, small glass."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pymupdf
import pytest
import shapely
from openpyxl import load_workbook
from PIL import Image

from rubbing2pattern.documents.drawing import Stroke, Text
from rubbing2pattern.documents.drawing.sheets import DOUBT, FIGURE, LEADER
from rubbing2pattern.documents.formats.pdf import pdf_bytes
from rubbing2pattern.documents.matches.labels import SHEETS, STRIP, label_pages
from rubbing2pattern.documents.matches.listing import list_pages
from rubbing2pattern.documents.matches.photos import PhotoView, free_place, photo_page, photo_view
from rubbing2pattern.documents.matches.sentences import (
    group_sentences,
    how_sure,
    numbers_text,
    short_numbers_text,
    sure_text,
    work_text,
)
from rubbing2pattern.documents.matches.table import matches_xlsx
from rubbing2pattern.documents.matches.thumbnails import SIDE_PX, thumbnail
from rubbing2pattern.findings import Finding, Kind, finding_of
from rubbing2pattern.matching.loose import Match, Near
from rubbing2pattern.matching.result import Matching
from rubbing2pattern.options.documents import DocumentOptions
from tests.documents.matched import matching

OPTIONS = DocumentOptions()
ALIKE = (1, 2, 4, 7, 9, 12)


def changed(whole: Matching, piece: str, *findings: Finding, **how: object) -> Matching:
    """Return matches with one of them changed and findings added."""
    matches = tuple(
        replace(m, **how) if m.piece.id == piece else m  # type: ignore[arg-type]
        for m in whole.matches.matches
    )
    kept = (*whole.matches.findings, *findings)
    return replace(whole, matches=replace(whole.matches, matches=matches, findings=kept))


@pytest.fixture(scope="module")
def whole() -> Matching:
    return changed(matching(), "P1", numbers=ALIKE)


@pytest.fixture(scope="module")
def view(whole: Matching) -> PhotoView:
    return photo_view(whole.photos[0], whole, OPTIONS)


def doubt(kind: Kind, piece: str, second: int | None = None) -> Finding:
    return finding_of(kind, (0.0, 0.0), pieces=(2,), loose=piece, second=second)


def words(match: Match, of: Matching) -> tuple[str, str]:
    return how_sure(match, of), sure_text(match, of)


def test_a_long_list_of_numbers_stands_once_under_a_name(whole: Matching) -> None:
    assert numbers_text(ALIKE, whole) == "group a"
    assert short_numbers_text(whole.of("P1"), whole) == "1, group a"
    assert group_sentences(whole) == ["Group a: 1, 2, 4, 7, 9, 12; these openings are alike."]
    pages = pymupdf.open(stream=pdf_bytes(*list_pages(whole, {}, OPTIONS)))
    text = "\n".join(page.get_text() for page in pages)
    assert text.count("1, 2, 4, 7, 9, 12") == 1 and "\ngroup a\n" in text
    assert numbers_text((3, 5, 9), whole) == "3, 5 or 9"


@pytest.mark.parametrize(
    ("margin", "findings", "said"),
    [
        (9.0, (), ("sure", "sure")),
        (3.0, (doubt(Kind.OTHER_AS_LIKELY, "P2", 4),), ("likely", "likely, or 4")),
        (1.0, (doubt(Kind.OTHER_AS_LIKELY, "P2", 4),), ("look", "look, or 4")),
        (9.0, (doubt(Kind.GLASS_UNCLEAR, "P2"),), ("look", "look")),
        (9.0, (doubt(Kind.GLASS_UNCLEAR, "P3"),), ("sure", "sure")),
    ],
)
def test_how_sure_a_match_is_in_words(
    whole: Matching, margin: float, findings: tuple[Finding, ...], said: tuple[str, str]
) -> None:
    there = changed(whole, "P2", *findings, margin=margin, second=4)
    assert words(there.of("P2"), there) == said
    known = changed(there, "P2", known=True)
    assert sure_text(known.of("P2"), known).endswith("as you say")


def test_a_doubtful_pattern_asks_to_look(whole: Matching) -> None:
    there = changed(whole, "P3", pattern=("F3",))
    assert words(there.of("P3"), there) == ("look", "look")


def test_a_lost_piece_is_listed_with_what_is_near(whole: Matching) -> None:
    near = Near((8,), False, 2.0, 0.0, whole.of("P6").piece.outline)
    for over, text in ((False, "no place, nearest 8"), (True, "no place, fits 8 turned over")):
        there = changed(whole, "P6", nearest=replace(near, over=over))
        assert work_text(there.of("P6"), there, OPTIONS) == text


def test_wrapped_numbers_stay_in_their_column(whole: Matching) -> None:
    there = changed(whole, "P2", pattern=tuple(f"F{k}" for k in range(100, 130)))
    (page, *_) = list_pages(there, {}, OPTIONS)
    columns = {round(mark.at[0], 2) for mark in page.marks if isinstance(mark, Text)}
    heads = {mark.at[0]: mark.text for mark in page.marks if isinstance(mark, Text) and mark.bold}
    left = page.page_mm[0] + min(columns)
    assert columns <= {*(round(x, 2) for x in heads), round(left, 2)}
    lines = [mark for mark in page.marks if isinstance(mark, Text) and "F1" in mark.text]
    (x,) = {mark.at[0] for mark in lines}
    assert len(lines) > 2 and heads[x] == "To do"


def test_each_piece_is_shown_in_its_colour(whole: Matching, view: PhotoView) -> None:
    for name, colour in (("P1", (160, 30, 40)), ("P2", (60, 110, 60))):
        shown = np.asarray(thumbnail(whole.of(name).piece, view.seen)).astype(int)
        assert shown.shape == (SIDE_PX, SIDE_PX, 3)
        like = np.abs(shown - colour).max(axis=2) < 10
        white = (shown == 255).all(axis=2)
        piece = whole.of(name).piece.outline
        box = max(piece.bounds[2] - piece.bounds[0], piece.bounds[3] - piece.bounds[1])
        covers = piece.area / box**2 * (1.0 - 6.0 / SIDE_PX) ** 2
        assert (~white).mean() == pytest.approx(covers, abs=0.03)
        assert (like | white).mean() > 0.93


def test_the_workbook_has_a_picture_in_every_row(whole: Matching, view: PhotoView) -> None:
    book = load_workbook(io.BytesIO(matches_xlsx(whole, {"bench.jpg": view.seen}, OPTIONS)))
    sheet = book["loose pieces"]
    heads = [cell.value for cell in sheet[1]]
    places = [(image.anchor._from.row, image.anchor._from.col) for image in sheet._images]
    assert places == [(k, heads.index("picture")) for k in range(1, 10)]
    first = np.asarray(Image.open(io.BytesIO(sheet._images[0]._data())).convert("RGB"))
    assert (np.abs(first.astype(int) - (160, 30, 40)).max(axis=2) < 10).mean() > 0.2
    assert sheet.cell(2, heads.index("sure") + 1).value == "sure"


def test_doubt_is_seen_on_the_photograph(whole: Matching, view: PhotoView) -> None:
    there = changed(whole, "P2", doubt(Kind.OTHER_AS_LIKELY, "P2", 4), margin=1.0)
    page = photo_page(view, there, OPTIONS)
    (rim,) = page.on(DOUBT)
    shape = view.view.shape(whole.of("P2").piece.outline)
    assert shapely.Polygon(rim.points).equals_exact(shapely.Polygon(shape.exterior), 1e-6)  # type: ignore[union-attr]
    assert "2 ?" in [mark.text for mark in page.on(FIGURE) if isinstance(mark, Text)]
    assert not photo_page(view, whole, OPTIONS).on(DOUBT)


def test_glass_that_was_not_read_is_ringed_and_named_by_its_pixel(whole: Matching) -> None:
    (photo,) = whole.photos
    at = (300.0, 10.0)
    unread = replace(photo, findings=(finding_of(Kind.GLASS_UNREAD, at),))
    view = photo_view(unread, whole, OPTIONS)
    (ring,) = photo_page(view, whole, OPTIONS).on(DOUBT)
    middle = shapely.Polygon(ring.points).centroid  # type: ignore[union-attr]
    assert middle.equals_exact(shapely.Point(view.view.at(at)), 1e-6)
    assert any(line.startswith("Ring:") for line in view.notes)
    column, row = photo.rubbing.warp.to_px([at])[0]
    pages = list_pages(replace(whole, photos=(unread,)), {}, OPTIONS)
    said = " ".join(m.text for page in pages for m in page.marks if isinstance(m, Text))
    assert f"Look, bench.jpg at pixel {column:.0f},{row:.0f}: Something" in said


def test_small_glass_keeps_its_number_beside_it_with_a_line(
    whole: Matching, view: PhotoView
) -> None:
    page = photo_page(view, whole, OPTIONS)
    # The stranger is a narrow angle; a number on it would hide it.
    (line,) = [mark for mark in page.on(LEADER) if isinstance(mark, Stroke)]
    glass = view.view.shape(whole.of("P6").piece.outline)
    assert glass.covers(shapely.Point(line.curve.end))
    assert not glass.intersects(shapely.Point(line.curve.start).buffer(1.0))


def test_a_free_place_hides_nothing_where_there_is_room() -> None:
    glass = shapely.box(0, 0, 4, 4)
    others = [shapely.box(6, -20, 30, 20), shapely.box(-30, -20, -6, 20)]
    taken: list[shapely.Geometry] = [glass, *others]
    for _ in range(3):
        free_place(glass, (8.0, 3.0), taken)
    boxes = taken[3:]
    assert len(boxes) == 3
    for k, box in enumerate(boxes):
        for other in [glass, *others, *boxes[:k]]:
            assert box.intersection(other).area < 1e-6


@pytest.mark.parametrize(
    ("unit", "size", "count"), [("mm", (210, 297), 24), ("in", (216, 279), 30)]
)
def test_labels_lie_on_their_sheet(
    whole: Matching, unit: str, size: tuple[int, int], count: int
) -> None:
    many = tuple(
        replace(m, piece=replace(m.piece, id=f"P{9 * k + j}"))
        for k in range(4)
        for j, m in enumerate(whole.matches.matches, start=1)
    )
    there = replace(whole, matches=replace(whole.matches, matches=many))
    pages = list(label_pages(there, SHEETS[unit], OPTIONS))
    assert (round(pages[0].width_mm), round(pages[0].height_mm)) == size
    assert len(pages) == -(-36 // count)
    stock, seen = SHEETS[unit], 0
    for page in pages:
        for mark in page.marks:
            assert isinstance(mark, Text)
            x, y = mark.at[0], page.height_mm - mark.at[1]
            column = (x - stock.first[0]) // stock.pitch[0]
            row = (y - stock.first[1]) // stock.pitch[1]
            inner = (x - stock.first[0] - column * stock.pitch[0], y - row * stock.pitch[1])
            assert 0 < inner[0] < stock.size[0] and 0 < inner[1] - stock.first[1] < stock.size[1]
            assert x + mark.patch_mm[2] <= stock.first[0] + column * stock.pitch[0] + stock.size[0]
        seen += sum(mark.text.startswith("P") and mark.text[1:].isdigit() for mark in page.marks)
    assert seen == 36


def test_a_label_says_number_panel_side_and_work(whole: Matching) -> None:
    third, fifth = (list(label_pages(whole, STRIP, OPTIONS))[k] for k in (2, 4))
    assert (third.width_mm, third.height_mm) == (62.0, 29.0)
    said = [mark.text for mark in third.marks if isinstance(mark, Text)]
    assert said[:2] == ["3", "P3"] and said[2].startswith("groze ")
    assert said[3:] == ["Up on the bench: inside", "Panel mosaic"]
    # The fifth lies turned over.
    assert "Up on the bench: outside" in [m.text for m in fifth.marks if isinstance(m, Text)]
