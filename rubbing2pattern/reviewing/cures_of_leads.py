"""Cures of leads and joints: one taken out, drawn on, or put where its leads show it to be."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import combinations

import numpy as np
import shapely
from shapely.ops import substring

from rubbing2pattern.findings import Code, Finding, Kind
from rubbing2pattern.geometry.curves import Line, Point, as_point
from rubbing2pattern.model import Came, Joint, JointKind, Panel
from rubbing2pattern.reviewing.making import Made, Rubbing, came_of, joint_of, taken_out

_AROUND_MM = 60.0
"""How far from its joint a lead crosses another once more at most; farther off it is no slip."""
_BETWEEN = (0.25, 0.5, 0.75)
"""Shares of a curved lead at which it is drawn through its places."""
_MOVES_MM = 0.3
"""A joint that would move by less stays where it is."""
_ALONG_MM = (5.0, 15.0)
"""Between these distances from a joint its leads show where they run: clear of what blurs it."""
_ALONG_SHARES = (0.3, 0.8)
"""The same for shorter leads, as shares of their length."""
_NEAR_MM = 3.0
"""How near a finding its lead or joint lies at most, where it names none: half a wide lead."""
_SURE = 0.95
"""Probability from which a lead at a doubtful joint is not said to be none."""

End = tuple[Came, shapely.LineString]
"""A lead that ends at a joint, and its line from there."""


def doubtful_lead(panel: Panel, finding: Finding, rubbing: Rubbing) -> Made:
    """Take out a lead that may be none, or draw it on."""
    if finding.kind is Kind.LEAD_STRAIGHTENED:
        came = _nearest(panel, finding)
    else:
        came = came_of(panel, finding.cames[0]) if finding.cames else None
    if came is None:
        return
    if finding.code is Code.FREE_END:
        yield from going_on(panel, came)
    yield f"Take out {came.id}", [taken_out(came)]


def going_on(panel: Panel, came: Came) -> Made:
    """Draw a lead on in its own direction to the next one it meets."""
    ends = {joint.id: joint for joint in panel.joints if joint.kind is JointKind.END}
    for joint, points in ((came.end, came.path), (came.start, came.path[::-1])):
        if joint not in ends:
            continue
        back = shapely.LineString(points[::-1]).interpolate(max(came.face_width_mm, 3.0))
        end, before = points[-1], np.asarray(back.coords[0])
        way = (end - before) / max(float(np.hypot(*(end - before))), 1e-6)
        far = math.hypot(panel.width_mm, panel.height_mm)
        ray = shapely.LineString((end + 0.5 * way, end + far * way))
        others = [c for c in panel.cames if c.id != came.id]
        met = shapely.intersection([shapely.LineString(c.path) for c in others], ray)
        hits = shapely.get_coordinates(met)
        if len(hits):
            to = hits[np.hypot(*(hits - end).T).argmin()]
            fields = {"from": as_point(end), "to": as_point(to), "width_mm": came.face_width_mm}
            yield f"{came.id} goes on to the next lead", [("add_lead", fields)]


def doubtful_joint(panel: Panel, finding: Finding, rubbing: Rubbing) -> Made:
    """Put a joint where its leads show it to be, or take out a lead that may be none."""
    if finding.kind is Kind.PIECE_CROSSED:
        yield from _where_crossed(panel, finding)
        return
    joint = joint_of(panel, finding.joints[0]) if finding.joints else _joint_near(panel, finding)
    if joint is None:
        return
    ends = [*_ends_at(panel, joint)]
    if joint.kind in (JointKind.CROSSING, JointKind.TEE) and finding.kind is Kind.DOUBTFUL_JOINT:
        to = _straight_on(ends)
        if math.dist(to, joint.at) >= _MOVES_MM:
            fields = {"joint": joint.id, "to": to}
            yield f"{joint.id} lies where its leads run straight on", [("move_joint", fields)]
    sure = 1.0 if finding.kind is Kind.LINES_CROSS else _SURE
    unsure = {c.id: c for c, _ in ends if not c.border and c.confidence < sure}
    for came in sorted(unsure.values(), key=lambda c: (c.confidence, c.length_mm))[:2]:
        yield f"Take out {came.id}", [taken_out(came)]


def _straight_on(ends: list[End]) -> Point:
    """Return the place nearest to all leads of a joint as they run before they reach it.

    The least sum of squared distances to lines through two places of each lead.
    """
    normal, moment = np.zeros((2, 2)), np.zeros(2)
    for _, line in ends:
        low, high = _ALONG_MM
        if line.length < high:
            low, high = (share * line.length for share in _ALONG_SHARES)
        a, b = (np.array(line.interpolate(mm).coords[0]) for mm in (low, high))
        way = (b - a) / np.hypot(*(b - a))
        across = np.eye(2) - np.outer(way, way)
        normal += across
        moment += across @ a
    x, y = np.linalg.lstsq(normal, moment, rcond=None)[0].tolist()
    return x, y


def _where_crossed(panel: Panel, finding: Finding) -> Made:
    """Let a lead that crosses another once more near their joint begin at that crossing.

    It is the less sure of the two, and never one of the border.
    """
    found = [
        (math.dist(place, finding.at), ends, place)
        for joint in panel.joints
        if finding.at and math.dist(joint.at, finding.at) <= _AROUND_MM
        for ends in combinations(_ends_at(panel, joint), 2)
        for place in _crossings(ends, joint)
    ]
    for _, ends, place in sorted(found, key=lambda f: f[0])[:1]:
        (came, line), (other, _) = sorted(ends, key=lambda e: (e[0].border, e[0].confidence))
        if came.border:
            return
        rest = substring(line, line.project(shapely.Point(place)), line.length)
        between = [rest.interpolate(share, normalized=True).coords[0] for share in _BETWEEN]
        fields = {
            "from": place,
            "through": [] if isinstance(came.curve, Line) else between,
            "to": rest.coords[-1],
            "width_mm": came.face_width_mm,
        }
        words = f"{came.id} meets {other.id} where they cross"
        yield words, [taken_out(came), ("add_lead", fields)]


def _crossings(ends: tuple[End, End], joint: Joint) -> list[Point]:
    """Return where two leads of a joint cross once more."""
    places = shapely.get_coordinates(shapely.intersection(ends[0][1], ends[1][1]))
    far = np.hypot(*(places - joint.at).T)
    return [as_point(place) for place in places[far > _MOVES_MM]]


def _ends_at(panel: Panel, joint: Joint) -> Iterator[End]:
    """Yield the leads of a joint, each with its line from there."""
    for came in panel.cames:
        if came.start == joint.id:
            yield came, shapely.LineString(came.path)
        if came.end == joint.id:
            yield came, shapely.LineString(came.path[::-1])


def _nearest(panel: Panel, finding: Finding) -> Came | None:
    """Return the lead on which a finding lies, if any does."""
    if finding.at is None or not panel.cames:
        return None
    away = shapely.distance(
        [shapely.LineString(c.path) for c in panel.cames], shapely.Point(finding.at)
    )
    return panel.cames[int(away.argmin())] if away.min() <= _NEAR_MM else None


def _joint_near(panel: Panel, finding: Finding) -> Joint | None:
    at = finding.at
    if at is None:
        return None
    joint = min(panel.joints, key=lambda j: math.dist(j.at, at))
    return joint if math.dist(joint.at, at) <= _NEAR_MM else None
