"""What comparing two rubbings of one panel finds; all places in the frame of the panel before."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from rubbing2pattern.comparing.registering import Registration
from rubbing2pattern.comparing.rigid import Motion
from rubbing2pattern.geometry.curves import Point
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.model import Panel


@dataclass(frozen=True, slots=True)
class LeadPair:
    """A stretch of a came before, and the came that runs there after.

    Attributes
    ----------
    before, after : ids of the cames.
    length_mm : of the stretch.
    path : the stretch before, (N, 2).
    shift_mm : (x, y) by which it moved; of a straight lead only what shows, the part across it.
    most_mm, most_at : greatest distance across the lead, and where it lay before.
    most_to : where that place lies after.
    uncertainty_mm : one standard deviation of the move, of both rubbings and the laying over.
    moved : above the uncertainty and the least move.
    width_before_mm, width_after_mm, width_uncertainty_mm : face widths; of both together.
    stock_before, stock_after : names of the nearest stock widths.
    width_changed : above the uncertainty and the least change.
    """

    before: str
    after: str
    length_mm: float
    path: Array
    shift_mm: Point
    most_mm: float
    most_at: Point
    most_to: Point
    uncertainty_mm: float
    moved: bool
    width_before_mm: float
    width_after_mm: float
    width_uncertainty_mm: float
    stock_before: str
    stock_after: str
    width_changed: bool

    @property
    def width_change_mm(self) -> float:
        """By how much it is wider after."""
        return self.width_after_mm - self.width_before_mm


class Fate(StrEnum):
    """What became of a lead or joint that has no like."""

    LOST = "lost"
    ADDED = "added"


@dataclass(frozen=True, slots=True)
class LoneLead:
    """A came, or a stretch of one, that the other rubbing does not show.

    Attributes
    ----------
    fate : lost since before, or added.
    came : its id in its own rubbing.
    whole : True when it is the whole came.
    length_mm : of the stretch.
    path : where it lies, (N, 2).
    face_width_mm : of the came.
    """

    fate: Fate
    came: str
    whole: bool
    length_mm: float
    path: Array
    face_width_mm: float


@dataclass(frozen=True, slots=True)
class JointPair:
    """A joint before and after; `moved` when it lies off by more than the uncertainty of both."""

    before: str
    after: str
    at: Point
    shift_mm: Point
    uncertainty_mm: float
    moved: bool


@dataclass(frozen=True, slots=True)
class LoneJoint:
    """A joint that the other rubbing does not show."""

    fate: Fate
    joint: str
    at: Point


class PieceFate(StrEnum):
    """What became of pieces."""

    SAME = "same"
    MERGED = "merged"
    SPLIT = "split"
    REGROUPED = "regrouped"
    GONE = "gone"
    NEW = "new"


@dataclass(frozen=True, slots=True)
class PieceLine:
    """A line of the table of both numberings; areas to the middle of the leads."""

    fate: PieceFate
    before: tuple[int, ...]
    after: tuple[int, ...]
    area_before_mm2: float
    area_after_mm2: float


class SideKind(StrEnum):
    """As what a side of the border was made."""

    STRAIGHT = "straight"
    ARC = "arc"
    CIRCLE = "circle"


@dataclass(frozen=True, slots=True)
class Bow:
    """How a side of the border leaves its straight chord or its arc, in one state.

    Attributes
    ----------
    length_mm : of the chord; of a circle its diameter.
    rise_mm : of the arc over its chord, positive outwards; the radius of a circle; else 0.
    most_mm : greatest deviation, positive out of the panel.
    along_mm : where, from the side's start along the chord or the border.
    at : the place.
    """

    length_mm: float
    rise_mm: float
    most_mm: float
    along_mm: float
    at: Point


@dataclass(frozen=True, slots=True)
class BorderSide:
    """A side of the border, anticlockwise from corner to corner.

    Attributes
    ----------
    name : "left", "top 2" ...
    kind : decided by the state before.
    before, after : how it leaves the line in both states.
    change_mm, change_at : the greatest change at one place of the side, positive outwards.
    uncertainty_mm : one standard deviation of a change.
    changed : above the uncertainty and the least move.
    """

    name: str
    kind: SideKind
    before: Bow
    after: Bow
    change_mm: float
    change_at: Point
    uncertainty_mm: float
    changed: bool


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two rubbings of one panel, laid over each other, and all that differs.

    Attributes
    ----------
    before, after : the panels, each in its own frame.
    registration : how `after` was laid over `before`.
    pairs, lone_leads : every came of both.
    joint_pairs, lone_joints : every joint of both.
    pieces : the table of both numberings.
    sides : of the border.
    notes : what must be known when it is read, one sentence each.
    before_sha256, after_sha256 : of the records, when they were read from files.
    """

    before: Panel
    after: Panel
    registration: Registration
    pairs: tuple[LeadPair, ...]
    lone_leads: tuple[LoneLead, ...]
    joint_pairs: tuple[JointPair, ...]
    lone_joints: tuple[LoneJoint, ...]
    pieces: tuple[PieceLine, ...]
    sides: tuple[BorderSide, ...]
    notes: tuple[str, ...]
    before_sha256: str = ""
    after_sha256: str = ""

    @property
    def motion(self) -> Motion:
        """From the frame of the panel after to that of the panel before."""
        return self.registration.motion

    @property
    def moved(self) -> tuple[LeadPair, ...]:
        """Leads that moved, in the order of their ids before."""
        return tuple(pair for pair in self.pairs if pair.moved)

    @property
    def widened(self) -> tuple[LeadPair, ...]:
        """Leads whose face width changed."""
        return tuple(pair for pair in self.pairs if pair.width_changed)

    @property
    def redrawn(self) -> tuple[PieceLine, ...]:
        """Lines of pieces that did not stay one piece."""
        return tuple(line for line in self.pieces if line.fate is not PieceFate.SAME)

    @property
    def differs(self) -> bool:
        """Whether anything changed."""
        return bool(
            self.moved
            or self.widened
            or self.lone_leads
            or self.lone_joints
            or self.redrawn
            or any(pair.moved for pair in self.joint_pairs)
            or any(side.changed for side in self.sides)
        )
