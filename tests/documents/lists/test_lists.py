"""The lists of glass and lead."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import replace

import pytest

from rubbing2pattern.documents.lists.cames import cames_csv
from rubbing2pattern.documents.lists.lead_widths import lead_widths_csv
from rubbing2pattern.documents.lists.pieces_table import pieces_csv
from rubbing2pattern.leading import plan_lead
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.options.leading import LeadingOptions
from rubbing2pattern.units import parse_length
from tests import panels

METRIC = DocumentOptions()
INCHES = DocumentOptions(units="in", fraction=32)


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def test_pieces_one_a_row() -> None:
    panel = panels.two_by_two()
    listed = rows(pieces_csv(panel, METRIC))
    assert [r["number"] for r in listed] == ["1", "2", "3", "4"]
    first = listed[0]
    # 150 x 200 mm to the lead lines; half a heart of 1.6 mm and 0.4 mm clearance on every side.
    assert first["rectangle_width_mm"] == "197.6"
    assert first["rectangle_height_mm"] == "147.6"
    assert first["centre_area_mm2"] == "30000.0"
    assert float(first["cut_area_mm2"]) == pytest.approx(197.6 * 147.6, abs=0.06)
    # Seen between border leads of 10 mm and inner leads of 6.1 and 4.9 mm.
    assert float(first["sight_area_mm2"]) == pytest.approx(
        (150.0 - 5.0 - 3.05) * (200.0 - 5.0 - 2.45), abs=0.06
    )
    assert first["cames"].split() == list(panel.pieces[0].cames)
    assert first["leads"] == "5 mm; 6 mm; 10 mm"
    assert first["neighbours"] == "2 3 4"
    assert first["findings"] == "F3 free-end"
    assert listed[1]["findings"] == "F1 bridged-gap; F3 free-end"
    assert listed[2]["findings"] == ""


@pytest.mark.parametrize("sweep_deg", [60.0, 140.0, 180.0])
def test_a_segment_topped_piece_has_the_handbook_s_area(sweep_deg: float) -> None:
    """Circular segment: r² (t - sin t) / 2 (Machinery's Handbook)."""
    panel = panels.arched(400.0, sweep_deg)
    theta = math.radians(sweep_deg)
    radius = 200.0 / math.sin(theta / 2)
    area = radius**2 * (theta - math.sin(theta)) / 2
    listed = float(rows(pieces_csv(panel, METRIC))[0]["centre_area_mm2"])
    assert listed == pytest.approx(area, rel=2e-4)


def test_inches_are_fractions_that_no_spreadsheet_takes_for_days() -> None:
    listed = rows(pieces_csv(panels.arched(), INCHES))
    for row in listed:
        for head in ("rectangle_width_in", "rectangle_height_in"):
            inches, *fraction = row[head].split(" ")
            assert inches.isdigit()
            assert not fraction or "/" in fraction[0]
    mm = rows(pieces_csv(panels.arched(), METRIC))
    for a, b in zip(listed, mm, strict=True):
        length_mm = parse_length(a["rectangle_width_in"], "in")
        assert length_mm == pytest.approx(float(b["rectangle_width_mm"]), abs=25.4 / 64 + 0.06)
        area_mm2 = float(a["cut_area_in2"]) * 25.4**2
        assert area_mm2 == pytest.approx(float(b["cut_area_mm2"]), abs=0.5)
    assert not any("mm" in head for head in listed[0])


def test_lead_by_width_adds_up() -> None:
    panel = panels.two_by_two()
    listed = rows(lead_widths_csv(panel, METRIC))
    assert [(r["letter"], r["stock"], r["cames"]) for r in listed] == [
        ("A", "5 mm", "2"),
        ("B", "6 mm", "3"),
        ("C", "10 mm", "8"),
    ]
    assert [float(r["length_mm"]) for r in listed] == [300.0, 400.0, 1400.0]
    assert [float(r["border_length_mm"]) for r in listed] == [0.0, 0.0, 1400.0]
    for row in listed:
        parts = [float(row[f"{kind}_length_mm"]) for kind in ("flat", "round", "unknown")]
        assert sum(parts) == pytest.approx(float(row["length_mm"]))
    assert listed[1]["measured_mean_mm"] == "6.10"
    assert float(listed[2]["longest_came_mm"]) == 240.0
    total = sum(came.length_mm for came in panel.cames)
    assert sum(float(r["length_mm"]) for r in listed) == pytest.approx(total)


def test_mean_width_is_weighed_by_length() -> None:
    panel = panels.strapped()
    thin = replace(panel.cames[0], face_width_mm=5.0)
    row = rows(lead_widths_csv(replace(panel, cames=(thin, *panel.cames[1:])), METRIC))[1]
    assert row["measured_least_mm"] == "5.00"
    assert row["measured_most_mm"] == "6.00"
    assert row["measured_mean_mm"] == "5.75"  # 200 mm of 800 mm are 1 mm thinner


def test_ring_length_is_the_circle_s() -> None:
    row = rows(lead_widths_csv(panels.roundel_in_square(), METRIC))[0]
    assert float(row["length_mm"]) == pytest.approx(2 * math.pi * 60.0, abs=0.05)


def test_names_of_stock_are_never_formulas() -> None:
    panel = panels.strapped()
    evil = tuple(replace(came, stock='=HYPERLINK("x")') for came in panel.cames)
    text = lead_widths_csv(replace(panel, cames=evil), METRIC)
    assert rows(text)[0]["stock"] == '\'=HYPERLINK("x")'


def cames(panel: Panel, options: DocumentOptions = METRIC) -> list[dict[str, str]]:
    return rows(cames_csv(panel, plan_lead(panel, LeadingOptions()), options))


def test_cames_one_a_row_with_their_ends_and_the_pieces_beside_them() -> None:
    panel = panels.two_by_two()
    listed = cames(panel)
    assert [row["came"] for row in listed] == [came.id for came in panel.cames]
    by_ends = {(row["start"], row["end"]): row for row in listed}
    cross = by_ends["J4", "J5"]  # from the upright to the border on the right
    assert cross["length_mm"] == "150.0"
    assert (cross["face_width_mm"], cross["face_width_uncertainty_mm"]) == ("4.90", "0.12")
    assert (cross["stock"], cross["border"]) == ("5 mm", "no")
    assert cross["pieces"] == "2 3", "the upper one lies on the left"
    border = [row for row in listed if row["border"] == "yes"]
    assert {row["stock"] for row in border} == {"10 mm"}
    assert all(row["pieces"] in "1234" for row in border)


def test_cames_name_the_strip_to_cut_and_the_run() -> None:
    panel = panels.two_by_two()
    plan = plan_lead(panel, LeadingOptions())
    for row, came in zip(cames(panel), panel.cames, strict=True):
        assert came.id in plan.strips[int(row["strip"]) - 1].cames
        assert int(row["run"]) == came.strip
        assert row["profile"] == came.profile.value


def test_a_width_whose_uncertainty_is_not_known_has_an_empty_cell() -> None:
    panel = panels.strapped()
    unknown = replace(panel.cames[0], face_width_uncertainty_mm=math.inf)
    listed = cames(replace(panel, cames=(unknown, *panel.cames[1:])), INCHES)
    assert [row["face_width_uncertainty_in"] for row in listed[:2]] == ["", "0.005"]
    assert listed[-1]["pieces"] == "1", "a strap lead has one piece on both sides"


def test_lead_by_width_is_the_sum_of_the_cames() -> None:
    panel = panels.mosaic(12, 200.0, 300.0)
    listed = cames(panel)
    for use in rows(lead_widths_csv(panel, METRIC)):
        mine = [row for row in listed if row["stock"] == use["stock"]]
        assert len(mine) == int(use["cames"])
        total = sum(float(row["length_mm"]) for row in mine)
        assert total == pytest.approx(float(use["length_mm"]), abs=0.05 * (len(mine) + 1))
