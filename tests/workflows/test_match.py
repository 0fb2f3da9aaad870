"""Loose pieces matched from photographs: the whole way, the command, what is refused."""

from __future__ import annotations

import csv
import io
import json
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from PIL import Image, ImageDraw
from shapely.geometry import LineString, Polygon
from shapely.ops import split

from rubbing2pattern.documents import write_documents
from rubbing2pattern.documents.matches import MATCH_NAMES
from rubbing2pattern.documents.matches.record import read_matches
from rubbing2pattern.errors import InputUnreadable, NoGlassFound, UsageFault
from rubbing2pattern.findings import Code
from rubbing2pattern.geometry.frame import Placement, Warp
from rubbing2pattern.glazing.entries import Action, Entry, Filled, State
from rubbing2pattern.glazing.folder import Known, held_in
from rubbing2pattern.inputs.reference import Dpi
from rubbing2pattern.matching.known import read_known
from rubbing2pattern.matching.loose import Verdict
from rubbing2pattern.matching.panel_openings import openings_of
from rubbing2pattern.matching.pattern_offer import PATTERN_NAMES
from rubbing2pattern.matching.result import Matching
from rubbing2pattern.model import Panel
from rubbing2pattern.options import Options
from rubbing2pattern.options.glass import GlassOptions
from rubbing2pattern.options.paper import PaperOptions
from rubbing2pattern.record.panel import panel_of, read_record
from rubbing2pattern.workflows.lists import list_folder
from rubbing2pattern.workflows.match import match_pieces, write_matches
from tests.glazing.sheets import type_in_folder
from tests.panels import lattice, mosaic, two_by_two
from tests.readings import outlined_once
from tests.running import listing, run_here as run

PX_PER_MM = 2.5
SCAN = Dpi(PX_PER_MM * 25.4)
PANEL = mosaic(7, 150.0, 180.0, seed=11)
CUTS = {opening.number: opening.cut for opening in openings_of(PANEL, 0.2)}
STRANGER = Polygon([(0, 0), (65, 0), (65, 20), (22, 20), (22, 52), (0, 52)])
WIDE_MM, HIGH_MM = 420.0, 280.0
COLOURS = ((150, 30, 40), (50, 100, 60), (40, 60, 150), (190, 150, 60))


