"""Options of corrections: how near a place lies to what it means, and what counts as the same."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.options.base import Checked, value


@dataclass(frozen=True)
class CorrectOptions(Checked):
    """How places given by a person find leads and joints, and when a piece is still the same."""

    # fmt: off
    reach_mm: float = value(8.0, 0.5, 50.0, "a place read off a print lies this near what it means",
        "How far a place in a file of corrections may lie from the lead or joint it means.")
    outside_mm: float = value(300.0, 0.0, 2000.0, "glass lost at a border is hardly wider",
        "How far outside the panel a new lead may run, and a joint or a lead be moved.")
    joint_mm: float = value(2.5, 0.0, 20.0, "a lead that ends this near a joint goes to the joint",
        "A corrected lead that ends this near to a joint is tied to it.")
    least_mm: float = value(1.0, 0.1, 20.0, "no lead is shorter than its own width",
        "A shorter corrected lead is refused; places nearer than this are the same.")
    in_line_deg: float = value(15.0, 1.0, 45.0, "as for a through-lead: less is one lead",
        "Two leads that bend by less become one when the joint between them goes.")
    in_line_mm: float = value(0.12, 0.0, 5.0, "a lead line across itself is known no better",
        "How closely the lead they become follows both.")
    same_width_mm: float = value(0.6, 0.0, 5.0, "half the step between stock sizes",
        "Two leads that differ by more in width stay two.")
    joint_uncertainty_mm: float = value(0.5, 0.0, 5.0, "of a place measured with a rule",
        "Uncertainty that is stated for a joint which a person placed.")
    width_uncertainty_mm: float = value(0.1, 0.0, 2.0, "of a width measured with callipers",
        "Uncertainty that is stated for a width which a person gave.")
    same_share: float = value(0.5, 0.1, 1.0, "of both areas together, shared: still that piece",
        "A piece keeps its number, and what is written about it, while it shares this much.")
