"""The report: a page in itself that says what the record says, with nothing from outside."""

from __future__ import annotations

import base64
import io
import re
from dataclasses import replace
from importlib.resources import files

import numpy as np
import pytest
import shapely
from PIL import Image
from shapely.geometry import LineString, Point

from rubbing2pattern.documents.report import report_html
from rubbing2pattern.findings import Code, Finding, Severity
from rubbing2pattern.findings.names import named
from rubbing2pattern.leading import plan_lead
from rubbing2pattern.model import AppliedCorrections, Change, Dismissal, Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.options.leading import LeadingOptions
from rubbing2pattern.record.panel import panel_of, record_of
from rubbing2pattern.units import parse_length
from tests import panels
from tests.documents.report.reported import OPTIONS, PROVENANCE, Page, kept, parsed, report
from tests.working import grows_with_the_panel


def text_of(part: Page) -> str:
    return " ".join("".join(part.itertext()).split())


def table(page: Page, section: str) -> list[list[str]]:
    """Return the cells of the first table with rows of its own in a section."""
    found = page.find(f".//section[@id='{section}']//table/tbody")
    assert found is not None
    return [[text_of(cell) for cell in row] for row in found]


def pictures(page: str) -> list[Image.Image]:
    data = re.findall(r'href="data:image/jpeg;base64,([^"]+)"', page)
    return [Image.open(io.BytesIO(base64.b64decode(part))) for part in data]