def lying(k: int, glass: Polygon) -> Polygon:
    """Lay glass on the bench, the k-th of rows of three, turned in its own way."""
    turn = Placement(71.0 * k + 8.0)
    centre = (glass.centroid.x, glass.centroid.y)
    at = (75.0 + 135.0 * (k % 3), 212.0 - 138.0 * (k // 3))
    return shapely.transform(glass, lambda p: turn.apply(p - centre) + at)


def shoot(path: Path, *glasses: Polygon, mirrored: bool = False) -> Path:
    """Paint glasses on white paper as a flat scan of them would show them."""
    width_px, height_px = round(WIDE_MM * PX_PER_MM), round(HIGH_MM * PX_PER_MM)
    fine = 2
    warp = Warp.similarity(PX_PER_MM, height_px)
    picture = Image.new("RGB", (fine * width_px, fine * height_px), (243, 241, 236))
    pen = ImageDraw.Draw(picture)
    for k, glass in enumerate(glasses):
        places = fine * (warp.to_px(lying(k, glass).exterior.coords) + 0.5) - 0.5
        pen.polygon([(float(x), float(y)) for x, y in places], fill=COLOURS[k % 4])
    small = np.asarray(picture.reduce(fine)).astype(float)
    noise = np.random.default_rng(5).normal(0.0, 1.5, small.shape)
    small = np.clip(small + noise, 0.0, 255.0).astype(np.uint8)
    Image.fromarray(small[:, ::-1] if mirrored else small).save(path)
    return path


def panel_folder(place: Path, panel: Panel = PANEL) -> Path:
    place.mkdir()
    paper = PaperOptions(papers=("none",))
    write_documents(place, panel, None, {}, Options().documents, paper)
    return place


@pytest.fixture(scope="module")
def panel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return panel_folder(tmp_path_factory.mktemp("panels") / "n4 3b")


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    glasses = (CUTS[3], CUTS[1], STRANGER, CUTS[5], CUTS[6])
    return shoot(tmp_path_factory.mktemp("photos") / "bench.png", *glasses)


@pytest.fixture(scope="module")
def matched(tmp_path_factory: pytest.TempPathFactory, bench: Path, panel: Path) -> Path:
    """Return the folder that the command leaves for the bench."""
    place = tmp_path_factory.mktemp("matches") / "out"
    result = run("match", bench, "--dpi", SCAN.dpi, "--results", panel, "-o", place)
    assert result.returncode == 0, result.stderr
    for words in ("P1 in 3", "P2 in 1", "P4 in 5", "P5 in 6", "no place   1: P3"):
        assert words in result.stdout
    assert "no glass was found for 2, 4, 7" in result.stdout
    return place


@pytest.fixture(scope="module")
def again(bench: Path, panel: Path) -> Matching:
    """Match the bench a second time, from Python."""
    return match_pieces([bench], SCAN, panel)


@pytest.fixture(autouse=True)
def outline_only_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let tests share what they see in a photograph; `matched` and `again` each look anew."""
    monkeypatch.setattr("rubbing2pattern.workflows.match._photo", outlined_once)


def command(photo: Path, panel: Path, place: Path, *more: str | Path) -> list[str | Path]:
    dpi = str(SCAN.dpi)
    return ["match", photo, "--dpi", dpi, "--results", panel, "-o", place, "--quiet", *more]


def assert_refused(result: object, code: int, *words: str) -> None:
    assert result.returncode == code, result.stderr  # type: ignore[attr-defined]
    for word in words:
        assert word in result.stderr  # type: ignore[attr-defined]
    assert "Traceback" not in result.stderr  # type: ignore[attr-defined]


def test_the_former_name_of_the_folder_works_and_warns(
    bench: Path, panel: Path, matched: Path, tmp_path: Path
) -> None:
    asked = ["match", bench, "--dpi", SCAN.dpi, "--quiet"]
    result = run(*asked, "--panel", panel, "-o", tmp_path / "out")
    assert result.returncode == 0
    assert result.stderr.startswith("rubbing2pattern: warning: the option --panel is called ")
    assert "--results" in result.stderr and len(result.stderr.splitlines()) == 1
    assert listing(tmp_path / "out") == listing(matched)
    both = run(*asked, "--panel", panel, "--results", panel, "-o", tmp_path / "other")
    assert_refused(both, 2, "give --results alone")
    assert_refused(run(*asked, "-o", tmp_path / "other"), 2, "Missing option '--results'")
    assert "--panel" not in run("match", "--help").stdout


def test_each_piece_finds_its_number_and_lies_where_it_came_from(matched: Path) -> None:
    assert sorted(listing(matched)) == sorted({*MATCH_NAMES} - {PATTERN_NAMES})
    record = read_matches(matched / "matches.json")
    found = {part.piece: part.numbers for part in record.pieces}
    assert found == {"P1": [3], "P2": [1], "P3": [], "P4": [5], "P5": [6]}
    assert [part.number for part in record.unfilled] == [2, 4, 7]
    for part in record.pieces:
        if part.placed is not None:
            glass = Polygon(part.placed.outline.outline)
            assert glass.symmetric_difference(CUTS[part.placed.number]).area < 60.0
            assert not part.placed.over


def test_the_same_photograph_gives_the_same_bytes(
    again: Matching, matched: Path, tmp_path: Path
) -> None:
    write_matches(again, tmp_path / "again")
    assert listing(tmp_path / "again") == listing(matched)


def test_glass_seen_from_the_other_side(panel: Path, tmp_path: Path) -> None:
    photo = shoot(tmp_path / "back.png", CUTS[3], CUTS[1], CUTS[5], mirrored=True)
    # The panel is seen from inside; the glass lies with the outside up.
    turned = match_pieces([photo], SCAN, panel, face_up="outside")
    placed = [m.placed for m in turned.matches.matches]
    assert sorted(m.numbers for m in turned.matches.matches) == [(1,), (3,), (5,)]
    assert all(p is not None and p.over and not turned.lies_over(p) for p in placed)
    assert turned.count(Verdict.OTHER_SIDE) == 0
    # Without that option it fits turned over alone, and the verdict says so.
    tried = match_pieces([photo], SCAN, panel, turn_over=True)
    assert tried.count(Verdict.OTHER_SIDE) == 3
    # The outline written for a piece is that of its photograph in either case.
    for one, other in zip(turned.matches.matches, tried.matches.matches, strict=True):
        assert one.piece.outline.equals(other.piece.outline)


def test_fragments_and_what_is_missing_beside_them(panel: Path, tmp_path: Path) -> None:
    whole = CUTS[1]
    x_min, y_min, x_max, y_max = whole.bounds
    crack = [(x_min - 5, y_min + 0.5 * (y_max - y_min))]
    crack += [
        (x_min + t * (x_max - x_min), y_min + s * (y_max - y_min))
        for t, s in ((0.25, 0.56), (0.5, 0.42), (0.75, 0.55), (1.1, 0.47))
    ]
    parts = sorted(split(whole, LineString(crack)).geoms, key=lambda g: g.centroid.y)
    assert len(parts) == 2
    photo = shoot(tmp_path / "broken.png", *parts, CUTS[3])
    done = match_pieces([photo], SCAN, panel)
    assert [m.verdict for m in done.matches.matches[:2]] == [Verdict.FRAGMENT] * 2
    assert [a.number for a in done.matches.assemblies] == [1]
    assert done.matches.assemblies[0].filled > 0.95
    assert 1 not in done.matches.unfilled and done.parts_missing == ()
    assert Code.FEW_FIT not in {finding.code for finding in done.findings}


def test_pieces_of_several_photographs_are_numbered_on(
    bench: Path, panel: Path, tmp_path: Path
) -> None:
    second = shoot(tmp_path / "second.png", CUTS[2], CUTS[4])
    both = match_pieces([bench, second], SCAN, panel)
    assert [(m.piece.id, m.piece.photo) for m in both.matches.matches[4:]] == [
        ("P5", "bench.png"), ("P6", "second.png"), ("P7", "second.png"),
    ]  # fmt: skip
    assert both.matches.unfilled == (7,)
    assert both.of("P6").numbers == (2,)
    blank = tmp_path / "blank.png"
    Image.new("RGB", (210, 210), (240, 240, 238)).save(blank)
    with pytest.raises(NoGlassFound, match=r"blank\.png"):
        match_pieces([blank, bench], SCAN, panel)
    with pytest.raises(UsageFault, match="two photographs are named"):
        match_pieces([bench, bench], SCAN, panel)
    with pytest.raises(UsageFault, match="2 photographs have 1 references"):
        match_pieces([bench, second], [SCAN], panel)


def test_a_known_number_is_kept_and_one_is_found_by_its_place(
    again: Matching, bench: Path, panel: Path, tmp_path: Path
) -> None:
    given = tmp_path / "known.csv"
    names = {m.piece.id: m for m in again.matches.matches}
    at = Warp.similarity(PX_PER_MM, round(HIGH_MM * PX_PER_MM))
    inside = {name: m.piece.outline.representative_point() for name, m in names.items()}
    lines = ["pixel_x,pixel_y,number"]
    for name, number in (("P3", 7), ("P4", 5)):
        x, y = at.to_px([(inside[name].x, inside[name].y)])[0]
        lines.append(f"{x:.1f},{y:.1f},{number}")
    given.write_text("\n".join(lines))
    done = match_pieces([bench], SCAN, panel, known=read_known(given))
    assert done.of("P3").known and done.of("P3").numbers == (7,)
    assert done.of("P4").known and done.of("P4").numbers == (5,)
    assert done.matches.unfilled == (2, 4)
    by_name = match_pieces([bench], SCAN, panel, known={"P3": 7, "P4": 5})
    assert by_name.matches.unfilled == (2, 4)


def test_nothing_fits_the_wrong_panel_and_that_is_said(bench: Path, tmp_path: Path) -> None:
    other = panel_folder(tmp_path / "other", lattice(2, 2, 36.0))
    result = run(*command(bench, other, tmp_path / "out", "--strict"))
    assert result.returncode == 8
    assert "None of the 5 loose pieces fits panel lattice" in result.stdout
    assert "few-fit" in result.stdout
    summary = json.loads((tmp_path / "out" / "matches.json").read_text())
    assert [part["number"] for part in summary["unfilled"]] == [1, 2, 3, 4]


def test_a_piece_at_the_edge_of_the_picture_is_reported_and_not_matched(
    bench: Path, panel: Path, tmp_path: Path
) -> None:
    with Image.open(bench) as whole:
        whole.crop((190, 0, whole.width, whole.height)).save(tmp_path / "cut.png")
    done = match_pieces([tmp_path / "cut.png"], SCAN, panel)
    cut_off = [m for m in done.matches.matches if m.verdict is Verdict.CUT_OFF]
    assert cut_off and all(m.numbers == () and not m.piece.whole for m in cut_off)
    assert {3, 5} & {*done.matches.unfilled}


@pytest.fixture
def place(tmp_path: Path, matched: Path) -> Path:
    """Return a folder of matches in which someone keeps a note."""
    kept = tmp_path / "kept"
    shutil.copytree(matched, kept)
    (kept / "notes.txt").write_text("mine")
    return kept


def test_what_cannot_be_read_leaves_everything_as_it_was(
    bench: Path, panel: Path, place: Path, tmp_path: Path
) -> None:
    before = listing(place)
    blank = tmp_path / "blank.png"
    Image.new("RGB", (900, 900), (240, 240, 238)).save(blank)
    older = tmp_path / "older"
    shutil.copytree(panel, older)
    record = json.loads((older / "panel.json").read_text())
    (older / "panel.json").write_text(json.dumps(record | {"version": 0}))
    for photo, folder, more, code, words in (
        (bench, panel, (), 6, "exists already"),
        (tmp_path / "none.png", panel, ("--overwrite",), 3, "cannot open"),
        (bench, tmp_path / "none", ("--overwrite",), 3, "panel.json"),
        (bench, older, ("--overwrite",), 3, "version 0"),
        (blank, panel, ("--overwrite",), 5, "no loose piece"),
        (bench, panel, ("--overwrite", "--known", tmp_path / "none.csv"), 3, "none.csv"),
        (
            bench,
            panel,
            ("--overwrite", "--set", "lead.margin_mm=3"),
            2,
            "not an option of matching",
        ),
        (bench, panel, ("--overwrite", "--face-up", "up"), 2, "face-up"),
    ):
        assert_refused(run(*command(photo, folder, place, *more)), code, words)
        assert listing(place) == before
    # A panel's own folder is never replaced by matches.
    held = listing(panel)
    assert_refused(run(*command(bench, panel, panel, "--overwrite")), 6, "no matches.json")
    assert listing(panel) == held


def test_a_panel_without_a_side_cannot_say_which_face_is_up(bench: Path, tmp_path: Path) -> None:
    folder = panel_folder(tmp_path / "p", replace(PANEL, seen_from="unstated"))
    with pytest.raises(UsageFault, match=r"state the side with \[\[seen_from\]\]"):
        match_pieces([bench], SCAN, folder, face_up="inside")


def test_replacing_matches_keeps_what_is_not_ours(
    bench: Path, panel: Path, place: Path, matched: Path
) -> None:
    result = run(*command(bench, panel, place, "--overwrite", "--json"))
    assert result.returncode == 0, result.stderr
    summary = json.loads(result.stdout)
    assert summary["no_glass"] == [2, 4, 7]
    assert listing(place) == listing(matched) | {"notes.txt": b"mine"}


def test_one_box_of_glass_for_a_window_of_two_panels(
    bench: Path, panel: Path, tmp_path: Path
) -> None:
    window, place = tmp_path / "window", tmp_path / "out"
    window.mkdir()
    shutil.copytree(panel, window / "first")
    other = replace(lattice(1, 2, 36.0), name="n5")
    panel_folder(window / "second", other)
    result = run(*command(bench, window, place)[:4], "--against", window, "-o", place, "--quiet")
    assert result.returncode == 0, result.stderr
    for words in ("A: mosaic", "B: n5", "P1 in A3", "P4 in A5", "found for A2, A4, A7, all of B"):
        assert words in result.stdout
    record = read_matches(place / "matches.json")
    assert [own.name for own in record.panels] == ["mosaic", "n5"]
    assert [part.panels for part in record.pieces[:3]] == [["mosaic"], ["mosaic"], []]
    rows = list(csv.DictReader(io.StringIO((place / "matches.csv").read_text())))
    assert [(row["numbers"], row["panel"]) for row in rows[:3]] == [
        ("A3", "mosaic"), ("A1", "mosaic"), ("", ""),
    ]  # fmt: skip
    assert (rows[-1]["numbers"], rows[-1]["panel"]) == ("B2", "n5")
    # Each panel takes its own numbers from the matches of the whole window.
    listed = list_folder(window / "second", matches=place)
    assert listed.to_cut == (1, 2)
    assert list_folder(window / "first", matches=place).to_cut == (2, 4, 7)
    with pytest.raises(UsageFault, match="matches of panel 'mosaic' and 'n5', not 'n4 3b'"):
        list_folder(panel_folder(tmp_path / "third", two_by_two()), matches=place)


def held(folder: Path) -> Filled:
    known = Known.of(panel_of(read_record(folder / "panel.json")))
    return held_in(folder, known, GlassOptions())


def test_numbers_without_glass_come_onto_the_replacement_list(
    panel: Path, matched: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "panel"
    shutil.copytree(panel, folder)
    type_in_folder(folder, {4: {"glass": "ruby"}, 7: {"action": "keep"}, 1: {"state": "missing"}})
    result = run("lists", folder, "--matches", matched)
    assert result.returncode == 0, result.stderr
    assert "no loose glass for 2, 4: to be cut" in result.stdout
    assert "piece 7: no loose glass found, but the sheet says keep" in result.stdout
    assert "piece 1: the sheet says missing, but P2 fits there" in result.stdout
    rows = (folder / "replacement.csv").read_text().splitlines()
    assert [row.split(",")[2] for row in rows[1:]] == ["4", "2"]
    new = Entry(State.MISSING, Action.REPLACE)
    kept = {1: Entry(State.MISSING), 7: Entry(action=Action.KEEP)}
    assert held(folder) == Filled({**kept, 2: new, 4: replace(new, glass="ruby")})
    # Once more changes nothing.
    first = listing(folder)
    list_folder(folder, matches=matched)
    assert listing(folder) == first


def test_lists_refuse_matches_of_another_panel_or_of_one_that_was_changed(
    panel: Path, matched: Path, tmp_path: Path
) -> None:
    other = panel_folder(tmp_path / "other", two_by_two())
    changed = panel_folder(tmp_path / "changed", mosaic(7, 151.0, 180.0, seed=11))
    for folder, words in ((other, "matches of panel 'mosaic'"), (changed, "match them again")):
        before = listing(folder)
        with pytest.raises(UsageFault, match=words):
            list_folder(folder, matches=matched)
        assert listing(folder) == before
    with pytest.raises(InputUnreadable, match="cannot read"):
        list_folder(changed, matches=tmp_path)
    assert_refused(run("lists", changed), 2, "--pieces", "--matches")


@pytest.mark.parametrize(
    ("doubt", "words"),
    [
        ({"code": "glass-unread"}, "but one place in the photographs could not be read"),
        ({"kind": "fits-over", "names": {"loose": "P5"}, "pieces": [2, 4]}, "P5 fits it turned"),
    ],
)
def test_no_glass_is_ordered_while_some_may_lie_there(
    panel: Path, matched: Path, tmp_path: Path, doubt: dict[str, object], words: str
) -> None:
    folder, doubtful = tmp_path / "panel", tmp_path / "matches"
    shutil.copytree(panel, folder)
    shutil.copytree(matched, doubtful)
    record = json.loads((doubtful / "matches.json").read_text(encoding="utf-8"))
    plain = {"code": "nearest-place", "severity": "check", "message": "Look.", "at": None}
    told = record["photos"][0] if "code" in doubt else record
    told["findings"].append({**plain, **doubt})
    (doubtful / "matches.json").write_text(json.dumps(record), encoding="utf-8")
    listed = list_folder(folder, matches=doubtful)
    assert {2, 4}.isdisjoint(listed.to_cut)
    assert any(
        said.startswith("piece 2: no loose glass found") and words in said for said in listed.doubts
    )
