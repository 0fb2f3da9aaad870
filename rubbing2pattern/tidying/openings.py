"""Where a lead stops though it should go on: free ends, and elbows that would notch the glass."""

from __future__ import annotations

import math

import numpy as np

from rubbing2pattern.frame import Array
from rubbing2pattern.imaging.profiles import evenly
from rubbing2pattern.tidying.web import Web

_FRAYED_MM = 1.5


def wanted(web: Web, node: int) -> tuple[Array, ...]:
    """Return the unit vectors along which a lead should leave a node, none at most nodes.

    A lead that ends freely should go on. At an elbow either of the two should, or a third lead
    leaves on the outer side, for no glass can be cut with a sharp inner corner.
    """
    if web.degree(node) == 1:
        return (heading(web, web.ends_at(node)[0]),)
    if not web.is_elbow(node):
        return ()
    one, two = (heading(web, end) for end in web.ends_at(node))
    between = one + two
    return one, two, between / max(float(np.hypot(*between)), 1e-9)


def heading(web: Web, end: tuple[int, bool]) -> Array:
    """Return the unit vector a lead points in at an end, by its last 20 mm but the tip."""
    path = evenly(web.away(*end), 0.5)
    tip = path[min(4, len(path) // 4)]
    way = tip - path[min(len(path) - 1, 44)]
    return np.asarray(way / max(float(np.hypot(*way)), 1e-9))


def turn_between(
    place: Array, ways: tuple[Array, ...], other: Array, other_ways: tuple[Array, ...]
) -> float:
    """Return the least turn in degrees with which one of either places' ways makes for the other.

    The place of a frayed end is known to a few mm, which matters over a short gap and is taken off.
    """
    chord = other - place
    apart = float(np.hypot(*chord))
    if not ways or not other_ways or apart < 1e-9:
        return 180.0
    turn = max(
        min(angle_deg(way, chord) for way in ways),
        min(angle_deg(way, -chord) for way in other_ways),
    )
    return turn - math.degrees(math.atan2(_FRAYED_MM, apart))


def angle_deg(u: Array, v: Array) -> float:
    """Angle between two vectors, 0 .. 180 degrees; 0 where one has no length."""
    scale = float(np.hypot(*u) * np.hypot(*v))
    if scale < 1e-9:
        return 0.0
    return math.degrees(math.acos(float(np.clip(u @ v / scale, -1.0, 1.0))))
