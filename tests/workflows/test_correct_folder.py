"""The command `correct` on a folder: whole or not at all, twice in a row, the same again."""

from __future__ import annotations

import json
import shutil
from importlib.resources import files
from pathlib import Path

import pytest
from PIL import Image

from rubbing2pattern.demo import PICTURE, SHEET
from rubbing2pattern.documents import write_documents
from rubbing2pattern.documents.document import ALWAYS
from rubbing2pattern.documents.registry import DOCUMENTS
from rubbing2pattern.geometry.frame import Warp
from rubbing2pattern.options.documents import DocumentOptions
from tests import nets
from tests.correcting.making import HEAD, panel_from
from tests.documents.photographed import photograph
from tests.running import listing, refused, run_here as run

FOUR = panel_from(nets.two_by_two().net())
SPLIT = HEAD + "[[split_piece]]\npiece = 1\nfrom = [0, 200]\nto = [100, 210]\nwidth_mm = 6\n"
JOIN = HEAD + "[[join_pieces]]\npieces = [3, 4]\n"
OWN = {document.name for document in DOCUMENTS if document.when is ALWAYS} | {
    "overlay.png", "rubbing.png", "pattern-A4.pdf",
}  # fmt: skip


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a folder of results of a drawn panel, with a file that is not ours."""
    place = tmp_path / "n4 3b"
    place.mkdir()
    rubbing = photograph(FOUR, Warp.similarity(2.0, 700), 500, 700)
    options = DocumentOptions(overlay_px_per_mm=2.0)
    provenance = {"options": {"documents.overlay_px_per_mm": 2.0, "audit.near_mm": 30.0}}
    write_documents(place, FOUR, rubbing, provenance, options)
    (place / "notes.txt").write_text("mine")
    return place


def written(tmp_path: Path, text: str, name: str = "settled.toml") -> Path:
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def record(folder: Path) -> dict[str, object]:
    datum: dict[str, object] = json.loads((folder / "panel.json").read_text(encoding="utf-8"))
    return datum


def test_a_folder_is_corrected(folder: Path, tmp_path: Path) -> None:
    before = listing(folder)
    file = written(tmp_path, SPLIT)
    result = run("correct", folder, file)
    assert result.returncode == 0, result.stderr
    for words in ("split_piece 1: C", "4 before, 5 now", "4 numbers", "new        5"):
        assert words in result.stdout
    after = listing(folder)
    assert set(after) == OWN | {"corrections-1.toml", "uncorrected.json", "notes.txt"}
    assert after["uncorrected.json"] == before["panel.json"]
    assert after["corrections-1.toml"] == file.read_bytes()
    assert after["rubbing.png"] == before["rubbing.png"]
    assert after["overlay.png"] != before["overlay.png"]
    assert after["notes.txt"] == b"mine"
    history = record(folder)["corrections"]
    assert isinstance(history, list)
    assert [c["by"] for c in history] == ["A. Glazier"]
    assert history[0]["changes"][0]["given"] == {
        "piece": 1, "from": [0.0, 200.0], "to": [100.0, 210.0], "width_mm": 6.0,
    }  # fmt: skip
    assert record(folder)["provenance"] == json.loads(before["panel.json"])["provenance"]
    assert b"Corrected by A. Glazier" in after["pattern.svg"]


def test_twice_in_a_row_and_the_same_again(folder: Path, tmp_path: Path) -> None:
    again = tmp_path / "again"
    shutil.copytree(folder, again)
    files = [written(tmp_path, SPLIT), written(tmp_path, JOIN, "more.toml")]
    for place in (folder, again):
        for file in files:
            assert run("correct", place, file).returncode == 0
    assert listing(folder) == listing(again)
    assert {"corrections-1.toml", "corrections-2.toml"} <= set(listing(folder))
    assert [p["number"] for p in record(folder)["pieces"]] == [1, 2, 3, 5]  # type: ignore[index]


def test_the_summary_for_programs(folder: Path, tmp_path: Path) -> None:
    result = run("correct", folder, written(tmp_path, SPLIT), "--json")
    summary = json.loads(result.stdout)
    assert summary["pieces"] == 5 and summary["folder"] == str(folder)
    assert summary["corrections"]["pieces_new"] == [5]
    assert summary["corrections"]["pieces_kept"] == [1, 2, 3, 4]
    assert summary["corrections"]["changes"][0]["table"] == "split_piece"


def test_units_are_those_of_lists_and_summary(folder: Path, tmp_path: Path) -> None:
    split, join = written(tmp_path, SPLIT), written(tmp_path, JOIN, "more.toml")
    result = run("correct", folder, split, "--units", "in", "--quiet")
    assert result.returncode == 0 and result.stderr == ""
    assert "rectangle_width_in" in (folder / "pieces.csv").read_text(encoding="utf-8")
    kept = record(folder)["provenance"]["settings"]  # type: ignore[index]
    assert kept["documents.units"] == "in"
    assert run("correct", folder, join).returncode == 0
    assert "rectangle_width_in" in (folder / "pieces.csv").read_text(encoding="utf-8")


def test_findings_left_and_strict(folder: Path, tmp_path: Path) -> None:
    text = SPLIT.replace("width_mm = 6\n", "")
    assert run("correct", folder, written(tmp_path, text), "--strict").returncode == 8


BAD = {
    "not TOML": "by = ",
    "no correction": HEAD,
    "unknown field": SPLIT + "heart = 3\n",
    "ends in nothing": HEAD + "[[add_lead]]\nfrom = [0, 75]\nto = [50, 75]\n",
    "outside": HEAD + "[[add_lead]]\nfrom = [0, 75]\nto = [500, 75]\n",
    "unknown piece": HEAD + "[[join_pieces]]\npieces = [1, 9]\n",
    "one good, one bad": SPLIT + '[[remove_lead]]\ncame = "C99"\n',
}


@pytest.mark.parametrize("what", BAD)
def test_a_refusal_leaves_every_byte(what: str, folder: Path, tmp_path: Path) -> None:
    before = listing(folder)
    refused(run("correct", folder, written(tmp_path, BAD[what])), 2)
    assert listing(folder) == before
    assert {p.name for p in tmp_path.iterdir()} == {folder.name, "settled.toml"}


def test_a_file_or_folder_that_is_not_there(folder: Path, tmp_path: Path) -> None:
    refused(run("correct", folder, tmp_path / "none.toml"), 2, "cannot read")
    file = written(tmp_path, SPLIT)
    refused(run("correct", tmp_path / "none", file), 3, "panel.json")
    (folder / "panel.json").write_text("{}")
    refused(run("correct", folder, file), 3, "is not a panel record")


def test_a_kept_rubbing_that_is_lost_or_damaged(folder: Path, tmp_path: Path) -> None:
    (folder / "rubbing.png").write_bytes(b"")
    before = listing(folder)
    refused(run("correct", folder, written(tmp_path, SPLIT)), 3, "rubbing.png", "trace")
    assert listing(folder) == before


def test_a_record_from_before_has_no_rubbing_and_no_corrections(
    folder: Path, tmp_path: Path
) -> None:
    old = record(folder)
    for name in ("rubbing", "corrections", "dismissed"):
        del old[name]
    for came in old["cames"]:  # type: ignore[attr-defined]
        del came["corrected"]
    (folder / "panel.json").write_text(json.dumps(old), encoding="utf-8")
    (folder / "rubbing.png").unlink()
    result = run("correct", folder, written(tmp_path, SPLIT))
    assert result.returncode == 0, result.stderr
    assert "No overlay" in result.stdout
    assert "overlay.png" not in listing(folder), "an overlay of the uncorrected panel would mislead"


def test_a_copy_that_was_edited_is_refused(folder: Path, tmp_path: Path) -> None:
    assert run("correct", folder, written(tmp_path, SPLIT)).returncode == 0
    with (folder / "corrections-1.toml").open("a") as copy:
        copy.write("# one more thought\n")
    result = run("correct", folder, written(tmp_path, JOIN, "more.toml"))
    refused(result, 3, "corrections-1.toml", "was changed after it was applied")


def test_an_option_of_the_record_that_cannot_be_used(folder: Path, tmp_path: Path) -> None:
    datum = record(folder)
    datum["provenance"] = {"options": {"audit.near_mm": -3}}
    (folder / "panel.json").write_text(json.dumps(datum), encoding="utf-8")
    result = run("correct", folder, written(tmp_path, SPLIT))
    refused(result, 3, "options of audit", "near_mm is -3", "must lie")


def test_a_new_reading_does_not_lose_corrections(folder: Path, tmp_path: Path) -> None:
    assert run("correct", folder, written(tmp_path, SPLIT)).returncode == 0
    before = listing(folder)
    picture = tmp_path / "rubbing.png"
    Image.new("L", (400, 300), 235).save(picture)
    trace = ("trace", picture, "--dpi", "100", "-o", folder, "--overwrite")
    refused(run(*trace), 6, "corrections-1.toml", "--discard-corrections")
    assert listing(folder) == before
    # Given up, they are no reason any more: this picture only shows no rubbing.
    assert run(*trace, "--discard-corrections").returncode == 5


def test_the_demo_is_corrected_and_the_same_again(tmp_path: Path) -> None:
    """Two readings and two corrections of the shipped rubbing give the same bytes."""
    image = tmp_path / PICTURE
    image.write_bytes((files("rubbing2pattern.demo") / PICTURE).read_bytes())
    first, second = tmp_path / "one", tmp_path / "two"
    assert run("trace", image, "--sheet", SHEET, "-o", first, "--quiet").returncode == 0
    shutil.copytree(first, second)
    text = HEAD + "[[split_piece]]\npiece = 25\nfrom = [92.7, 198.9]\nto = [158.8, 198.9]\n"
    before = record(first)
    for place in (first, second):
        result = run("correct", place, written(tmp_path, text))
        assert result.returncode == 0, result.stderr
    assert listing(first) == listing(second)
    after = record(first)
    old = {p["number"]: p for p in before["pieces"]}  # type: ignore[attr-defined]
    new = {p["number"]: p for p in after["pieces"]}  # type: ignore[attr-defined]
    assert set(new) - set(old) == {50} and not set(old) - set(new)
    changed = {number for number in old if old[number] != new[number]}
    # Only what lies at the lead that was given two joints differs at all.
    ring = {c["id"] for c in before["cames"] if 25 in c["pieces"]}  # type: ignore[attr-defined]
    assert changed <= {n for n, p in old.items() if ring & set(p["cames"])}
