"""What a glazier cuts and orders: strips, their ends, the sticks, the whole plan."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from rubbing2pattern.model import Profile


class EndCut(StrEnum):
    """How the end of a strip is treated."""

    BUTT = "butt"
    """cut along the lead that runs through, and soldered to it"""
    MITRE = "mitre"
    """two leads meet in a corner, each cut to half the angle"""
    POINT = "point"
    """cut to a point: between two leads that meet, or among three that end together"""
    JOIN = "join"
    """square, against the end of a lead of another width that goes on"""
    FREE = "free"
    """square, ends inside a piece"""
    CLOSED = "closed"
    """square, against the other end of the same strip"""


@dataclass(frozen=True, slots=True)
class StripEnd:
    """One end of a strip.

    Attributes
    ----------
    joint : id of the joint.
    cut : how it is treated.
    angle_deg : of the cut to the length of the strip; 90 is square.
    change_mm : from the joint to the longest point of the cut: under 0 where the strip stops short
        of the joint, over 0 where it goes beyond.
    meets : numbers of the strips it is soldered to.
    """

    joint: str
    cut: EndCut
    angle_deg: float
    change_mm: float
    meets: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Strip:
    """Lead that is cut in one length.

    Attributes
    ----------
    number : from 1, in the order of their first cames.
    cames, joints : ids along the strip; one joint more than cames, the first again in a ring.
    face_width_mm : measured, mean by length.
    stock, stock_mm : the width to order.
    profile : that of most of its length.
    border : True when it lies at the border.
    lead_line_mm : sum of its cames from joint to joint.
    cut_length_mm : over the longest points of its cuts, without any allowance; 0 when the leads it
        joins cover it whole.
    ends : first and last.
    ring : True when it closes on itself.
    parts_mm : what it is cut in; several when it is longer than a stick gives.
    soldered_at : where the parts meet: ids of joints, "" where no joint is near enough.
    sticks : number of the stick of each part, from 1 in its order; none when nothing is cut.
    """

    number: int
    cames: tuple[str, ...]
    joints: tuple[str, ...]
    face_width_mm: float
    stock: str
    stock_mm: float
    profile: Profile
    border: bool
    lead_line_mm: float
    cut_length_mm: float
    ends: tuple[StripEnd, StripEnd]
    ring: bool
    parts_mm: tuple[float, ...] = ()
    soldered_at: tuple[str, ...] = ()
    sticks: tuple[int, ...] = ()

    @property
    def covered(self) -> bool:
        """True when nothing needs to be cut."""
        return self.cut_length_mm <= 0.0


@dataclass(frozen=True, slots=True)
class LeadOrder:
    """The lead of one width and profile.

    Attributes
    ----------
    stock, stock_mm, profile : what is ordered.
    border : whether it is for the border or for the inside; None where these are not kept apart.
    strips : numbers of the strips that are cut from it.
    total_length_mm : sum of their cut lengths.
    sticks : fewest sticks that were found to hold them.
    least_sticks : no way of cutting needs fewer.
    to_buy : sticks with the spare ones.
    offcuts_mm : what is left of each stick, by number; the crushed ends are not in it.
    method : how the sticks were found.
    lead_kg : of the strips.
    bought_kg : of the sticks to buy.
    """

    stock: str
    stock_mm: float
    profile: Profile
    border: bool | None
    strips: tuple[int, ...]
    total_length_mm: float
    sticks: int
    least_sticks: int
    to_buy: int
    offcuts_mm: tuple[float, ...]
    method: str
    lead_kg: float
    bought_kg: float

    @property
    def proven(self) -> bool:
        """True when no way of cutting needs fewer sticks."""
        return self.sticks == self.least_sticks


@dataclass(frozen=True, slots=True)
class LeadPlan:
    """All lead of a panel.

    Attributes
    ----------
    strips : by number.
    orders : narrowest first.
    stick_mm : length of a stick as bought.
    lead_kg, glass_kg : estimates of the weight in the panel, without solder and cement.
    """

    strips: tuple[Strip, ...]
    orders: tuple[LeadOrder, ...]
    stick_mm: float
    lead_kg: float
    glass_kg: float
