"""Outlines inside the leads: where the glass ends, and what is seen between the leaves.

Legend for shapes: P pieces, E cames, S = 2 E sides (see `walk`). All lengths in mm.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import LineString, MultiPolygon, Point, Polygon

from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.paneling.lines import LeadLines
from rubbing2pattern.paneling.openings import Opening
from rubbing2pattern.paneling.walk import Walk

Shapes = npt.NDArray[np.object_]

QUADRANT_CHORDS = 8
"""Chords per quarter of a rounded corner: their rise is 0.5 % of its radius, 0.015 mm at 3 mm."""


def inner_outlines(
    shapes: Shapes, openings: Sequence[Opening], lines: LeadLines, half_widths_mm: Array
) -> Shapes:
    """Return what the leads leave free of each opening.

    A lead takes the strip of its half width on either side of its line. It ends square at its
    joints, and there a round corner of the narrower of two neighbouring leads closes the gap. A
    strap lead has round ends. With one width all round this is the outline set in by it.

    Parameters
    ----------
    shapes : (P,) centre outlines, valid.
    openings : P openings they belong to.
    lines : the lead lines.
    half_widths_mm : (E,) half the width of each came.

    Returns
    -------
    (P,) polygons, multipolygons where a neck is narrower than the leads, or empty polygons.
    """
    least = np.array([min(half_widths_mm[s >> 1] for s in _around(o)) for o in openings])
    inner = shapely.buffer(shapes, -least, quad_segs=QUADRANT_CHORDS)
    taken = _taken(openings, lines, half_widths_mm, least)
    with_more = np.flatnonzero([t is not None for t in taken])
    if len(with_more):
        inner[with_more] = shapely.difference(inner[with_more], taken[with_more])
    for k, shape in enumerate(inner):
        if not isinstance(shape, Polygon | MultiPolygon):
            inner[k] = polygons_of(shape)
    return np.asarray(inner)


def polygons_of(shape: shapely.Geometry) -> Polygon | MultiPolygon:
    """Return the polygons in a shape, leaving out points and lines; an empty polygon if none."""
    found = [p for p in shapely.get_parts(shape) if isinstance(p, Polygon) and not p.is_empty]
    if len(found) == 1:
        return found[0]
    return MultiPolygon(found) if found else Polygon()


def largest_part(shape: Polygon | MultiPolygon) -> Polygon:
    """Return the polygon with the largest area, the first of equals."""
    if isinstance(shape, Polygon):
        return shape
    return max(shape.geoms, key=lambda part: part.area)


def _around(opening: Opening) -> Walk:
    return (*opening.shell, *(s for hole in opening.holes for s in hole))


def _taken(
    openings: Sequence[Opening], lines: LeadLines, half_widths_mm: Array, least_mm: Array
) -> Shapes:
    """Return for each opening what leads wider than the least around it and straps take."""
    flat: list[tuple[int, LineString, float]] = []
    round_: list[tuple[int, LineString | Point, float]] = []
    for k, opening in enumerate(openings):
        for ring in (opening.shell, *opening.holes):
            for chain, joint_halves in _chains(ring, half_widths_mm):
                half = float(half_widths_mm[chain[0] >> 1])
                path = _chain_path(chain, lines)
                if half > least_mm[k]:
                    closed = len(chain) == len(ring)
                    (round_ if closed else flat).append((k, LineString(path), half))
                if joint_halves > least_mm[k]:
                    round_.append((k, Point(path[-1]), joint_halves))
        round_ += [(k, LineString(lines.paths[c]), half_widths_mm[c]) for c in opening.straps]
    owners = np.array([k for k, _, _ in (*flat, *round_)], dtype=np.int64)
    strips = np.concatenate((_buffered(flat, "flat"), _buffered(round_, "round")))
    taken = np.empty(len(openings), dtype=object)
    for k in np.unique(owners):
        taken[k] = shapely.union_all(strips[owners == k])
    return taken


def _chains(ring: Walk, half_widths_mm: Array) -> Iterator[tuple[Walk, float]]:
    """Yield runs of neighbouring sides of one width, with the half width that rounds their end."""
    halves = [float(half_widths_mm[s >> 1]) for s in ring]
    changes = [i for i in range(len(ring)) if halves[i] != halves[i - 1]]
    if not changes:
        yield ring, 0.0
    for a, b in zip(changes, [*changes[1:], *changes[:1]], strict=True):
        chain = ring[a:b] if a < b else (*ring[a:], *ring[:b])
        yield chain, min(halves[a], halves[b])


def _chain_path(chain: Walk, lines: LeadLines) -> Array:
    runs = [lines.paths[s >> 1][:: -1 if s & 1 else 1] for s in chain]
    return np.vstack([runs[0], *(run[1:] for run in runs[1:])])


def _buffered(strips: Sequence[tuple[int, shapely.Geometry, float]], caps: str) -> Shapes:
    shapes = np.array([shape for _, shape, _ in strips], dtype=object)
    halves = np.array([half for _, _, half in strips], dtype=np.float64)
    grown = shapely.buffer(shapes, halves, quad_segs=QUADRANT_CHORDS, cap_style=caps)
    return np.asarray(grown, dtype=object)
