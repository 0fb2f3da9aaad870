"""Records that were made with options which this version does not have, or calls otherwise.

`tests/record/kept/panel-0.1.0.json` is a record as version 0.1.0 writes it. Later versions must
still take it.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from rubbing2pattern.cli.main import main
from rubbing2pattern.errors import InputUnreadable, UsageFault
from rubbing2pattern.options import Options
from rubbing2pattern.options.former import GONE, RENAMED
from rubbing2pattern.options.setting import with_settings
from rubbing2pattern.workflows.kept_options import (
    kept_options,
    options_of,
    with_settings_now,
)
from rubbing2pattern.workflows.provenance import options_parts
from tests.correcting.making import HEAD
from tests.running import ROOT

KEPT = ROOT / "tests" / "record" / "kept" / "panel-0.1.0.json"
READING = {"audit.near_mm": 30.0}
SETTINGS = {"documents.report_crops": 3, "paper.papers": ["A4"], "paper.overlap_mm": 20.0}
ODD_READING = {"glaze.hue": 3, "audit.nearness_mm": 30.0, "tidy.boundary_look": [1.0, 2.0]}
ODD_SETTINGS = {"paper.gutter_mm": 25.0, "paper.gloss": "matt"}
SPLIT = HEAD + "[[split_piece]]\npiece = 1\nfrom = [0, 200]\nto = [100, 210]\nwidth_mm = 6\n"


@pytest.fixture(autouse=True)
def renamed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let two options have had another name."""
    monkeypatch.setitem(RENAMED, "paper.gutter_mm", "paper.overlap_mm")  # type: ignore[arg-type]
    monkeypatch.setitem(RENAMED, "audit.nearness_mm", "audit.near_mm")  # type: ignore[arg-type]


def apart() -> dict[str, Any]:
    return {"options": dict(ODD_READING), "settings": {"paper.papers": ["A4"], **ODD_SETTINGS}}


def together() -> dict[str, Any]:
    """Return all in one table, as records of before the two were parted."""
    return {"options": {"paper.papers": ["A4"], **ODD_SETTINGS, **ODD_READING}}


