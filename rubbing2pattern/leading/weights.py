"""Weights of lead and glass: estimates from sizes that are partly given and partly from memory."""

from __future__ import annotations

import math
from typing import Final

from rubbing2pattern.model import Panel, Profile
from rubbing2pattern.options.leading import LeadingOptions

GLASS_KG_PER_M3: Final = 2500.0
"""EN 572-1: soda-lime glass; 2.5 kg for each square metre and mm of thickness."""

LEAD_KG_PER_M3: Final = 11340.0
"""CRC Handbook of Chemistry and Physics: 11.34 g/cm3 at 20 °C."""

_M3_PER_MM3: Final = 1e-9
"""Cubic metres of a cubic millimetre."""


def section_mm2(
    width_mm: float, profile: Profile, heart_mm: float, options: LeadingOptions
) -> float:
    """Return the area of lead across a came.

    An H: two leaves as wide as the face, and between them the heart, as high as the channel. A flat
    leaf (and one whose shape is not known) is a rectangle, width times `leaf_mm`; a round one half
    of an ellipse, pi / 4 of its width times `round_leaf_mm`, its thickness in the middle.
    """
    if profile is Profile.ROUND:
        leaf_mm2 = math.pi / 4.0 * width_mm * options.round_leaf_mm
    else:
        leaf_mm2 = width_mm * options.leaf_mm
    return 2.0 * leaf_mm2 + heart_mm * options.channel_mm


def lead_kg(length_mm: float, section: float) -> float:
    """Return the weight of a length of lead, its section in mm2."""
    return length_mm * section * _M3_PER_MM3 * LEAD_KG_PER_M3


def glass_kg(panel: Panel, options: LeadingOptions) -> float:
    """Return the weight of all pieces as cut, of one thickness."""
    area_mm2 = sum(piece.cut_area_mm2 for piece in panel.pieces)
    return area_mm2 * options.glass_mm * _M3_PER_MM3 * GLASS_KG_PER_M3
