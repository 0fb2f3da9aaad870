"""Exact panels made from a few leads, for tests of everything that comes after the panel.

Each panel is given by joints and leads alone; openings come from shapely's polygonizer, cut and
sight outlines from its buffers. Nothing of the package's own geometry of pieces is used.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from shapely.geometry import LineString, MultiPolygon, Point as ShapelyPoint, Polygon

from rubbing2pattern.findings import Code, Finding, Severity
from rubbing2pattern.findings.names import named
from rubbing2pattern.geometry.curves import Arc, Cubic, Curve, Line, Point, arc_through
from rubbing2pattern.geometry.frame import Placement
from rubbing2pattern.model import Came, Joint, JointKind, Panel, Piece, Profile, Rectangle
from rubbing2pattern.reading import MarkResidual, Scale
from rubbing2pattern.units import parse_length

STILL = Placement()
HEART_MM = 1.6
CLEARANCE_MM = 0.4
SCALE = Scale(
    "sheet",
    8.0,
    0.0004,
    (MarkResidual("corner 1", 0.05), MarkResidual("corner 2", 0.31, used=False)),
    -0.0123,
    "From the edges of the sheet.",
)


@dataclass(frozen=True, slots=True)
class Lead:
    """A came to build: joints by name, its curve, face width, stock."""

    start: str
    end: str
    curve: Curve
    width_mm: float
    stock: str
    strip: int = 0


def build(
    name: str,
    joints: dict[str, Point],
    leads: Sequence[Lead],
    *,
    seen_from: str = "inside",
    findings: Sequence[Finding] = (),
    scale: Scale = SCALE,
    placement: Placement = STILL,
) -> Panel:
    """Build a panel whose coordinates already have their origin at the lower left corner."""
    paths = [_path(lead, joints) for lead in leads]
    openings = _openings(paths)
    sides = [_sides(path, openings) for path in paths]
    cames = tuple(
        _came(k, lead, path, touching)
        for k, (lead, path, touching) in enumerate(zip(leads, paths, sides, strict=True), start=1)
    )
    outline = shapely.union_all(openings)
    inner = [_inside(openings, paths, [HEART_MM / 2 + CLEARANCE_MM] * len(leads))]
    inner.append(_inside(openings, paths, [lead.width_mm / 2 for lead in leads]))
    pieces = tuple(
        _piece(number, opening, inner[0][number - 1], inner[1][number - 1], cames)
        for number, opening in enumerate(openings, start=1)
    )
    bodies = [
        LineString(path).buffer(lead.width_mm / 2, cap_style="square", join_style="mitre")
        for path, lead in zip(paths, leads, strict=True)
    ]
    x_min, y_min, x_max, y_max = shapely.total_bounds(np.array(bodies, dtype=object))
    _, _, width, height = outline.bounds
    return Panel(
        name,
        seen_from,
        tuple(_joint(key, at, leads) for key, at in joints.items()),
        cames,
        pieces,
        outline,
        width,
        height,
        float(x_max - x_min),
        float(y_max - y_min),
        HEART_MM,
        CLEARANCE_MM,
        scale,
        placement,
        0.35,
        tuple(findings),
    )


def two_by_two(width_mm: float = 300.0, height_mm: float = 400.0) -> Panel:
    """Four pieces: an upright through-lead and two cross leads that butt against it."""
    w, h, m = width_mm, height_mm, 0.5 * width_mm
    a, b = 0.5 * height_mm, 0.6 * height_mm
    joints = {
        "J1": (0.0, h), "J2": (m, h), "J3": (w, h), "J4": (m, b), "J5": (w, b),
        "J6": (0.0, a), "J7": (m, a), "J8": (0.0, 0.0), "J9": (m, 0.0), "J10": (w, 0.0),
    }  # fmt: skip
    rim = ["J1", "J2", "J3", "J5", "J10", "J9", "J8", "J6", "J1"]
    leads = [_line(p, q, joints, 10.0, "10 mm") for p, q in pairwise(rim)]
    upright = ["J2", "J4", "J7", "J9"]
    leads += [_line(p, q, joints, 6.1, "6 mm", 1) for p, q in pairwise(upright)]
    leads += [_line("J6", "J7", joints, 4.9, "5 mm", 2), _line("J4", "J5", joints, 4.9, "5 mm", 3)]
    findings = (
        Finding(Code.BRIDGED_GAP, Severity.CHECK, "No lead seen for 31 mm.", (0.75 * w, b), (2, 4)),
        Finding(Code.SCALE_UNCERTAIN, Severity.NOTE, "The scale is known to 0.04 %."),
        Finding(Code.FREE_END, Severity.WRONG, "The lead ends, -not- joined.", (m, b), (1, 2)),
    )
    return build("n4 3b", joints, leads, findings=named(findings))


def roundel_in_square(side_mm: float = 240.0, radius_mm: float = 60.0) -> Panel:
    """Return a ring of lead in a square, joined to nothing: a piece with a hole, a roundel."""
    s, c = side_mm, 0.5 * side_mm
    joints = {
        "J1": (0.0, s), "J2": (s, s), "J3": (c + radius_mm, c), "J4": (0.0, 0.0), "J5": (s, 0.0),
    }  # fmt: skip
    rim = ["J1", "J2", "J5", "J4", "J1"]
    leads = [_line(p, q, joints, 8.0, "8 mm") for p, q in pairwise(rim)]
    leads.append(Lead("J3", "J3", Arc((c, c), radius_mm, 0.0, 360.0), 5.0, "5 mm", 1))
    return build("roundel", joints, leads, seen_from="unstated")


def arched(chord_mm: float = 400.0, sweep_deg: float = 140.0) -> Panel:
    """Return an arch-topped panel: a segment on two pieces parted by an S-curve."""
    c, spring, m = chord_mm, 300.0, 0.45 * chord_mm
    joints = {
        "J1": (0.0, spring), "J2": (0.5 * c, spring), "J3": (c, spring),
        "J4": (0.0, 0.0), "J5": (m, 0.0), "J6": (c, 0.0),
    }  # fmt: skip
    arch = arc_through((c, spring), (0.0, spring), sweep_deg)
    bend = Cubic(
        (
            joints["J5"], (m - 60.0, 60.0), (m - 40.0, 120.0), (m, 150.0),
            (m + 40.0, 180.0), (0.5 * c + 50.0, 240.0), joints["J2"],
        )
    )  # fmt: skip
    leads = [
        Lead("J3", "J1", arch, 9.5, "3/8 in"),
        _line("J1", "J4", joints, 9.5, "3/8 in"),
        _line("J4", "J5", joints, 9.5, "3/8 in"),
        _line("J5", "J6", joints, 9.5, "3/8 in"),
        _line("J6", "J3", joints, 9.5, "3/8 in"),
        _line("J1", "J2", joints, 6.4, "1/4 in", 1),
        _line("J2", "J3", joints, 6.4, "1/4 in", 1),
        Lead("J5", "J2", bend, 4.8, "3/16 in", 2),
    ]
    return build("lancet 1a", joints, leads, seen_from="outside")


def lattice(columns: int, rows: int, cell_mm: float = 50.0) -> Panel:
    """Rectangular quarries, `columns` by `rows`."""
    joints = {
        f"J{r * (columns + 1) + c + 1}": (c * cell_mm, (rows - r) * cell_mm)
        for r in range(rows + 1)
        for c in range(columns + 1)
    }
    leads = []
    for r in range(rows + 1):
        for c in range(columns + 1):
            here = r * (columns + 1) + c + 1
            if c < columns:
                rim = r in (0, rows)
                leads.append(_line(f"J{here}", f"J{here + 1}", joints, *_size(rim), r))
            if r < rows:
                rim = c in (0, columns)
                below = f"J{here + columns + 1}"
                leads.append(_line(f"J{here}", below, joints, *_size(rim), rows + 1 + c))
    return build("lattice", joints, leads)


def strapped() -> Panel:
    """Return a square with a strap lead that ends freely in its single piece."""
    s = 200.0
    joints = {
        "J1": (0.0, s), "J2": (s, s), "J3": (0.0, 0.5 * s), "J4": (0.6 * s, 0.6 * s),
        "J5": (0.0, 0.0), "J6": (s, 0.0),
    }  # fmt: skip
    rim = ["J1", "J2", "J6", "J5", "J3", "J1"]
    leads = [_line(p, q, joints, 6.0, "6 mm") for p, q in pairwise(rim)]
    leads.append(_line("J3", "J4", joints, 4.0, "4 mm", 1))
    return build("strap", joints, leads)


def mosaic(count: int, width_mm: float, height_mm: float, seed: int = 3) -> Panel:
    """Return the Voronoi cells of `count` random places: joints of three cames at all angles."""
    places = np.random.default_rng(seed).uniform(0.0, 1.0, (count, 2)) * (width_mm, height_mm)
    frame = shapely.box(0.0, 0.0, width_mm, height_mm)
    cells = shapely.voronoi_polygons(shapely.MultiPoint(places), extend_to=frame)
    edges = [cell.intersection(frame).exterior for cell in shapely.get_parts(cells)]
    names: dict[Point, str] = {}
    leads = []
    for run in shapely.get_parts(shapely.node(shapely.union_all(edges))):
        corners = [(round(x, 2), round(y, 2)) for x, y in run.coords]
        for a, b in pairwise(corners):
            if a != b:
                p, q = (names.setdefault(at, f"J{len(names) + 1}") for at in (a, b))
                middle = ShapelyPoint(0.5 * (a[0] + b[0]), 0.5 * (a[1] + b[1]))
                width, stock = _size(frame.exterior.distance(middle) < 0.02)
                leads.append(Lead(p, q, Line(a, b), width, stock, len(leads)))
    return build("mosaic", {name: at for at, name in names.items()}, leads)


def _size(rim: bool) -> tuple[float, str]:
    return (12.0, "12 mm") if rim else (5.0, "5 mm")


def _line(
    p: str, q: str, joints: dict[str, Point], width_mm: float, stock: str, strip: int = 0
) -> Lead:
    return Lead(p, q, Line(joints[p], joints[q]), width_mm, stock, strip)


def _path(lead: Lead, joints: dict[str, Point]) -> np.ndarray:
    path = lead.curve.points(0.01).copy()
    assert np.allclose(path[[0, -1]], (joints[lead.start], joints[lead.end]), atol=1e-6), lead
    path[0], path[-1] = joints[lead.start], joints[lead.end]
    path.setflags(write=False)
    return path


def _openings(paths: Sequence[np.ndarray]) -> list[Polygon]:
    """Polygonize; a face lying inside another one's hole stays a piece of its own."""
    faces = shapely.get_parts(shapely.polygonize([LineString(p) for p in paths]))
    tops = [(-round(f.bounds[3]), round(f.bounds[0])) for f in faces]
    return [faces[i] for i in sorted(range(len(faces)), key=lambda i: tops[i])]


