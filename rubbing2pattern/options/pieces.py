"""Options of cutting a net into numbered pieces."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.inputs.calipers import FORM, Calipers
from rubbing2pattern.options.base import Checked, choice, value
from rubbing2pattern.trade.stock import DEFAULT_STOCK, StockWidth


@dataclass(frozen=True)
class PieceOptions(Checked):
    """How outlines, numbers, measures and stock widths of pieces and cames are found."""

    # fmt: off
    heart_mm: float = value(1.6, 0.5, 4.0, "a full 1/16 inch (Whall 1905); never seen, so given",
        "Thickness of the heart; glass and templates get smaller by half of it on every side.")
    clearance_mm: float = value(0.4, 0.0, 3.0, "play on each side of the heart; practice",
        "Play between glass and heart; glass and templates get smaller by it on every side.")
    flatness_mm: float = value(0.005, 0.001, 0.2, "keeps the area of a round piece true to 0.02 %",
        "How closely outlines follow curved leads; less makes more points.")
    row_share: float = value(0.35, 0.05, 0.9, "staggered quarries lie half a height apart",
        "Pieces whose heights differ by a smaller share are numbered as one row.")
    label_tolerance_mm: float = value(0.25, 0.01, 5.0, "finer than a number is written",
        "How exactly the place with the most room for a number is found.")
    central_share: float = value(0.95, 0.5, 1.0, "numbers of long pieces lie in the middle",
        "A number is put in the middle of its piece when it has this share of the most room.")
    through_deg: float = value(15.0, 2.0, 45.0, "solder and fitting bend a through-lead by less",
        "A lead that bends by less runs through its joint on pattern and lists.")
    broken_deg: float = value(30.0, 5.0, 60.0, "no came runs through a sharper bend",
        "A lead that bends by more does not run through its joint.")
    line_uncertainty_mm: float = value(0.12, 0.0, 2.0, "a lead line across itself, clean rubbing",
        "How far a lead line may be off; it sets the uncertainty of sizes and areas.")
    steady_mm: float = value(30.0, 1.0, 1000.0, "length over which a lead line errs alike",
        "Over what length a lead line is off alike; more makes areas less certain.")
    stock: tuple[StockWidth, ...] = choice(DEFAULT_STOCK, "sizes on sale, from memory",
        "Widths of lead on sale, of which each came is given one.")
    stock_tolerance_mm: float = value(0.3, 0.0, 2.0, "lead as drawn differs from its name by less",
        "How far lead as drawn may differ from the width of its name.")
    stock_sigmas: float = value(2.0, 0.5, 5.0, "19 of 20 widths lie within two deviations",
        "Stock widths within this many deviations of what was measured are considered.")
    fallback_width_mm: float = value(6.0, 2.0, 20.0, "a middling size, when no width is measured",
        "Width of all cames when not one could be measured.")
    unstated_width_uncertainty_mm: float = value(0.4, 0.01, 3.0, "where a width came without one",
        "Uncertainty of a measured width that came without one.")
    unmeasured_uncertainty_mm: float = value(1.5, 0.1, 6.0, "half the span of usual inner leads",
        "Uncertainty of a width that was not measured.")
    unshaped_mm: float = value(0.44, 0.05, 5.0, "half of what a round leaf may hide is in it",
        "A less certain width of unknown leaf gives a finding if it may be the next stock width.")
    calipers: tuple[Calipers, ...] = choice((), "widths measured on the lead: --caliper",
        "Widths measured on the lead, which set their cames and those of the same size.")
    caliper_uncertainty_mm: float = value(0.1, 0.01, 1.0, "a caliper on soft lead; practice",
        "Uncertainty of a came that was measured with a caliper.")
    caliper_like_mm: float = value(0.2, 0.01, 1.0, "how far cames of one size differ unseen",
        "Least uncertainty of other cames of a size that was measured with a caliper.")
    caliper_agree_mm: float = value(0.6, 0.1, 3.0, "widths of one size nearer are one size",
        "A caliper width further off the others of its size sets its own came alone.")
    caliper_reach_mm: float = value(3.0, 0.0, 20.0, "a place read off a pattern is as near",
        "A caliper width whose place lies further beside a came is refused.")
    crossing_joint_mm: float = value(12.0, 0.0, 60.0, "lines fitted to a point cross near it",
        "Lead lines of one joint that cross again within this get no second joint.")
    nothing_mm2: float = value(25.0, 0.0, 100.0, "nobody leads glass of 5 by 5 mm",
        "A smaller piece without glass between its hearts becomes one joint or one lead.")
    crossed_area_mm2: float = value(0.5, 0.0, 50.0, "lead lines that cross once more are reported",
        "An outline that crosses itself over a greater area gives a finding.")
    # fmt: on

    @property
    def cut_half_mm(self) -> float:
        """From a lead line to the edge of the glass."""
        return self.heart_mm / 2.0 + self.clearance_mm

    def __post_init__(self) -> None:
        """Refuse values out of range and a list without a stock width."""
        Checked.__post_init__(self)
        if not all(isinstance(part, Calipers) for part in self.calipers):
            raise UsageFault(f"widths measured on the lead are not given as a setting; {FORM}")
        if not self.stock:
            raise UsageFault("stock is empty, but must hold one stock width at least")
