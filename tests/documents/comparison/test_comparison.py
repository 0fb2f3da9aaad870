"""The documents of a comparison, and the command that makes them."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from pathlib import Path

import jsonschema
import pymupdf
import pytest
from click.testing import CliRunner
from PIL import Image

from rubbing2pattern.cli.main import main
from rubbing2pattern.comparing.found import Comparison
from rubbing2pattern.documents import write_documents
from rubbing2pattern.documents.comparison import COMPARISON_NAMES, comparison_documents
from rubbing2pattern.documents.comparison.page import FACTORS, comparison_page
from rubbing2pattern.documents.comparison.record import (
    comparison_json,
    comparison_schema,
    read_comparison,
)
from rubbing2pattern.documents.drawing import Stroke, Text
from rubbing2pattern.errors import InputUnreadable, OutputNotWritten, UsageFault
from rubbing2pattern.geometry.frame import Placement
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.workflows.archive import archive_folders
from rubbing2pattern.workflows.compare import compare_folders, compare_panels, write_comparison
from tests import panels
from tests.comparing.copies import carried, copy_of
from tests.running import ROOT

OPTIONS = DocumentOptions()
PROVENANCE = {"program": {"name": "rubbing2pattern", "version": "0.1.0"}, "options": {}}
SCHEMA = ROOT / "docs" / "comparison.schema.json"

BEFORE = panels.two_by_two()
CROSS = next(c.id for c in BEFORE.cames if (c.start, c.end) == ("J4", "J5"))


def wider(lead: panels.Lead) -> panels.Lead:
    return replace(lead, width_mm=8.0) if (lead.start, lead.end) == ("J6", "J7") else lead


AFTER = carried(
    copy_of(BEFORE, joints={"J9": (150.0, -4.0)}, without=(CROSS,), changed=wider),
    Placement(0.0, 300.0, 0.0),
    mirrored=True,
)


@pytest.fixture(scope="module")
def found() -> Comparison:
    return compare_panels(BEFORE, AFTER)


@pytest.fixture(scope="module")
def files(found: Comparison) -> dict[str, bytes]:
    return comparison_documents(found, PROVENANCE, OPTIONS)


def folder_of(place: Path, panel: Panel) -> Path:
    place.mkdir(parents=True)
    write_documents(place, panel, None, PROVENANCE, OPTIONS)
    return place


@pytest.fixture(scope="module")
def places(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Return folders of results of the two states."""
    at = tmp_path_factory.mktemp("two states")
    return folder_of(at / "in 1987", BEFORE), folder_of(at / "today", AFTER)


def test_the_same_comparison_gives_the_same_bytes(
    found: Comparison, files: dict[str, bytes]
) -> None:
    assert tuple(files) == COMPARISON_NAMES
    again = comparison_documents(compare_panels(BEFORE, AFTER), PROVENANCE, OPTIONS)
    assert again == files


def test_the_table_has_every_lead_joint_piece_and_side(
    found: Comparison, files: dict[str, bytes]
) -> None:
    rows = list(csv.DictReader(io.StringIO(files["comparison.csv"].decode())))
    kinds = [row["kind"] for row in rows]
    assert kinds.count("piece") == len(found.pieces) == 3
    assert kinds.count("side") == 4
    changed = {(r["kind"], r["what"], r["before"]) for r in rows if r["changed"] == "yes"}
    assert ("lead", "lost", CROSS) in changed
    assert ("side", "straight", "bottom") in changed
    merged = next(r for r in rows if r["what"] == "merged")
    assert len(merged["before"].split()) == 2 and len(merged["after"].split()) == 1
    (width,) = [r for r in rows if r["what"] == "width"]
    assert (float(width["was_mm"]), float(width["now_mm"])) == (4.9, 8.0)
    down = [r for r in rows if r["what"] == "moved" and r["kind"] == "joint"]
    assert [(r["before"], r["right_mm"]) for r in down] == [("J9", "0.00")]
    assert float(down[0]["up_mm"]) == pytest.approx(-4.0, abs=0.1)