def _sides(path: np.ndarray, openings: Sequence[Polygon]) -> tuple[int, ...]:
    line = LineString(path)
    a, b = (line.interpolate(t, normalized=True) for t in (0.49, 0.51))
    length = max(np.hypot(b.x - a.x, b.y - a.y), 1e-9)
    normal = np.array((-(b.y - a.y), b.x - a.x)) / length * 0.05
    middle = np.array(line.interpolate(0.5, normalized=True).coords[0])
    found = []
    for place in (middle + normal, middle - normal):
        found += [n for n, o in enumerate(openings, start=1) if o.contains(ShapelyPoint(place))]
    return tuple(found)


def _came(number: int, lead: Lead, path: np.ndarray, pieces: tuple[int, ...]) -> Came:
    return Came(
        f"C{number}",
        lead.start,
        lead.end,
        lead.curve,
        path,
        lead.strip,
        lead.width_mm,
        0.12,
        round(lead.width_mm - 0.2, 3),
        lead.stock,
        parse_length(lead.stock),
        len(pieces) == 1,
        Profile.FLAT if number % 2 else Profile.ROUND,
        0.93,
        0.88,
        0.97,
        ((10.0, 24.5),) if number == 2 else (),
        pieces,
    )


def _inside(
    openings: Sequence[Polygon], paths: Sequence[np.ndarray], halves: Sequence[float]
) -> list[Polygon | MultiPolygon]:
    leads = shapely.union_all(
        [LineString(p).buffer(h, quad_segs=32) for p, h in zip(paths, halves, strict=True)]
    )
    return [opening.difference(leads) for opening in openings]


