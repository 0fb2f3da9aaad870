"""Options of finding loose pieces in a photograph."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.options.base import Checked, value


@dataclass(frozen=True)
class LooseOptions(Checked):
    """How loose pieces are found and outlined in a photograph."""

    glass_mm: float = value(0.0, 0.0, 25.0, "thickness of the glass; 0 takes no shift out")
    camera_mm: float = value(0.0, 0.0, 1e5, "height of the camera over the table; 0 is unknown")
