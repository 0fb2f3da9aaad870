"""Options of finding lead."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.options.base import Checked, value


@dataclass(frozen=True)
class LeadOptions(Checked):
    """Steps beside the learned map: even out the light, and refuse a picture without lead."""

    # fmt: off
    paper_grid_mm: float = value(1.0, 0.5, 2.0, "paper changes slowly",
        "How finely the brightness of the paper is followed before ink is read.")
    closing_mm: float = value(21.0, 5.0, 60.0, "just wider than the widest lead, 20 mm",
        "Dark places narrower than this count as rubbing, not as darker paper.")
    median_mm: float = value(31.0, 9.0, 80.0, "takes out corners of leads and specks",
        "Over what length the brightness of the paper is smoothed.")
    strength_mm: float = value(35.0, 10.0, 200.0, "pressure of the hand changes over a few strokes",
        "Over what distance the strength of the rubbing is averaged.")
    faintest: float = value(0.02, 0.001, 0.5, "a strip 2 % darker than paper drowns in the grain",
        "A rubbing whose lead lines stand out from the paper by less is refused as too faint.")
    margin_mm: float = value(2.0, 0.0, 20.0, "the shadow at the edge of the sheet",
        "This much along the edge of the sheet is not read.")
    line_above: float = value(0.5, 0.1, 0.9, "likelier lead line than not",
        "Places above this value of the map show how strong the rubbing is.")
    line_width_mm: float = value(1.8, 0.5, 5.0, "how wide a sure lead line shows on the map",
        "Width by which the area that looks like lead lines becomes a length.")
    window_lines_mm: float = value(30.0, 1.0, 500.0, "a lead that crosses a quarter of a window",
        "A large picture is read on when one window of 128 mm shows so much of lead lines.")
    least_lines_mm: float = value(150.0, 10.0, 2000.0, "the border of the smallest roundel",
        "A picture with a shorter length of lead lines is refused as not a rubbing of a panel.")