def many(kinds: dict[Code, int], severity: Severity = Severity.CHECK) -> tuple[Finding, ...]:
    """Return findings spread over a panel of 2 m, so that none lies in another's picture."""
    places = ((100.0 + 70.0 * (k % 25), 100.0 + 70.0 * (k // 25)) for k in range(1000))
    return named(
        [
            Finding(code, severity, f"{code.value} number {k}.", next(places))
            for code, number in kinds.items()
            for k in range(number)
        ]
    )


@pytest.fixture(scope="module")
def panel() -> Panel:
    drawn = panels.two_by_two()
    return panel_of(record_of(drawn, PROVENANCE))


@pytest.fixture(scope="module")
def page(panel: Panel) -> str:
    return report(panel, kept(panel))


@pytest.mark.parametrize("panel", panels.one_of_each(), ids=lambda p: p.name)
@pytest.mark.parametrize("units", ["mm", "in"])
def test_the_page_is_sound_and_its_links_lead_somewhere(panel: Panel, units: str) -> None:
    tree = parsed(report(panel, kept(panel), replace(OPTIONS, units=units)))
    ids = [part.get("id") for part in tree.iter() if part.get("id")]
    assert len(ids) == len(set(ids))
    links = {part.get("href") for part in tree.iter("a")}
    assert links <= {f"#{name}" for name in ids}


def test_nothing_comes_from_outside_and_nothing_runs(page: str) -> None:
    tree = parsed(page)
    names = {part.tag for part in tree.iter()}
    assert not names & {"script", "link", "iframe", "object", "embed", "base", "form", "img"}
    for part in tree.iter():
        for name, given in part.attrib.items():
            assert not name.startswith("on")
            if name in ("href", "src"):
                assert given.startswith(("#", "data:image/jpeg;base64,"))
    style = text_of(tree.find("head/style"))
    assert "url(" not in style
    assert "@import" not in style
    policy = tree.find("head/meta[@http-equiv]").get("content")
    assert policy.startswith("default-src 'none'")


def test_what_comes_first_stands_first(page: str, panel: Panel) -> None:
    tree = parsed(page)
    head = text_of(tree.find("body/header"))
    assert head.startswith(f"{panel.name} Seen from {panel.seen_from}")
    order = ["findings", "overlay", "drawing", "widths", "pieces", "cames", "scale"]
    order += ["provenance", "cautions"]
    assert [part.get("id") for part in tree.findall("body/section")] == order
    findings = text_of(tree.find(".//section[@id='findings']"))
    assert 0 < findings.find("Wrong:") < findings.find("To check:") < findings.find("Notes:")
    assert text_of(tree.find("body/p")) == "Do not use this pattern yet: 1 fault to settle"


def test_every_finding_is_reported_with_place_and_pieces(page: str, panel: Panel) -> None:
    tree = parsed(page)
    for k, finding in enumerate(panel.findings, start=1):
        entry = tree.find(f".//*[@id='F{k}']")
        words = text_of(entry)
        assert finding.message in words
        place = "whole panel" if finding.at is None else "x {:.1f}, y {:.1f} mm".format(*finding.at)
        assert place in words
        assert {a.text for a in entry.iter("a")} == {str(number) for number in finding.pieces}
        shown = finding.at is not None and finding.severity is not Severity.NOTE
        assert (entry.find("svg/image") is not None) is shown


def test_the_head_tells_the_record_s_figures(page: str, panel: Panel) -> None:
    figures = {
        text_of(part.find("dt")): [text_of(dd) for dd in part.findall("dd")]
        for part in parsed(page).iterfind(".//dl/div")
    }
    outer = f"{panel.outer_width_mm:.1f} × {panel.outer_height_mm:.1f} mm"
    assert figures["Over all"][0] == outer
    assert figures["To the lead lines"][0] == f"{panel.width_mm:.1f} × {panel.height_mm:.1f} mm"
    assert figures["Pieces of glass"][0] == str(len(panel.pieces))
    assert figures["Leads"] == [f"{len(panel.cames)} cames", f"{len(panel.joints)} joints"]
    total = sum(came.length_mm for came in panel.cames)
    assert figures["Length of lead"][0] == f"{total / 1000:.2f} m"
    glass = sum(piece.cut_area_mm2 for piece in panel.pieces)
    assert figures["Pieces of glass"][1] == f"{glass / 1e6:.3f} m² as cut"
    share = panel.scale.relative_uncertainty
    assert figures["Scale"][0] == f"±{100 * share:.2g} %"
    assert f"{share * panel.outer_height_mm:.2f} mm in" in figures["Scale"][1]
    assert figures["Findings"] == ["1 wrong, 1 to check", "1 note"]


def test_every_piece_and_every_came_is_listed(page: str, panel: Panel) -> None:
    tree = parsed(page)
    rows = table(tree, "pieces")
    assert [row[0] for row in rows] == [str(piece.number) for piece in panel.pieces]
    for row, piece in zip(rows, panel.pieces, strict=True):
        r = piece.rectangle
        assert row[1] == f"{r.width_mm:.1f} × {r.height_mm:.1f}"
        areas = (piece.cut_area_mm2, piece.sight_area_mm2)
        assert row[2:4] == [f"{area:.0f}" for area in areas]
        assert row[4] == f"{piece.centre_area_mm2:.0f} ± {piece.area_uncertainty_mm2:.0f}"
        numbers = [k for k, f in enumerate(panel.findings, 1) if piece.number in f.pieces]
        assert row[7] == ", ".join(f"F{k}" for k in numbers)
    rows = table(tree, "cames")
    assert [row[0] for row in rows] == [came.id for came in panel.cames]
    for row, came in zip(rows, panel.cames, strict=True):
        assert row[1] == " | ".join(str(number) for number in came.pieces)
        assert row[2] == f"{came.length_mm:.1f}"
        assert row[4] == f"{came.face_width_mm:.2f} ± {came.face_width_uncertainty_mm:.2f}"
    assert "14.5 mm bridged" in rows[1][5]  # the second came's gap is drawn from 10 to 24.5 mm


def test_inches_with_fractions(panel: Panel) -> None:
    page = report(panel, kept(panel), DocumentOptions(units="in"))
    tree = parsed(page)
    for row, piece in zip(table(tree, "pieces"), panel.pieces, strict=True):
        width, height = (parse_length(f"{part} in") for part in row[1].split(" × "))
        assert width == pytest.approx(piece.rectangle.width_mm, abs=25.4 / 32)
        assert height == pytest.approx(piece.rectangle.height_mm, abs=25.4 / 32)
        assert float(row[2]) * 25.4**2 == pytest.approx(piece.cut_area_mm2, abs=3.3)
    assert "size: letter" in page
    for section in ("pieces", "cames", "scale"):
        words = text_of(tree.find(f".//section[@id='{section}']"))
        for name in {came.stock for came in panel.cames}:
            words = words.replace(name, "")
        assert not re.search(r"\d mm", words.replace(panel.scale.statement, ""))


def test_the_histogram_holds_all_lead_and_marks_the_sizes(page: str, panel: Panel) -> None:
    chart = parsed(page).find(".//svg[@class='chart']")
    bars: dict[str, float] = {}
    for bar in chart.iter("rect"):
        letter = bar.get("data-letter")
        bars[letter] = bars.get(letter, 0.0) + float(bar.get("data-length-mm"))
        assert float(bar.get("height")) > 0.0
        middle = float(bar.get("x")) + 0.5 * float(bar.get("width"))
        sizes = {t.text[0]: float(t.get("x")) for t in chart.iter("text") if ": " in t.text}
        assert middle == pytest.approx(sizes[letter], abs=0.25 / 2 * (sizes["C"] - sizes["A"]) / 5)
    lengths: dict[str, float] = {}
    for came in panel.cames:
        lengths[came.stock] = lengths.get(came.stock, 0.0) + came.length_mm
    assert list(lengths) == ["10 mm", "6 mm", "5 mm"]  # as they are drawn
    assert bars == pytest.approx(
        {"A": lengths["5 mm"], "B": lengths["6 mm"], "C": lengths["10 mm"]}, abs=0.05
    )
    words = {text.text: text for text in chart.iter("text")}
    assert {"A: 5 mm", "B: 6 mm", "C: 10 mm", "7 mm"} <= set(words)
    assert "8 mm" not in words  # not among the sizes with which this panel was read
    right = [float(words[name].get("x")) for name in ("A: 5 mm", "B: 6 mm", "7 mm", "C: 10 mm")]
    steps = np.diff(right)
    assert steps == pytest.approx(steps[0] * np.array([1.0, 1.0, 3.0]), abs=0.05)


def test_what_persons_type_stays_text() -> None:
    evil = "</style><script>alert('x')</script>\"&{{ 7 * 7 }}{% raw %}\x00\u202e"
    shown = "</style><script>alert('x')</script>\"&{{ 7 * 7 }}{% raw %}"
    drawn = panels.two_by_two()
    finding = Finding(Code.FREE_END, Severity.WRONG, evil, (20.0, 20.0), (1,), id="F1")
    change = Change("set_width", 1, {}, evil)
    panel = replace(
        drawn,
        name=evil,
        findings=(finding,),
        dismissed=(Dismissal(finding, evil, "2026-11-25", evil),),
        corrections=(
            AppliedCorrections(evil, "2026-11-25", evil, "corrections-1.toml", "0", (change,)),
        ),
        cames=tuple(replace(came, stock=evil) for came in drawn.cames),
        scale=replace(drawn.scale, reference=evil, statement=evil),
    )
    page = report_html(panel, kept(panel), {evil: [evil, {evil: evil}], "a": evil}, OPTIONS)
    tree = parsed(page.decode())
    assert "script" not in {part.tag for part in tree.iter()}
    assert text_of(tree.find(".//h1")) == shown
    assert text_of(tree.find(".//*[@id='F1']//p[2]")) == shown
    assert page.decode().count("alert") > 15
    assert b"<script" not in page
    assert page.count(b"</style>") == 1
    assert b"49" not in re.sub(rb"[\d.]*49[\d.]*", b"", page) and "\x00" not in page.decode()
    assert "\u202e" not in page.decode()


def test_many_findings_do_not_make_many_pictures() -> None:
    """Kinds take turns, so the rare ones are shown as well."""
    kinds = {Code.BRIDGED_GAP: 200, Code.DOUBTFUL_JOINT: 3, Code.FREE_END: 12}
    panel = replace(panels.two_by_two(2000.0, 1200.0), findings=many(kinds))
    options = replace(OPTIONS, overlay_px_per_mm=1.0)
    page = report(panel, kept(panel, options), options)
    tree = parsed(page)
    cards = tree.findall(".//*[@class='card']")
    assert len(cards) == OPTIONS.report_crops
    assert len(pictures(page)) == OPTIONS.report_crops + 1
    words = [text_of(card) for card in cards]
    assert sum("doubtful-joint number" in w for w in words) == 3
    assert sum("free-end number" in w for w in words) == 12
    assert sum("bridged-gap number" in w for w in words) == 15
    findings = tree.find(".//section[@id='findings']")
    assert "185 of 200 not shown in a picture here" in text_of(findings)
    assert len([part for part in findings.iter() if re.fullmatch(r"F\d+", part.get("id", ""))]) == (
        len(panel.findings)
    )
    assert len(parsed(report(panel, kept(panel, options), replace(options, report_crops=0)))) == 2


def test_what_is_wrong_is_shown_before_what_is_to_check() -> None:
    found = many({Code.BRIDGED_GAP: 20}) + many({Code.BORDER_OPEN: 2}, Severity.WRONG)
    last = [replace(f, at=(900.0 + 300.0 * k, 900.0)) for k, f in enumerate(found[20:])]
    renamed = [replace(f, id=f"F{k}") for k, f in enumerate((*found[:20], *last), start=1)]
    panel = replace(panels.two_by_two(2000.0, 1200.0), findings=tuple(renamed))
    options = replace(OPTIONS, overlay_px_per_mm=1.0, report_crops=2)
    tree = parsed(report(panel, kept(panel, options), options))
    assert [c.get("id") for c in tree.iterfind(".//*[@class='card']")] == ["F21", "F22"]


def test_places_near_each_other_share_a_picture(panel: Panel) -> None:
    near = tuple(
        Finding(
            Code.FREE_END, Severity.CHECK, f"End {k}.", (150.0 + 4.0 * k, 200.0), id=f"F{k + 1}"
        )
        for k in (0, 1)
    )
    tree = parsed(report(replace(panel, findings=near), kept(panel)))
    (card,) = tree.findall(".//*[@class='card']")
    assert [text.text for text in card.iter("text") if "F" in text.text] == ["F2", "F1"]
    assert text_of(tree.find(".//*[@id='F2']/td[5]")) == "at F1"


def test_a_picture_shows_its_place(panel: Panel) -> None:
    """The lead of 6.1 mm that stands at x = 150 is dark in the middle third of its crop only."""
    finding = Finding(Code.DOUBTFUL_LEAD, Severity.CHECK, "Look.", (155.0, 100.0), (3, 4))
    page = report(replace(panel, findings=(finding,)), kept(panel))
    crop = parsed(page).find(".//*[@class='card']/svg")
    image = crop.find("image")
    assert [float(v) for v in crop.get("viewBox").split()] == [0.0, 0.0, 60.0, 60.0]
    grey = np.asarray(pictures(page)[0]).astype(float)
    scale = float(image.get("width")) / grey.shape[1]
    x = float(image.get("x")) + (np.arange(grey.shape[1]) + 0.5) * scale
    dark = x[grey.mean(axis=0) < 145.0]
    assert dark.min() == pytest.approx(25.0 - 3.05, abs=0.3)
    assert dark.max() == pytest.approx(25.0 + 3.05, abs=0.3)


def test_without_a_rubbing_everything_else_is_there(panel: Panel) -> None:
    page = report(panel)
    tree = parsed(page)
    assert not pictures(page)
    words = text_of(tree)
    assert "so there are no pictures of the places" in words
    assert "so there is no overlay" in words
    for k, finding in enumerate(panel.findings, start=1):
        assert finding.message in text_of(tree.find(f".//*[@id='F{k}']"))
    assert len(table(tree, "pieces")) == len(panel.pieces)


def test_a_place_off_the_picture_has_none(panel: Panel) -> None:
    off = Finding(Code.FREE_END, Severity.CHECK, "Off the picture.", (900.0, 900.0))
    tree = parsed(report(replace(panel, findings=(off,)), kept(panel)))
    assert tree.find(".//*[@class='card']") is None
    assert "1 of 1 not shown" in text_of(tree.find(".//section[@id='findings']"))


def test_the_numbered_drawing_has_each_number_in_its_piece() -> None:
    panel = panels.mosaic(30, 200.0, 200.0)
    drawing = parsed(report(panel)).find(".//section[@id='drawing']//svg")
    width, height = (float(v) for v in drawing.get("viewBox").split()[2:])
    bodies = [LineString(c.path).buffer(0.5 * c.face_width_mm) for c in panel.cames]
    x_min, y_min, x_max, y_max = shapely.union_all(bodies).bounds
    left, top = 0.5 * (x_min + x_max - width), 0.5 * (y_min + y_max + height)
    group = drawing.find("g[@data-layer='piece number']")
    seen = {}
    for text in group.iter("text"):
        raised = 0.5 * 0.718 * float(text.get("font-size"))
        at = Point(left + float(text.get("x")), top - float(text.get("y")) + raised)
        seen[int(text.text)] = at
    assert set(seen) == {piece.number for piece in panel.pieces}
    for piece in panel.pieces:
        assert piece.sight_outline.contains(seen[piece.number]), piece.number


def test_the_page_keeps_its_limit() -> None:
    """Grain makes pictures large; they get coarser, and nothing else is cut."""
    kinds = {Code.BRIDGED_GAP: 120}
    panel = replace(panels.two_by_two(2000.0, 1200.0), findings=many(kinds))
    options = replace(OPTIONS, overlay_px_per_mm=2.0, report_crops=120)
    rubbing = kept(panel, options, noise=80)
    free = report(panel, rubbing, replace(options, report_limit_mb=50.0))
    assert len(free) > 0.7e6
    bound = report(panel, rubbing, replace(options, report_limit_mb=0.5))
    assert len(bound.encode()) <= 0.5e6
    assert len(pictures(bound)) == len(pictures(free)) == 121
    assert [text_of(p) for p in parsed(bound)] == [text_of(p) for p in parsed(free)]


def test_same_input_same_bytes(panel: Panel, page: str) -> None:
    assert report(panel, kept(panel)) == page


def test_the_template_is_part_of_the_package() -> None:
    for name in ("report.html.jinja", "report.css"):
        assert (files("rubbing2pattern.documents.pages") / name).is_file()


def test_two_hundred_and_fifty_pieces_take_no_time_to_speak_of() -> None:
    half, whole = panels.lattice(25, 5), panels.lattice(25, 10)
    coarse = replace(OPTIONS, overlay_px_per_mm=1.0)
    rubbings = kept(half, coarse), kept(whole, coarse)
    grows_with_the_panel(
        lambda: report(half, rubbings[0], coarse), lambda: report(whole, rubbings[1], coarse)
    )


@pytest.mark.parametrize("units", ["mm", "in"])
def test_the_lead_is_listed_as_it_is_planned(panel: Panel, units: str) -> None:
    plan = plan_lead(panel, LeadingOptions())
    options = replace(OPTIONS, units=units)
    page = report_html(panel, None, PROVENANCE, options, plan, "Weights are estimates.")
    tree = parsed(page.decode())
    orders, strips = tree.findall(".//section[@id='lead']//table/tbody")
    assert len(orders) == len(plan.orders)
    for row, order in zip(orders, plan.orders, strict=True):
        cells = [text_of(cell) for cell in row]
        assert cells[1:4] == [order.stock, order.profile.value, str(len(order.strips))]
        assert cells[5:7] == [str(order.sticks), str(order.to_buy)]
        weight = order.lead_kg if units == "mm" else order.lead_kg / 0.45359237
        assert cells[8] == f"{weight:.2f} {'kg' if units == 'mm' else 'lb'}"
    assert len(strips) == len(plan.strips)
    for row, strip in zip(strips, plan.strips, strict=True):
        cells = [text_of(cell) for cell in row]
        assert cells[0] == str(strip.number)
        step = 0.0501 if units == "mm" else 25.4 / 32
        assert parse_length(f"{cells[2]} {units}") == pytest.approx(strip.cut_length_mm, abs=step)
        assert cells[5] == ", ".join(strip.cames)
    words = text_of(tree.find("body/header"))
    total = plan.lead_kg + plan.glass_kg
    assert f"Weight, about{total if units == 'mm' else total / 0.45359237:.1f}" in words
