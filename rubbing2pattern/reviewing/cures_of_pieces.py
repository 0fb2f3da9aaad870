"""Cures of pieces and widths: a lead parts a piece, two are one, a width was meant."""

from __future__ import annotations

import math

import numpy as np
import shapely

from rubbing2pattern.findings import Finding, Kind
from rubbing2pattern.geometry.curves import Point, as_point
from rubbing2pattern.model import Came, Panel, Piece
from rubbing2pattern.reviewing.making import Fields, Made, Rubbing, came_of, piece_of
from rubbing2pattern.reviewing.ridge import darkness, ridge_direction, ridge_near
from rubbing2pattern.units import parse_length

_INWARD_DEG = 200.0
"""Angle inside the glass from which a corner points inward; curves in steps stay far below."""
_CORNER_MM = 1.5
"""Outlines are simplified by so much before corners are looked for: half a narrow lead."""
_STRIP_MM = 12.0
"""How far around a dark strip is looked at, for its middle and its direction: two wide leads."""
_MOST_GUESSES = 3
"""Leads offered from one corner at most."""


def inward_corner(panel: Panel, finding: Finding, rubbing: Rubbing) -> Made:
    """Draw a lead from the corner that points into the glass to another corner."""
    piece = piece_of(panel, finding)
    if piece is None:
        return
    inward = _inward(piece)
    if finding.kind is Kind.INWARD_CORNERS and len(inward) >= 2:
        a, b = max(
            ((p, q) for k, (p, _) in enumerate(inward) for q, _ in inward[k + 1 :]),
            key=lambda pair: -math.dist(*pair),
        )
        yield "A lead runs between the corners", [("split_piece", _split(piece, a, b))]
        return
    for corner, ways in inward[:1]:
        ring = piece.outline.exterior.simplify(_CORNER_MM)
        others = [as_point(np.asarray(p)) for p in ring.coords[:-1]]
        seen = [p for p in others if _parts(corner, p, ways) and _inside(piece, corner, p)]
        seen.sort(key=lambda p: math.dist(p, corner))
        if rubbing is not None:
            dark = {place: darkness(rubbing, corner, place) for place in seen}
            seen.sort(key=lambda p: -dark[p])
        for place in seen[:_MOST_GUESSES]:
            far = math.dist(place, corner)
            words = (
                f"A lead runs {far:.0f} mm to the {_way(corner, place)}{_to_joint(panel, place)}"
            )
            yield words, [("split_piece", _split(piece, corner, place))]


def _parts(corner: Point, place: Point, ways: tuple[float, float]) -> bool:
    """Tell whether a lead from a corner to a place leaves no corner that points inward there.

    `ways` are the directions of the two sides of the corner in degrees; the glass lies to the left
    of the first.
    """
    if math.dist(corner, place) < 2.0 * _CORNER_MM:
        return False
    way = math.degrees(math.atan2(place[1] - corner[1], place[0] - corner[0]))
    first, second = (way - ways[0]) % 360.0, (ways[1] - way) % 360.0
    return max(first, second) < _INWARD_DEG and first + second < 360.0


def _split(piece: Piece, a: Point, b: Point) -> Fields:
    return {"piece": piece.number, "from": a, "to": b}


def _inside(piece: Piece, a: Point, b: Point) -> bool:
    line = shapely.LineString((a, b))
    return bool(piece.outline.buffer(_CORNER_MM).contains(line)) and bool(
        piece.outline.buffer(-_CORNER_MM / 2).intersection(line).length > 0.7 * line.length
    )


def _inward(piece: Piece) -> list[tuple[Point, tuple[float, float]]]:
    """Return the corners of a piece that point into its glass, sharpest first, with their sides.

    Of the sides the directions are given, anticlockwise through the glass.
    """
    ring = shapely.simplify(piece.outline.exterior, _CORNER_MM)
    points = np.asarray(ring.coords)[:-1]
    points = points if ring.is_ccw else points[::-1]
    before, after = np.roll(points, 1, axis=0) - points, np.roll(points, -1, axis=0) - points
    out = np.degrees(np.arctan2(after[:, 1], after[:, 0]))
    back = np.degrees(np.arctan2(before[:, 1], before[:, 0]))
    inside = (back - out) % 360.0
    order = [int(k) for k in np.argsort(-inside) if inside[k] >= _INWARD_DEG]
    return [(as_point(points[k]), (float(out[k]), float(back[k]))) for k in order]


