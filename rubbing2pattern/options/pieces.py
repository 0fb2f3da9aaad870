"""Options of cutting a net into numbered pieces."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.inputs.calipers import Calipers, as_calipers
from rubbing2pattern.options.base import Checked, choice, value
from rubbing2pattern.trade.stock import DEFAULT_STOCK, StockWidth


@dataclass(frozen=True)
class PieceOptions(Checked):
    """How outlines, numbers, measures and stock widths of pieces and cames are found."""

    heart_mm: float = value(1.6, 0.5, 4.0, "a full 1/16 inch (Whall 1905); never seen, so given")
    clearance_mm: float = value(0.4, 0.0, 3.0, "play on each side of the heart; practice")
    flatness_mm: float = value(0.005, 0.001, 0.2, "keeps the area of a round piece true to 0.02 %")
    row_share: float = value(0.35, 0.05, 0.9, "staggered quarries lie half a height apart")
    label_tolerance_mm: float = value(0.25, 0.01, 5.0, "finer than a number is written")
    central_share: float = value(0.95, 0.5, 1.0, "numbers of long pieces stand in the middle")
    through_deg: float = value(15.0, 2.0, 45.0, "solder and fitting bend a through-lead by less")
    broken_deg: float = value(30.0, 5.0, 60.0, "no came runs through a sharper bend")
    line_uncertainty_mm: float = value(0.12, 0.0, 2.0, "a lead line across itself, clean rubbing")
    steady_mm: float = value(30.0, 1.0, 1000.0, "length over which a lead line errs alike")
    stock: tuple[StockWidth, ...] = choice(DEFAULT_STOCK, "sizes on sale, from memory")
    stock_tolerance_mm: float = value(0.3, 0.0, 2.0, "lead as drawn differs from its name by less")
    stock_sigmas: float = value(2.0, 0.5, 5.0, "19 of 20 widths lie within two deviations")
    fallback_width_mm: float = value(6.0, 2.0, 20.0, "a middling size, when no width is measured")
    unstated_width_uncertainty_mm: float = value(0.4, 0.01, 3.0, "where a width came without one")
    unmeasured_uncertainty_mm: float = value(1.5, 0.1, 6.0, "half the span of usual inner leads")
    unshaped_mm: float = value(0.44, 0.05, 5.0, "half of what a round leaf may hide is in it")
    calipers: tuple[Calipers, ...] = choice((), "widths measured on the lead: --caliper")
    caliper_uncertainty_mm: float = value(0.1, 0.01, 1.0, "a caliper on soft lead; practice")
    caliper_like_mm: float = value(0.2, 0.01, 1.0, "how far cames of one size differ unseen")
    caliper_agree_mm: float = value(0.6, 0.1, 3.0, "widths of one size nearer are one size")
    caliper_reach_mm: float = value(3.0, 0.0, 20.0, "a place read off a pattern is as near")
    crossing_joint_mm: float = value(12.0, 0.0, 60.0, "lines fitted to a point cross near it")
    crossed_area_mm2: float = value(0.5, 0.0, 50.0, "lead lines that cross once more are told of")

    def __post_init__(self) -> None:
        """Refuse values out of range and a list without a stock width; take in plain calipers."""
        Checked.__post_init__(self)
        object.__setattr__(self, "calipers", tuple(as_calipers(part) for part in self.calipers))
        if not self.stock:
            raise UsageFault("stock is empty, but must hold one stock width at least")
