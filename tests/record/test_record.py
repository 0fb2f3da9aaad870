"""The record: there and back, its schema, and what it refuses."""

from __future__ import annotations

import copy
import json
import math
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from shapely.geometry import MultiPolygon, Polygon, box

from rubbing2pattern.errors import InputUnreadable, ScaleNotFound
from rubbing2pattern.geometry.curves import Arc, Cubic, Line
from rubbing2pattern.model import Panel
from rubbing2pattern.record.panel import (
    panel_of,
    read_record,
    record_from_text,
    record_of,
    record_text,
    schema_text,
)
from tests import panels
from tests.running import ROOT

PROVENANCE = {"program": {"name": "rubbing2pattern", "version": "0"}, "options": {}}
ALL = panels.one_of_each()


def text_of(panel: Panel) -> str:
    return record_text(record_of(panel, PROVENANCE))


@pytest.mark.parametrize("panel", ALL, ids=lambda p: p.name)
def test_there_and_back_is_the_same_record(panel: Panel) -> None:
    text = text_of(panel)
    record = record_from_text(text)
    assert text_of(panel_of(record)) == text
    assert record.provenance == PROVENANCE


@pytest.mark.parametrize("panel", ALL, ids=lambda p: p.name)
def test_the_panel_comes_back_within_the_rounding(panel: Panel) -> None:
    back = panel_of(record_from_text(text_of(panel)))
    assert (back.name, back.seen_from) == (panel.name, panel.seen_from)
    assert back.scale == panel.scale
    assert back.placement == panel.placement
    assert back.outline.area == pytest.approx(panel.outline.area, rel=1e-5)
    for a, b in zip(back.cames, panel.cames, strict=True):
        assert replace(a, curve=b.curve, path=b.path) == b
        assert type(a.curve) is type(b.curve)
        assert np.allclose(a.path, b.path, atol=0.00051)
        assert not a.path.flags.writeable
        assert a.curve.length_mm == pytest.approx(b.curve.length_mm, abs=0.01)
        assert math.dist(a.curve.end, b.curve.end) < 0.002
    for c, d in zip(back.pieces, panel.pieces, strict=True):
        assert c.cames == d.cames
        for name in ("outline", "cut_outline", "sight_outline"):
            assert getattr(c, name).symmetric_difference(getattr(d, name)).area < 0.5
    for e, f in zip(back.joints, panel.joints, strict=True):
        assert (e.id, e.kind, e.cames) == (f.id, f.kind, f.cames)
        assert math.hypot(e.x_mm - f.x_mm, e.y_mm - f.y_mm) < 0.001
    for g, h in zip(back.findings, panel.findings, strict=True):
        assert (g.code, g.severity, g.message, g.pieces) == (
            h.code,
            h.severity,
            h.message,
            h.pieces,
        )


def test_field_names_are_the_contract_s() -> None:
    datum = json.loads(text_of(panels.two_by_two()))
    assert list(datum) == [
        "format", "version", "units", "panel", "scale", "joints", "cames", "pieces", "findings",
        "dismissed", "corrections", "rubbing", "provenance",
    ]  # fmt: skip
    assert (datum["format"], datum["version"], datum["units"]) == ("rubbing2pattern panel", 1, "mm")
    assert {"id", "x", "y", "kind"} <= set(datum["joints"][0])
    assert {"id", "start", "end", "path", "curve", "face_width_mm", "face_width_uncertainty_mm",
            "stock", "border"} <= set(datum["cames"][0])  # fmt: skip
    assert {"number", "outline", "holes", "cut_outline", "sight_outline", "centre_area_mm2",
            "cut_area_mm2", "sight_area_mm2", "cames"} <= set(datum["pieces"][0])  # fmt: skip
    assert {"code", "severity", "message", "at", "pieces"} <= set(datum["findings"][0])
    assert datum["findings"][1]["at"] is None


def test_curves_say_their_kind() -> None:
    cames = json.loads(text_of(panels.arched()))["cames"]
    arc, line, cubic = cames[0]["curve"], cames[1]["curve"], cames[-1]["curve"]
    assert set(arc) == {"kind", "centre", "radius_mm", "start_deg", "sweep_deg"}
    assert arc["kind"] == "arc" and arc["sweep_deg"] == 140.0
    assert line == {"kind": "line"}
    assert cubic["kind"] == "cubic" and len(cubic["control"]) == 7


