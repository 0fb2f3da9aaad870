"""Corrections of a pattern that loose glass asks for, tried before they are offered."""

from __future__ import annotations

from collections.abc import Sequence

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.inputs.edits import Edit, corrections_of
from rubbing2pattern.matching.pattern_evidence import Asked
from rubbing2pattern.matching.pattern_offer import edits_for
from rubbing2pattern.model import Panel
from rubbing2pattern.options import Options
from rubbing2pattern.workflows.corrected_panel import PanelBefore

_TRIED = ("loose glass", "2000-01-01")
"""Who and when a correction needs to be tried; nothing keeps them."""


def offered_edits(
    panel: Panel, asked: Sequence[Asked], options: Options
) -> tuple[tuple[Asked, ...], tuple[Edit, ...]]:
    """Return what can be corrected together of what glass asks for, the surest first, and how."""
    kept: tuple[Asked, ...] = ()
    before = PanelBefore(panel, options)
    for one in asked:
        try:
            before.apply(corrections_of(edits_for((*kept, one), panel), *_TRIED))
        except UsageFault:
            continue
        kept = (*kept, one)
    return kept, edits_for(kept, panel)
