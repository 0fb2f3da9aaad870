"""Options of levelling."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.options.base import Checked, value


@dataclass(frozen=True)
class LevelOptions(Checked):
    """Which sides of the border count as straight, and how far a panel may be turned."""

    most_turn_deg: float = value(10.0, 0.0, 44.0, "a sheet is laid, and photographed, straighter")
    flatness_mm: float = value(0.005, 0.001, 0.2, "as for pieces, so that both see one border")
    bow_share: float = value(0.005, 0.0005, 0.05, "of the panel's diagonal: sag of an old side")
    bend_share: float = value(0.008, 0.001, 0.2, "of a side's own length: more is part of an arch")
    side_share: float = value(0.25, 0.05, 1.0, "of the lesser dimension: shorter is no side")
    off_side_mm: float = value(0.5, 0.05, 10.0, "points further off their side hardly count")
    off_square_deg: float = value(0.3, 0.05, 10.0, "old panels are this far out of square")
    splay_deg: float = value(5.0, 1.0, 30.0, "a side more off the others was made so")
    reach_deg: float = value(15.0, 0.0, 40.0, "sides further off than a turn and this are no sides")
