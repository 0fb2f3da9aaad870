"""Widths measured on the lead through the command line: `trace`, and `correct` after it."""

from __future__ import annotations

import csv
import io
import json
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from tests.bands import Drawing
from tests.correcting.making import HEAD
from tests.running import listing, refused, run_here as run

ENOUGH = ("--dpi", "150", "--paper", "none")
MEASURED_MM = 5.7


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with a rubbing of three leads in a frame, read without caliper and with."""
    place = tmp_path_factory.mktemp("calipers")
    drawing = Drawing().frame(10.0)
    for x in (50.0, 80.0, 110.0):
        drawing.band((x, 20.0), (x, 140.0), width_mm=5.0)
    Image.fromarray(drawing.picture()).save(place / "rubbing.png")
    middle = inner(traced(place, "plain"))[1]["id"]
    traced(place, "one", f"{middle}={MEASURED_MM}mm")
    return place


def traced(place: Path, name: str, *calipers: str | Path) -> Path:
    given = [word for caliper in calipers for word in ("--caliper", caliper)]
    result = run("trace", place / "rubbing.png", *ENOUGH, *given, "-o", place / name)
    assert result.returncode == 0, result.stderr
    return place / name


def record(folder: Path) -> dict[str, Any]:
    datum: dict[str, Any] = json.loads((folder / "panel.json").read_text(encoding="utf-8"))
    return datum


def inner(folder: Path) -> list[dict[str, Any]]:
    """Return the leads inside the frame from left to right."""
    cames = [came for came in record(folder)["cames"] if not came["border"]]
    return sorted(cames, key=lambda came: came["path"][0][0])


def widths_mm(folder: Path) -> list[float]:
    return [came["face_width_mm"] for came in inner(folder)]


def test_a_caliper_sets_its_came_and_calibrates_the_others_of_its_size(place: Path) -> None:
    before = widths_mm(place / "plain")
    assert len(before) == 3
    folder, name = place / "one", inner(place / "plain")[1]["id"]
    added = MEASURED_MM - before[1]
    expected = [before[0] + added, MEASURED_MM, before[2] + added]
    assert widths_mm(folder) == pytest.approx(expected, abs=0.0015)
    borders = [
        [came["face_width_mm"] for came in record(place / read)["cames"] if came["border"]]
        for read in ("plain", "one")
    ]
    assert borders[0] == borders[1]
    written = record(folder)["provenance"]["options"]["pieces.calipers"]
    assert name in json.dumps(written) and str(MEASURED_MM) in json.dumps(written)
    rows = list(
        csv.DictReader(io.StringIO((folder / "lead-widths.csv").read_text(encoding="utf-8")))
    )
    most = [float(row["measured_most_mm"]) for row in rows]
    assert max(widths_mm(folder)) == pytest.approx(min(most), abs=0.0051)


def test_a_file_of_places_says_the_same_as_a_came_and_its_digest_is_kept(place: Path) -> None:
    before = inner(place / "plain")
    x, y = np.mean(before[1]["path"], axis=0)
    file = place / "widths.csv"
    file.write_text(f"x_mm,y_mm,width_mm\n{x + 1.0},{y},{MEASURED_MM}\n", encoding="utf-8")
    by_place = traced(place, "by place", file)
    by_came = place / "one"
    assert widths_mm(by_place) == widths_mm(by_came) != [c["face_width_mm"] for c in before]
    assert (by_place / "cames.csv").read_bytes() == (by_came / "cames.csv").read_bytes()
    written = json.dumps(record(by_place)["provenance"])
    assert "widths.csv" in written and str(place) not in written
    again = listing(traced(place, "again", file))
    assert again == listing(by_place)


def test_corrections_keep_what_calipers_said_and_add_it_to_nothing_twice(place: Path) -> None:
    names = [came["id"] for came in inner(place / "plain")]
    folder = Path(shutil.copytree(place / "one", place / "corrected"))
    before = widths_mm(folder)
    file = place / "settled.toml"
    file.write_text(f'{HEAD}[[set_width]]\ncame = "{names[2]}"\nwidth_mm = 6.4\n', encoding="utf-8")
    result = run("correct", folder, file)
    assert result.returncode == 0, result.stderr
    assert widths_mm(folder) == [*before[:2], 6.4]


@pytest.mark.parametrize(
    ("caliper", "words"),
    [
        ("C99=5mm", ("--caliper", "C99")),
        ("C1=wide", ("--caliper", "C1=wide")),
        ("x_mm,y_mm,width_mm\n45,60,5\n", ("line 2", "off the nearest lead")),
        ("came,width_mm\nC1,0.3\n", ("line 2", "width_mm")),
    ],
)
def test_a_wrong_caliper_leaves_no_folder(
    place: Path, tmp_path: Path, caliper: str, words: tuple[str, ...]
) -> None:
    given = caliper
    if "\n" in caliper:
        (tmp_path / "odd.csv").write_text(caliper, encoding="utf-8")
        given = str(tmp_path / "odd.csv")
    result = run(
        "trace", place / "rubbing.png", *ENOUGH, "--caliper", given, "-o", tmp_path / "out"
    )
    refused(result, 2, *words)
    assert not (tmp_path / "out").exists()