def test_areas_are_those_of_the_outlines_written() -> None:
    for panel in ALL:
        for piece in json.loads(text_of(panel))["pieces"]:
            for outline, holes, area in (
                ("outline", "holes", "centre_area_mm2"),
                ("cut_outline", "cut_holes", "cut_area_mm2"),
                ("sight_outline", "sight_holes", "sight_area_mm2"),
            ):
                kind = outline.removesuffix("outline")
                extra = sum(Polygon(p["outline"]).area for p in piece.get(f"{kind}parts", ()))
                written = Polygon(piece[outline], piece[holes]).area + extra
                assert piece[area] == pytest.approx(written, abs=0.0051)


def test_divided_and_vanished_glass_comes_back() -> None:
    panel = panels.strapped()
    parts = MultiPolygon([box(0, 0, 5, 5), box(10, 0, 30, 20)])
    piece = replace(panel.pieces[0], cut_outline=parts, sight_outline=Polygon())
    text = text_of(replace(panel, pieces=(piece,)))
    datum = json.loads(text)["pieces"][0]
    assert Polygon(datum["cut_outline"]).area == 400.0, "the largest part comes first"
    assert [Polygon(p["outline"]).area for p in datum["cut_parts"]] == [25.0]
    assert datum["sight_outline"] == [] and datum["sight_area_mm2"] == 0.0
    back = panel_of(record_from_text(text)).pieces[0]
    assert back.cut_outline.equals(parts)
    assert back.sight_outline.is_empty


def test_unmeasured_widths_are_null_and_come_back_as_nan() -> None:
    panel = panels.strapped()
    dim = replace(panel.cames[0], face_width_uncertainty_mm=math.nan, shown_width_mm=math.nan)
    text = text_of(replace(panel, cames=(dim, *panel.cames[1:])))
    assert json.loads(text)["cames"][0]["shown_width_mm"] is None
    back = panel_of(record_from_text(text)).cames[0]
    assert math.isnan(back.face_width_uncertainty_mm) and math.isnan(back.shown_width_mm)
    assert text_of(panel_of(record_from_text(text))) == text


def test_rounding_never_leaves_an_outline_that_crosses_itself() -> None:
    """A spike thinner than the rounding folds over; it is mended on the grid, not written."""
    spike = Polygon([(0, 0), (10, 0), (10, 5.0002), (20, 5.0004), (10, 5.0006), (10, 10), (0, 10)])
    panel = panels.strapped()
    piece = replace(panel.pieces[0], outline=spike, cut_outline=spike, sight_outline=spike)
    back = panel_of(record_of(replace(panel, pieces=(piece,)), {})).pieces[0]
    assert back.outline.is_valid
    assert back.outline.area == pytest.approx(100.0, abs=0.05)


def test_arcs_of_very_large_radius_keep_their_ends() -> None:
    flat = Arc((100.0, -49_999.9), 50_000.0, 90.1, -0.2)
    panel = panels.strapped()
    came = replace(panel.cames[0], curve=flat, path=flat.points())
    back = panel_of(record_of(replace(panel, cames=(came, *panel.cames[1:])), {})).cames[0]
    assert math.dist(back.curve.start, flat.start) < 0.002
    assert math.dist(back.curve.end, flat.end) < 0.002


def test_lines_and_cubics_start_and_end_at_their_paths() -> None:
    for came in panel_of(record_of(panels.arched(), {})).cames:
        assert isinstance(came.curve, Line | Arc | Cubic)
        assert math.dist(came.curve.start, came.path[0]) < 0.002
        assert math.dist(came.curve.end, came.path[-1]) < 0.002


def test_written_records_obey_the_schema() -> None:
    schema = json.loads(schema_text())
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    for panel in ALL:
        assert list(validator.iter_errors(json.loads(text_of(panel)))) == []
    broken = json.loads(text_of(panels.two_by_two()))
    del broken["cames"][0]["stock"]
    assert list(validator.iter_errors(broken))


def test_the_schema_in_docs_is_current() -> None:
    kept = (ROOT / "docs" / "panel.schema.json").read_text(encoding="utf-8")
    assert kept == schema_text(), "write it anew: make docs"


