"""Every list, the drawings and the record of one folder say the same, each to its own rounding."""

from __future__ import annotations

import io
import math
import re
from collections import Counter
from typing import Any

import numpy as np
import pytest
import shapely
from openpyxl import load_workbook
from shapely.geometry import Polygon

from rubbing2pattern.options.glass import GlassOptions
from rubbing2pattern.options.leading import LeadingOptions
from tests.documents.agreeing import (
    CASES,
    Folder,
    by_number,
    drawn_cames,
    half_run,
    in_frame,
    in_mm,
    made,
    near,
    on_pages,
    replaced,
    run_mm,
    same_cell,
    templates,
    tiles_of,
)
from tests.documents.tiled import pages


@pytest.fixture(scope="module", params=CASES)
def folder(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Folder:
    return made(request.param, tmp_path_factory.mktemp("agree"))


def test_the_case_is_a_whole_folder(folder: Folder) -> None:
    needed = {"replacement.csv", "replacement.xlsx", "templates.pdf", "report.html", "lead.csv",
              "corrections-1.toml", "strips.csv", "lead-widths.csv", "pieces.xlsx"}  # fmt: skip
    assert needed <= set(folder.files)
    assert 0 < len(replaced(folder)) <= len(folder.record["pieces"])
    assert (
        any(came["corrected"] for came in folder.record["cames"])
        or (folder.record["corrections"][0]["changes"])
    )


def test_every_document_has_the_same_pieces(folder: Folder) -> None:
    numbers = [piece["number"] for piece in folder.record["pieces"]]
    assert list(by_number(folder.rows("pieces.csv"))) == numbers
    assert list(by_number(folder.sheet("pieces.xlsx", "pieces"))) == numbers
    assert [int(row[0]) for row in folder.report()["pieces"][0]] == numbers
    for name, drawn in folder.drawings.items():
        assert sorted(drawn.numbers()) == numbers, name
    (single,) = pages(folder.files["pattern.pdf"])
    assert sorted(map(int, single.numbers())) == numbers
    on_tiles = {int(n) for tile in pages(tiles_of(folder)) for n in tile.numbers()}
    assert sorted(on_tiles) == numbers


def test_every_document_counts_the_same(folder: Folder) -> None:
    """The block of words on each sheet, the report, the marks of joints and of findings."""
    record = folder.record
    counts = [len(record[name]) for name in ("pieces", "cames", "joints")]
    shown = "{} pieces, {} cames, {} joints".format(*counts)
    drawn = folder.drawings
    for name, sheet in drawn.items():
        assert [text for text, _ in sheet.texts["panel note"]].count(shown) == 1, name
        joints = in_frame(folder, [(joint["x"], joint["y"]) for joint in record["joints"]])
        circles = np.array([(at.x, at.y) for at in sheet.circles["joint"]])
        assert np.abs(joints - circles).max() < 0.0011, name
        assert len(drawn_cames(folder, sheet)) == counts[1], name
    for pdf in (folder.files["pattern.pdf"], tiles_of(folder)):
        (document, *_) = pages(pdf)
        assert [text for text, _ in document.words].count(shown) == 1
    severities = Counter(finding["severity"] for finding in record["findings"])
    counted = f"{severities['wrong']} wrong, {severities['check']} to check"
    said = f"{len(record['findings'])} finding{'s' * (len(record['findings']) > 1)}: {counted}"
    assert any(text.startswith(said) for text, _ in drawn["SVG"].texts["panel note"])
    report = folder.report()
    in_report = sorted(row[0] for body in report["findings"] for row in body)
    assert in_report == sorted(f["id"] for f in record["findings"])
    assert [row[0] for row in report["cames"][0]] == [came["id"] for came in record["cames"]]
    marked = [f["id"] for f in record["findings"] if f["at"]]
    for name, sheet in drawn.items():
        assert [text for text, _ in sheet.texts.get("finding", [])] == marked, name
    for row in folder.rows("pieces.csv"):
        findings = [
            f"{finding['id']} {finding['code']}"
            for finding in record["findings"]
            if int(row["number"]) in finding["pieces"]
        ]
        assert row["findings"] == "; ".join(findings)


@pytest.mark.parametrize("name", ["pattern", "templates"])
def test_dxf_and_svg_show_the_same_on_every_layer(folder: Folder, name: str) -> None:
    """Outlines, lines, circles and lettering; SVG is rounded to 0.001 mm."""
    dxf, svg = (folder.drawings if name == "pattern" else templates(folder)).values()
    layers = {*dxf.rings, *dxf.lines, *dxf.texts}
    assert layers == {*svg.rings, *svg.lines, *svg.texts} and len(layers) > 7
    down = 0.0
    if name == "templates":
        boxes = [shapely.total_bounds(sheet.rings["cut outline"]) for sheet in (dxf, svg)]
        down = boxes[1][1] - boxes[0][1]
    for layer in layers:
        for one, other in ((dxf.rings, svg.rings), (dxf.lines, svg.lines)):
            shapes = one.get(layer, []), other.get(layer, [])
            assert len(shapes[0]) == len(shapes[1]), layer
            for a, b in zip(*shapes, strict=True):
                near(a.length, b.length, 0.0015 * len(shapely.get_coordinates(a)), layer)
                apart = np.abs(np.array(a.bounds) - b.bounds + (0.0, down, 0.0, down)).max()
                near(float(apart), 0.0, 0.0025, layer)
        texts = dxf.texts.get(layer, []), svg.texts.get(layer, [])
        assert [text for text, _ in texts[0]] == [text for text, _ in texts[1]], layer
        if layer in ("piece number", "width letter", "strip number"):
            for (text, at), (_, there) in zip(*texts, strict=True):
                near(abs(at.x - there.x) + abs(at.y + down - there.y), 0.0, 0.01, (layer, text))


def test_areas(folder: Folder) -> None:
    """Of each piece: record, list, report, and the outlines around its number in the drawings."""
    listed = by_number(folder.rows("pieces.csv"))
    shown = {int(row[0]): row for row in folder.report()["pieces"][0]}
    drawn = folder.drawings
    in_report = 0.5 * (1.0 if folder.unit == "mm" else 0.01 * 25.4**2)
    square = 1.0 if folder.unit == "mm" else 25.4**2
    for piece in folder.record["pieces"]:
        n, row, half = piece["number"], listed[piece["number"]], folder.half_area_mm2
        for name, column in (("cut", 2), ("sight", 3), ("centre", 4)):
            area = piece[f"{name}_area_mm2"]
            near(folder.area_mm2(row, f"{name}_area"), area, half, (n, name))
            cell = float(shown[n][column].split()[0]) * square
            near(cell, area, in_report + 1e-6, ("report", n, name))
        for side in ("width", "height"):
            length = piece["rectangle"][f"{side}_mm"]
            near(folder.length_mm(row, f"rectangle_{side}"), length, folder.half_length_mm, n)
        near(drawn["DXF"].glass(n).area, piece["cut_area_mm2"], 0.0051, ("DXF", n))
        outline, *holes = (
            in_frame(folder, ring) for ring in (piece["cut_outline"], *piece["cut_holes"])
        )
        for name, sheet in drawn.items():
            apart = Polygon(outline, holes).hausdorff_distance(sheet.glass(n))
            near(apart, 0.0, 0.0011, (name, n))
    rings = [
        1 + len(piece["cut_holes"]) + sum(1 + len(part["holes"]) for part in piece["cut_parts"])
        for piece in folder.record["pieces"]
    ]
    assert [len(d.rings["cut outline"]) for d in drawn.values()] == [sum(rings)] * 2


def test_list_and_workbook_of_the_pieces_are_the_same(folder: Folder) -> None:
    listed, shown = folder.rows("pieces.csv"), folder.sheet("pieces.xlsx", "pieces", "measures")
    assert len(listed) == len(shown)
    cames = {came["id"]: came for came in folder.record["cames"]}
    of_pieces = {(c, piece["number"]) for piece in folder.record["pieces"] for c in piece["cames"]}
    assert of_pieces == {(c, n) for c, came in cames.items() for n in came["pieces"]}
    for row, cells, piece in zip(listed, shown, folder.record["pieces"], strict=True):
        for name, text in row.items():
            assert same_cell(text, cells[name]), (row["number"], name)
        assert row["cames"].split() == piece["cames"]
        beside = {n for came in piece["cames"] for n in cames[came]["pieces"]} - {piece["number"]}
        assert row["neighbours"].split() == [str(n) for n in sorted(beside)]
        stocks = sorted({(cames[c]["stock_mm"], cames[c]["stock"]) for c in piece["cames"]})
        assert row["leads"].split("; ") == [stock for _, stock in stocks]


def test_lead_by_width(folder: Folder) -> None:
    """Count, lengths and face widths: record, list, report and the lead lines of the drawings."""
    record, half = folder.record, folder.half_length_mm
    rows = folder.rows("lead-widths.csv")
    assert {row["stock"] for row in rows} == {came["stock"] for came in record["cames"]}
    drawn = {name: drawn_cames(folder, sheet) for name, sheet in folder.drawings.items()}
    shown = folder.report()["widths"][0]
    assert [[r["letter"], r["stock"], r["cames"]] for r in rows] == [cells[:3] for cells in shown]
    for row in rows:
        mine = [came for came in record["cames"] if came["stock"] == row["stock"]]
        assert int(row["cames"]) == len(mine)
        total = sum(came["length_mm"] for came in mine)
        near(folder.length_mm(row, "length"), total, half, row["stock"])
        border = sum(came["length_mm"] for came in mine if came["border"])
        near(folder.length_mm(row, "border_length"), border, half, "border")
        for profile in ("flat", "round", "unknown"):
            of = sum(came["length_mm"] for came in mine if came["profile"] == profile)
            near(folder.length_mm(row, f"{profile}_length"), of, half, profile)
        longest = max(came["length_mm"] for came in mine)
        near(folder.length_mm(row, "longest_came"), longest, half, "longest")
        widths = [came["face_width_mm"] for came in mine]
        mean = sum(c["face_width_mm"] * c["length_mm"] for c in mine) / total
        for name, width in (("least", min(widths)), ("mean", mean), ("most", max(widths))):
            cell = folder.fine_mm(row, f"measured_{name}")
            near(cell, width, folder.half_fine_mm, (row["stock"], name))
        for name, lines in drawn.items():
            length = sum(lines[came["id"]].length for came in mine)
            near(length, total, 0.0025 * len(mine), (name, row["stock"]))


def test_report_against_the_lists(folder: Folder) -> None:
    report, unit = folder.report(), folder.unit
    for row, cells in zip(folder.rows("pieces.csv"), report["pieces"][0], strict=True):
        sides = (row[f"rectangle_{side}_{unit}"] for side in ("width", "height"))
        assert cells[1] == " × ".join(sides)
        assert cells[5:7] == [row["leads"].replace(";", ","), row["neighbours"].replace(" ", ", ")]
        assert cells[7].replace(", ", " ").split() == re.findall(r"F\d+", row["findings"])
    letters = {row["stock"]: row["letter"] for row in folder.rows("lead-widths.csv")}
    half = folder.half_length_mm
    for came, cells in zip(folder.record["cames"], report["cames"][0], strict=True):
        assert cells[1].split(" | ") == [str(n) for n in came["pieces"]]
        near(in_mm(cells[2], unit), came["length_mm"], half, came["id"])
        assert cells[3] == letters[came["stock"]]
        width = float(cells[4].split()[0]) * (1.0 if unit == "mm" else 25.4)
        near(width, came["face_width_mm"], folder.half_fine_mm, came["id"])
        assert cells[5].startswith("border, ") is came["border"]
        shown = {"flat", "round"} & set(cells[5].split(", "))
        assert shown == {came["profile"]} - {"unknown"}
    for row, cells in zip(folder.rows("lead-widths.csv"), report["widths"][0], strict=True):
        near(run_mm(cells[3], unit), folder.length_mm(row, "length"), half + half_run(unit))
        near(run_mm(cells[4], unit), folder.length_mm(row, "border_length"), half + half_run(unit))
        assert cells[5] == f"{row[f'longest_came_{unit}']} {unit}"
        assert cells[6].split()[::2][:3] == [
            row[f"measured_{which}_{unit}"] for which in ("least", "mean", "most")
        ]
        for profile in ("flat", "round", "unknown"):
            lengths = [part for part in cells[7].split(", ") if part.endswith(profile)]
            length = run_mm(lengths[0].removesuffix(f" {profile}"), unit) if lengths else 0.0
            near(length, folder.length_mm(row, f"{profile}_length"), half + half_run(unit), profile)
    for row, cells in zip(folder.rows("lead.csv"), report["lead"][0], strict=False):
        assert cells[0] == row["letter"]
        assert cells[1] == row["stock"] + (", border" if row["border"] == "yes" else "")
        assert cells[2] == row["profile"]
        near(run_mm(cells[4], unit), folder.length_mm(row, "total_length"), half + half_run(unit))
        offcuts = row[f"offcuts_{unit}"].split("; ")
        assert cells[7] == f"{max(offcuts, key=lambda o: in_mm(o, unit))} {unit}"
        assert cells[8] == f"{row['lead_kg' if unit == 'mm' else 'lead_lb']} {cells[8][-2:]}"


def test_letters_of_the_widths(folder: Folder) -> None:
    """Each letter of the drawing stands on a came whose width bears it in all lists."""
    letters = {row["stock"]: row["letter"] for row in folder.rows("lead-widths.csv")}
    stocks = {came["id"]: came["stock"] for came in folder.record["cames"]}
    for name in ("strips.csv", "lead.csv"):
        for row in folder.rows(name):
            assert row["letter"] == letters.get(row["stock"], "all"), name
    placed = []
    for name, sheet in folder.drawings.items():
        lines = drawn_cames(folder, sheet)
        texts = sheet.texts.get("width letter", [])
        assert bool(texts) is (len(letters) > 1)
        for text, at in texts:
            came = min(lines, key=lambda key: lines[key].distance(at))
            assert text == letters[stocks[came]], (name, came)
        placed.append(sorted((text, round(at.x, 1)) for text, at in texts))
    assert [t for t, _ in placed[0]] == [t for t, _ in placed[1]]
    assert all(abs(a[1] - b[1]) < 0.2 for a, b in zip(*placed, strict=True))


def test_strips_against_record_widths_and_drawing(folder: Folder) -> None:
    strips = folder.rows("strips.csv")
    cames = {came["id"]: came for came in folder.record["cames"]}
    assert Counter(c for row in strips for c in row["cames"].split()) == Counter(list(cames))
    shown = folder.report()["lead"][1]
    for row, cells in zip(strips, shown, strict=True):
        mine = [cames[name] for name in row["cames"].split()]
        assert {came["stock"] for came in mine} == {row["stock"]}
        line = sum(came["length_mm"] for came in mine)
        near(folder.length_mm(row, "lead_line"), line, folder.half_length_mm, row["strip"])
        assert row["border"] == ("yes" if any(came["border"] for came in mine) else "no")
        mean = sum(came["face_width_mm"] * came["length_mm"] for came in mine) / line
        near(folder.fine_mm(row, "measured_width"), mean, folder.half_fine_mm, row["strip"])
        joints = {came[side] for came in mine for side in ("start", "end")}
        assert set(filter(None, row["soldered_at"].split("; "))) <= {*joints, "between joints"}
        texts = row[f"parts_{folder.unit}"].split("; ")
        parts = [in_mm(part, folder.unit) for part in texts if part]
        if parts:
            whole = folder.length_mm(row, "cut_length")
            near(sum(parts), whole, (len(parts) + 1) * folder.half_length_mm, row["strip"])
            assert len(parts) == len(row["sticks"].split("; ")) > 1
        assert cells[:3] == [row["strip"], row["letter"], row[f"cut_length_{folder.unit}"]]
        assert cells[4:] == [row["sticks"].replace(";", ","), row["cames"].replace(" ", ", ")]
        angles = {row["start_angle_deg"], row["end_angle_deg"]} - {"90"}
        assert set(re.findall(r"(\d+)°", cells[3])) == angles
        for end in ("start", "end"):
            assert ("ring" if row["ring"] == "yes" else row[f"{end}_cut"]) in cells[3]
            for other in row[f"{end}_meets"].split():
                assert row[f"{end}_joint"] in {
                    cames[c][side]
                    for c in strips[int(other) - 1]["cames"].split()
                    for side in ("start", "end")
                }
    on_sticks = {int(row["strip"]) for row in strips if row["sticks"]}
    numbers = [sheet.numbers("strip number") for sheet in folder.drawings.values()]
    assert set(numbers[0]) == set(numbers[1]) <= on_sticks
    assert numbers[0]
    for n, at in numbers[0].items():
        near(at.distance(numbers[1][n]), 0.0, 0.01, n)


def test_strips_against_sticks(folder: Folder) -> None:
    """Strips and their cut lengths make up the list of lead, stick by stick."""
    strips = folder.rows("strips.csv")
    *orders, total = folder.rows("lead.csv")
    options, half = LeadingOptions(), folder.half_length_mm
    apart = any(order["border"] for order in orders)

    def of(row: dict[str, str]) -> tuple[str, str, str]:
        return row["stock"], row["profile"], row["border"] if apart else ""

    assert {of(row) for row in orders} == {of(row) for row in strips}
    for row, shown in zip(orders, folder.report()["lead"][0], strict=True):
        mine = [strip for strip in strips if of(strip) == of(row) and strip["sticks"]]
        assert int(row["strips"]) == len(mine)
        cut = [folder.length_mm(strip, "cut_length") for strip in mine]
        near(folder.length_mm(row, "total_length"), sum(cut), (len(cut) + 1) * half, of(row))
        assert folder.length_mm(row, "longest_strip") == max(cut)
        loads: dict[str, list[float]] = {}
        for strip in mine:
            parts = strip[f"parts_{folder.unit}"] or strip[f"cut_length_{folder.unit}"]
            for part, stick in zip(parts.split("; "), strip["sticks"].split("; "), strict=True):
                loads.setdefault(stick, []).append(in_mm(part, folder.unit))
        assert set(loads) == {f"{row['letter']}{k}" for k in range(1, int(row["sticks"]) + 1)}
        offcuts = [in_mm(o, folder.unit) for o in row[f"offcuts_{folder.unit}"].split("; ")]
        for k, offcut in enumerate(offcuts, start=1):
            on = loads[f"{row['letter']}{k}"]
            used = sum(on) + len(on) * options.allowance_mm
            usable = folder.length_mm(row, "stick_length") - options.trim_mm
            # Sticks are divided in tenths of a millimetre, each part rounded up.
            used += 0.05 * len(on)
            near(offcut, usable - used, half + len(on) * (half - 0.05 + 0.1), (of(row), k))
        assert int(row["at_least"]) <= int(row["sticks"]) <= int(row["to_buy"])
        assert shown[3] == row["strips"] and shown[5:7] == [row["sticks"], row["to_buy"]]
    assert len({row[f"stick_length_{folder.unit}"] for row in (*orders, total)}) == 1
    for name in ("strips", "sticks", "at_least", "to_buy"):
        assert int(total[name]) == sum(int(row[name]) for row in orders), name
    lengths = [folder.length_mm(row, "total_length") for row in orders]
    near(folder.length_mm(total, "total_length"), sum(lengths), (len(orders) + 1) * half, "all")


def test_weights(folder: Folder) -> None:
    """By section, length and density as docs/lead-to-cut.md gives them; glass by its cut area."""
    *orders, total = folder.rows("lead.csv")
    options, half, heart = LeadingOptions(), folder.half_kg, folder.record["panel"]["heart_mm"]
    stock_mm = {came["stock"]: came["stock_mm"] for came in folder.record["cames"]}
    for row in orders:
        leaf = math.pi / 4 * options.round_leaf_mm if row["profile"] == "round" else options.leaf_mm
        section = 2.0 * stock_mm[row["stock"]] * leaf + heart * options.channel_mm
        per_mm = section * 11340.0 * 1e-9  # CRC Handbook: 11.34 g/cm3
        length = folder.length_mm(row, "total_length")
        near(folder.kg(row, "lead"), per_mm * length, half + per_mm * folder.half_length_mm, row)
        bought = int(row["to_buy"]) * folder.length_mm(row, "stick_length") * per_mm
        near(folder.kg(row, "bought"), bought, half, row)
    for name in ("lead", "bought"):
        weights = [folder.kg(row, name) for row in orders]
        near(folder.kg(total, name), sum(weights), (len(weights) + 1) * half, name)
    cut = [folder.area_mm2(row, "cut_area") for row in folder.rows("pieces.csv")]
    per_mm2 = options.glass_mm * 2500.0 * 1e-9  # EN 572-1: 2.5 kg to the square metre and mm
    glass = per_mm2 * sum(cut)
    near(folder.kg(total, "glass"), glass, half + len(cut) * per_mm2 * folder.half_area_mm2)


def test_new_glass_against_the_pieces(folder: Folder) -> None:
    """replacement.csv, its workbook and the list of firings against what is typed and measured."""
    asked, listed = replaced(folder), by_number(folder.rows("replacement.csv"))
    shown = by_number(folder.sheet("replacement.xlsx", "pieces"))
    assert set(listed) == set(shown) == set(asked)
    waste = GlassOptions().waste_share
    glasses: dict[tuple[str, str], list[dict[str, str]]] = {}
    pieces = {piece["number"]: piece for piece in folder.record["pieces"]}
    for n, row in listed.items():
        for name, cell in shown[n].items():
            assert same_cell(row[name], cell), (n, name)
        same = ("rectangle_width", "rectangle_height", "cut_area")
        for name in (f"{s}_{folder.unit}{'2' if 'area' in s else ''}" for s in same):
            assert row[name] == asked[n][name], (n, name)
        assert row["decoration"] == asked[n]["decoration"]
        assert asked[n]["grain_deg"] in ("", row["grain_deg"])
        assert row["glass"].casefold() == (asked[n]["glass"].casefold() or "not stated")
        with_waste = pieces[n]["cut_area_mm2"] * (1.0 + waste)
        near(folder.area_mm2(row, "area_with_waste"), with_waste, folder.half_area_mm2 + 0.01, n)
        size = np.ptp(np.array(pieces[n]["cut_outline"]), axis=0)
        for side, length in zip(("width", "height"), size, strict=True):
            near(folder.length_mm(row, side), float(length), folder.half_length_mm, (n, side))
        glasses.setdefault((row["glass"].casefold(), row["thickness"]), []).append(row)
    book = load_workbook(io.BytesIO(folder.files["replacement.xlsx"]))["glass"]
    for k, ((glass, thickness), rows) in enumerate(glasses.items(), start=2):
        cells: list[Any] = [cell.value for cell in book[k]]
        assert [str(c).casefold() for c in cells[:3]] == [glass, thickness, str(len(rows))]
        assert cells[6] == ", ".join(row["number"] for row in rows)
        cut = sum(folder.area_mm2(row, "cut_area") for row in rows)
        shown_mm2 = cells[3] * (1.0 if folder.unit == "mm" else 25.4**2)
        near(shown_mm2, cut, (len(rows) + 1) * folder.half_area_mm2, glass)
        total = folder.area_mm2(rows[0], "glass_area_with_waste")
        parts = [folder.area_mm2(row, "area_with_waste") for row in rows]
        near(total, sum(parts), (len(parts) + 1) * folder.half_area_mm2, glass)
        assert same_cell(rows[0][f"glass_area_with_waste_{folder.unit}2"], cells[4])
        assert rows[0]["sheets"] == str(cells[5])
    fired = folder.rows("kiln.csv") if "kiln.csv" in folder.files else []
    kinds = {"traced and shaded paint": "painted", "silver stain": "silver stain"}
    shown = {kinds[row["what"]]: row["numbers"].split() for row in fired}
    typed = {word for row in asked.values() for word in row["decoration"].split(" + ") if word}
    assert shown == {
        word: [str(n) for n, row in asked.items() if word in row["decoration"].split(" + ")]
        for word in typed
    }
    for row in fired:
        numbers, gap = [int(n) for n in row["numbers"].split()], GlassOptions().shelf_gap_mm
        assert int(row["pieces"]) == len(numbers)
        sizes = [pieces[n]["rectangle"] for n in numbers]
        shelf = sum((size["width_mm"] + gap) * (size["height_mm"] + gap) for size in sizes)
        near(folder.area_mm2(row, "shelf_area"), shelf, folder.half_area_mm2, row["firing"])


def test_templates_against_the_lists(folder: Folder) -> None:
    """Numbers, cut outlines and areas of the templates: pages to print, DXF and SVG."""
    listed = by_number(folder.rows("replacement.csv"))
    pieces = {piece["number"]: piece for piece in folder.record["pieces"]}
    rings = sum(1 + len(pieces[n]["cut_holes"]) for n in listed)
    lengths = {n: Polygon(pieces[n]["cut_outline"]).length for n in listed}
    for name, sheet in templates(folder).items():
        assert set(sheet.numbers()) == set(listed), name
        assert len(sheet.rings["cut outline"]) == rings, name
        for n, row in listed.items():
            rounding = folder.half_area_mm2 + 0.0015 * lengths[n]
            near(sheet.glass(n).area, folder.area_mm2(row, "cut_area"), rounding, (name, n))
    printed = on_pages(folder.files["templates.pdf"])
    assert Counter(n for page in printed for n in page.numbers()) == Counter(list(listed))
    assert sum(len(page.rings["cut outline"]) for page in printed) == rings
    for page in printed:
        for n in page.numbers():
            rounding = folder.half_area_mm2 + 0.01 * lengths[n]
            near(page.glass(n).area, folder.area_mm2(listed[n], "cut_area"), rounding, ("PDF", n))


def test_tiles_against_their_map(folder: Folder) -> None:
    first, *others = pages(tiles_of(folder))
    names = [page.name for page in others]
    assert first.name == "Map"
    (shown,) = (m for text, _ in first.words if (m := re.match(r"(\d+) tiles? on (\w+)", text)))
    assert int(shown[1]) == len(names) == len(set(names))
    assert f"pattern-{shown[2]}.pdf" in folder.files
    assert [text for text, _ in first.words if re.fullmatch(r"[A-Z]\d+", text)] == names
    every = {f"{row}{column}" for row in {n[0] for n in names} for column in {n[1:] for n in names}}
    dashes = [text for text, _ in first.words if text == "–"]
    assert len(names) + len(dashes) == len(every)
