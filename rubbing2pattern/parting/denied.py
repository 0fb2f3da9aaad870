"""Ink that looks like lead where the learned map sees none: the second witness speaks."""

from __future__ import annotations

from collections.abc import Iterable

import cv2
import numpy as np

from rubbing2pattern.findings import Code, Finding, Severity
from rubbing2pattern.frame import Array
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.reading import LeadMap


def denied_lead(paths: Iterable[Array], lead: LeadMap, options: TidyOptions) -> tuple[Finding, ...]:
    """Report dark strips inside the panel that are as wide and long as lead but are not drawn.

    Rules, for every patch darker than `denied_ink` of the lead nearby and clear of all leads drawn:

    1. its smallest rectangle is longer than `denied_mm`, as wide as a came, and `denied_slender`
       times as long as wide;
    2. it fills at least half of that rectangle: texture of glass and writing do not.

    Parameters
    ----------
    paths : lead lines that are drawn, (N, 2) mm each.
    """
    px = lead.frame.px_per_mm
    ink = cv2.blur(np.minimum(lead.density / lead.strength, 1.5), (5, 5))
    free = np.ones(lead.mask.shape, dtype=np.uint8)
    lines = [np.round(lead.frame.to_px(p)).astype(np.int32) for p in paths]
    cv2.polylines(free, lines, False, 0, 1)
    away_mm = cv2.distanceTransform(free, cv2.DIST_L2, 5) / px
    dark = (ink > options.denied_ink) & (lead.maps.inside > 0.5) & lead.mask
    dark &= away_mm > 0.5 * lead.maps.width_mm + options.covered_mm
    outlines, _ = cv2.findContours(
        dark.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE
    )
    found = []
    for outline in outlines:
        (x, y), sides, _ = cv2.minAreaRect(outline)
        long_mm, wide_mm = max(sides) / px, min(sides) / px
        if not options.narrowest_mm <= wide_mm <= options.widest_mm or long_mm < options.denied_mm:
            continue
        full = cv2.contourArea(outline) / max(sides[0] * sides[1], 1.0)
        if long_mm < options.denied_slender * wide_mm or full < options.denied_fill:
            continue
        at = lead.frame.to_mm(np.array([[x, y]]))[0]
        text = (
            f"a dark strip {long_mm:.0f} mm long and {wide_mm:.0f} mm wide looks like no lead as a "
            "whole and is not drawn; look whether a lead runs here."
        )
        place = (float(at[0]), float(at[1]))
        found.append(Finding(Code.POSSIBLE_LEAD, Severity.CHECK, text, place))
    return tuple(found)
