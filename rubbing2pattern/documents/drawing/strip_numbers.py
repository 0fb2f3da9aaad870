"""Numbers of the strips of lead, small beside the leads, so that a strip is found on the bench."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon

from rubbing2pattern.documents.drawing import Anchor, Mark, Text, bounds_of
from rubbing2pattern.documents.drawing.lettering import text_box
from rubbing2pattern.geometry.curves import Point
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.leading import Strip
from rubbing2pattern.model import Came, Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.reading import Bounds

Seen = tuple[Polygon | MultiPolygon, shapely.Geometry]
PREFIX = "S"
"""Prefix of the number, so that nobody takes it for one of a piece."""
_HEIGHTS_MM = (1.8, 1.5)
"""5 and 4 point: to be looked up from near, and never taken for the number of a piece."""
GAP_MM = 0.5
"""Between number and leaf, and around the number."""
_SHARES = (0.5, 0.38, 0.62, 0.26, 0.74)
"""Places along a came that are tried, of its length."""


def strip_numbers(
    panel: Panel,
    strips: Iterable[Strip],
    others: Iterable[Mark],
    layer: str,
    options: DocumentOptions,
) -> Iterator[Text]:
    """Yield the numbers of the strips, those that have room.

    Rules:

    1. A strip has its number once, on the longest of its cames that has room, near its middle.
    2. It is written along the lead, beside its leaf and inside the glass that is seen.
    3. It keeps clear of the leaves of all leads, of `others` and of the numbers before it.
    4. Where it has no room at 1.8 mm it is tried smaller, never below `least_number_mm`; a strip
       that has no room then has no number; nor has one of which nothing is cut.

    Parameters
    ----------
    strips : as they are listed, by number.
    others : piece numbers and marks of findings.
    """
    cames = {came.id: came for came in panel.cames}
    seen = glass_seen(panel)
    taken = np.array([bounds_of(mark) for mark in others]).reshape(-1, 4)
    heights_mm = [h for h in _HEIGHTS_MM if h >= options.least_number_mm]
    for strip in strips:
        if strip.covered:
            continue
        longest = sorted((cames[name] for name in strip.cames), key=lambda c: (-c.length_mm, c.id))
        number = placed_beside(f"{PREFIX}{strip.number}", longest, heights_mm, seen, taken, layer)
        if number is not None:
            taken = np.vstack((taken, bounds_of(number)))
            yield number


def placed_beside(
    text: str,
    cames: Sequence[Came],
    heights_mm: Sequence[float],
    seen: Mapping[int, Seen],
    taken: Array,
    layer: str,
) -> Text | None:
    """Return a text beside the first of some cames that has room, as rules 2 to 4 say, or None.

    Parameters
    ----------
    seen : glass by the number of its piece.
    taken : x_min, y_min, x_max, y_max of what it keeps clear of, (N, 4).
    """
    for height_mm in heights_mm:  # rule 4
        for came in cames:  # rule 1
            for at, angle_deg in _places(came, height_mm):
                room = text_box(text, at, height_mm, angle_deg)
                inside = any(in_glass(room, seen[n]) for n in came.pieces if n in seen)  # rule 2
                if inside and not meets(room.bounds, taken, 0.5 * GAP_MM):  # rule 3
                    return Text(layer, at, text, height_mm, Anchor.CENTRE, angle_deg)
    return None


def _places(came: Came, height_mm: float) -> Iterator[tuple[Point, float]]:
    """Yield places on both sides of a came and the direction of writing there, in degrees."""
    path = np.asarray(came.path)
    run = np.append(0.0, np.cumsum(np.hypot(*np.diff(path, axis=0).T)))
    off_mm = 0.5 * came.face_width_mm + GAP_MM + 0.5 * height_mm
    if not math.isfinite(off_mm):
        return
    for share in _SHARES:
        k = int(np.clip(np.searchsorted(run, share * run[-1]), 1, len(run) - 1))
        along = path[k] - path[k - 1]
        size = float(np.hypot(*along))
        if size <= 0.0:
            continue
        at = path[k - 1] + along * (share * run[-1] - run[k - 1]) / size
        beside = np.array((-along[1], along[0])) * off_mm / size
        angle_deg = math.degrees(math.atan2(along[1], along[0]))
        # Read from below or from the right, as lettering of drawings is.
        angle_deg = (angle_deg + 89.999) % 180.0 - 89.999
        for side in (at + beside, at - beside):
            yield (float(side[0]), float(side[1])), angle_deg


def glass_seen(panel: Panel) -> dict[int, Seen]:
    """Return the glass that is seen of each piece, and its edge, ready for many questions."""
    seen = {p.number: (p.sight_outline, p.sight_outline.boundary) for p in panel.pieces}
    shapely.prepare(list(seen.values()))
    return seen


def in_glass(room: Polygon, seen: Seen) -> bool:
    """Return whether a box lies in glass, clear of its edge by half the gap."""
    glass, edge = seen
    return bool(glass.contains(room)) and not shapely.dwithin(edge, room, 0.5 * GAP_MM)


def meets(room: Bounds, others: Array, around_mm: float = 0.0) -> bool:
    """Return whether a box, or what lies around it, meets any of others, (N, 4)."""
    apart = (
        (others[:, 0] > room[2] + around_mm)
        | (others[:, 2] < room[0] - around_mm)
        | (others[:, 1] > room[3] + around_mm)
        | (others[:, 3] < room[1] - around_mm)
    )
    return not bool(apart.all())