def test_the_record_follows_its_schema_and_is_read_back(
    files: dict[str, bytes], tmp_path: Path
) -> None:
    record = json.loads(files["comparison.json"])
    schema = json.loads(comparison_schema())
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(record, schema)
    path = tmp_path / "comparison.json"
    path.write_bytes(files["comparison.json"])
    assert read_comparison(path).registration.mirrored
    path.write_bytes(files["comparison.json"].replace(b'"version": 1', b'"version": 2', 1))
    with pytest.raises(InputUnreadable, match="version 2"):
        read_comparison(path)


def test_the_schema_in_docs_is_current() -> None:
    assert SCHEMA.read_text(encoding="utf-8") == comparison_schema(), "write it anew: make docs"


def test_the_drawing_shows_both_states_and_says_the_factor(found: Comparison) -> None:
    page = comparison_page(found, OPTIONS)
    said = " ".join(mark.text for mark in page.marks if isinstance(mark, Text))
    assert f"L {CROSS}" in said and "W 4.9 > 8.0" in said
    assert "bottom: 4.0 mm sag (was 0.0 mm)" in said
    assert "drawn mirrored" in said
    arrows = [m for m in page.on("arrow") if isinstance(m, Stroke)]
    assert len(arrows) == len(found.moved) == 2
    assert len(page.on("lost")) > 3 and not page.on("added")
    assert len(page.on("before")) == 2
    small = compare_panels(BEFORE, copy_of(BEFORE, joints={"J9": (150.0, -1.2)}))
    said = " ".join(m.text for m in comparison_page(small, OPTIONS).marks if isinstance(m, Text))
    factors = [f for f in FACTORS if f"{f} times as long as" in said]
    assert factors and max(factors) >= 5


def test_figures_on_the_drawing_do_not_hide_each_other(found: Comparison) -> None:
    boxes = []
    for mark in comparison_page(found, OPTIONS).on("figure"):
        assert isinstance(mark, Text)
        left, low, right, high = mark.patch_mm
        if mark.angle_deg:
            left, low, right, high = -high, left, -low, right
        x, y = mark.at
        boxes.append((x + left, y + low, x + right, y + high))
    for k, a in enumerate(boxes):
        for b in boxes[:k]:
            assert a[0] >= b[2] or b[0] >= a[2] or a[1] >= b[3] or b[1] >= a[3]


def test_nothing_changed_is_said_in_so_many_words() -> None:
    found = compare_panels(BEFORE, BEFORE)
    made = comparison_documents(found, PROVENANCE, OPTIONS)
    pages = pymupdf.open(stream=made["comparison.pdf"])
    assert "Nothing changed above the uncertainty" in pages[1].get_text()
    rows = list(csv.DictReader(io.StringIO(made["comparison.csv"].decode())))
    assert not any(row["changed"] for row in rows)


def test_lengths_in_inches_and_american_paper(found: Comparison, files: dict[str, bytes]) -> None:
    made = comparison_documents(found, PROVENANCE, replace(OPTIONS, units="in"))
    pages = pymupdf.open(stream=made["comparison.pdf"])
    sizes = [sorted((page.rect.width, page.rect.height)) for page in pages]
    assert sizes[0] == pytest.approx([792.0, 1224.0], abs=0.5)
    assert sizes[1] == pytest.approx([612.0, 792.0], abs=0.5)
    assert "0.157 in sag" in pages[1].get_text()
    assert made["comparison.json"] == files["comparison.json"]


def test_the_picture_is_the_drawing(files: dict[str, bytes]) -> None:
    with Image.open(io.BytesIO(files["comparison.png"])) as picture:
        assert picture.size == pytest.approx((297 * 6, 420 * 6), abs=2)
    assert files["comparison.svg"].startswith(b"<?xml")


