"""Whole folders of results made and read back: lists, record, what the drawings show.

Nothing here asks the program how it wrote a file. DXF is read with ezdxf, SVG as XML, PDF with
pymupdf, workbooks with openpyxl.
"""

from __future__ import annotations

import csv
import io
import json
import math
import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import ezdxf
import numpy as np
import pymupdf
import shapely
from openpyxl import load_workbook
from shapely.geometry import LineString, Point, Polygon

from rubbing2pattern import correct_folder, list_folder
from rubbing2pattern.documents import write_documents
from rubbing2pattern.inputs.corrections import corrections_from
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.options.paper import PaperOptions
from rubbing2pattern.units import Unit, parse_length
from tests import panels
from tests.correcting.making import HEAD
from tests.documents.templated import cut_on, numbers_on
from tests.glazing.sheets import type_in_folder
from tests.running import listing

SVG = "{http://www.w3.org/2000/svg}"
CAPITALS = 0.718  # of the size of Helvetica (Adobe font metrics)
STEPS = 1200
"""Chords in an arc or a bend: half a circle of 1 m radius then lacks 0.001 mm of its length."""


@dataclass(frozen=True)
class Drawn:
    """What a drawing shows, y upwards: outlines, lines and lettering by layer, and circles."""

    rings: dict[str, list[Polygon]]
    lines: dict[str, list[LineString]]
    texts: dict[str, list[tuple[str, Point]]]
    circles: dict[str, list[Point]]

    def numbers(self, layer: str = "piece number") -> dict[int, Point]:
        """Return where the numbers of a layer stand; none may be there twice."""
        found = [(int(text.removeprefix("S")), at) for text, at in self.texts.get(layer, [])]
        assert len(dict(found)) == len(found), f"a {layer} stands there twice"
        return dict(found)

    def glass(self, number: int) -> shapely.Geometry:
        """Return the glass around a piece number: the outline around it, less what is in it."""
        rings, at = self.rings["cut outline"], self.numbers()[number]
        around = min((r for r in rings if r.contains(at)), key=lambda r: r.area, default=Polygon())
        return around - shapely.union_all(
            [r for r in rings if r is not around and around.covers(r)]
        )


@dataclass(frozen=True)
class Folder:
    """The files of a folder of results by name."""

    files: dict[str, bytes]

    @property
    def unit(self) -> Unit:
        return "in" if "cut_area_in2" in self.rows("pieces.csv")[0] else "mm"

    @cached_property
    def record(self) -> dict[str, Any]:
        datum: dict[str, Any] = json.loads(self.files["panel.json"])
        return datum

    @cached_property
    def drawings(self) -> dict[str, Drawn]:
        """The pattern as DXF and SVG have it, the lowest cut outline at the record's height."""
        low = min(y for piece in self.record["pieces"] for _, y in piece["cut_outline"])
        svg = self.files["pattern.svg"]
        at = shapely.total_bounds(in_svg(svg).rings["cut outline"])[1]
        return {"DXF": in_dxf(self.files["pattern.dxf"]), "SVG": in_svg(svg, low - at)}

    def rows(self, name: str) -> list[dict[str, str]]:
        return list(csv.DictReader(io.StringIO(self.files[name].decode())))

    def sheet(self, name: str, *titles: str) -> list[dict[str, Any]]:
        """Return the rows of a workbook's sheets side by side, by the headings of the list.

        Sheets with a heading in common must have the same in its cells.
        """
        book, rows = load_workbook(io.BytesIO(self.files[name])), []
        for title in titles:
            heads = [str(c.value).replace("²", "2").replace(" ", "_") for c in book[title][1]]
            cells = book[title].iter_rows(min_row=2, values_only=True)
            rows.append([dict(zip(heads, row, strict=True)) for row in cells])
        beside: list[dict[str, Any]] = [{} for _ in rows[0]]
        for sheet in rows:
            for known, row in zip(beside, sheet, strict=True):
                assert all(known[head] == row[head] for head in known.keys() & row.keys())
                known |= row
        return beside

    def length_mm(self, row: dict[str, str], name: str) -> float:
        return in_mm(row[f"{name}_{self.unit}"], self.unit)

    def fine_mm(self, row: dict[str, str], name: str) -> float:
        """Return a measured width, which has decimals even in inches."""
        return float(row[f"{name}_{self.unit}"]) * (25.4 if self.unit == "in" else 1.0)

    def area_mm2(self, row: dict[str, str], name: str) -> float:
        area = float(row[f"{name}_{self.unit}2"])
        return area * (25.4**2 if self.unit == "in" else 1.0)

    def kg(self, row: dict[str, str], name: str) -> float:
        return float(row[f"{name}_kg"]) if self.unit == "mm" else float(row[f"{name}_lb"]) * POUND

    @property
    def half_length_mm(self) -> float:
        """Half of the last figure of a length: 0.1 mm, or the fraction of an inch."""
        return 0.5 * (0.1 if self.unit == "mm" else 25.4 / DocumentOptions().fraction) + 1e-6

    @property
    def half_fine_mm(self) -> float:
        """Half of the last figure of a measured width: 0.01 mm or 0.001 in."""
        return 0.5 * (0.01 if self.unit == "mm" else 0.0254) + 1e-6

    @property
    def half_area_mm2(self) -> float:
        """Half of the last figure of an area: 0.1 mm2 or 0.001 in2."""
        return 0.5 * (0.1 if self.unit == "mm" else 0.001 * 25.4**2) + 1e-6

    @property
    def half_kg(self) -> float:
        """Half of the last figure of a weight: 0.01 kg or lb."""
        return 0.5 * 0.01 * (1.0 if self.unit == "mm" else POUND) + 1e-6

    def report(self) -> dict[str, list[list[list[str]]]]:
        """Return the cells of the tables of the report by section."""
        page = ElementTree.fromstring(self.files["report.html"].decode())
        return {
            section.get("id", ""): [
                [[" ".join("".join(cell.itertext()).split()) for cell in row] for row in body]
                for body in section.iter("tbody")
            ]
            for section in page.iter("section")
        }


