"""A net of leads that can be changed one lead at a time, and keeps the names of what stays.

Leads and joints go by the ids of the panel they come from; new ones get ids that were never used.
All lengths in mm, in the frame of the panel.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from copy import copy
from dataclasses import replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import LineString, Point as ShapelyPoint

from rubbing2pattern.correcting.one_lead import (
    CHORD_MM,
    Lead,
    as_one,
    drawn_lead,
    id_number,
    lead_of,
    place_text,
)
from rubbing2pattern.correcting.shapes import joined
from rubbing2pattern.errors import UsageFault
from rubbing2pattern.geometry.curves import Arc, Curve, Point, as_point
from rubbing2pattern.model import Corrected, Panel
from rubbing2pattern.options.correct import CorrectOptions
from rubbing2pattern.paneling.crossings import gaps_within, split_curve
from rubbing2pattern.paneling.lines import leaving_deg, turned
from rubbing2pattern.paneling.meetings import least_bend_deg
from rubbing2pattern.reading import LeadNet, NetCame, NetJoint

_MARKS = (Corrected.ADDED, Corrected.MOVED, Corrected.WIDTH, Corrected.NO)
"""Of two leads that become one, the first of these marks stays."""
_ALONG_SHARE = 0.6
"""A lead with so much of its length on others is not a new one."""


class Net:
    """The leads and joints of a panel, open to change."""

    def __init__(self, panel: Panel, options: CorrectOptions) -> None:
        self.options = options
        self.joints = {
            j.id: NetJoint(j.x_mm, j.y_mm, j.kind.value, j.uncertainty_mm) for j in panel.joints
        }
        self.first = {came.id: drawn_lead(came) for came in panel.cames}
        self.leads = dict(self.first)
        self.merged: dict[str, str] = {}
        self.turned: set[str] = set()
        self.next_came = _next((*self.leads, *(i for c in panel.corrections for i in c.cames_new)))
        self.next_joint = _next(
            (*self.joints, *(i for c in panel.corrections for i in c.joints_new))
        )
        self.next_strip = 1 + max((came.strip for came in panel.cames), default=0)
        self.scale, self.placement = panel.scale, panel.placement

    def copy(self) -> Net:
        """Return a net that can be changed without this one."""
        other = copy(self)
        other.joints, other.leads = dict(self.joints), dict(self.leads)
        other.merged, other.turned = dict(self.merged), set(self.turned)
        return other

    def lead_net(self) -> LeadNet:
        """Return the net as the stages take it, in the order of its ids."""
        joints = sorted(self.joints, key=id_number)
        place = {name: k for k, name in enumerate(joints)}
        cames = sorted(self.leads, key=id_number)
        drawn = tuple(
            replace(lead.came, start=place[lead.start], end=place[lead.end])
            for lead in (self.leads[name] for name in cames)
        )
        kept = tuple(self.joints[name] for name in joints)
        return LeadNet(kept, drawn, self.scale, self.placement)

    def unchanged(self, name: str) -> bool:
        """Return whether a lead is what it was in the panel."""
        now, then = self.leads.get(name), self.first.get(name)
        if now is None or then is None:
            return False
        same = (now.start, now.end, now.corrected) == (then.start, then.end, then.corrected)
        return now is then or (same and now.came == then.came)

    def at(self, joint: str) -> Point:
        """Return the place of a joint."""
        return (self.joints[joint].x_mm, self.joints[joint].y_mm)

    def ends_at(self, joint: str) -> list[tuple[str, bool]]:
        """Return the leads that end at a joint, True where they start there."""
        found = []
        for name in sorted(self.leads, key=id_number):
            lead = self.leads[name]
            found += [(name, True)] if lead.start == joint else []
            found += [(name, False)] if lead.end == joint else []
        return found

    def now(self, name: str) -> str:
        """Return under which id a lead goes on that was joined with another."""
        while name in self.merged:
            name = self.merged[name]
        return name

    def nearest_lead(self, place: Point) -> tuple[str, float]:
        """Return the id of the nearest lead and its distance."""
        names, lines = self._lines()
        distances = shapely.distance(lines, ShapelyPoint(place)).tolist()
        away = dict(zip(names, distances, strict=True))
        name = min(away, key=lambda n: (round(away[n], 6), id_number(n)))
        return name, away[name]

    def _lines(self) -> tuple[list[str], npt.NDArray[np.object_]]:
        return list(self.leads), np.array([lead.line for lead in self.leads.values()], dtype=object)

    def nearest_joint(self, place: Point) -> tuple[str, float]:
        """Return the id of the nearest joint and its distance."""
        away = {name: math.dist(self.at(name), place) for name in self.joints}
        name = min(away, key=lambda n: (round(away[n], 6), id_number(n)))
        return name, away[name]

    def landing(self, place: Point, heading_deg: float, cure: str = "") -> str:
        """Return the joint where a lead that comes to `place` ends, made where there is none.

        Rules:

        1. A joint within `joint_mm` is taken.
        2. Else the nearest lead within `reach_mm` gets a joint where the new lead, prolonged in
           `heading_deg`, meets it, or at the place nearest to the end.

        `cure` says in the error what else one can do.

        Raises
        ------
        UsageFault
            When there is no lead within reach.
        """
        joint, away_mm = self.nearest_joint(place)
        if away_mm <= self.options.joint_mm:  # rule 1
            return joint
        name, away_mm = self.nearest_lead(place)
        reach_mm = self.options.reach_mm
        if away_mm > reach_mm:
            raise UsageFault(
                f"no lead within {reach_mm:g} mm of {place_text(place)}, where this one ends; the "
                f"nearest, {name}, is {away_mm:.1f} mm away{cure}"
            )
        line = self.leads[name].line
        ahead = reach_mm * np.array(
            (math.cos(math.radians(heading_deg)), math.sin(math.radians(heading_deg)))
        )
        ray = LineString([np.array(place) - ahead, np.array(place) + ahead])
        met = [part.centroid for part in _meetings(ray, line)]
        point = ShapelyPoint(place)
        met.sort(key=lambda p: (float(p.distance(point)), p.x, p.y))
        on = met[0] if met else line.interpolate(line.project(point))
        return self.split(name, (float(on.x), float(on.y)))

    def split(self, name: str, place: Point) -> str:
        """Give a lead a joint at a place on it, or take the joint that is there; return its id."""
        lead = self.leads[name]
        for joint in (lead.start, lead.end):
            if math.dist(self.at(joint), place) <= self.options.least_mm:
                return joint
        lone = lead.start == lead.end and len(self.ends_at(lead.start)) == 2
        if lone and lead.start not in self.turned:
            return self._turn_ring(name, place)
        curves = split_curve(lead.came.curve, [place])
        at = curves[0].end
        joint = self.new_joint(at)
        cut_mm, length_mm = float(lead.line.project(ShapelyPoint(at))), lead.length_mm
        parts = []
        for curve, start, end, low, high in (
            (curves[0], lead.start, joint, 0.0, cut_mm),
            (curves[1], joint, lead.end, cut_mm, length_mm),
        ):
            came = replace(lead.came, curve=curve, gaps=gaps_within(lead.came.gaps, low, high))
            parts.append(lead_of(start, end, came, lead.corrected))
        longer = 0 if cut_mm >= length_mm - cut_mm else 1
        self.leads[name] = parts[longer]
        self.leads[self.new_came()] = parts[1 - longer]
        return joint

    def remove(self, name: str) -> tuple[str, str]:
        """Take a lead out; return the joints it left."""
        lead = self.leads.pop(name)
        return lead.start, lead.end

    def settle(self, joint: str) -> None:
        """Remove a point that is no longer a joint: without leads, or between two in line."""
        ends = self.ends_at(joint) if joint in self.joints else []
        if joint in self.joints and not ends:
            del self.joints[joint]
        if len(ends) != 2 or ends[0][0] == ends[1][0] or not self._in_line(ends):
            return
        (a, a_starts), (b, b_starts) = ends
        widths = [self.leads[n].came.width_mm for n in (a, b)]
        if abs(widths[0] - widths[1]) > self.options.same_width_mm:
            return
        first = self._from_start(a, not a_starts)
        second = self._from_start(b, b_starts)
        curve = joined(first.came.curve, second.came.curve, self.options.in_line_mm)
        came = as_one(first, second, curve)
        mark = min(first.corrected, second.corrected, key=_MARKS.index)
        del self.joints[joint]
        del self.leads[b]
        self.merged[b] = a
        self.leads[a] = lead_of(first.start, second.end, came, mark)

    def move_joint(self, joint: str, place: Point) -> None:
        """Put a joint elsewhere; the leads at it follow."""
        old = self.joints[joint]
        self.joints[joint] = replace(
            old, x_mm=place[0], y_mm=place[1], uncertainty_mm=self.options.joint_uncertainty_mm
        )
        for name in dict.fromkeys(name for name, _ in self.ends_at(joint)):
            lead = self.leads[name]
            curve = lead.came.curve.moved_ends(self.at(lead.start), self.at(lead.end))
            mark = Corrected.ADDED if lead.corrected is Corrected.ADDED else Corrected.MOVED
            moved = lead_of(lead.start, lead.end, replace(lead.came, curve=curve, gaps=()), mark)
            self._check_length(moved.length_mm)
            self.leads[name] = moved

    def lay(
        self, curve: Curve, ends: tuple[str, str], like: NetCame, mark: Corrected, name: str = ""
    ) -> list[str]:
        """Lay a lead between two joints, with a joint wherever it crosses another.

        Parameters
        ----------
        curve : the lead line, about from the first joint to the second.
        ends : the joints.
        like : figures of the came.
        mark : why it is laid.
        name : id for its longest part; the others, and all without it, get new ones.

        Returns
        -------
        list
            Ids of its parts in order.
        """
        if ends[0] == ends[1]:
            raise UsageFault(f"it begins and ends at one joint, {place_text(self.at(ends[0]))}")
        curve = curve.moved_ends(self.at(ends[0]), self.at(ends[1]))
        self._check_length(curve.length_mm)
        line = LineString(curve.points(CHORD_MM))
        if not line.is_simple:
            raise UsageFault("it crosses itself")
        self._refuse_doubled(line)
        joints = [ends[0], *self._joints_along(line, ends), ends[1]]
        stops = [self._foot(line, self.at(joint)) for joint in joints[1:-1]]
        curves = split_curve(curve, stops) if stops else (curve,)
        parts = []
        for part, (start, end) in zip(curves, pairwise(joints), strict=True):
            fitted = part.moved_ends(self.at(start), self.at(end))
            self._check_length(fitted.length_mm)
            parts.append(lead_of(start, end, replace(like, curve=fitted, gaps=()), mark))
        longest = max(range(len(parts)), key=lambda k: (parts[k].length_mm, -k))
        names = [name if name and k == longest else self.new_came() for k in range(len(parts))]
        self.leads.update(zip(names, parts, strict=True))
        return names

    def new_joint(self, place: Point) -> str:
        """Make a joint."""
        joint = f"J{self.next_joint}"
        self.next_joint += 1
        self.joints[joint] = NetJoint(*place, "", self.options.joint_uncertainty_mm)
        return joint

    def new_came(self) -> str:
        """Return an id that no came has had."""
        self.next_came += 1
        return f"C{self.next_came - 1}"

    def doubled(self) -> tuple[str, str] | None:
        """Return two leads of which one lies on the other, if there are any new ones."""
        tied: dict[frozenset[str], list[str]] = {}
        for name in sorted(self.leads, key=id_number):
            lead = self.leads[name]
            others = tied.setdefault(frozenset((lead.start, lead.end)), [])
            for other in others:
                old = self.unchanged(name) and self.unchanged(other)
                near = self.leads[other].line.buffer(0.5 * self.options.least_mm)
                if not old and near.covers(lead.line):
                    return other, name
            others.append(name)
        return None

    def runs_through(self, joint: str, without: str) -> bool:
        """Return whether two leads run through a joint in line when one is left out."""
        ends = [end for end in self.ends_at(joint) if end[0] != without]
        return any(
            self._in_line([a, b]) for k, a in enumerate(ends) for b in ends[:k] if a[0] != b[0]
        )

    def _in_line(self, ends: list[tuple[str, bool]]) -> bool:
        headings = [leaving_deg(self._from_start(n, starts).came.curve) for n, starts in ends]
        return least_bend_deg(headings) <= self.options.in_line_deg

    def _from_start(self, name: str, forwards: bool) -> Lead:
        lead = self.leads[name]
        if forwards:
            return lead
        return lead_of(lead.end, lead.start, turned(lead.came), lead.corrected)

    def _turn_ring(self, name: str, place: Point) -> str:
        """Move the only joint of a closed lead along it."""
        lead = self.leads[name]
        first, second = split_curve(lead.came.curve, [place])
        curve = joined(second, first, 0.0)
        if isinstance(second, Arc):
            curve = replace(second, sweep_deg=math.copysign(360.0, second.sweep_deg))
        x_mm, y_mm = curve.start
        self.turned.add(lead.start)  # another lead is about to end there
        self.joints[lead.start] = replace(self.joints[lead.start], x_mm=x_mm, y_mm=y_mm)
        came = replace(lead.came, curve=curve, gaps=())
        self.leads[name] = lead_of(lead.start, lead.start, came, lead.corrected)
        return lead.start

    def _joints_along(self, line: LineString, ends: tuple[str, str]) -> list[str]:
        """Return the joints between its ends where a new lead meets others, in order along it.

        Rules:

        1. Where it meets a lead within `joint_mm` of a joint, it goes through that joint.
        2. Where it meets a lead twice as near to one of those joints, or of its own ends, it meets
           it in that joint.
        3. Anywhere else the lead it meets gets a joint.
        """
        found: list[str] = []
        places = self._crossings(line, ends)
        for place in places:
            joint, away_mm = self.nearest_joint(place)
            if away_mm <= self.options.joint_mm:
                found += [] if joint in (*found, *ends) else [joint]  # rule 1
        for place in places:
            if self.nearest_joint(place)[1] <= self.options.joint_mm:
                continue
            name, _ = self.nearest_lead(place)
            tied = {self.leads[name].start, self.leads[name].end} & {*found, *ends}
            near_mm = 2.0 * self.options.joint_mm
            if all(math.dist(self.at(joint), place) > near_mm for joint in tied):  # rule 2
                joint = self.split(name, place)  # rule 3
                found += [] if joint in (*found, *ends) else [joint]
        return sorted(found, key=lambda j: float(line.project(ShapelyPoint(self.at(j)))))

    def _crossings(self, line: LineString, ends: tuple[str, str]) -> list[Point]:
        """Return where a line meets leads between its ends, in order along it."""
        places: list[Point] = []
        _, lines = self._lines()
        for met in lines[shapely.intersects(lines, line)]:
            for part in _meetings(line, met):
                at = as_point(np.array(part.centroid.coords[0]))
                if all(math.dist(at, self.at(end)) > self.options.least_mm for end in ends):
                    places.append(at)
        return sorted(places, key=lambda p: float(line.project(ShapelyPoint(p))))

    def _refuse_doubled(self, line: LineString) -> None:
        """Refuse a lead that lies on others for the most part."""
        near = 0.5 * self.options.least_mm
        names, lines = self._lines()
        on = {
            name: float(line.intersection(lead.buffer(near)).length)
            for name, lead, reached in zip(
                names, lines, shapely.dwithin(lines, line, near), strict=True
            )
            if reached
        }
        if sum(on.values()) > _ALONG_SHARE * line.length:
            name = max(on, key=lambda n: (on[n], -id_number(n)))
            raise UsageFault(f"it runs along {name}, which exists already")

    def _check_length(self, length_mm: float) -> None:
        least_mm = self.options.least_mm
        if length_mm < least_mm:
            raise UsageFault(
                f"a lead would be {length_mm:.2f} mm long, but the least length is {least_mm:g} mm"
            )

    def _foot(self, line: LineString, place: Point) -> Point:
        foot = line.interpolate(line.project(ShapelyPoint(place)))
        return (float(foot.x), float(foot.y))


def _meetings(a: LineString, b: LineString) -> list[shapely.Geometry]:
    """Return the parts that two lines have in common."""
    parts = shapely.get_parts(shapely.intersection(a, b))
    return [part for part in parts if not part.is_empty]


def _next(names: Iterable[str]) -> int:
    return 1 + max((id_number(name) for name in names), default=0)
