"""The fields of the record of a comparison, ``comparison.json``: names, types and limits.

The JSON Schema in ``docs/comparison.schema.json`` is made from these models. All places are in mm
in the frame of the panel before, x to the right, y up. A place of the panel after comes into it so:
if ``mirrored``, x becomes -x; then it is turned by ``angle_deg`` (anticlockwise) about the origin
and shifted.
"""

from __future__ import annotations

from typing import Annotated, Final, Literal

from pydantic import Field

from rubbing2pattern.comparing.found import Fate, PieceFate, SideKind
from rubbing2pattern.record.fields import (
    Area,
    Figure,
    Length,
    Number,
    PanelName,
    Part,
    Place,
    PlacementPart,
    Plain,
    Share,
    Size,
)

FORMAT: Final = "rubbing2pattern comparison"
VERSION: Final = 1


class ComparedPanel(Part):
    """One of the two states."""

    name: PanelName
    seen_from: Literal["inside", "outside", "unstated"]
    pieces: Annotated[int, Field(ge=0)]
    cames: Annotated[int, Field(ge=0)]
    relative_uncertainty: Share
    """of its scale, one standard deviation"""
    record_sha256: str
    """of its panel.json; empty when it was not read from a file"""


class OtherMotion(Part):
    """Another way to lay the panel after over the panel before that would do about as well."""

    mirrored: bool
    placement: PlacementPart


class RegistrationPart(Part):
    """How the panel after was laid over the panel before."""

    mirrored: bool
    placement: PlacementPart
    share: Share
    """of the lead of both that lies on lead of the other"""
    inner_share: Share | None
    """the same without the borders; none where a panel has no lead inside"""
    rms_mm: Size
    """weighted, of the leads that held"""
    uncertainty_mm: Size
    """one standard deviation that it brings into any place"""
    growth: Figure
    """by what share the panel after is larger; not taken out"""
    growth_uncertainty: Share | None
    """one standard deviation; null where it cannot be estimated"""
    alike: list[OtherMotion]


class LeadPart(Part):
    """A stretch of a came before, and the came that runs there after."""

    before: str
    after: str
    length_mm: Size
    moved: bool
    """above the uncertainty of both and the least move that counts"""
    shift_mm: Place
    """to the right and up; of a straight lead the part across it"""
    most_mm: Size
    """greatest distance across the lead"""
    most_at: Place
    """where that lay before"""
    move_uncertainty_mm: Size
    """one standard deviation"""
    width_changed: bool
    width_before_mm: Size
    width_after_mm: Size
    width_uncertainty_mm: Size | None
    """of both together, one standard deviation; none where it is not known"""
    stock_before: str
    stock_after: str


class LoneLeadPart(Part):
    """A came, or a stretch of one, that the other rubbing does not show."""

    fate: Fate
    came: str
    whole: bool
    length_mm: Size
    face_width_mm: Size
    path: Annotated[list[Place], Field(min_length=2)]


class JointPairPart(Part):
    """A joint before and after."""

    before: str
    after: str
    at: Place
    shift_mm: Place
    uncertainty_mm: Size
    moved: bool


class LoneJointPart(Part):
    """A joint that the other rubbing does not show."""

    fate: Fate
    joint: str
    at: Place


class PieceLinePart(Part):
    """A line of the table of both numberings; areas to the middle of the leads."""

    fate: PieceFate
    before: list[Number]
    after: list[Number]
    area_before_mm2: Area
    area_after_mm2: Area


class BowPart(Part):
    """How a side of the border leaves its chord, arc or circle."""

    length_mm: Size
    """of the chord; the diameter of a circle"""
    rise_mm: Length
    """of an arc over its chord, positive outwards; the radius of a circle; else 0"""
    most_mm: Length
    """greatest deviation, positive out of the panel"""
    along_mm: Length
    """where, from the side's start"""
    at: Place


class SidePart(Part):
    """A side of the border, anticlockwise from corner to corner."""

    name: str
    kind: SideKind
    before: BowPart
    after: BowPart
    change_mm: Length
    """greatest change of one place against both ends, positive outwards"""
    change_at: Place
    uncertainty_mm: Size
    changed: bool


class ComparisonRecord(Part):
    """Everything that differs between two rubbings of one panel."""

    format: Literal["rubbing2pattern comparison"]
    version: Literal[1]
    units: Literal["mm"]
    before: ComparedPanel
    after: ComparedPanel
    registration: RegistrationPart
    differs: bool
    leads: list[LeadPart]
    lone_leads: list[LoneLeadPart]
    joints: list[JointPairPart]
    lone_joints: list[LoneJointPart]
    pieces: list[PieceLinePart]
    sides: list[SidePart]
    notes: list[str]
    provenance: dict[str, Plain]