POUND = 0.45359237  # kg, exactly


def in_mm(cell: str, unit: Unit) -> float:
    return float(cell) if unit == "mm" else parse_length(cell, "in")


def in_dxf(content: bytes) -> Drawn:
    """Read a drawing from DXF."""
    drawn = Drawn({}, {}, {}, {})
    space = ezdxf.read(io.StringIO(content.decode())).modelspace()  # type: ignore[attr-defined]
    entity: Any
    for entity in space:
        layer, kind, at = entity.dxf.layer, entity.dxftype(), entity.dxf
        if kind == "TEXT":
            place = Point(*entity.get_placement()[1].vec2)
            drawn.texts.setdefault(layer, []).append((at.text, place))
        elif kind == "LWPOLYLINE":
            drawn.rings.setdefault(layer, []).append(Polygon(entity.get_points("xy")))
        elif kind == "CIRCLE":
            centre = (at.center.x, at.center.y)
            drawn.circles.setdefault(layer, []).append(Point(centre))
            drawn.lines.setdefault(layer, []).append(_arc(centre, at.radius, 0.0, 360.0))
        elif kind == "ARC":
            sweep = (at.end_angle - at.start_angle) % 360.0
            line = _arc((at.center.x, at.center.y), at.radius, at.start_angle, sweep)
            drawn.lines.setdefault(layer, []).append(line)
        elif kind in ("LINE", "SPLINE"):
            points = (
                (at.start, at.end)
                if kind == "LINE"
                else entity.construction_tool().approximate(STEPS)
            )
            drawn.lines.setdefault(layer, []).append(LineString([(p.x, p.y) for p in points]))
    return drawn


def in_svg(content: bytes, above_mm: float = 0.0) -> Drawn:
    """Read a drawing from SVG; its lower edge is put `above_mm` above the x axis."""
    root = ElementTree.fromstring(content.decode())
    top = above_mm + float(root.get("viewBox", "").split()[3])
    drawn = Drawn({}, {}, {}, {})
    for group in root.iter(f"{SVG}g"):
        layer = group.findtext(f"{SVG}title", "")
        for part in group:
            kind, sizes = part.tag.removeprefix(SVG), part.attrib
            if kind == "text":
                drawn.texts.setdefault(layer, []).append((part.text or "", _middle(sizes, top)))
            elif kind == "polygon":
                corners = [_place(p, top) for p in sizes["points"].split()]
                drawn.rings.setdefault(layer, []).append(Polygon(corners))
            elif kind == "circle":
                centre = (float(sizes["cx"]), top - float(sizes["cy"]))
                drawn.circles.setdefault(layer, []).append(Point(centre))
                line = _arc(centre, float(sizes["r"]), 0.0, 360.0)
                drawn.lines.setdefault(layer, []).append(line)
            elif kind == "line":
                x1, y1, x2, y2 = (float(sizes[name]) for name in ("x1", "y1", "x2", "y2"))
                line = LineString([(x1, top - y1), (x2, top - y2)])
                drawn.lines.setdefault(layer, []).append(line)
            elif kind == "path":
                points = list(_path(sizes["d"], top))
                drawn.lines.setdefault(layer, []).append(LineString(points))
    return drawn


