"""Options of the lead to cut: how ends are cut, what a stick gives, what is taken for weights."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.options.base import Checked, choice, value
from rubbing2pattern.units import MM_PER_INCH

_LEAST_MM = 100.0
"""A stick must give longer strips than this."""


class ButtTo(StrEnum):
    """How far a lead goes that butts against another."""

    LEAF = "leaf"
    """to the edge of the other's leaf, flush with it"""
    HEART = "heart"
    """under the other's leaf, up to its heart"""


@dataclass(frozen=True, slots=True)
class LeadingOptions(Checked):
    """How the lead is cut into strips, ordered in sticks, and weighed."""

    # fmt: off
    butt_to: ButtTo = choice(ButtTo.LEAF, "leaf or heart; flush leaves are soldered; practice",  # noqa: RUF009
        "How far a butting strip is cut, up to the other lead's leaf or its heart.")
    straight_deg: float = value(15.0, 2.0, 45.0, "a straight run bends less at a joint, as a tee's",
        "A strip runs on rather through leads that bend by less at a joint.")
    bend_deg: float = value(35.0, 5.0, 80.0, "a came is not bent sharper, but cut and mitred",
        "Where leads bend by more the strip ends, and is cut and mitred.")
    sharpest_deg: float = value(10.0, 2.0, 30.0, "cuts are not slanted more; the end is blunt",
        "No end of a strip is cut at a sharper slant.")
    longest_mitre: float = value(
        2.5, 1.0, 10.0, "of half the wider lead, as the pattern draws it; beyond it is trimmed",
        "How far a mitred end may reach past its joint, in half widths of the widest lead.",
    )
    stick_mm: float = value(
        72.0 * MM_PER_INCH, 200.0, 10000.0, "6 ft, 1.83 m; from memory, ask your supplier",
        "Length of a stick of lead as it is sold, by which sticks are counted.",
    )
    stretch_share: float = value(
        0.0, 0.0, 0.1, "a stick gains a few per cent; not counted on, so that none is short",
        "Share by which stretching makes a stick longer.",
    )
    trim_mm: float = value(40.0, 0.0, 500.0, "both ends of a stick, crushed by vice and pliers",
        "Length of each stick that is cut off at its ends.")
    allowance_mm: float = value(3.0, 0.0, 50.0, "each strip, for the knife and the fitting",
        "Length that each strip is cut longer than on the pattern.")
    spare_share: float = value(0.1, 0.0, 1.0, "of the strips, for miscut ones; common practice",
        "Share of the lead that is bought in addition.")
    border_apart: bool = choice(
        False, "yes where the border is of another section, as a U; its sticks are counted apart",
        "Whether sticks for the border are counted apart from those of the same width.",
    )
    glass_mm: float = value(3.0, 1.0, 20.0, "thickness of the glass; from memory, measure it",
        "Thickness of the glass, from which its weight is estimated.")
    leaf_mm: float = value(1.0, 0.3, 4.0, "thickness of a flat leaf; from memory",
        "Thickness of a flat leaf, from which the weight of lead is estimated.")
    round_leaf_mm: float = value(1.5, 0.3, 6.0, "a round leaf in its middle; from memory",
        "Thickness of a round leaf in its middle, from which the weight of lead is estimated.")
    channel_mm: float = value(5.0, 1.5, 25.0, "between the leaves; glass and cement; from memory",
        "Room between the leaves, from which the weight of lead is estimated.")
    most_patterns: int = value(
        3000, 1, 100000, "ways to cut a stick that are all weighed; beyond, the useful are sought",
        "Up to how many ways to cut a stick all are weighed; more may save lead and take longer.",
    )
    most_fillings: int = value(60, 0, 10000, "orders in which sticks are filled; a second at most",
        "How many orders of filling sticks are tried; more may save lead and take longer.")
    most_rounds: int = value(60, 1, 5000, "searches for useful ways; keeps the wait to seconds",
        "How often better ways to cut a stick are searched; more may save lead and take longer.")
    most_nodes: int = value(50, 1, 1000000, "branches that the solver follows; counted, not timed",
        "How many branches the solver follows; more may save lead and take longer.")
    # fmt: on

    def __post_init__(self) -> None:
        """Raise `UsageFault` for a value out of range or sizes that contradict each other."""
        Checked.__post_init__(self)
        if self.butt_to not in set(ButtTo):
            raise UsageFault(f"butt_to is {self.butt_to!r}, but must be leaf or heart")
        object.__setattr__(self, "butt_to", ButtTo(self.butt_to))
        if self.usable_mm - self.allowance_mm < _LEAST_MM:
            raise UsageFault(
                f"trim_mm {self.trim_mm:g} and allowance_mm {self.allowance_mm:g} leave less "
                f"than {_LEAST_MM:g} mm of a stick of {self.stick_mm:g} mm: "
                "give a longer stick_mm or less of them"
            )
        if self.glass_mm > self.channel_mm:
            raise UsageFault(
                f"glass_mm is {self.glass_mm:g}, but must fit between the leaves, "
                f"channel_mm {self.channel_mm:g}"
            )

    @property
    def usable_mm(self) -> float:
        """Length of a stick that strips can be cut from."""
        return self.stick_mm * (1.0 + self.stretch_share) - self.trim_mm