def _to_joint(panel: Panel, place: Point) -> str:
    """Name the joint at a place, if there is one."""
    near = (j for j in panel.joints if math.dist(j.at, place) <= _CORNER_MM)
    return next((f", to {joint.id}" for joint in near), "")


def _way(a: Point, b: Point) -> str:
    dx, dy = b[0] - a[0], b[1] - a[1]
    if abs(dx) > abs(dy):
        return "right" if dx > 0 else "left"
    return "top" if dy > 0 else "bottom"


def possible_lead(panel: Panel, finding: Finding, rubbing: Rubbing) -> Made:
    """Draw a lead across the piece along the dark strip that the rubbing shows."""
    if finding.at is None or rubbing is None:
        return
    at = ridge_near(rubbing, panel, finding.at, _STRIP_MM) or finding.at
    piece = panel.piece_at(at)
    if piece is None:
        return
    way = np.array(ridge_direction(rubbing, at, _STRIP_MM))
    far = math.hypot(panel.width_mm, panel.height_mm)
    ends = []
    for sign in (1.0, -1.0):
        ray = shapely.LineString((at, at + sign * far * way))
        hits = shapely.get_coordinates(shapely.intersection(ray, piece.outline.boundary))
        if not len(hits):
            return
        ends.append(as_point(hits[np.hypot(*(hits - at).T).argmin()]))
    if not _inside(piece, ends[0], ends[1]):
        return
    fields = {"piece": piece.number, "from": ends[0], "to": ends[1]}
    yield "A lead runs along the dark strip", [("split_piece", fields)]


def no_piece(panel: Panel, finding: Finding, rubbing: Rubbing) -> Made:
    """Join a piece that is none with the neighbour behind the least sure lead."""
    piece = piece_of(panel, finding)
    if piece is None:
        return
    around = [c for c in panel.cames if c.id in piece.cames and len(set(c.pieces)) == 2]
    beside: dict[int, list[Came]] = {}
    for came in around:
        (other,) = {*came.pieces} - {piece.number} or {piece.number}
        beside.setdefault(other, []).append(came)
    sure = {n: float(np.mean([c.confidence for c in cames])) for n, cames in beside.items()}
    for other in sorted(sure, key=lambda n: (sure[n], n))[:2]:
        numbers = sorted((piece.number, other))
        words = f"It is one piece with {other}"
        yield words, [("join_pieces", {"pieces": numbers})]


def widths(panel: Panel, finding: Finding, rubbing: Rubbing) -> Made:
    """Set the stock widths that come into question."""
    stocks = {came.stock: came.stock_mm for came in panel.cames}
    asked = [finding.names[name] for name in ("below", "above", "smallest", "largest")
             if name in finding.names]  # fmt: skip
    cames = [came_of(panel, name) for name in finding.cames]
    if not asked and cames:
        now = cames[0].stock_mm
        larger = sorted((mm, name) for name, mm in stocks.items() if mm > now)
        asked = [cames[0].stock, *(name for _, name in larger[:1])]
    for name in asked:
        width = stocks.get(name) or parse_length(name)
        every: list[tuple[str, Fields]] = [
            ("set_width", {"came": came.id, "width_mm": width}) for came in cames
        ]
        yield f"{'The width is' if len(cames) == 1 else 'All are'} {name}", every


def side(panel: Panel, finding: Finding, rubbing: Rubbing) -> Made:
    """State the side on which the paper lay."""
    for side in ("inside", "outside"):
        yield f"The paper lay on the {side}", [("seen_from", {"side": side})]