def test_the_command_tells_and_writes(places: tuple[Path, Path], tmp_path: Path) -> None:
    out = tmp_path / "what changed"
    run = CliRunner().invoke(main, ["compare", *map(str, places), "-o", str(out)])
    assert run.exit_code == 0, run.output
    assert f"lost     {CROSS}, 150" in run.output
    assert "from 4.9 mm to 8.0 mm" in run.output
    assert sorted(path.name for path in out.iterdir()) == sorted(COMPARISON_NAMES)
    again = CliRunner().invoke(main, ["compare", *map(str, places), "-o", str(out)])
    assert again.exit_code == 6 and "--overwrite" in again.output
    more = ["-o", str(out), "--overwrite", "--strict"]
    assert CliRunner().invoke(main, ["compare", *map(str, places), *more]).exit_code == 8


def test_the_summary_for_programs(places: tuple[Path, Path]) -> None:
    run = CliRunner().invoke(main, ["compare", *map(str, places), "--json"])
    summary = json.loads(run.stdout)
    assert summary["differs"] and [lead["came"] for lead in summary["lone_leads"]] == [CROSS]
    assert [lead["before"] for lead in summary["widths"]] == ["C12"]
    assert len(summary["before"]["record_sha256"]) == 64
    same = CliRunner().invoke(main, ["compare", str(places[0]), str(places[0]), "--strict"])
    assert same.exit_code == 0 and "Nothing changed" in same.output


def test_packages_and_folders_are_compared_alike(places: tuple[Path, Path], tmp_path: Path) -> None:
    other = folder_of(tmp_path / "another", replace(panels.mosaic(12, 200.0, 300.0), name="n5 1a"))
    bag = tmp_path / "package"
    archive_folders([places[0], other], bag)
    # The other folder holds one panel, so its name says which is meant.
    packed, loose = compare_folders(bag, places[1]), compare_folders(*places)
    assert comparison_json(packed, PROVENANCE) == comparison_json(loose, PROVENANCE)
    assert not compare_folders(bag, bag, panel="N4 3b".lower()).differs
    with pytest.raises(UsageFault, match=r"several panels: say which with --select \(n4 3b, n5 1a"):
        compare_folders(bag, bag)
    with pytest.raises(UsageFault, match="no panel of the name 'n9 9z'"):
        compare_folders(bag, bag, panel="n9 9z")


def test_a_panel_of_a_package_is_selected(places: tuple[Path, Path], tmp_path: Path) -> None:
    other = folder_of(tmp_path / "another", replace(panels.mosaic(12, 200.0, 300.0), name="n5 1a"))
    bag = str(tmp_path / "package")
    archive_folders([places[0], other], bag)
    now = CliRunner().invoke(main, ["compare", bag, bag, "--select", "n5 1a"])
    former = CliRunner().invoke(main, ["compare", bag, bag, "--panel", "n5 1a"])
    assert now.exit_code == former.exit_code == 0
    assert now.stderr == "" and now.stdout == former.stdout
    assert "warning: the option --panel is called --select now" in former.stderr


def test_faults_of_input_are_reported_by_their_codes(
    places: tuple[Path, Path], tmp_path: Path
) -> None:
    other = folder_of(tmp_path / "another", panels.mosaic(30, 300.0, 400.0))
    empty = tmp_path / "empty"
    empty.mkdir()
    (empty / "panel.json").symlink_to(places[0] / "nowhere.json")
    for second, code, said in (
        (other, 2, "are two different panels"),
        (empty, 3, "holds no panel.json"),
        (tmp_path / "missing", 3, "no such folder"),
    ):
        run = CliRunner().invoke(main, ["compare", str(places[0]), str(second)])
        assert run.exit_code == code and said in run.output, run.output
    option = ["--set", "trace.nothing=1"]
    run = CliRunner().invoke(main, ["compare", *map(str, places), *option])
    assert run.exit_code == 2 and "not an option of comparing" in run.output


def test_a_folder_of_something_else_is_not_replaced(
    found: Comparison, places: tuple[Path, Path]
) -> None:
    with pytest.raises(OutputNotWritten, match=r"no comparison\.json"):
        write_comparison(found, places[0], overwrite=True)
    assert (places[0] / "panel.json").is_file()
