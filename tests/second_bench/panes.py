"""Openings of a panel, as they are and as a tracing has them, and the glass cut for them.

All lengths in mm, in the panel's frame. Panels are those of the second hand of rubbings.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import LineString, Point, Polygon

from tests.second_hand.designs import draw
from tests.second_hand.leadwork import Lead
from tests.second_hand.network import Came, Network

Array = npt.NDArray[np.float64]
Rng = np.random.Generator

HEART_MM = 1.5
CLEARANCE_MM = 0.4
STEP_MM = 0.5
LEAST_PART_MM2 = 300.0


@dataclass(frozen=True, slots=True)
class Pane:
    """One opening: its index among the pieces, and its three outlines."""

    index: int
    hearts: Polygon
    cut: Polygon
    sight: Polygon


def panes(design: str, seed: int, stray_mm: float, rng: Rng) -> tuple[list[Pane], list[Pane]]:
    """Return the openings of a panel, and the same as a tracing that strays so has them.

    One that the tracing lacks keeps its true place in the second list.
    """
    leads, found = draw(design, seed)
    true = _panes(leads, found.cames, list(found.pieces))
    cames = tuple(_strayed(found, stray_mm, rng))
    faces = [
        p for p in shapely.get_parts(shapely.polygonize([LineString(c.path) for c in cames])) if p
    ]
    tree = shapely.STRtree(faces)
    near = [tree.nearest(p.representative_point()) for p in found.pieces]
    read = _panes(leads, cames, [faces[k] for k in near])
    alike = [
        abs(r.cut.symmetric_difference(t.cut).area) < 6.0 * stray_mm * t.cut.length
        for t, r in zip(true, read, strict=True)
    ]
    return true, [r if good else t for t, r, good in zip(true, read, alike, strict=True)]


def _strayed(found: Network, stray_mm: float, rng: Rng) -> list[Came]:
    """Return the cames with their joints shifted and their lines bowed a little."""
    shift = rng.normal(0.0, stray_mm / math.sqrt(2.0), (len(found.joints), 2))
    out = []
    for came in found.cames:
        p = np.asarray(came.path)
        way = np.concatenate(((0.0,), np.cumsum(np.hypot(*np.diff(p, axis=0).T))))
        t = (way / max(way[-1], 1e-9))[:, None]
        bow = rng.normal(0.0, 0.6 * stray_mm, 2) * np.sin(np.pi * t)
        out.append(
            Came(
                came.start,
                came.end,
                p + (1 - t) * shift[came.start] + t * shift[came.end] + bow,
                came.lead,
            )
        )
    return out


def _panes(leads: list[Lead], cames: tuple[Came, ...], faces: list[Polygon]) -> list[Pane]:
    leaves = [
        LineString(c.path).buffer(leads[c.lead].face_mm / 2, quad_segs=4, cap_style="flat")
        for c in cames
    ]
    tree = shapely.STRtree(leaves)
    out = []
    for k, face in enumerate(faces):
        hearts = solid(face.buffer(-HEART_MM / 2, join_style="mitre"))
        cut = solid(face.buffer(-HEART_MM / 2 - CLEARANCE_MM, join_style="mitre"))
        over = shapely.union_all([leaves[i] for i in tree.query(face, predicate="intersects")])
        out.append(Pane(k, hearts, cut, solid(face.difference(over).intersection(cut))))
    return out


def solid(shape: shapely.Geometry) -> Polygon:
    """Return the largest polygon of a shape without holes."""
    parts = [p for p in shapely.get_parts(shape) if isinstance(p, Polygon) and not p.is_empty]
    return Polygon(max(parts, key=lambda p: p.area).exterior) if parts else Polygon()


def cut_glass(cut: Polygon, rng: Rng) -> Polygon:
    """Return glass cut along a line: all of it large or small, sides off, grozed, nipped."""
    ring = shapely.orient_polygons(cut).exterior
    n = max(48, int(ring.length / STEP_MM))
    s = np.arange(n) * ring.length / n
    p = shapely.get_coordinates(ring.interpolate(s))
    way = np.roll(p, -1, axis=0) - np.roll(p, 1, axis=0)
    out = np.column_stack((way[:, 1], -way[:, 0])) / np.hypot(*way.T)[:, None]
    off = np.full(n, np.clip(rng.normal(0.0, 0.18), -0.4, 0.4))
    for wave in range(1, 6):
        off += rng.normal(0.0, 0.09) * np.cos(
            wave * 2 * np.pi * s / ring.length + rng.uniform(0, 6.3)
        )
    if rng.random() < 0.5:  # scallops that grozing pliers leave
        at, half = rng.uniform(0, ring.length), rng.uniform(8.0, 25.0)
        away = np.abs((s - at + ring.length / 2) % ring.length - ring.length / 2)
        bite = rng.uniform(0.08, 0.25) * np.abs(np.sin(np.pi * s / rng.uniform(2.5, 5.0)))
        off -= np.where(away < half, bite, 0.0)
    glass = solid(Polygon(p + out * np.clip(off, -0.6, 0.6)[:, None]).buffer(0))
    corners = shapely.get_coordinates(cut.simplify(1.0).exterior)[:-1]
    for corner in rng.permutation(corners)[: rng.integers(0, 3)]:
        away = np.array(glass.centroid.coords[0]) - corner
        away /= np.hypot(*away)
        deep = rng.uniform(0.3, 1.3)
        disc = Point(*(corner - away * (4.0 - deep))).buffer(4.0)
        glass = solid(glass.difference(disc))
    return solid(glass.buffer(-0.15).buffer(0.15, quad_segs=4))


def shattered(glass: Polygon, parts: int, rng: Rng) -> list[Polygon]:
    """Return the parts of a glass that cracks run through from the place of a blow."""
    for _ in range(60):
        middle = np.array(glass.centroid.coords[0]) + rng.normal(0, 0.12, 2) * math.sqrt(glass.area)
        if not glass.contains(Point(*middle)):
            continue
        first, turns = rng.uniform(0, 2 * np.pi), max(parts, 2)
        cracks = [
            _crack(middle, first + 2 * np.pi * k / turns + rng.normal(0, 0.25), glass, rng)
            for k in range(turns)
        ]
        lines = shapely.union_all([glass.exterior, *cracks])
        found = list(shapely.get_parts(shapely.polygonize([*shapely.get_parts(lines)])))
        found = [p for p in found if glass.contains(p.representative_point())]
        if len(found) == parts and min(p.area for p in found) > LEAST_PART_MM2:
            return [solid(p) for p in found]
    return [glass]


def _crack(start: Array, heading: float, glass: Polygon, rng: Rng) -> LineString:
    """Return a crack whose heading wanders, beyond the edge of the glass."""
    reach = 2.5 * math.sqrt(glass.area) + glass.length / 4
    p, path, bend = start.copy(), [start.copy()], rng.normal(0, 0.012)
    for _ in range(int(reach / 1.5)):
        bend = 0.9 * bend + rng.normal(0, 0.012)
        heading += bend
        p = p + 1.5 * np.array((math.cos(heading), math.sin(heading)))
        path.append(p)
    return LineString(path)