def _piece(
    number: int,
    outline: Polygon,
    cut: Polygon | MultiPolygon,
    sight: Polygon | MultiPolygon,
    cames: Sequence[Came],
) -> Piece:
    circle = shapely.maximum_inscribed_circle(cut, tolerance=0.01)
    return Piece(
        number,
        outline,
        cut,
        sight,
        circle.coords[0],
        float(circle.length),
        _rectangle(cut),
        tuple(came.id for came in cames if number in came.pieces),
        0.002 * outline.area,
    )


def _rectangle(shape: Polygon) -> Rectangle:
    corners = np.array(shapely.minimum_rotated_rectangle(shape).exterior.coords)
    sides = np.diff(corners, axis=0)[:2]
    lengths = np.hypot(sides[:, 0], sides[:, 1])
    long_side = sides[int(np.argmax(lengths))]
    angle = float(np.degrees(np.arctan2(long_side[1], long_side[0])))
    return Rectangle(float(lengths.max()), float(lengths.min()), (angle + 90.0) % 180.0 - 90.0)


def _joint(key: str, at: Point, leads: Sequence[Lead]) -> Joint:
    here = [
        f"C{k}" for k, lead in enumerate(leads, start=1) for j in (lead.start, lead.end) if j == key
    ]
    kinds = {1: JointKind.END, 2: JointKind.CORNER, 3: JointKind.TEE, 4: JointKind.CROSSING}
    ring = len(set(here)) < len(here)
    kind = JointKind.RING if ring else kinds.get(len(here), JointKind.MEETING)
    return Joint(key, at[0], at[1], kind, 0.07, tuple(dict.fromkeys(here)))


def one_of_each() -> list[Panel]:
    """Return a panel of every kind drawn here."""
    return [two_by_two(), roundel_in_square(), arched(), strapped(), mosaic(30, 200.0, 200.0)]
