"""Options of laying loose pieces into openings."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.options.base import Checked, value


@dataclass(frozen=True)
class MatchOptions(Checked):
    """How a loose piece is laid into an opening and judged."""

    cutting_mm: float = value(0.35, 0.05, 3.0, "glass as cut strays from its line by as much")
