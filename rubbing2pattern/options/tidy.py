"""Options of tidying the net."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.options.base import Checked, value


@dataclass(frozen=True)
class TidyOptions(Checked):
    """How boundaries that are lead are distinguished from others."""

    # fmt: off
    stray_mm: float = value(1.0, 0.0, 3.0, "how far a flooded boundary wavers about the lead line",
        "A boundary is judged by the highest value of the map this near to it.")
    evidence_step_mm: float = value(0.5, 0.25, 2.0, "a cell of the map",
        "Step along a boundary at which it is judged; less takes longer.")
    covered_mm: float = value(1.0, 0.0, 5.0, "beyond the leaf of the lead that is met",
        "So much beyond a leaf a boundary is not judged, nor dark reported as left out.")
    gap_mm: float = value(9.0, 3.0, 40.0, "the map bridges shorter drop-outs on its own",
        "In a careful rubbing a boundary is cut where it is not seen over this length.")
    end_gap_mm: float = value(4.0, 1.0, 40.0, "a stump always faces a lead, seldom another end",
        "The same between the end of a lead and another lead.")
    bare_ink: float = value(0.25, 0.05, 0.6, "of the local strength; grain keeps more",
        "A place on a lead line with less ink counts as bare.")
    bare_usual: float = value(0.02, 0.0, 0.2, "no careful rubbing leaves more of its leads bare",
        "Share of bare places on lead lines from which a gap must be longer.")
    bare_gap_mm: float = value(100.0, 0.0, 500.0, "drop-outs of a worn rubbing reach 15 mm",
        "A rubbing whose leads were all bare would need so much longer a gap.")
    gap_below: float = value(0.2, 0.02, 0.5, "of the map; a bridged drop-out shows more",
        "A boundary counts as not seen below this value of the map.")
    telling_mm: float = value(5.0, 0.0, 20.0, "solder of two joints is as long",
        "A shorter boundary counts less, for and against.")
    ends_odds: float = value(2.5, 0.5, 50.0, "twelve to one; beyond its end a faint tail may show",
        "A lead ends where its next stretch has lower log odds than minus this.")
    none_ink: float = value(0.45, 0.0, 1.0, "of the local strength; lead shows more",
        "Only a stretch with less ink is ruled out so.")
    none_mm: float = value(2.0, 0.5, 40.0, "a shorter stretch may be solder or a fold",
        "Only a longer stretch is ruled out so.")
    no_lead: float = value(-50.0, -100.0, -5.0, "log odds that nothing beside it outweighs",
        "Log odds of a boundary that is ruled out.")
    wide_mm: float = value(7.0, 3.0, 30.0, "under a narrower leaf a flood has no room to stray",
        "From this width on, leads that butt are drawn straight on under the leaf they meet.")
    through_deg: float = value(25.0, 5.0, 60.0, "a lead that is met runs on as straight as this",
        "Of three leads two that turn by less run through, and the third butts.")
    course_mm: float = value(9.0, 3.0, 40.0, "so much of a lead beside a leaf shows its direction",
        "Length of a lead beside a wide leaf by which it is drawn on.")
    shown_above: float = value(0.3, 0.05, 0.9, "of the map's line; under a wide leaf it is lower",
        "Below this value of the map a lead counts as hidden beside a wide leaf.")
    beside_line_mm: float = value(3.0, 0.5, 8.0, "the line of the lead that is met shows so far",
        "Nearer to the lead that is met a line counts as that lead's own.")
    reported_above: float = value(0.1, 0.01, 0.5, "a likelier one that is left out is reported",
        "A boundary left out that is more likely lead than this gives a finding.")
    reported_mm: float = value(8.0, 1.0, 50.0, "shorter boundaries are solder, writing or a fold",
        "A shorter boundary left out gives no finding.")
    off_mm: float = value(1.0, 0.2, 10.0, "as much as leaf and groze can hide",
        "A lead that may be off by more gives a finding.")
    off_apart_mm: float = value(12.0, 0.0, 50.0, "doubts this near are seen at one look",
        "Of leads that may be off and lie nearer to each other the worst gives a finding.")
    denied_ink: float = value(0.6, 0.2, 1.5, "of the local strength; texture of glass stays below",
        "Darkness from which a strip beside all leads may be a lead that was left out.")
    denied_mm: float = value(25.0, 8.0, 200.0, "letters and numbers are shorter",
        "A shorter dark strip gives no finding.")
    denied_slender: float = value(3.5, 1.0, 20.0, "times as long as wide; a smear is broader",
        "A dark strip that is less slender gives no finding.")
    denied_fill: float = value(
        0.5, 0.1, 1.0, "of its rectangle; a straight or bowed strip fills it",
        "A dark strip that fills less of its rectangle gives no finding.",
    )
    denied_few: int = value(3, 0, 100, "more such strips in one panel are texture of its glass",
        "With more dark strips they give one finding together.")
    narrowest_mm: float = value(2.2, 0.5, 5.0, "the narrowest came is sold at 3 mm, worn to 2.5",
        "A narrower dark strip gives no finding.")
    widest_mm: float = value(20.0, 5.0, 40.0, "the widest border lead",
        "A wider dark strip gives no finding.")
    apart_mm: float = value(12.0, 2.0, 100.0, "half the widest border and what overruns it",
        "Lead lines farther from the panel than this count as a part left out.")
    line_width_mm: float = value(1.8, 0.5, 5.0, "how wide a sure lead line shows on the map",
        "Width by which the area of lead lines outside the panel becomes a length.")
    smallest_part_mm: float = value(120.0, 10.0, 1e4, "lead of a separate part; less is writing",
        "A part left out with less lead gives no finding.")
    free_mm: float = value(8.0, 2.0, 60.0, "a shorter lead that ends freely is a frayed joint",
        "A shorter lead that ends freely inside a piece is left out.")
    free_odds: float = value(1.0, 0.0, 5.0, "three to one: few leads end inside a piece",
        "A lead that ends freely inside a piece is kept from these log odds on.")
    least_seen: float = value(0.3, 0.0, 0.9, "of what looks like a lead line; grain keeps less",
        "When a smaller share of what looks like lead line becomes leads, the run stops.")
    least_sure: float = value(0.5, 0.0, 0.9, "of all leads' length; worn rubbings have 0.93 and "
        "more, photographs of leaves a third", "When a smaller share of the leads is at least nine "
        "in ten probable, the run stops.")
