"""Cures of an open border: the lead that closes it, or that what lies open is none."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import combinations

import numpy as np
import shapely

from rubbing2pattern.findings import Finding, Kind
from rubbing2pattern.geometry.curves import Point, as_point
from rubbing2pattern.model import Came, Joint, JointKind, Panel
from rubbing2pattern.reviewing.cures_of_leads import going_on
from rubbing2pattern.reviewing.making import Made, Rubbing, came_of, taken_out

_MOST_BOW = 0.5
"""Height of a border lead over its chord, as a share of it: that of a half circle."""
_STRAIGHT_MM = 1.0
"""A border lead that bows by less is drawn straight."""
_GRID_MM = 0.01
"""Ends of leads that meet in a joint lie this near each other."""
_MOST_NAMED = 3
"""Leads that a button names; of more it says so."""


def border_open(panel: Panel, finding: Finding, rubbing: Rubbing) -> Made:
    """Close the border, or take out the leads that enclose no glass."""
    if finding.kind is Kind.GLASS_LIES_OPEN:
        yield from _closing(panel, finding)
        return
    cames = [came_of(panel, name) for name in finding.cames]
    if not cames:
        return
    ends = gap_of(panel, finding)
    if len(ends) == 2:
        a, b = (joint.at for joint in ends)
        fields = {"from": a, "to": b, "width_mm": cames[0].face_width_mm}
        yield "Close the border", [("add_lead", fields)]
    elif len(ends) == 1:
        yield from going_on(panel, cames[0])
    names = " and ".join(came.id for came in cames[:_MOST_NAMED])
    others = " and others" if len(cames) > _MOST_NAMED else ""
    yield f"Take out {names}{others}", [taken_out(came) for came in cames]


def gap_of(panel: Panel, finding: Finding) -> tuple[Joint, ...]:
    """Return the free ends between which a border is open, in the order of their ids.

    They are those of the finding's own leads, and where that is one, the free end nearest to it.
    """
    cames = [came_of(panel, name) for name in finding.cames]
    ends = {joint.id: joint for joint in panel.joints if joint.kind is JointKind.END}
    named = {name for came in cames for name in (came.start, came.end) if name in ends}
    if len(named) == 1:
        (own,) = (ends[name] for name in named)
        others = [joint for joint in ends.values() if joint is not own]
        nearest = sorted(others, key=lambda j: math.dist(j.at, own.at))
        named |= {joint.id for joint in nearest[:1]}
    return tuple(ends[name] for name in sorted(named))


def around_lost(panel: Panel, finding: Finding) -> list[Came]:
    """Return the leads that enclose no glass within reach of a piece that was lost."""
    reach = _reach(finding)
    return [c for c in panel.cames if not c.pieces and reach.covers(shapely.LineString(c.path))]


def _closing(panel: Panel, finding: Finding) -> Made:
    """Close the border round a piece that was lost, so that it gets the area it had.

    Rules:

    1. The lead runs between two joints that can see each other across the open place.
    2. It bows by so much that the piece has its area again; of several the least bowed is meant.
    """
    area_mm2 = finding.numbers["area_mm2"]
    best: list[tuple[float, Joint, Joint, float]] = []
    for a, b, enclosed_mm2 in _enclosing(panel, finding):
        chord_mm = math.dist(a.at, b.at)
        bow_mm = _bow(area_mm2 - enclosed_mm2, chord_mm)
        if abs(bow_mm) <= _MOST_BOW * chord_mm:
            best.append((abs(bow_mm) / chord_mm, a, b, bow_mm))
    for _, a, b, bow_mm in sorted(best, key=lambda found: found[0])[:2]:
        fields: dict[str, object] = {"from": a.at, "to": b.at}
        if abs(bow_mm) >= _STRAIGHT_MM:
            fields["through"] = [_bowed(a.at, b.at, bow_mm, finding)]
        fields["width_mm"] = _border_width(panel, (a.id, b.id))
        yield f"Close the border from {a.id} to {b.id}", [("add_lead", fields)]


def _enclosing(panel: Panel, finding: Finding) -> Iterator[tuple[Joint, Joint, float]]:
    """Yield joints that a straight lead could tie, and the area it would enclose (rule 1)."""
    at, reach = shapely.Point(finding.at), _reach(finding)
    glass = [p.outline for p in panel.pieces if p.outline.intersects(reach)]
    parts = shapely.get_parts(reach.difference(shapely.union_all(glass)))
    around = [part for part in parts if part.covers(at)]
    if not around:
        return
    lines = [shapely.LineString(c.path) for c in panel.cames]
    near = [line for line in lines if line.intersects(reach)]
    edge = around[0].buffer(_GRID_MM)
    joints = [j for j in panel.joints if edge.covers(shapely.Point(j.at))]
    for a, b in combinations(joints, 2):
        line = shapely.LineString((a.at, b.at))
        if not edge.covers(line):
            continue
        net = shapely.union_all([*near, line], grid_size=_GRID_MM)
        faces = shapely.get_parts(shapely.polygonize(shapely.get_parts(net)))
        for face in faces[shapely.covers(faces, at)]:
            yield a, b, float(face.area)


def _reach(finding: Finding) -> shapely.Geometry:
    """Return how far the piece that was lost reached, and a little more."""
    return shapely.Point(finding.at).buffer(1.01 * finding.numbers["far_mm"] + _GRID_MM)


def _bow(area_mm2: float, chord_mm: float) -> float:
    """Return the height of a circle's segment from its area and chord, with the area's sign.

    The area is 2/3 c h + h^3 / 2c, to 1 % up to the half circle (a rule of mensuration, from
    memory).
    """
    c = chord_mm
    roots = np.roots((1.0 / (2.0 * c), 0.0, 2.0 * c / 3.0, -area_mm2))
    return float(roots[np.abs(roots.imag).argmin()].real)


def _bowed(a: Point, b: Point, bow_mm: float, finding: Finding) -> Point:
    """Return the middle of a lead that bows away from the place of a finding."""
    ends = np.array((a, b))
    along = (ends[1] - ends[0]) / math.dist(a, b)
    out = np.array((along[1], -along[0]))
    middle = ends.mean(axis=0)
    away = 1.0 if out @ (middle - np.array(finding.at)) >= 0.0 else -1.0
    return as_point(middle + away * bow_mm * out)


def _border_width(panel: Panel, joints: tuple[str, str]) -> float:
    """Return the width of a border lead at one of two joints, or of the panel's border."""
    border = [c for c in panel.cames if c.border]
    beside = [c for c in border if {c.start, c.end} & {*joints}]
    return float(np.median([c.face_width_mm for c in beside or border]))
