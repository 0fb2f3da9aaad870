"""The tiled pattern: put together by its marks it is the single page; read with pymupdf alone."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from functools import cache

import numpy as np
import numpy.typing as npt
import pymupdf
import pytest
import shapely
from shapely.geometry import box

from rubbing2pattern.documents.drawing.pattern import panel_marks, sheet_drawing
from rubbing2pattern.documents.formats.pdf import pdf_bytes
from rubbing2pattern.documents.tiles import tile_documents
from rubbing2pattern.documents.tiles.grid import tile_name
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.options.paper import PaperOptions
from tests import panels
from tests.documents.tiled import Array, Page, as_lines, joined, pages
from tests.running import settings

METRIC, INCHES = DocumentOptions(), DocumentOptions(units="in")
OFF = PaperOptions(papers=("Letter",), print_across=1.013, print_up=0.991)
MIRRORED = replace(OFF, mirrored=True)
A3 = PaperOptions(papers=("A3",))


@cache
def mosaic() -> Panel:
    return panels.mosaic(130, 460.0, 640.0)


def documents(panel: Panel, options: DocumentOptions, paper: PaperOptions) -> dict[str, bytes]:
    drawn = panel_marks(panel, options, mirrored=paper.mirrored)
    return tile_documents(drawn, panel, {"image": {"name": "a.png"}}, options, paper)


@cache
def read(panel: str, options: DocumentOptions, paper: PaperOptions) -> list[Page]:
    made = mosaic() if panel == "mosaic" else panels.arched()
    (pdf,) = documents(made, options, paper).values()
    return pages(pdf, (paper.print_across, paper.print_up))


def single(panel: Panel, options: DocumentOptions, paper: PaperOptions) -> Page:
    drawn = panel_marks(panel, options, mirrored=paper.mirrored)
    (page,) = pages(pdf_bytes(sheet_drawing(drawn, panel, {}, options)))
    return page


def said_on(*made: Page) -> str:
    """Give all words of pages, in one line."""
    return " ".join(text for page in made for text, _ in page.words)


def furthest(lines: npt.NDArray[np.object_], others: npt.NDArray[np.object_]) -> float:
    """Return how far any point of the lines is from the nearest of the others, 0.15 mm or more."""
    points = shapely.points(shapely.get_coordinates(shapely.segmentize(lines, 4.0)))
    assert len(points) > 500
    tree = shapely.STRtree(others)
    near, _ = tree.query(points, predicate="dwithin", distance=0.15)
    far = np.delete(points, near)
    if not len(far):
        return 0.15
    _, distance = tree.query_nearest(far, return_distance=True, all_matches=False)
    return float(distance.max())


CASES = pytest.mark.parametrize(
    ("name", "options", "paper"),
    [
        ("arched", METRIC, PaperOptions()),
        ("mosaic", METRIC, A3),
        ("mosaic", METRIC, PaperOptions(overlap_mm=25.0)),
        ("mosaic", INCHES, OFF),
        ("mosaic", INCHES, MIRRORED),
    ],
    ids=["arched A4", "A3", "A4 wide overlap", "Letter, printer off", "mirrored"],
)


@CASES
def test_tiles_put_together_by_their_marks_are_the_single_page(
    name: str, options: DocumentOptions, paper: PaperOptions
) -> None:
    """Every line of the tiles lies on one of the single page and the other way round, to 0.2 mm."""
    panel = mosaic() if name == "mosaic" else panels.arched()
    tiles = [page for page in read(name, options, paper) if page.name != "Map"]
    assert len(tiles) > 3
    places = joined(tiles)
    assert set(places) == {tile.name for tile in tiles}
    whole = single(panel, options, paper)
    shown: list[shapely.Geometry] = []
    numbers: dict[str, list[Array]] = {}
    for tile in tiles:
        at = places[tile.name]
        assert tile.window is not None
        x0, y0, x1, y1 = tile.window
        window = box(x0 + at[0], y0 + at[1], x1 + at[0], y1 + at[1])
        lines = np.array(as_lines(tile.strokes, at), dtype=object)
        shown += list(shapely.intersection(lines, window))
        for text, corners in tile.numbers().items():
            numbers.setdefault(text, []).append(corners.mean(axis=0) + at)
    expected = whole.numbers()
    assert set(numbers) == set(expected) == {str(p.number) for p in panel.pieces}
    (first, *_) = numbers["1"]
    shift = expected["1"].mean(axis=0) - first
    for text, places_of_it in numbers.items():
        for place in places_of_it:
            assert np.abs(place + shift - expected[text].mean(axis=0)).max() < 0.2, text
    parts = shapely.get_parts(np.array(shown, dtype=object))
    tiled = shapely.transform(parts[~shapely.is_empty(parts)], lambda p: p + shift)
    drawn = np.array(as_lines(whole.strokes, np.zeros(2)), dtype=object)
    assert furthest(tiled, drawn) < 0.2
    # The other way: all that the single page has within the panel.
    x0, y0, x1, y1 = shapely.total_bounds(tiled)
    inner = shapely.get_parts(shapely.intersection(drawn, box(x0, y0, x1, y1)))
    assert furthest(inner[~shapely.is_empty(inner)], tiled) < 0.2
    rim_mm = 12.0 if name == "mosaic" else 9.5
    size = (panel.width_mm + rim_mm, panel.height_mm + rim_mm)
    assert (x1 - x0, y1 - y0) == pytest.approx(size, abs=0.2)


@CASES
def test_check_lengths_are_true_both_ways_on_every_page(
    name: str, options: DocumentOptions, paper: PaperOptions
) -> None:
    for page in read(name, options, paper):
        for axis in (0, 1):
            lengths = [
                abs(line[1][axis] - line[0][axis])
                for line in page.lines
                if abs(line[1][1 - axis] - line[0][1 - axis]) < 1e-3
            ]
            truth = options.check_length_mm
            assert sum(abs(length - truth) < 0.05 for length in lengths) == 1, page.name
        said = [text for text, _ in page.words if "check length: measure before use" in text]
        assert len(said) == 2


@CASES
def test_every_number_is_whole_on_the_tile_where_it_lies(
    name: str, options: DocumentOptions, paper: PaperOptions
) -> None:
    whole = set()
    for page in read(name, options, paper):
        if page.window is not None:
            x0, y0, x1, y1 = page.window
            for text, ((left, low), (right, high)) in page.numbers().items():
                if x0 <= left and right <= x1 and y0 <= low and high <= y1:
                    whole.add(text)
    panel = mosaic() if name == "mosaic" else panels.arched()
    assert whole == {str(piece.number) for piece in panel.pieces}


@pytest.mark.parametrize(
    ("paper", "size_mm"),
    [
        ("A4", (210.0, 297.0)),
        ("A3", (297.0, 420.0)),
        ("Letter", (215.9, 279.4)),
        ("Tabloid", (279.4, 431.8)),
        ("600x900mm", (600.0, 900.0)),
        ("420x297mm", (420.0, 297.0)),
    ],
)
@pytest.mark.parametrize("scale", [(1.0, 1.0), (1.05, 0.95)])
def test_pages_have_the_size_of_the_paper_and_print_clear_of_its_edge(
    paper: str, size_mm: tuple[float, float], scale: tuple[float, float]
) -> None:
    """ISO 216 for A4 and A3, ASME Y14.1 for the sheets in inches."""
    options = PaperOptions(papers=(paper,), print_across=scale[0], print_up=scale[1])
    files = documents(panels.two_by_two(), METRIC, options)
    assert set(files) == {f"pattern-{paper}.pdf"}
    for page in pages(files[f"pattern-{paper}.pdf"]):
        assert page.size == pytest.approx(size_mm, abs=0.01)
        for line in page.lines:
            # On the paper, whether the printer grows about a corner or about the middle.
            for grown in (line, line * scale, (line - page.size / 2) * scale + page.size / 2):
                assert grown.min() > 2.5
                assert (page.size - grown).min() > 2.5


def test_the_map_names_every_tile_and_the_pages_follow_row_by_row() -> None:
    first, *tiles = read("mosaic", METRIC, A3)
    names = [tile.name for tile in tiles]
    assert names == ["A1", "A2", "B1", "B2"]
    assert set(names) <= {text for text, _ in first.words}
    said = said_on(first)
    for needed in ("Map of the tiles", "4 tiles on A3", "register marks", "never fitted", "mosaic",
                   "460.0 × 640.0 mm", "Leads", "Lead dust"):  # fmt: skip
        assert needed in said, needed
    for number, tile in enumerate(tiles, start=2):
        words = [text for text, _ in tile.words]
        assert f"Page {number} of 5, A3" in words
        assert any("Print at 100 %" in text for text in words)


def test_a_window_that_shows_nothing_gets_no_page() -> None:
    """The corners beside a narrow arch are empty; the map shows a dash there."""
    panel = panels.arched(1600.0, 180.0)
    first, *tiles = pages(documents(panel, METRIC, PaperOptions())["pattern-A4.pdf"])
    assert "A1" not in [tile.name for tile in tiles]
    rows = {tile.name[0] for tile in tiles}
    columns = {tile.name[1:] for tile in tiles}
    dashes = sum(text == "–" for text, _ in first.words)
    assert dashes == len(rows) * len(columns) - len(tiles) > 1


def test_what_the_pages_make_up_for_is_written_on_each() -> None:
    for page in read("mosaic", INCHES, OFF):
        assert "made for a printer that prints 1.013 across x 0.991 up" in said_on(page)
    assert "made for a printer" not in said_on(*read("mosaic", METRIC, A3))


def test_mirrored_is_marked_on_every_page() -> None:
    for page in read("mosaic", INCHES, MIRRORED):
        assert "MIRRORED: seen from the other side (outside)" in said_on(page)
    assert "MIRRORED" not in said_on(*read("mosaic", INCHES, OFF))


def test_paper_of_any_size_holds_the_longest_title_block() -> None:
    """Where map and title block have no room together, the block gets a page of its own."""
    panel = replace(panels.two_by_two(), name="a very long name " * 12)
    large = DocumentOptions(letter_height_mm=5.0)
    paper = PaperOptions(papers=("200x200mm",), unprinted_mm=15.0)
    made = pages(documents(panel, large, replace(paper, unprinted_mm=4.0))["pattern-200x200mm.pdf"])
    assert [page.name for page in made[:3]] == ["Map", "Map", "A1"]
    for page in made:
        for text, corners in page.words:
            assert corners.min() > 0.0, text
            assert (page.size - corners).min() > 0.0, text


def test_papers_of_the_units() -> None:
    panel = panels.strapped()
    assert set(documents(panel, METRIC, PaperOptions())) == {"pattern-A4.pdf"}
    assert set(documents(panel, INCHES, PaperOptions())) == {"pattern-Letter.pdf"}
    assert documents(panel, METRIC, PaperOptions(papers=("none",))) == {}
    two = PaperOptions(papers=("tabloid", "24x36in"))
    assert set(documents(panel, INCHES, two)) == {"pattern-Tabloid.pdf", "pattern-24x36in.pdf"}


def test_tile_names() -> None:
    places = [(0, 0), (0, 11), (1, 0), (25, 2), (26, 0), (51, 0), (52, 0), (701, 0), (702, 0)]
    assert [tile_name(*place) for place in places] == [
        "A1", "A12", "B1", "Z3", "AA1", "AZ1", "BA1", "ZZ1", "AAA1",
    ]  # fmt: skip


def test_the_same_bytes_in_another_process() -> None:
    code = (
        "import sys\n"
        "from rubbing2pattern.documents import document_files\n"
        "from rubbing2pattern.options.documents import DocumentOptions\n"
        "from rubbing2pattern.options.paper import PaperOptions\n"
        "from tests import panels\n"
        "paper = PaperOptions(mirrored=True, print_up=1.004)\n"
        "files = document_files(panels.arched(), None, {}, DocumentOptions(), paper)\n"
        "sys.stdout.buffer.write(files['pattern-A4.pdf'])\n"
    )
    runs = [
        subprocess.run(
            [sys.executable, "-c", code],
            **settings(PYTHONHASHSEED=seed) | {"text": False, "encoding": None},
            capture_output=True,
            check=True,
        ).stdout
        for seed in ("1", "2")
    ]
    assert runs[0] == runs[1]
    assert len(pymupdf.open(stream=runs[0], filetype="pdf")) == 7
