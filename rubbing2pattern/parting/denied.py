"""Ink that looks like lead where the learned map sees none: the second witness speaks."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import cv2
import numpy as np

from rubbing2pattern.findings import Finding, Kind, Point, finding_of
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.reading import Grid, LeadMap


def denied_lead(paths: Iterable[Array], lead: LeadMap, options: TidyOptions) -> tuple[Finding, ...]:
    """Report dark strips inside the panel that are as wide and long as lead but are not drawn.

    Rules, for every patch darker than `denied_ink` of the lead nearby and clear of all leads drawn:

    1. its smallest rectangle is longer than `denied_mm`, as wide as a came, and `denied_slender`
       times as long as wide;
    2. it fills at least half of that rectangle: texture of glass and writing do not;
    3. more than `denied_few` such strips are texture, and one finding.

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
    strips = [s for s in (_strip(o, lead, options) for o in outlines) if s is not None]
    if len(strips) > options.denied_few:  # rule 3
        return (_texture(strips),)
    return tuple(
        finding_of(Kind.DARK_STRIP, s.at, length_mm=s.long_mm, width_mm=s.wide_mm) for s in strips
    )


@dataclass(frozen=True, slots=True)
class _Strip:
    """A dark strip: sides and middle in mm, mean share of lead on the map."""

    long_mm: float
    wide_mm: float
    at: Point
    share: float


def _strip(outline: Grid, lead: LeadMap, options: TidyOptions) -> _Strip | None:
    """Return a patch as a strip, None where it is shaped like no lead (rules 1 and 2)."""
    px = lead.frame.px_per_mm
    (x, y), sides, _ = cv2.minAreaRect(outline)
    long_mm, wide_mm = max(sides) / px, min(sides) / px
    if not options.narrowest_mm <= wide_mm <= options.widest_mm or long_mm < options.denied_mm:
        return None
    full = cv2.contourArea(outline) / max(sides[0] * sides[1], 1.0)
    if long_mm < options.denied_slender * wide_mm or full < options.denied_fill:
        return None
    patch = np.zeros(lead.mask.shape, dtype=np.uint8)
    cv2.drawContours(patch, [outline], -1, 1, cv2.FILLED)
    place = lead.frame.to_mm(np.array([[x, y]]))[0]
    share = float(lead.maps.leaf[patch > 0].mean())
    return _Strip(long_mm, wide_mm, (float(place[0]), float(place[1])), share)


def _texture(strips: list[_Strip]) -> Finding:
    """Return one finding for many strips, at the one that looks most like lead."""
    likeliest = max(strips, key=lambda s: (s.share, s.long_mm, s.at))
    return finding_of(
        Kind.DARK_STRIPS,
        likeliest.at,
        strips=len(strips),
        shortest_mm=min(s.long_mm for s in strips),
        longest_mm=max(s.long_mm for s in strips),
    )
