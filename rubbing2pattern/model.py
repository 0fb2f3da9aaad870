"""The trade types of a finished panel: joint, came, piece, panel. All lengths in mm, y upwards.

Frame: origin at the lower left corner of the bounding box of the panel's outer centre outline, seen
from the side on which the paper lay.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from shapely.geometry import MultiPolygon, Point as ShapelyPoint, Polygon

from rubbing2pattern.findings import Finding
from rubbing2pattern.geometry.curves import Curve, Point
from rubbing2pattern.geometry.frame import Array, Frame, Placement
from rubbing2pattern.reading import Scale


class JointKind(StrEnum):
    """How cames meet."""

    TEE = "tee"
    """one through-lead, one came butts against it"""
    CROSSING = "crossing"
    """four cames or more, at least one runs through"""
    MEETING = "meeting"
    """three cames or more, none runs through"""
    CORNER = "corner"
    """two cames, a bend"""
    END = "end"
    """a came ends freely inside a piece"""
    RING = "ring"
    """the two ends of one closed came"""


class Profile(StrEnum):
    """Shape of the leaf, estimated from the rubbing."""

    FLAT = "flat"
    ROUND = "round"
    UNKNOWN = "unknown"


class Corrected(StrEnum):
    """What a person settled about a came."""

    NO = ""
    """nothing; it is as the rubbing gave it"""
    ADDED = "added"
    MOVED = "moved"
    WIDTH = "width"
    """its face width was given"""


@dataclass(frozen=True, slots=True)
class Joint:
    """Where cames meet; id "J1", "J2" ... in reading order."""

    id: str
    x_mm: float
    y_mm: float
    kind: JointKind
    uncertainty_mm: float
    cames: tuple[str, ...]

    @property
    def at(self) -> Point:
        """Its place, x and y in mm."""
        return self.x_mm, self.y_mm


@dataclass(frozen=True, slots=True)
class Came:
    """A came between two joints; id "C1", "C2" ... in reading order.

    Attributes
    ----------
    start, end : ids of joints.
    curve : the lead line; `path` is the same as a polyline, (N, 2), read-only.
    strip : number of the continuous run of lead it belongs to.
    face_width_mm, face_width_uncertainty_mm : measured face width and one standard deviation.
    shown_width_mm : width of the dark band in the rubbing.
    stock : name of the nearest stock width ("6 mm", "1/4 in"); stock_mm its size.
    border : True for the outermost cames of the panel.
    profile : shape of the leaf.
    seen_share, contrast, confidence : evidence, 0 .. 1.
    gaps : (from_mm, to_mm) along the came, bridged because the rubbing does not show it.
    pieces : numbers of the pieces left and right of the came (one for a border).
    corrected : what a person settled about it.
    """

    id: str
    start: str
    end: str
    curve: Curve
    path: Array
    strip: int
    face_width_mm: float
    face_width_uncertainty_mm: float
    shown_width_mm: float
    stock: str
    stock_mm: float
    border: bool
    profile: Profile
    seen_share: float
    contrast: float
    confidence: float
    gaps: tuple[tuple[float, float], ...]
    pieces: tuple[int, ...]
    corrected: Corrected = Corrected.NO

    @property
    def length_mm(self) -> float:
        """Length of the lead line between its joints."""
        return self.curve.length_mm


@dataclass(frozen=True, slots=True)
class Rectangle:
    """Smallest rectangle around a piece, any direction; width is the longer side."""

    width_mm: float
    height_mm: float
    angle_deg: float


@dataclass(frozen=True, slots=True)
class Piece:
    """One piece of glass.

    Attributes
    ----------
    number : from 1, reading order by rows from the top.
    outline : centre outline, with holes.
    cut_outline : as the glass is cut (inside the hearts, less clearance).
    sight_outline : as seen between the leaves.
    label_at : the pole of inaccessibility of the cut outline, where the number is written;
        label_radius_mm the free circle there.
    rectangle : smallest rectangle around the cut outline.
    cames : ids of the cames around it, in order along the outline, then of holes, then straps.
    area_uncertainty_mm2 : one standard deviation of the centre area.
    """

    number: int
    outline: Polygon
    cut_outline: Polygon | MultiPolygon
    sight_outline: Polygon | MultiPolygon
    label_at: Point
    label_radius_mm: float
    rectangle: Rectangle
    cames: tuple[str, ...]
    area_uncertainty_mm2: float

    @property
    def centre_area_mm2(self) -> float:
        """Area to the middle of the leads."""
        return float(self.outline.area)

    @property
    def cut_area_mm2(self) -> float:
        """Area of the glass as cut."""
        return float(self.cut_outline.area)

    @property
    def sight_area_mm2(self) -> float:
        """Area seen between the leaves."""
        return float(self.sight_outline.area)


@dataclass(frozen=True, slots=True)
class Change:
    """One correction that was made.

    Attributes
    ----------
    table, index : its place in the file: ``"add_lead"``, 2 for the second of its kind.
    given : its fields as plain values, lengths in mm.
    did : what it did, one clause for the bench.
    """

    table: str
    index: int
    given: Mapping[str, Any]
    did: str


@dataclass(frozen=True, slots=True)
class AppliedCorrections:
    """What one file of corrections did to a panel.

    Attributes
    ----------
    by, date, remark : who, when (as in 2026-11-25) and what for, as the file says.
    file : name of the copy beside the record.
    sha256 : of the file's bytes, hexadecimal.
    changes : in the order in which they were made.
    pieces_new, pieces_gone : numbers of pieces.
    cames_new, cames_gone, joints_new, findings_new, findings_gone : ids. What is gone is not given
        to another; of findings those that are settled or dismissed.
    """

    by: str
    date: str
    remark: str
    file: str
    sha256: str
    changes: tuple[Change, ...]
    pieces_new: tuple[int, ...] = ()
    pieces_gone: tuple[int, ...] = ()
    cames_new: tuple[str, ...] = ()
    cames_gone: tuple[str, ...] = ()
    joints_new: tuple[str, ...] = ()
    findings_new: tuple[str, ...] = ()
    findings_gone: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Dismissal:
    """A finding that a person has looked at and settled without changing the panel."""

    finding: Finding
    by: str
    date: str
    why: str


SIDES = ("inside", "outside", "unstated")
"""From which side of the window a panel may be seen."""


@dataclass(frozen=True, slots=True)
class Panel:
    """A finished panel with everything that documents need.

    Attributes
    ----------
    name : the panel's identifier as given.
    seen_from : "inside", "outside" or "unstated": the side on which the paper lay.
    width_mm, height_mm : bounding box of the outer centre outline.
    outer_width_mm, outer_height_mm : the same to the outer edges of the border leads.
    outline : union of all centre outlines.
    heart_mm, clearance_mm : given, never measured.
    placement : rigid motion from the rubbing sheet's mm to the panel's frame.
    level_angle_deg : angle taken out when levelling.
    findings, dismissed : what is doubtful, and what was until a person settled it.
    corrections : what persons changed, file by file.
    rubbing : grid of the rubbing kept beside the record, in the panel's frame.
    """

    name: str
    seen_from: str
    joints: tuple[Joint, ...]
    cames: tuple[Came, ...]
    pieces: tuple[Piece, ...]
    outline: Polygon | MultiPolygon
    width_mm: float
    height_mm: float
    outer_width_mm: float
    outer_height_mm: float
    heart_mm: float
    clearance_mm: float
    scale: Scale
    placement: Placement
    level_angle_deg: float
    findings: tuple[Finding, ...] = ()
    dismissed: tuple[Dismissal, ...] = ()
    corrections: tuple[AppliedCorrections, ...] = ()
    rubbing: Frame | None = None

    @property
    def side(self) -> str:
        """The side it is seen from in words, ``"seen from inside"``; empty when it is unstated."""
        return "" if self.seen_from == "unstated" else f"seen from {self.seen_from}"

    def piece_at(self, place: Point) -> Piece | None:
        """Return the piece within whose outline a place (x, y) in mm lies, or None."""
        at = ShapelyPoint(place)
        return next((piece for piece in self.pieces if piece.outline.covers(at)), None)
