"""Options of levelling."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.options.base import Checked, value


@dataclass(frozen=True)
class LevelOptions(Checked):
    """Which sides of the border count as straight, and how far a panel may be turned."""

    # fmt: off
    most_turn_deg: float = value(10.0, 0.0, 44.0, "a sheet is laid, and photographed, straighter",
        "A panel that lies further off upright is left as it lies.")
    flatness_mm: float = value(0.005, 0.001, 0.2, "as for pieces, so that both see one border",
        "How closely the curves of the border are followed when its sides are found.")
    bow_share: float = value(0.005, 0.0005, 0.05, "of the panel's diagonal: sag of an old side",
        "A side may sag by this share of the panel's diagonal and still be one side.")
    bend_share: float = value(0.008, 0.001, 0.2, "of a side's own length: more is part of an arch",
        "A side that bows by a greater share of its length does not count as straight.")
    side_share: float = value(0.25, 0.05, 1.0, "of the lesser dimension: shorter is not a side",
        "Sides shorter than this share of the panel's lesser size do not count.")
    off_side_mm: float = value(0.5, 0.05, 10.0, "points further off their side hardly count",
        "Points that lie further off their side hardly count for its direction.")
    off_square_deg: float = value(0.3, 0.05, 10.0, "old panels are this far out of square",
        "Sides that differ by more count less for how the panel is turned.")
    splay_deg: float = value(5.0, 1.0, 30.0, "a side more off the others was made so",
        "Sides that differ by more do not count for how the panel is turned.")
    reach_deg: float = value(15.0, 0.0, 40.0, "further off than a turn and this, it is not a side",
        "Sides up to this far beyond the greatest turn still count.")
