"""One lead of a net that is being changed: its line, its figures, two that become one.

All lengths in mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

from shapely.geometry import LineString

from rubbing2pattern.geometry.curves import Curve, Point
from rubbing2pattern.geometry.frame import Placement
from rubbing2pattern.model import Came, Corrected
from rubbing2pattern.reading import NetCame

CHORD_MM = 0.005
"""How closely curved leads are followed."""
_MOST_KEPT = 8192
"""Lead lines kept once drawn: those of a panel of a thousand pieces, before and after."""


@dataclass(frozen=True, slots=True)
class Lead:
    """A came in the net; `came` has its curve and figures, its ends are ids."""

    start: str
    end: str
    came: NetCame
    corrected: Corrected
    line: LineString

    @property
    def length_mm(self) -> float:
        """Length of the lead line."""
        return float(self.line.length)


def lead_of(start: str, end: str, came: NetCame, corrected: Corrected) -> Lead:
    """Return a lead with its line drawn."""
    return Lead(start, end, came, corrected, _line(came.curve))


@lru_cache(maxsize=_MOST_KEPT)
def _line(curve: Curve) -> LineString:
    # A zero has no sign here: equal curves have one line, whichever was drawn first.
    return LineString(curve.points(CHORD_MM) + 0.0)


def drawn_lead(came: Came) -> Lead:
    """Return the lead of a came of a panel."""
    drawn = NetCame(
        0,
        0,
        came.curve,
        came.strip,
        came.face_width_mm,
        came.face_width_uncertainty_mm,
        came.shown_width_mm,
        came.profile.value,
        came.seen_share,
        came.contrast,
        came.confidence,
        came.gaps,
    )
    return lead_of(came.start, came.end, drawn, came.corrected)


def as_one(a: Lead, b: Lead, curve: Curve) -> NetCame:
    """Return the figures of two leads that are one: means by length."""
    total = a.length_mm + b.length_mm

    def mean(name: str) -> float:
        x, y = float(getattr(a.came, name)), float(getattr(b.came, name))
        same = x == y or (math.isnan(x) and math.isnan(y))
        return x if same else (x * a.length_mm + y * b.length_mm) / total

    means: dict[str, Any] = {
        name: mean(name)
        for name in (
            "width_mm",
            "width_uncertainty_mm",
            "shown_width_mm",
            "seen_share",
            "contrast",
            "confidence",
        )
    }
    longer = a if a.length_mm >= b.length_mm else b
    later = tuple((low + a.length_mm, high + a.length_mm) for low, high in b.came.gaps)
    gaps = _without_seam((*a.came.gaps, *later))
    return replace(longer.came, curve=curve, gaps=gaps, **means)


def _without_seam(gaps: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
    """Join gaps that touch."""
    kept: list[tuple[float, float]] = []
    for low, high in gaps:
        if kept and low - kept[-1][1] < CHORD_MM:
            kept[-1] = (kept[-1][0], high)
        else:
            kept.append((low, high))
    return tuple(kept)


def id_number(name: str) -> int:
    """Return the number in an id: 12 of C12; ids of another kind come first."""
    digits = name.lstrip("CJF")
    return int(digits) if digits.isascii() and digits.isdigit() else 0


def place_text(place: Point) -> str:
    """Write a place."""
    return f"({place[0]:.1f}, {place[1]:.1f}) mm"


def shifted(curve: Curve, by: Point) -> Curve:
    """Return a curve moved by (x, y)."""
    return curve.placed(Placement(0.0, *by))