CORRECTED = {
    "by": "A. Glazier", "date": "2026-11-25", "file": "corrections-1.toml", "sha256": "ab" * 32,
    "changes": [],
}  # fmt: skip
DISMISSED = {
    "id": "F9", "code": "free-end", "severity": "check", "message": "a lead ends freely",
    "at": [1.0, 2.0], "by": "A. Glazier", "date": "2026-11-25", "why": "a strap",
}  # fmt: skip


def damaged(change: Callable[[dict[str, Any]], object]) -> str:
    datum = copy.deepcopy(json.loads(text_of(panels.arched())))
    change(datum)
    return json.dumps(datum)


@pytest.mark.parametrize(
    ("change", "named"),
    [
        (lambda d: d["cames"][2].pop("stock"), "cames.2.stock"),
        (lambda d: d["cames"][1].update(face_width_mm="wide"), "cames.1.face_width_mm"),
        (lambda d: d["cames"][1].update(face_width_mm=-1.0), "cames.1.face_width_mm"),
        (lambda d: d["cames"][1].update(face_width_mm=True), "cames.1.face_width_mm"),
        (lambda d: d["cames"][1].update(face_width_mm="5.0"), "cames.1.face_width_mm"),
        (lambda d: d["cames"][1].update(border=1), "cames.1.border"),
        (lambda d: d["pieces"][0].update(number="1"), "pieces.0.number"),
        (lambda d: d["pieces"][0]["outline"][1].__setitem__(0, True), "pieces.0.outline.1.0"),
        (lambda d: d["cames"][0]["curve"].update(kind="spiral"), "cames.0.curve"),
        (lambda d: d["cames"][0]["curve"].pop("radius_mm"), "cames.0.curve.radius_mm"),
        (lambda d: d["cames"][7]["curve"]["control"].pop(), "cames.7.curve"),
        (lambda d: d["cames"][0].update(start="J99"), "cames.0.start"),
        (lambda d: d["cames"][0].update(pieces=[1, 77]), "cames.0.pieces"),
        (lambda d: d["pieces"][0].update(outline=[[0, 0], [1, 1]]), "pieces.0.outline"),
        (lambda d: d["pieces"][0].update(number=2), "pieces.number: 2 is listed twice"),
        (lambda d: d["pieces"][1].update(cames=["C99"]), "pieces.1.cames"),
        (lambda d: d["joints"][1].update(colour="red"), "joints.1.colour: there is no such field"),
        (lambda d: d.update(cames=[3]), "cames.0: must be a table"),
        (lambda d: d["joints"][1].update(x=[]), "joints.1.x: must be a number"),
        (lambda d: d["joints"][1].update({"a" * 5000: 1}), f"joints.1.{'a' * 60}...: "),
        (lambda d: d["pieces"][1].update(cut_area_mm2=5.0), "pieces.1.cut_area_mm2 is 5, but"),
        (
            lambda d: d["pieces"][1].update(sight_outline=[[0, 0], [9, 9], [9, 0], [0, 9], [0, 0]]),
            "pieces.1.sight_outline: Self-intersection",
        ),
        (lambda d: d["joints"][0].update(x=3.5), "from J1"),
        (lambda d: d["joints"][0].update(kind="knot"), "joints.0.kind"),
        (lambda d: d["panel"].update(seen_from="above"), "panel.seen_from"),
        (lambda d: d["scale"].update(px_per_mm=0), "scale.px_per_mm"),
        (lambda d: d.update(units="in"), "units"),
        (lambda d: d.pop("joints"), "joints"),
        (lambda d: d.update(version=2), "version 2"),
        (lambda d: d.update(format="a drawing"), "format is 'a drawing'"),
        (lambda d: d["scale"].update(px_per_mm=float("nan")), "scale.px_per_mm"),
        (lambda d: d["scale"].update(px_per_mm=1e300), "scale.px_per_mm"),
        (lambda d: d["joints"][0].update(x=1e300), "joints.0.x"),
        (lambda d: d["joints"][0].update(id="J" + "1" * 5000), "joints.0.id"),
        (lambda d: d["joints"][0].update(id="J1\n"), "joints.0.id"),
        (lambda d: d["cames"][0].update(id="C\u0661"), "cames.0.id"),
        (lambda d: d["cames"][0]["path"].__setitem__(0, [1e7, 0.0]), "cames.0.path.0.0"),
        (lambda d: d["cames"][0].update(strip=10**4000), "cames.0.strip"),
        (lambda d: d["pieces"][0]["outline"].__setitem__(1, [0.0, -1e300]), "pieces.0.outline.1.1"),
        (lambda d: d["pieces"][0].update(number=10**6), "pieces.0.number"),
        (lambda d: d["pieces"][0].update(cut_area_mm2=1e300), "pieces.0.cut_area_mm2"),
        (lambda d: d["panel"]["placement"].update(angle_deg=1e300), "panel.placement.angle_deg"),
        (lambda d: d["provenance"].update(x=[{"y": 1e300}]), "provenance.x"),
        (lambda d: d["provenance"].update(x=float("inf")), "provenance.x"),
        (lambda d: d["provenance"].update(x=10**4000), "provenance.x"),
        (lambda d: d.update(corrections=[CORRECTED, CORRECTED]), "corrections.file"),
        (lambda d: d.update(corrections=[CORRECTED | {"file": "../x.toml"}]), "corrections.0.file"),
        (
            lambda d: d.update(corrections=[CORRECTED | {"date": "2026-11-31"}]),
            "corrections.0.date",
        ),
        (
            lambda d: d.update(corrections=[CORRECTED | {"date": "2026-11-25\n"}]),
            "corrections.0.date",
        ),
        (lambda d: d.update(dismissed=[DISMISSED] * 2), "dismissed.1: it is the same"),
        (lambda d: d.update(dismissed=[DISMISSED | {"at": [0.0, 1e9]}]), "dismissed.0.at.1"),
        (lambda d: d.update(dismissed=[DISMISSED | {"numbers": {"a_mm": 1e300}}]), "numbers.a_mm"),
    ],
)
def test_a_damaged_record_is_refused_by_the_field_s_name(
    change: Callable[[dict[str, Any]], object], named: str
) -> None:
    with pytest.raises(InputUnreadable) as caught:
        record_from_text(damaged(change), "panel.json")
    message = str(caught.value)
    assert named in message
    assert message.startswith("panel.json")
    assert "\n" not in message