def on_pages(content: bytes) -> list[Drawn]:
    """Read cut outlines and piece numbers from the pages of templates in a PDF."""
    document: Any = pymupdf.open(stream=content, filetype="pdf")  # type: ignore[no-untyped-call]
    found = []
    for page in document:
        texts = [(str(n), at) for n, at in numbers_on(page).items()]
        found.append(Drawn({"cut outline": cut_on(page)}, {}, {"piece number": texts}, {}))
    return found


def _arc(centre: tuple[float, float], radius: float, start: float, sweep: float) -> LineString:
    turn = np.radians(start + sweep * np.linspace(0.0, 1.0, STEPS + 1))
    return LineString(np.array(centre) + radius * np.column_stack((np.cos(turn), np.sin(turn))))


def _place(pair: str, top: float) -> tuple[float, float]:
    x, y = map(float, pair.split(","))
    return x, top - y


def _middle(sizes: dict[str, str], top: float) -> Point:
    """Return the middle of centred lettering: turned, it turns about it; else it is above y."""
    about = sizes.get("transform", "").removeprefix("rotate(").removesuffix(")").split()[1:]
    half = 0.5 * CAPITALS * float(sizes["font-size"])
    x, y = map(float, about) if about else (float(sizes["x"]), float(sizes["y"]) - half)
    return Point(x, top - y)


def _path(said: str, top: float) -> Iterator[tuple[float, float]]:
    """Yield points along a path of arcs (no more than half a turn each) or of cubic curves."""
    steps = re.findall(r"([MAC])([^MAC]*)", said)
    at = _place(steps[0][1].strip(), top)
    yield at
    for kind, given in steps[1:]:
        words = given.split()
        if kind == "A":
            end = _place(words[5], top)
            yield from _bow(at, end, float(words[0]), anticlockwise=words[4] == "0")
            at = end
            continue
        handles = [at, *(_place(word, top) for word in words)]
        for k in range(0, len(handles) - 1, 3):
            a, b, c, d = (np.array(p) for p in handles[k : k + 4])
            t = np.linspace(0.0, 1.0, STEPS + 1)[1:, None]
            bend = (1 - t) ** 3 * a + 3 * t * (1 - t) ** 2 * b + 3 * t**2 * (1 - t) * c + t**3 * d
            yield from ((float(x), float(y)) for x, y in bend)
        at = handles[-1]


def _bow(
    start: tuple[float, float], end: tuple[float, float], radius: float, *, anticlockwise: bool
) -> Iterator[tuple[float, float]]:
    """Yield points of an arc after its start, from its ends and its radius."""
    half = 0.5 * math.dist(start, end)
    side = math.sqrt(max(radius**2 - half**2, 0.0)) / (2.0 * half) * (1 if anticlockwise else -1)
    dx, dy = end[0] - start[0], end[1] - start[1]
    centre = (start[0] + 0.5 * dx - side * dy, start[1] + 0.5 * dy + side * dx)
    first = math.degrees(math.atan2(start[1] - centre[1], start[0] - centre[0]))
    last = math.degrees(math.atan2(end[1] - centre[1], end[0] - centre[0]))
    sweep = (last - first) % 360.0 if anticlockwise else -((first - last) % 360.0)
    yield from list(_arc(centre, radius, first, sweep).coords)[1:]


@dataclass(frozen=True)
class Case:
    """A panel, what is corrected in it and what is typed about its pieces."""

    panel: Callable[[], Panel]
    corrections: str
    typed: dict[int, dict[str, Any]]
    settings: tuple[str, ...] = ()
    mirrored: bool = False


