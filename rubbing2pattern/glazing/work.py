"""What follows from a filled-in sheet: the glass to buy and the firings of the kiln."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.glazing.entries import Filled
from rubbing2pattern.glazing.kiln import Firing, firings
from rubbing2pattern.glazing.new_glass import GlassOrder, glass_orders
from rubbing2pattern.model import Panel
from rubbing2pattern.options.glass import GlassOptions


@dataclass(frozen=True, slots=True)
class GlassWork:
    """The lists of the pieces that are made new; both empty while there are none."""

    orders: tuple[GlassOrder, ...]
    firings: tuple[Firing, ...]


def glass_work(panel: Panel, filled: Filled, options: GlassOptions) -> GlassWork:
    """Make both lists of a panel as its record gives it back."""
    return GlassWork(glass_orders(panel, filled, options), firings(panel, filled, options))