def test_a_name_that_is_listed_twice_is_refused() -> None:
    text = text_of(panels.two_by_two()).replace('"units"', '"version": 1, "units"', 1)
    with pytest.raises(InputUnreadable, match="'version' is listed twice"):
        record_from_text(text)


def test_bytes_that_are_no_text_are_refused_in_plain_words() -> None:
    content = text_of(panels.two_by_two()).encode().replace(b'"mm"', b'"m\xff"', 1)
    with pytest.raises(InputUnreadable, match=r"byte [0-9]+ is no text in UTF-8$"):
        record_from_text(content)


@pytest.mark.parametrize(
    "text", ["", "{", "[]", "null", "3", '{"format": 1}', b"\xff\xfe\x00", "[" * 100_000]
)
def test_what_is_no_record_is_refused(text: str | bytes) -> None:
    with pytest.raises(InputUnreadable):
        record_from_text(text)


def test_reading_from_a_file(tmp_path: Path) -> None:
    path = tmp_path / "panel.json"
    path.write_text(text_of(panels.two_by_two()), encoding="utf-8")
    assert panel_of(read_record(path)).name == "n4 3b"
    with pytest.raises(InputUnreadable, match="nowhere"):
        read_record(tmp_path / "nowhere.json")
    with pytest.raises(InputUnreadable):
        read_record(tmp_path)


def test_one_line_an_item() -> None:
    panel = panels.two_by_two()
    lines = text_of(panel).splitlines()
    for kind, count in (("joints", 10), ("cames", 13), ("pieces", 4), ("findings", 3)):
        start = lines.index(f' "{kind}": [')
        assert lines[start + count + 1].startswith(" ]")
    assert not re.search(r"-0\.0\b", text_of(panel))


def test_the_largest_panel_is_written_and_read_back_and_a_larger_one_refused() -> None:
    panel = replace(panels.two_by_two(), width_mm=99_000.0)
    assert panel_of(record_from_text(text_of(panel))).width_mm == 99_000.0
    with pytest.raises(ScaleNotFound, match="101000 mm long, but 100000 mm is the limit"):
        record_of(replace(panel, width_mm=101_000.0), {})


def test_a_whole_record_that_was_corrected_is_read() -> None:
    """What the cases of damage change is right before."""
    text = damaged(lambda d: d.update(corrections=[CORRECTED], dismissed=[DISMISSED]))
    assert len(record_from_text(text).corrections) == 1
