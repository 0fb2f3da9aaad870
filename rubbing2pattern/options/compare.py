"""Options of comparing two rubbings of one panel."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.options.base import Checked, value


@dataclass(frozen=True)
class CompareOptions(Checked):
    """How two rubbings of one panel are laid over each other, and what counts as a change."""

    # fmt: off
    step_mm: float = value(2.0, 0.5, 10.0, "a place on each lead so often; half a narrow lead",
        "Step along leads at which two rubbings are compared; less takes longer.")
    near_mm: float = value(6.0, 1.0, 30.0, "a lead within the width of a lead is the same lead",
        "A lead that lies this near to one of the other rubbing counts as the same.")
    seeds: int = value(300, 10, 5000, "pairs of pieces alike from which laying over is begun",
        "How many pairs of pieces are tried to lay the rubbings over each other; more take longer.")
    follow: int = value(8, 1, 50, "best beginnings that are carried through",
        "How many ways to lay them are carried through; more take longer.")
    same_share: float = value(0.65, 0.1, 1.0, "of all lead: with less in common, two panels",
        "Rubbings that share less of their lead are refused as of two panels.")
    inner_share: float = value(0.6, 0.0, 1.0, "of the lead inside, for borders are often alike",
        "Rubbings that share less of the lead inside their borders are refused.")
    alike_share: float = value(0.1, 0.0, 0.5, "of the lead: other positions so near are reported",
        "Other positions that share nearly as much lead, within this, are reported.")
    even_share: float = value(0.005, 0.0, 0.1, "of the lead: chance; the way turned least is taken",
        "Of ways to lie that are within this share of the best, the one turned least is taken.")
    reach_mm: float = value(25.0, 2.0, 200.0, "a lead that moved farther is another lead",
        "A lead that moved farther counts as lost, and another as added.")
    turn_deg: float = value(25.0, 5.0, 60.0, "a lead that turned farther is another lead",
        "A lead that turned farther counts as lost, and another as added.")
    sure: float = value(3.0, 1.0, 6.0, "standard deviations; three in a thousand by chance",
        "A change must be this many deviations large to be reported.")
    least_move_mm: float = value(0.5, 0.05, 10.0, "paper shifts and stretches by as much; practice",
        "A smaller move is not reported, however certain.")
    least_width_mm: float = value(0.5, 0.05, 10.0, "half the step between the widths on sale",
        "A smaller change of width is not reported, however certain.")
    least_length_mm: float = value(10.0, 2.0, 100.0, "solder hides shorter bits of lead; practice",
        "Shorter stretches of lost or added lead are not reported.")
    corner_deg: float = value(15.0, 5.0, 80.0, "a border that turns so much more than beside it",
        "Where the border turns by more, a side of it ends.")
    corner_mm: float = value(15.0, 3.0, 100.0, "over such a stretch; solder rounds a corner",
        "Length on either side by which a corner of the border is found.")
    flat_share: float = value(0.04, 0.01, 0.3, "rise by length: a side with less was made straight",
        "A side that rises by a smaller share of its length is judged as made straight.")
    arc_share: float = value(0.015, 0.001, 0.1, "off by length: a side with less was one arc",
        "A side off an arc by a smaller share of its length is judged as one arc.")