@pytest.fixture(params=[apart, together])
def folder(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    """Return a folder of results into whose record an odd option of each kind was put."""
    place = tmp_path / "n4 3b"
    place.mkdir()
    path = place / "panel.json"
    path.write_bytes(KEPT.read_bytes())
    assert run("redraw", place, "--paper", "A4").exit_code == 0  # All documents are there now.
    datum = record(place)
    for key in ("options", "settings"):
        datum["provenance"].pop(key)
    datum["provenance"] |= request.param()
    path.write_text(json.dumps(datum), encoding="utf-8")
    return place


def record(folder: Path) -> dict[str, Any]:
    datum: dict[str, Any] = json.loads((folder / "panel.json").read_text(encoding="utf-8"))
    return datum


def run(*args: str | Path) -> Result:
    return CliRunner().invoke(main, [str(arg) for arg in args])


def warned(result: Result) -> None:
    """Check that a command ended well and gave one warning for each odd option."""
    assert result.exit_code == 0, result.stderr
    lines = result.stderr.splitlines()
    assert all(line.startswith("rubbing2pattern: warning: ") for line in lines), lines
    assert len(lines) == len(ODD_READING | ODD_SETTINGS)
    for name, words in {
        "glaze.hue": "is not in this version; it is not used, and stays in the record",
        "paper.gloss": "is not in this version; it is not used, and stays in the record",
        "tidy.boundary_look": f"is not in this version: {GONE['tidy.boundary_look']}",
        "paper.gutter_mm": "is now called 'paper.overlap_mm'",
        "audit.nearness_mm": "is now called 'audit.near_mm'",
    }.items():
        assert any(repr(name) in line and words in line for line in lines), (name, lines)


def test_redrawing_warns_and_carries_them_along(folder: Path) -> None:
    warned(run("redraw", folder, "--paper", "A3"))
    held = record(folder)["provenance"]
    unknown = {"paper.gloss": "matt"}
    assert held["settings"] == {"paper.papers": ["A3"], "paper.overlap_mm": 25.0} | {
        name: value for name, value in unknown.items() if name in held["settings"]
    }
    both = held["options"] | held["settings"]
    assert unknown.items() <= both.items()
    # What was read stays as it was written, under the names of that time.
    assert ODD_READING.items() <= held["options"].items()
    assert held["options"].keys() <= (ODD_READING | unknown).keys()
    again = run("redraw", folder, "--mirrored")
    assert again.exit_code == 0 and "'glaze.hue'" in again.stderr


def test_correct_warns_and_leaves_the_provenance_as_it_is(folder: Path, tmp_path: Path) -> None:
    before = record(folder)["provenance"]
    file = tmp_path / "settled.toml"
    file.write_text(SPLIT, encoding="utf-8")
    warned(run("correct", folder, file))
    after = record(folder)
    assert after["provenance"] == before
    assert len(after["corrections"]) == 1


def test_lists_warns_and_carries_them_along(folder: Path) -> None:
    warned(run("lists", folder, "--pieces", folder / "pieces.xlsx", "--set", "glass.grained=no"))
    held = record(folder)["provenance"]
    assert held["settings"]["glass.grained"] is False
    assert held["settings"]["paper.overlap_mm"] == 25.0
    assert ODD_READING.items() <= held["options"].items()


def test_archive_warns_and_packs_the_record_as_it_is(folder: Path, tmp_path: Path) -> None:
    run("redraw", folder, "--paper", "A3")  # So that the drawings are of these options.
    bag = tmp_path / "bag"
    result = run("archive", folder, "-o", bag)
    assert result.exit_code == 0, result.stderr
    lines = result.stderr.splitlines()
    assert len([line for line in lines if line.startswith("rubbing2pattern: warning: ")]) == 4
    assert any("glaze.hue" in line for line in lines)
    packed = next(bag.glob("data/*/panel.json"))
    assert packed.read_bytes() == (folder / "panel.json").read_bytes()
    assert run("verify", bag).exit_code == 0


def test_the_summary_for_programs_has_the_warnings(folder: Path) -> None:
    result = run("redraw", folder, "--paper", "A3", "--json")
    warnings = json.loads(result.stdout)["warnings"]
    assert len(warnings) == 5 and any("glaze.hue" in said for said in warnings)


def test_a_record_without_odd_options_gives_no_warning() -> None:
    held = kept_options(json.loads(KEPT.read_text(encoding="utf-8"))["provenance"])
    assert held.warnings == ()
    assert options_parts(held.options) == {"options": READING, "settings": SETTINGS}


def test_the_reading_and_the_documents_are_kept_apart() -> None:
    options = with_settings(
        Options(), ["lead.margin_mm=3", "leading.stick_mm=2000", "match.turns=2"]
    )
    assert options_parts(options) == {
        "options": {"lead.margin_mm": 3.0, "match.turns": 2},
        "settings": {"leading.stick_mm": 2000.0},
    }
    assert options_of(options_parts(options)) == options


@pytest.mark.parametrize("places", [("options", "settings"), ("settings", "options")])
def test_the_name_of_today_holds_where_both_are_given(places: tuple[str, str]) -> None:
    former, now = places
    provenance: dict[str, Any] = {"options": {}, "settings": {}}
    provenance[former]["paper.gutter_mm"] = 25.0
    provenance[now]["paper.overlap_mm"] = 30.0
    assert options_of(provenance).paper.overlap_mm == 30.0


def test_values_that_depend_on_each_other_are_taken_together() -> None:
    """Glass of 10 mm alone would not fit into the usual channel."""
    sizes = {"leading.glass_mm": 10.0, "leading.channel_mm": 12.0}
    for order in (1, -1):
        given = dict(list(sizes.items())[::order])
        assert options_of({"settings": given}).leading.glass_mm == 10.0


@pytest.mark.parametrize(
    ("provenance", "words"),
    [
        (
            {"options": {"paper.overlap_mm": 500.0}},
            "options of paper.*overlap_mm is 500.*must lie from",
        ),
        ({"settings": {"paper.overlap_mm": "wide"}}, "'paper.overlap_mm'.*valid number"),
        ({"settings": {"paper.mirrored": "maybe"}}, "'paper.mirrored'.*boolean"),
        ({"options": {"measure.least_halves": 7.5}}, "'measure.least_halves'.*integer"),
        ({"options": {"pieces.stock": [{"name": "4 mm"}]}}, "'pieces.stock.0.width_mm'.*required"),
        ({"settings": {"leading.butt_to": "rim"}}, "'leading.butt_to'.*'leaf' or 'heart'"),
        ({"settings": ["paper.overlap_mm"]}, "settings in the record's provenance must be a table"),
        ({"options": 3}, "options in the record's provenance must be a table"),
    ],
)
def test_a_known_option_with_a_bad_value_is_damage(provenance: Any, words: str) -> None:
    """A print at another scale than the record says would be a mistake that nobody sees."""
    with pytest.raises(InputUnreadable, match=words):
        kept_options(provenance)


def test_settings_now_leave_the_other_provenance_alone() -> None:
    before = {
        "program": {"name": "x"},
        "options": {"lead.margin_mm": 3.0, "paper.overlap_mm": 20.0},
    }
    options = with_settings(Options(), ["paper.mirrored=yes"])
    assert with_settings_now(before, options) == {
        "program": {"name": "x"},
        "options": {"lead.margin_mm": 3.0},
        "settings": {"paper.mirrored": True},
    }


@pytest.mark.parametrize(
    ("setting", "words"),
    [
        ("paper.gutter_mm=20", "it is now called 'paper.overlap_mm'"),
        ("tidy.boundary_look=1,2", "fitted weights"),
    ],
)
def test_a_former_name_is_answered_with_what_there_is_now(setting: str, words: str) -> None:
    with pytest.raises(UsageFault, match=words):
        with_settings(Options(), [setting])


def test_former_names_are_no_options_and_lead_to_options() -> None:
    known = {*Options().values()}
    assert not known & {*RENAMED, *GONE}
    assert {*RENAMED.values()} <= known