NEW = {"action": "replace", "state": "missing"}
SPLIT = "[[split_piece]]\npiece = {}\nfrom = {}\nto = {}\nwidth_mm = 5\n"
WIDTH = '[[set_width]]\ncame = "{}"\nwidth_mm = {}\n'
CASES = {
    "short sticks": Case(
        panels.two_by_two,
        SPLIT.format(3, [150, 100], [300, 90]) + WIDTH.format("C9", 8.1),
        {
            1: NEW | {"glass": "ruby", "decoration": "painted", "thickness": "3"},
            3: {"state": "cracked", "remark": "=left as it is"},
            5: NEW | {"glass": "Ruby", "thickness": "3", "decoration": "painted; silver stain"},
        },
        ("leading.stick_mm=300",),
    ),
    "inches": Case(
        panels.arched,
        SPLIT.format(2, [0, 150], [180, 150]),
        {2: NEW | {"glass": "amber", "grain_deg": "20"}, 4: NEW},
        ("documents.units=in", "leading.border_apart=yes"),
    ),
    "mirrored": Case(
        lambda: panels.mosaic(30, 300.0, 420.0),
        "[[join_pieces]]\npieces = [7, 9]\n" + WIDTH.format("C12", 7),
        {n: NEW | {"glass": ("ruby", "amber")[n % 2]} for n in range(3, 28, 5)},
        mirrored=True,
    ),
    "ring": Case(
        panels.roundel_in_square,
        WIDTH.format("C5", 6.2),
        {1: NEW, 2: NEW | {"glass": "blue"}},
        ("glass.grained=no",),
    ),
}


def made(name: str, place: Path) -> Folder:
    """Write a whole folder as a workshop does: correct it, fill in its sheet, have lists made."""
    case, folder = CASES[name], place / "panel"
    folder.mkdir()
    paper = PaperOptions(mirrored=case.mirrored)
    provenance = {"options": {"paper.mirrored": case.mirrored}}
    write_documents(folder, case.panel(), None, provenance, DocumentOptions(), paper)
    correct_folder(folder, corrections_from((HEAD + case.corrections).encode()))
    type_in_folder(folder, case.typed)
    list_folder(folder, folder / "pieces.xlsx", case.settings)
    return Folder(listing(folder))


def tiles_of(folder: Folder) -> bytes:
    (name,) = (n for n in folder.files if n.startswith("pattern-") and n.endswith(".pdf"))
    return folder.files[name]


def replaced(folder: Folder) -> dict[int, dict[str, str]]:
    rows = folder.rows("pieces.csv")
    return {int(row["number"]): row for row in rows if row["action"] == "replace"}


def by_number(rows: Iterable[dict[str, Any]]) -> dict[int, dict[str, Any]]:
    listed = list(rows)
    found = {int(row["number"]): row for row in listed}
    assert len(found) == len(listed)
    return found


def same_cell(text: str, cell: Any) -> bool:
    """Tell whether a list and a workbook say the same; a list marks a text that begins with =."""
    if isinstance(cell, int | float):
        return float(text) == cell
    return text.removeprefix("'") == (cell or "")


def templates(folder: Folder) -> dict[str, Drawn]:
    files = folder.files
    return {"DXF": in_dxf(files["templates.dxf"]), "SVG": in_svg(files["templates.svg"])}


def in_frame(folder: Folder, points: Iterable[Any]) -> np.ndarray:
    """Return places of the record, (N, 2), where a drawing has them: mirrored if it is."""
    placed = np.array(list(points), dtype=np.float64).reshape(-1, 2)
    if folder.files["pattern.svg"].decode().split("</title>")[0].endswith("(mirrored)"):
        placed[:, 0] = folder.record["panel"]["width_mm"] - placed[:, 0]
    return placed


def drawn_cames(folder: Folder, drawn: Drawn) -> dict[str, LineString]:
    """Return the lead line of each came, found by its place; each line is that of one came.

    The only others are the samples in the words beside the panel, one and one for each width.
    """
    lines, found = drawn.lines["lead line"], {}
    for came in folder.record["cames"]:
        path = LineString(in_frame(folder, came["path"]))
        apart = [path.hausdorff_distance(line) for line in lines]
        best = int(np.argmin(apart))
        assert apart[best] < 0.05, f"{came['id']} is not drawn"
        found[came["id"]] = lines[best]
    drawn_once = {id(line) for line in found.values()}
    assert len(drawn_once) == len(found)
    samples = [line for line in lines if id(line) not in drawn_once]
    assert len(samples) == 1 + len(folder.rows("lead-widths.csv"))
    assert all(line.bounds[3] < -10.0 for line in samples), "a line too many in the panel"
    return found


def near(a: float, b: float, within: float, what: object = "") -> None:
    assert abs(a - b) <= within, f"{what}: {a} and {b} are further apart than {within}"


def run_mm(said: str, unit: Unit) -> float:
    """Read a length of lead of the report: metres, or inches to a half."""
    number = said.rsplit(" ", 1)[0]
    return 1000.0 * float(number) if unit == "mm" else in_mm(number, unit)


def half_run(unit: Unit) -> float:
    return 5.0 if unit == "mm" else 0.25 * 25.4
