"""Options of measuring widths."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.options.base import Checked, choice, value

PROFILES = ("measured", "flat", "round")


@dataclass(frozen=True)
class MeasureOptions(Checked):
    """How the face width of a came is read from profiles across it."""

    # fmt: off
    step_mm: float = value(0.5, 0.2, 2.0, "several profiles per grain of the paper",
        "Step along a lead at which its width is read; less takes longer.")
    profile_step_mm: float = value(0.1, 0.05, 0.5, "a tenth of the accuracy asked of a width",
        "Step across a lead at which its width is read; less takes longer.")
    beyond_mm: float = value(4.0, 1.5, 10.0, "glass on either side that shows what bare is",
        "How much of the glass on either side is read to know what bare paper is.")
    map_share: float = value(0.95, 0.3, 1.0, "of the width on the map; a lead is seldom narrower",
        "A width is looked for from this share of the width on the map upwards.")
    blob: float = value(0.8, 0.4, 2.0, "of the widest lead: how far solder reaches from a joint",
        "How far from a joint no width is read, as a share of the widest lead there.")
    window_mm: float = value(8.0, 2.0, 40.0, "stretch that gives one reading of the width",
        "Length of lead that gives one reading of its width.")
    least_mm: float = value(3.0, 1.0, 20.0, "clean lead without which no width is read",
        "With less clean lead the width is read between the solder, as less certain.")
    short_mm: float = value(0.35, 0.1, 2.0, "uncertainty of a width read between solder blobs",
        "Uncertainty that the lists state for a width read between the solder.")
    floor_mm: float = value(0.12, 0.01, 1.0, "what a pencil line on a caliper reading is worth",
        "Uncertainty that every measured width has at least.")
    seen_above: float = value(0.3, 0.05, 0.9, "of the local strength; below it a run is not seen",
        "Places of a lead below this share of the local strength count as not seen.")
    faint_below: float = value(0.35, 0.05, 0.9, "of the panel's strength; the eye calls it faint",
        "A lead below this share of the panel's strength gives the finding of a faint rubbing.")
    faint_mm: float = value(80.0, 20.0, 400.0, "one finding for a region of about this radius",
        "Faint leads nearer to each other than this share one finding.")
    gap_mm: float = value(6.0, 1.0, 60.0, "an unseen stretch longer than this was bridged",
        "Longer stretches of a lead that are not seen are kept as gaps, which give findings.")
    member: float = value(0.8, 0.5, 1.0, "probability from which a came takes its size's mean in",
        "From this probability on, a width is drawn towards the mean of its size.")
    alone_mm: float = value(0.8, 0.1, 5.0, "uncertainty of a width taken from the other leads only",
        "Uncertainty of a width that is taken from other leads.")
    profile: str = choice("measured", "flat or round when the leaves are known to be so",
        "Shape of all leaves where it is known; else each is estimated from the rubbing.")
    least_halves: int = value(12, 4, 1000, "six windows of both sides; fewer show blotches",
        "With fewer readings the shape of a leaf stays unknown.")
    flat_fall: float = value(0.025, 0.0, 0.3, "no flat leaf is paler at its flanks by more",
        "A leaf whose flanks are paler by a smaller share counts as flat.")
    soft_mm: float = value(0.6, 0.2, 2.0, "how far an edge's softness reaches into the band",
        "This much inside an edge is left out when the shape of a leaf is estimated.")
    edge_loss: float = value(0.35, 0.05, 0.9, "of the crown's darkness; no edge stands out below",
        "A round leaf that loses a greater share of its darkness has no distinct edge.")
    foot: float = value(0.2, 0.02, 0.5, "of the crown's darkness, just above grain and smears",
        "Share of the crown's darkness at which a round leaf is taken to end.")
    most_hidden_mm: float = value(0.9, 0.0, 3.0, "what a round leaf may hide; practice",
        "Most that is added to the width of a round lead for what does not show.")
    hang_mm: float = value(0.15, 0.0, 1.0, "paper hangs over a leaf's edge and darkens beside it",
        "Uncertainty of every width by paper that hangs over the edge.")
    hidden_doubt: float = value(0.5, 0.0, 2.0, "of the width added for a round leaf; extrapolated",
        "Share of the width added for a round leaf that is stated as uncertain.")
    rim_ink: float = value(0.5, 0.2, 1.0, "of the local strength; grain and smears stay below",
        "Darkness from which lead at the edge of sheet or picture counts as cut off.")
    rim_sheet_mm: float = value(2.5, 0.5, 10.0, "the shadow at the edge of the sheet ends before",
        "How far inside the edge of the sheet leads are looked for that are cut off.")
    rim_picture_mm: float = value(0.6, 0.1, 5.0, "the last pixels of a picture are often edged",
        "How far inside the edge of the picture leads are looked for that are cut off.")
    rim_reach_mm: float = value(3.0, 0.5, 15.0, "from there to the first cell that was read",
        "Dark at that edge belongs to the panel when lead of the panel lies this near.")
    rim_least_mm: float = value(1.5, 0.5, 10.0, "half of the narrowest lead",
        "Shorter dark stretches of that edge do not count as leads that are cut off.")
    rim_long_mm: float = value(
        30.0, 10.0, 200.0, "a wide lead cut at a slant meets less of an edge",
        "A dark stretch on its own must be this long to give a finding.",
    )
    rim_held_mm: float = value(60.0, 5.0, 500.0, "lead lines in dark that is the panel's",
        "Dark that holds less lead line does not count as lead of the panel.")
    # fmt: on

    def __post_init__(self) -> None:
        """Refuse values out of range and an unknown shape of leaf."""
        Checked.__post_init__(self)
        if self.profile not in PROFILES:
            raise UsageFault(f"profile is one of {', '.join(PROFILES)}, not {self.profile!r}")
