"""Options of finding lead."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.options.base import Checked, choice, value


@dataclass(frozen=True)
class LeadOptions(Checked):
    """How lead is told from glass."""

    grid_mm: float = value(0.5, 0.2, 1.0, "five cells across the narrowest lead sold, 2.5 mm")
    paper_grid_mm: float = value(1.0, 0.5, 2.0, "paper changes slowly")
    closing_mm: float = value(15.0, 5.0, 40.0, "just wider than the widest lead, 14 mm")
    median_mm: float = value(25.0, 9.0, 80.0, "takes out corners of leads and specks")
    widths_mm: tuple[float, ...] = choice(
        (2.5, 3.5, 5.0, 7.0, 10.0, 13.5), "face widths on sale, each within 20 % of the next"
    )
    along_mm: tuple[float, ...] = choice(
        (2.0, 5.6), "long enough to outlast the grain, short enough for a roundel of 20 mm"
    )
    angles: int = value(16, 8, 32, "neighbours 11 degrees apart; a strip 20 mm long tells no less")
    core: float = value(0.8, 0.4, 1.0, "the edges of a strip are soft")
    strength_mm: float = value(35.0, 10.0, 200.0, "pressure of the hand changes over a few strokes")
    faintest: float = value(0.02, 0.001, 0.5, "a strip 2 % darker than paper drowns in the grain")
    margin_mm: float = value(2.0, 0.0, 20.0, "the shadow at the edge of the sheet")
