"""The lists of lead: strips and sticks agree with plan, record and each other, in both units."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace

import pytest

from rubbing2pattern.documents import document_files
from rubbing2pattern.documents.drawing.width_letters import widths_used
from rubbing2pattern.documents.lists.lead_to_cut import lead_csv, strips_csv, weights_note
from rubbing2pattern.documents.lists.lead_widths import lead_widths_csv
from rubbing2pattern.documents.report.lead_needed import order_rows
from rubbing2pattern.leading import plan_lead
from rubbing2pattern.model import Panel, Profile
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.options.leading import LeadingOptions
from rubbing2pattern.record.panel import panel_of, record_from_text, record_of, record_text
from rubbing2pattern.units import parse_length
from tests import panels
from tests.working import grows_with_the_panel

METRIC, INCHES = DocumentOptions(), DocumentOptions(units="in", fraction=32)
LEADING = LeadingOptions()
SHORT = replace(LEADING, stick_mm=250.0)
BY_HAND = [
    # two_by_two with one profile: see the plan's own test for the lengths.
    ("A", "5 mm", "flat", "2", "284.0", "142.0", "1", "1"),
    ("B", "6 mm", "flat", "1", "390.0", "390.0", "1", "1"),
    ("C", "10 mm", "flat", "4", "1440.0", "410.0", "1", "2"),
]


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def flat(panel: Panel) -> Panel:
    return replace(panel, cames=tuple(replace(c, profile=Profile.FLAT) for c in panel.cames))


def test_sticks_by_width_by_hand() -> None:
    panel = flat(panels.two_by_two())
    *widths, total = rows(lead_csv(panel, plan_lead(panel, LEADING), METRIC))
    names = (
        "letter", "stock", "profile", "strips", "total_length_mm", "longest_strip_mm", "sticks",
        "to_buy",
    )  # fmt: skip
    assert [tuple(row[name] for name in names) for row in widths] == BY_HAND
    assert tuple(total[name] for name in names) == (
        "all", "", "", "7", "2114.0", "410.0", "3", "4",
    )  # fmt: skip
    assert {row["stick_length_mm"] for row in widths} == {"1828.8"}
    assert widths[2]["offcuts_mm"] == "336.8"
    assert {row["at_least"] for row in widths} == {"1"}
    kept = sum(float(row["lead_kg"]) for row in widths)
    assert kept == pytest.approx(float(total["lead_kg"]), abs=0.02)


def test_the_documents_hold_these_lists() -> None:
    panel = panels.two_by_two()
    files = document_files(panel, None, {}, METRIC, leading=SHORT)
    kept = panel_of(record_from_text(files["panel.json"]))
    plan = plan_lead(kept, SHORT)
    assert files["strips.csv"] == strips_csv(kept, plan, METRIC).encode()
    assert files["lead.csv"] == lead_csv(kept, plan, METRIC).encode()
    assert files["lead.csv"] != lead_csv(kept, plan_lead(kept, LEADING), METRIC).encode()


@pytest.mark.parametrize("leading", [LEADING, SHORT], ids=["6 ft", "short sticks"])
@pytest.mark.parametrize("panel", panels.one_of_each(), ids=lambda panel: panel.name)
def test_lists_record_and_plan_agree(panel: Panel, leading: LeadingOptions) -> None:
    text = record_text(record_of(panel, {}))
    record, kept = json.loads(text), panel_of(record_from_text(text))
    plan = plan_lead(kept, leading)
    cames = {came["id"]: came for came in record["cames"]}
    strips = rows(strips_csv(kept, plan, METRIC))
    assert sorted(name for row in strips for name in row["cames"].split()) == sorted(cames)
    for row, strip in zip(strips, plan.strips, strict=True):
        assert int(row["strip"]) == strip.number
        members = [cames[name] for name in row["cames"].split()]
        assert {came["stock"] for came in members} == {row["stock"]}
        line = sum(came["length_mm"] for came in members)
        assert float(row["lead_line_mm"]) == pytest.approx(line, abs=0.06)
        assert float(row["cut_length_mm"]) == pytest.approx(strip.cut_length_mm, abs=0.0501)
        ends = {came[end] for came in members for end in ("start", "end")}
        assert {row["start_joint"], row["end_joint"]} <= ends
        known = {str(other.number) for other in plan.strips}
        assert {*row["start_meets"].split(), *row["end_meets"].split()} <= known
    by_width = rows(lead_widths_csv(kept, METRIC))
    *sticks, total = rows(lead_csv(kept, plan, METRIC))
    assert {(r["letter"], r["stock"]) for r in by_width} == {
        (r["letter"], r["stock"]) for r in sticks
    }
    for row in by_width:
        mine = [s for s in strips if s["stock"] == row["stock"]]
        line = sum(float(s["lead_line_mm"]) for s in mine)
        assert line == pytest.approx(float(row["length_mm"]), abs=0.1 * len(mine) + 0.1)
        assert {s["letter"] for s in mine} == {row["letter"]}
    for row in sticks:
        mine = [s for s in strips if (s["stock"], s["profile"]) == (row["stock"], row["profile"])]
        assert int(row["strips"]) == sum(bool(s["sticks"]) for s in mine)
        named = {stick for s in mine for stick in s["sticks"].split("; ") if stick}
        assert named == {f"{row['letter']}{n}" for n in range(1, int(row["sticks"]) + 1)}
        assert len(row["offcuts_mm"].split("; ")) == int(row["sticks"])
    assert int(total["sticks"]) == sum(order.sticks for order in plan.orders)


def test_lead_of_the_border_apart() -> None:
    """All leads of one width: with a border of another section its sticks are counted apart."""
    panel = flat(panels.two_by_two())
    one = replace(panel, cames=tuple(replace(c, stock="6 mm", stock_mm=6.0) for c in panel.cames))
    together, total = rows(lead_csv(one, plan_lead(one, LEADING), METRIC))
    assert together["border"] == total["border"] == ""
    apart = replace(LEADING, border_apart=True)
    inside, border, total = rows(lead_csv(one, plan_lead(one, apart), METRIC))
    assert [row["border"] for row in (inside, border, total)] == ["no", "yes", ""]
    assert (inside["strips"], border["strips"], total["strips"]) == ("3", "4", "7")
    # Two sides of 300 mm and two of 400 mm, each longer by 3 mm at both mitres.
    assert float(border["total_length_mm"]) == 2 * 306.0 + 2 * 406.0
    for name in ("total_length_mm", "lead_kg"):
        kept = float(inside[name]) + float(border[name])
        assert kept == pytest.approx(float(together[name]), abs=0.11 if "mm" in name else 0.011)
    plan = plan_lead(one, apart)
    for order in plan.orders:
        assert {plan.strips[n - 1].border for n in order.strips} == {order.border}
    in_report = [row[1] for row in order_rows(one, plan, METRIC)]
    assert in_report == ["6 mm", "6 mm, border"]


def test_inches_and_pounds_throughout() -> None:
    panel = flat(panels.arched())
    plan = plan_lead(panel, LEADING)
    for write in (strips_csv, lead_csv):
        listed, metric = rows(write(panel, plan, INCHES)), rows(write(panel, plan, METRIC))
        assert not any("mm" in head or "kg" in head for head in listed[0])
        for a, b in zip(listed, metric, strict=True):
            for name in ("cut_length", "lead_line", "total_length", "stick_length"):
                if f"{name}_in" in a:
                    mm = parse_length(a[f"{name}_in"], "in")
                    assert mm == pytest.approx(float(b[f"{name}_mm"]), abs=25.4 / 64 + 0.06)
            if a.get("lead_lb"):  # one pound is 0.45359237 kg exactly
                assert float(a["lead_lb"]) * 0.45359237 == pytest.approx(
                    float(b["lead_kg"]), abs=0.0075
                )
    assert rows(lead_csv(panel, plan, INCHES))[0]["stick_length_in"] == "72"


def test_parts_of_long_strips_are_reported() -> None:
    panel = flat(panels.two_by_two())
    listed, uncut = (rows(strips_csv(panel, plan_lead(panel, o), METRIC)) for o in (SHORT, LEADING))
    upright = next(row for row in listed if row["stock"] == "6 mm")
    assert upright["soldered_at"] == "J7"
    assert upright["parts_mm"] == "195.0; 195.0"
    assert upright["sticks"] == "B1; B2"
    assert upright["remark"] == "longer than a stick gives: soldered from 2 parts"
    whole = next(row for row in uncut if row["stock"] == "6 mm")
    assert (whole["parts_mm"], whole["soldered_at"], whole["sticks"]) == ("", "", "B1")


def test_a_covered_strip_is_reported() -> None:
    panel = flat(panels.two_by_two())
    wide = tuple(
        replace(c, stock="300 mm", stock_mm=300.0) if c.stock == "6 mm" else c for c in panel.cames
    )
    panel = replace(panel, cames=wide)
    covered = [
        r
        for r in rows(strips_csv(panel, plan_lead(panel, LEADING), METRIC))
        if r["stock"] == "5 mm"
    ]
    assert [(r["cut_length_mm"], r["sticks"], r["remark"][:7]) for r in covered] == [
        ("0.0", "", "covered")
    ] * 2


def test_ends_are_listed() -> None:
    panel = panels.strapped()
    strap = rows(strips_csv(panel, plan_lead(panel, LEADING), METRIC))[-1]
    ends = {strap[f"{e}_joint"]: (strap[f"{e}_cut"], strap[f"{e}_meets"]) for e in ("start", "end")}
    assert ends["J4"] == ("free", "")
    assert ends["J3"][0] == "butt"
    ring = rows(
        strips_csv(
            panels.roundel_in_square(), plan_lead(panels.roundel_in_square(), LEADING), METRIC
        )
    )
    assert [(r["start_cut"], r["end_cut"]) for r in ring if r["ring"] == "yes"] == [
        ("closed", "closed")
    ]


def test_names_of_stock_are_never_formulas() -> None:
    panel = panels.strapped()
    evil = replace(panel, cames=tuple(replace(c, stock='=HYPERLINK("x")') for c in panel.cames))
    plan = plan_lead(evil, LEADING)
    assert rows(strips_csv(evil, plan, METRIC))[0]["stock"] == '\'=HYPERLINK("x")'
    assert rows(lead_csv(evil, plan, METRIC))[0]["stock"] == '\'=HYPERLINK("x")'


@pytest.mark.parametrize(("options", "thick"), [(METRIC, "3.0 mm thick"), (INCHES, "1/8 in thick")])
def test_what_weights_rest_on_is_written_in_the_unit(options: DocumentOptions, thick: str) -> None:
    note = weights_note(panels.strapped(), LEADING, options)
    assert thick in note
    assert "estimates" in note


def test_lists_of_a_large_panel_are_quick() -> None:
    def lists(panel: Panel) -> str:
        plan = plan_lead(panel, LEADING)
        return strips_csv(panel, plan, METRIC) + lead_csv(panel, plan, METRIC)

    half, panel = (panels.mosaic(pieces, 900.0, 1200.0) for pieces in (125, 250))
    grows_with_the_panel(lambda: lists(half), lambda: lists(panel))
    plan = plan_lead(panel, LEADING)
    text = strips_csv(panel, plan, METRIC) + lead_csv(panel, plan, METRIC)
    assert len(widths_used(panel)) == 2
    assert text.count("\r\n") == len(plan.strips) + len(plan.orders) + 3
