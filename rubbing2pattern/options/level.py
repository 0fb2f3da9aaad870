"""Options of levelling."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.options.base import Checked, value


@dataclass(frozen=True)
class LevelOptions(Checked):
    """Which sides of the border count as straight, and how far a panel may be turned."""

    most_turn_deg: float = value(10.0, 0.0, 44.0, "a sheet is laid, and photographed, straighter")
    flatness_mm: float = value(0.02, 0.001, 1.0, "far finer than the side of a panel is straight")
    bow_share: float = value(0.005, 0.0005, 0.05, "of the panel's diagonal: sag of an old side")
    side_share: float = value(0.25, 0.05, 1.0, "of the lesser dimension: shorter is no side")
    off_side_mm: float = value(0.5, 0.05, 10.0, "points further off their side hardly count")
    off_square_deg: float = value(1.0, 0.05, 10.0, "sides further off the others hardly count")
