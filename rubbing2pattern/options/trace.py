"""Options of tracing the skeleton into a net."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.options.base import Checked, value


@dataclass(frozen=True)
class TraceOptions(Checked):
    """How the lines between basins become nodes and paths."""

    # fmt: off
    smooth_mm: float = value(1.0, 0.0, 5.0, "takes the steps of the grid out of a path",
        "Over what length traced lines are smoothed.")
    attach_mm: float = value(12.0, 0.0, 40.0, "a branch this near a line springs from it",
        "A free line that points at a lead is tied to it when it ends this near.")
