"""Options of measuring widths."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.options.base import Checked, choice, value

PROFILES = ("measured", "flat", "round")


@dataclass(frozen=True)
class MeasureOptions(Checked):
    """How the face width of a came is read from profiles across it."""

    step_mm: float = value(0.5, 0.2, 2.0, "several profiles per grain of the paper")
    profile_step_mm: float = value(0.1, 0.05, 0.5, "a tenth of what is asked of a width")
    beyond_mm: float = value(4.0, 1.5, 10.0, "glass on either side that shows what bare is")
    map_share: float = value(0.95, 0.3, 1.0, "of the width on the map; a lead is seldom narrower")
    blob: float = value(0.8, 0.4, 2.0, "of the widest lead: how far solder reaches from a joint")
    window_mm: float = value(8.0, 2.0, 40.0, "stretch that gives one reading of the width")
    least_mm: float = value(3.0, 1.0, 20.0, "clean lead without which no width is read")
    short_mm: float = value(0.35, 0.1, 2.0, "uncertainty of a width read between solder blobs")
    floor_mm: float = value(0.12, 0.01, 1.0, "what a pencil line on a caliper reading is worth")
    seen_above: float = value(0.3, 0.05, 0.9, "of the local strength; below it a run is not seen")
    faint_below: float = value(0.35, 0.05, 0.9, "of the panel's strength; the eye calls it faint")
    faint_mm: float = value(80.0, 20.0, 400.0, "one finding for a region of about this radius")
    gap_mm: float = value(6.0, 1.0, 60.0, "an unseen stretch longer than this was bridged")
    member: float = value(0.8, 0.5, 1.0, "probability from which a came takes its size's mean in")
    alone_mm: float = value(0.8, 0.1, 5.0, "uncertainty of a width taken from the other leads only")
    profile: str = choice("measured", "flat or round when the leaves are known to be so")
    least_halves: int = value(12, 4, 1000, "six windows of both sides; fewer show blotches")
    flat_fall: float = value(0.025, 0.0, 0.3, "no flat leaf is paler at its flanks by more")
    soft_mm: float = value(0.6, 0.2, 2.0, "how far an edge's softness reaches into the band")
    edge_loss: float = value(0.35, 0.05, 0.9, "of the crown's darkness; no edge stands out below")
    foot: float = value(0.2, 0.02, 0.5, "of the crown's darkness, just above grain and smears")
    most_hidden_mm: float = value(0.9, 0.0, 3.0, "what a round leaf may hide; practice")
    hang_mm: float = value(0.15, 0.0, 1.0, "paper hangs over a leaf's edge and darkens beside it")
    hidden_doubt: float = value(0.5, 0.0, 2.0, "of what is added for a round leaf; extrapolated")
    rim_ink: float = value(0.5, 0.2, 1.0, "of the local strength; grain and smears stay below")
    rim_sheet_mm: float = value(2.5, 0.5, 10.0, "the shadow at the edge of the sheet ends before")
    rim_picture_mm: float = value(0.6, 0.1, 5.0, "the last pixels of a picture are often edged")
    rim_reach_mm: float = value(3.0, 0.5, 15.0, "from there to the first cell that was read")
    rim_least_mm: float = value(1.5, 0.5, 10.0, "half of the narrowest lead")
    rim_long_mm: float = value(
        30.0, 10.0, 200.0, "a wide lead cut at a slant meets less of an edge"
    )
    rim_held_mm: float = value(60.0, 5.0, 500.0, "lead lines in dark that is the panel's")

    def __post_init__(self) -> None:
        """Refuse values out of range and a shape of leaf that is none."""
        Checked.__post_init__(self)
        if self.profile not in PROFILES:
            raise UsageFault(f"profile is one of {', '.join(PROFILES)}, not {self.profile!r}")
