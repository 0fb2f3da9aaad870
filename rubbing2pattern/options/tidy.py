"""Options of tidying the net."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.options.base import Checked, choice, value


@dataclass(frozen=True)
class TidyOptions(Checked):
    """How boundaries that are lead are told from those that are none."""

    stray_mm: float = value(1.0, 0.0, 3.0, "how far a flooded boundary wavers about the lead line")
    evidence_step_mm: float = value(0.5, 0.25, 2.0, "a cell of the map")
    covered_mm: float = value(1.0, 0.0, 5.0, "beyond the leaf of the lead that is met")
    gap_mm: float = value(9.0, 3.0, 40.0, "the map bridges shorter drop-outs by itself")
    gap_below: float = value(0.2, 0.02, 0.5, "of the map; a bridged drop-out shows more")
    boundary_look: tuple[float, ...] = choice(
        (-1.1, 0.8, 4.4, 0.9, -0.2),
        "log odds of a boundary: constant, line, leaf, ink, log length; fitted on validation",
    )
    telling_mm: float = value(5.0, 0.0, 20.0, "solder of two joints is as long")
    none_below: float = value(-3.6, -4.0, 0.0, "mean log odds of the map: nothing at all is seen")
    none_ink: float = value(0.45, 0.0, 1.0, "of the local strength; lead shows more")
    none_leaf: float = value(0.4, 0.0, 1.0, "share of lead; under a wide leaf a line is not seen")
    none_mm: float = value(2.0, 0.5, 40.0, "a shorter stretch may be solder or a fold")
    no_lead: float = value(-50.0, -100.0, -5.0, "log odds that nothing beside it outweighs")
    wide_mm: float = value(7.0, 3.0, 30.0, "under a narrower leaf a flood has no room to stray")
    through_deg: float = value(25.0, 5.0, 60.0, "a lead that is met runs on as straight as this")
    course_mm: float = value(9.0, 3.0, 40.0, "so much of a lead beside a leaf tells its direction")
    shown_above: float = value(0.3, 0.05, 0.9, "of the map's line; under a wide leaf it is lower")
    beside_line_mm: float = value(3.0, 0.5, 8.0, "the line of the lead that is met shows so far")
    told_above: float = value(0.1, 0.01, 0.5, "a boundary left out that is likelier is reported")
    told_mm: float = value(8.0, 1.0, 50.0, "shorter boundaries are solder, writing or a fold")
    off_mm: float = value(1.0, 0.2, 10.0, "as much as leaf and groze can hide")
    off_apart_mm: float = value(12.0, 0.0, 50.0, "doubts this near are seen at one look")
    denied_ink: float = value(0.6, 0.2, 1.5, "of the local strength; texture of glass stays below")
    denied_mm: float = value(25.0, 8.0, 200.0, "letters and numbers are shorter")
    denied_slender: float = value(3.5, 1.0, 20.0, "times as long as wide; a smear is broader")
    denied_fill: float = value(
        0.5, 0.1, 1.0, "of its rectangle; a straight or bowed strip fills it"
    )
    denied_few: int = value(3, 0, 100, "more such strips in one panel are texture of its glass")
    narrowest_mm: float = value(2.2, 0.5, 5.0, "the narrowest came is sold at 3 mm, worn to 2.5")
    widest_mm: float = value(20.0, 5.0, 40.0, "the widest border lead")
    apart_mm: float = value(12.0, 2.0, 100.0, "half the widest border and what overruns it")
    line_width_mm: float = value(1.8, 0.5, 5.0, "how wide a sure lead line shows on the map")
    smallest_part_mm: float = value(120.0, 10.0, 1e4, "lead of a separate part; less is writing")
    free_mm: float = value(8.0, 2.0, 60.0, "a shorter lead that ends freely is a frayed joint")
    free_odds: float = value(1.0, 0.0, 5.0, "three to one: few leads end inside a piece")
    least_seen: float = value(0.3, 0.0, 0.9, "of what looks like a lead line; grain keeps less")
