"""Options of comparing two rubbings of one panel."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.options.base import Checked, value


@dataclass(frozen=True)
class CompareOptions(Checked):
    """How two rubbings of one panel are laid over each other, and what counts as a change."""

    step_mm: float = value(2.0, 0.5, 10.0, "a place on each lead so often; half a narrow lead")
    near_mm: float = value(6.0, 1.0, 30.0, "a lead within the width of a lead is the same lead")
    seeds: int = value(300, 10, 5000, "pairs of pieces alike from which laying over is begun")
    follow: int = value(8, 1, 50, "best beginnings that are carried through")
    same_share: float = value(0.65, 0.1, 1.0, "of all lead: with less in common, two panels")
    inner_share: float = value(0.6, 0.0, 1.0, "of the lead inside, for borders are often alike")
    alike_share: float = value(0.1, 0.0, 0.5, "of the lead: other ways to lie so near are told")
    even_share: float = value(0.005, 0.0, 0.1, "of the lead: chance; the way turned least is taken")
    reach_mm: float = value(25.0, 2.0, 200.0, "a lead that moved farther is another lead")
    turn_deg: float = value(25.0, 5.0, 60.0, "a lead that turned farther is another lead")
    sure: float = value(3.0, 1.0, 6.0, "standard deviations; three in a thousand by chance")
    least_move_mm: float = value(0.5, 0.05, 10.0, "paper shifts and stretches by as much; practice")
    least_width_mm: float = value(0.5, 0.05, 10.0, "half the step between the widths on sale")
    least_length_mm: float = value(10.0, 2.0, 100.0, "solder hides shorter bits of lead; practice")
    corner_deg: float = value(15.0, 5.0, 80.0, "a border that turns so much more than beside it")
    corner_mm: float = value(15.0, 3.0, 100.0, "over such a stretch; solder rounds a corner")
    flat_share: float = value(0.04, 0.01, 0.3, "rise by length: a side with less was made straight")
    arc_share: float = value(0.015, 0.001, 0.1, "off by length: a side with less was one arc")
