"""The corrections of one file, made on a net one after the other. All lengths in mm."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any

import shapely
from shapely.geometry import LineString, Point as ShapelyPoint

from rubbing2pattern.correcting.before import Before
from rubbing2pattern.correcting.by_finding import explicit
from rubbing2pattern.correcting.one_lead import Lead, lead_of, place_text, shifted
from rubbing2pattern.correcting.shapes import curve_through
from rubbing2pattern.errors import UsageFault
from rubbing2pattern.geometry.curves import Point
from rubbing2pattern.inputs.correction_tables import (
    AddLead,
    Corrections,
    JoinPieces,
    MoveJoint,
    MoveLead,
    RemoveLead,
    SeenFrom,
    SetWidth,
    SplitPiece,
    Table,
)
from rubbing2pattern.model import Change, Corrected, Piece
from rubbing2pattern.paneling.lines import leaving_deg
from rubbing2pattern.reading import NetCame

_MOST_TOLD = 3
"""Names that a message lists; the others are counted."""


class Changes:
    """Makes the changes of leads and joints that a file asks for.

    Rules:

    1. Places, ids and numbers mean the panel as it was before the file, whatever its other tables
       do; only the ends of new leads and places of widths look at what was changed before them.
    2. The order is that of `inputs.correction_tables.TABLES`: leads go before others come.
    3. All faults of a file are collected; one is enough to refuse it.

    Attributes
    ----------
    start, panel, before : the panel as it was, and its net.
    net : the changed net.
    changes : what was done.
    faults : what is wrong, each beginning with table and index.
    laid : (label, piece to be divided or None, ids of the parts) of new leads.
    free_ends : (label, place) where a lead is said to end freely.
    resolved : by label the lead or joint that is meant.
    notes : by label how its places were understood.
    shifts : by label how far a lead is moved, (x, y).
    seen_from : the side on which the paper lay.
    """

    def __init__(self, start: Before) -> None:
        self.start, self.panel, self.options = start, start.panel, start.options
        self.pieces, self.sides = start.pieces, start.cames
        self.before = start.net
        self.net = start.net.copy()
        self.changes: list[Change] = []
        self.faults: list[str] = []
        self.laid: list[tuple[str, int | None, tuple[str, ...]]] = []
        self.free_ends: list[tuple[str, Point]] = []
        self.resolved: dict[str, str] = {}
        self.notes: dict[str, str] = {}
        self.shifts: dict[str, Point] = {}
        self.seen_from = self.panel.seen_from
        self.used: dict[str, str] = {}
        self.loosened: dict[str, None] = {}

    def make(self, corrections: Corrections) -> None:
        """Make all changes of leads and joints; faults are kept, not raised."""
        makers: dict[type[Table], Callable[[str, Any], str]] = {
            RemoveLead: self._remove_lead,
            JoinPieces: self._join_pieces,
            MoveJoint: self._move_joint,
            MoveLead: self._move_lead,
            AddLead: self._add_lead,
            SplitPiece: self._split_piece,
            SetWidth: self._set_width,
            SeenFrom: self._see_from,
        }
        for name, index, table in corrections.tables():
            maker = makers.get(type(table))
            if maker is not None:
                if not isinstance(table, RemoveLead | JoinPieces):
                    self._settle()
                self.try_one(name, index, table, maker)
        self._settle()

    def try_one(
        self, name: str, index: int, table: Table, maker: Callable[[str, Any], str]
    ) -> None:
        """Make one change and note what it did, or what is wrong with it."""
        label = f"{name} {index}"
        try:
            parts = explicit(table, self.panel)
            done = [maker(label, part) for part in parts]
            did = done[0] if len(done) == 1 else _all_alike(parts)
        except UsageFault as fault:
            self.faults.append(f"{label}: {fault}")
        else:
            given = table.model_dump(mode="json", by_alias=True, exclude_defaults=True)
            self.changes.append(Change(name, index, given, did))

    def piece(self, number: int) -> Piece:
        """Return a piece of the panel as it was."""
        if number not in self.pieces:
            raise UsageFault(f"there is no piece {number}")
        return self.pieces[number]

    def _refuse_beyond(self, limit_mm: float, *places: Point) -> None:
        """Refuse places that lie farther outside the panel than a limit."""
        for place in places:
            away_mm = float(self.start.ground.distance(ShapelyPoint(place)))
            if away_mm > limit_mm:
                raise UsageFault(
                    f"{place_text(place)} lies outside the panel, {away_mm:.1f} mm from it (limit "
                    f"{limit_mm:g} mm); the panel reaches from (0, 0) to "
                    f"({self.panel.width_mm:.1f}, {self.panel.height_mm:.1f})"
                )

    def _refuse_beside_border(self, line: LineString) -> None:
        """Refuse a lead of which a part runs outside the panel, but nowhere beyond reach of it.

        Such a part means the border itself; glass outside the border needs more room.
        """
        reach_mm = self.options.reach_mm
        outside = shapely.get_parts(line.difference(self.start.around))
        for part in outside[~shapely.is_empty(outside)]:
            places = shapely.points(shapely.segmentize(part, self.options.least_mm).coords)
            away = shapely.distance(self.start.ground, places)
            if away.max() <= reach_mm:
                raise UsageFault(
                    f"it runs out of the panel by {away.max():.1f} mm, too little for glass "
                    f"(limit {reach_mm:g} mm); move the border's lead if that lies wrong"
                )

    def _meant(self, label: str, came: str | None, at: Point | None) -> str:
        """Return the came that is meant in the panel as it was."""
        if came is not None and came not in self.before.leads:
            raise UsageFault(f"there is no came {came}")
        if came is None:
            assert at is not None
            came = self._reached(label, "lead", at, *self.before.nearest_lead(at))
        self.resolved[label] = came
        return came

    def _reached(self, label: str, what: str, at: Point, name: str, away_mm: float) -> str:
        """Return the name of what lies nearest to a place, unless that is too far to be meant."""
        self._refuse_beyond(self.options.reach_mm, at)
        if away_mm > self.options.reach_mm:
            raise UsageFault(
                f"no {what} within {self.options.reach_mm:g} mm of {place_text(at)}; the nearest, "
                f"{name}, is {away_mm:.1f} mm away"
            )
        beside = self.sides[name].pieces if name in self.sides else ()
        where = f", {_beside(beside)}" if beside else ""
        self.notes[label] = f"{away_mm:.1f} mm from {place_text(at)}{where}"
        return name

    def _claim(self, label: str, names: Sequence[str]) -> None:
        """Refuse a lead that another table of the file removes or moves already."""
        for name in names:
            if name in self.used:
                raise UsageFault(f"{name} is changed already by {self.used[name]}")
        self.used.update(dict.fromkeys(names, label))

    def _remove_lead(self, label: str, table: RemoveLead) -> str:
        name = self._meant(label, table.came, table.at)
        if self.sides[name].border and not table.border:
            raise UsageFault(
                f"{name} is border, and piece {self.sides[name].pieces[0]} would lie open; "
                "write border = true if you mean it"
            )
        self._claim(label, [name])
        self._take_out([name])
        return f"{name} removed"

    def _join_pieces(self, label: str, table: JoinPieces) -> str:
        numbers = tuple(dict.fromkeys(table.pieces))
        if len(numbers) < len(table.pieces):
            raise UsageFault(f"a piece is listed twice in {list(table.pieces)}")
        for number in numbers:
            self.piece(number)
        between = [
            c.id for c in self.panel.cames if len(c.pieces) == 2 and set(c.pieces) <= set(numbers)
        ]
        reached = {numbers[0]}
        for _ in numbers:
            for name in between:
                pair = set(self.sides[name].pieces)
                reached |= pair if pair & reached else set()
        apart = [n for n in numbers if n not in reached]
        if apart:
            raise UsageFault(f"piece {apart[0]} shares no lead with piece {numbers[0]}")
        self._claim(label, between)
        self._take_out(between)
        return f"{_listed(between)} removed between pieces {_listed(map(str, numbers))}"

    def _take_out(self, names: Sequence[str]) -> None:
        for name in names:
            self.loosened.update(dict.fromkeys(self.net.remove(name)))

    def _settle(self) -> None:
        """Settle the joints that removed leads left, once all of them are out."""
        for joint in self.loosened:
            self.net.settle(joint)
        self.loosened.clear()

    def _move_joint(self, label: str, table: MoveJoint) -> str:
        joint = table.joint
        if joint is not None and joint not in self.before.joints:
            raise UsageFault(f"there is no joint {joint}")
        if joint is None:
            assert table.at is not None
            nearest = self.before.nearest_joint(table.at)
            joint = self._reached(label, "joint", table.at, *nearest)
        self._refuse_beyond(self.options.outside_mm, table.to)
        self.resolved[label] = joint
        self._claim(label, [joint])
        if joint not in self.net.joints:
            raise UsageFault(f"{joint} is gone: other tables remove the leads that made it one")
        others = (j for j in self.net.joints if j != joint)
        other = min(others, key=lambda j: (math.dist(self.net.at(j), table.to), j))
        if math.dist(self.net.at(other), table.to) < self.options.least_mm:
            raise UsageFault(f"{place_text(table.to)} is the place of {other} already")
        start = self.net.at(joint)
        self.net.move_joint(joint, table.to)
        return f"{joint} moved by {math.dist(start, table.to):.1f} mm to {place_text(table.to)}"

    def _move_lead(self, label: str, table: MoveLead) -> str:
        """Move a lead across itself.

        Where others run through at its end, the end goes along them to where the lead then meets
        them; where it ends freely the end moves with it; anywhere else the joint moves with it.
        """
        meant = self._meant(label, table.came, table.at)
        lead = self.before.leads[meant]
        from_place = lead.line.interpolate(0.5, normalized=True)
        if table.at is not None:
            from_place = lead.line.interpolate(lead.line.project(ShapelyPoint(table.at)))
        by = table.by or (table.to[0] - from_place.x, table.to[1] - from_place.y)  # type: ignore[index]
        self.shifts[label] = by
        place = (from_place.x + by[0], from_place.y + by[1])
        self._refuse_beyond(self.options.outside_mm, place)
        self._claim(label, [meant])
        name = self.net.now(meant)
        if name not in self.net.leads:
            raise UsageFault(f"{meant} is gone: another table removed it")
        lead = self.net.leads[name]
        if lead.start == lead.end:
            self._move_ring(name, lead, by)
        else:
            self._move_between(name, lead, by)
        return f"{meant} moved by {math.hypot(*by):.1f} mm"

    def _move_ring(self, name: str, lead: Lead, by: Point) -> None:
        if len(self.net.ends_at(lead.start)) > 2:
            raise UsageFault(f"{name} is a ring that other leads meet; move its joint")
        joint = self.net.joints[lead.start]
        moved = replace(joint, x_mm=joint.x_mm + by[0], y_mm=joint.y_mm + by[1])
        self.net.joints[lead.start] = moved
        came = replace(_unseen(lead.came), curve=shifted(lead.came.curve, by))
        self.net.leads[name] = lead_of(lead.start, lead.end, came, Corrected.MOVED)

    def _move_between(self, name: str, lead: Lead, by: Point) -> None:
        curve = shifted(lead.came.curve, by)
        through = [self.net.runs_through(j, name) for j in (lead.start, lead.end)]
        self.net.remove(name)
        ends = []
        for joint, slides, run in zip(
            (lead.start, lead.end), through, (curve.reversed(), curve), strict=True
        ):
            x, y = run.end
            if slides:
                self.net.settle(joint)
                ends.append(self.net.landing((x, y), leaving_deg(run.reversed()) + 180.0))
            else:
                self.net.move_joint(joint, (x, y))
                ends.append(joint)
        self.net.lay(curve, (ends[0], ends[1]), _unseen(lead.came), Corrected.MOVED, name)

    def _add_lead(self, label: str, table: AddLead) -> str:
        names = self._lay(label, table, free=table.free_end)
        self.laid.append((label, None, tuple(names)))
        return f"{_listed(names)} added"

    def _split_piece(self, label: str, table: SplitPiece) -> str:
        piece = self.piece(table.piece)
        names = self._lay(label, table, free=False)
        around = piece.outline.buffer(0.5 * self.options.least_mm)
        lines = [self.net.leads[name].line for name in names]
        if len(names) > 1 or not all(around.covers(line) for line in lines):
            raise UsageFault(f"the lead runs out of piece {table.piece}")
        self.laid.append((label, table.piece, tuple(names)))
        return f"{_listed(names)} added across piece {table.piece}"

    def _lay(self, label: str, table: AddLead | SplitPiece, *, free: bool) -> list[str]:
        assert table.start is not None
        places = [table.start, *table.through, table.end]
        self._refuse_beyond(self.options.outside_mm, *places)
        for a, b in pairwise(places):
            if math.dist(a, b) < self.options.least_mm:
                raise UsageFault(f"it has no length from {place_text(a)} to {place_text(b)}")
        drawn = curve_through(places)
        begins, ends = self._landed(table.start), "a free end"
        start = self.net.landing(table.start, leaving_deg(drawn) + 180.0)
        if free:
            end = self._free_end(table.end)
            self.free_ends.append((label, table.end))
        else:
            ends = self._landed(table.end)
            heading_deg = leaving_deg(drawn.reversed()) + 180.0
            cure = "; if it ends freely, say so (free_end)" if isinstance(table, AddLead) else ""
            end = self.net.landing(table.end, heading_deg, cure)
        self.notes[label] = f"from {begins} to {ends}"
        places[0], places[-1] = self.net.at(start), self.net.at(end)
        given = table.width_mm is not None
        like = NetCame(
            0,
            0,
            drawn,
            self.net.next_strip,
            math.nan if table.width_mm is None else table.width_mm,
            self.options.width_uncertainty_mm if given else math.nan,
            seen_share=0.0,
            contrast=0.0,
        )
        self.net.next_strip += 1
        curve = curve_through(places)
        self._refuse_beside_border(LineString(curve.points()))
        return self.net.lay(curve, (start, end), like, Corrected.ADDED)

    def _landed(self, place: Point) -> str:
        """Return the joint or lead on which a new lead will land that ends at a place."""
        joint, away_mm = self.net.nearest_joint(place)
        return joint if away_mm <= self.options.joint_mm else self.net.nearest_lead(place)[0]

    def _free_end(self, place: Point) -> str:
        name, away_mm = self.net.nearest_lead(place)
        if away_mm < self.options.least_mm:
            raise UsageFault(f"free_end is true, but the lead ends on {name}")
        return self.net.new_joint(place)

    def _set_width(self, label: str, table: SetWidth) -> str:
        meant = table.came
        if meant is not None:
            self._meant(label, meant, None)
            if self.net.now(meant) not in self.net.leads:
                raise UsageFault(f"{meant} is removed by {self.used.get(meant, 'another table')}")
            name = self.net.now(meant)
        else:
            assert table.at is not None
            name = self._reached(label, "lead", table.at, *self.net.nearest_lead(table.at))
        self.resolved[label] = name
        if f"width of {name}" in self.used:
            raise UsageFault(f"{name} has its width from {self.used[f'width of {name}']} already")
        self.used[f"width of {name}"] = label
        lead = self.net.leads[name]
        sigma_mm = table.uncertainty_mm
        came = replace(
            lead.came,
            width_mm=table.width_mm,
            width_uncertainty_mm=self.options.width_uncertainty_mm
            if sigma_mm is None
            else sigma_mm,
        )
        mark = Corrected.WIDTH if lead.corrected is Corrected.NO else lead.corrected
        self.net.leads[name] = lead_of(lead.start, lead.end, came, mark)
        if math.isnan(lead.came.width_mm):
            return f"{name} is {table.width_mm:.2f} mm wide"
        return f"{name} is {table.width_mm:.2f} mm wide instead of {lead.came.width_mm:.2f} mm"

    def _see_from(self, label: str, table: SeenFrom) -> str:
        if self.seen_from == table.side:
            raise UsageFault(f"the panel is seen from {table.side} already")
        self._claim(label, ["the side"])
        self.seen_from = table.side
        return f"the panel is seen from {table.side}"


def told(changes: Iterable[Change], notes: Mapping[str, str]) -> tuple[str, ...]:
    """Return what changes did, a sentence each, with how their places were understood."""
    noted = ((change.did, notes.get(f"{change.table} {change.index}")) for change in changes)
    return tuple(f"{did} ({note})" if note else did for did, note in noted)


def _all_alike(parts: Sequence[Table]) -> str:
    """Return what was done where one table sets the width of many cames."""
    names = [part.came for part in parts if isinstance(part, SetWidth)]
    width_mm = next(part.width_mm for part in parts if isinstance(part, SetWidth))
    return f"{_listed(names)} are {width_mm:.2f} mm wide"


def _beside(pieces: Sequence[int]) -> str:
    if len(pieces) == 1:
        return f"beside piece {pieces[0]}"
    return f"between pieces {' and '.join(map(str, pieces))}"


def _unseen(came: NetCame) -> NetCame:
    """Return a came that lies where a person put it: the rubbing does not show it there."""
    return replace(came, seen_share=0.0, contrast=0.0, confidence=1.0, gaps=())


def _listed(names: Any) -> str:
    shown = list(names)
    if len(shown) > _MOST_TOLD + 1:
        return f"{', '.join(shown[:_MOST_TOLD])} and {len(shown) - _MOST_TOLD} more"
    return " and ".join(part for part in (", ".join(shown[:-1]), shown[-1]) if part)
