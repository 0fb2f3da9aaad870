"""Where a lead stops though it should go on: free ends, and elbows that would notch the glass."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from rubbing2pattern.frame import Array
from rubbing2pattern.imaging.profiles import evenly
from rubbing2pattern.tidying.web import Web

_FRAYED_MM = 1.5


@dataclass(frozen=True, slots=True)
class Opening:
    """A node at which a lead stops though it should go on.

    Attributes
    ----------
    place : (2,) mm.
    onward : unit vectors along which the leads that stop here would go on.
    between : unit vector along which a third lead would leave an elbow on its outer side; None at
        a free end.
    """

    place: Array
    onward: tuple[Array, ...]
    between: Array | None = None

    def ways(self, *, inside: bool) -> tuple[Array, ...]:
        """Return the ways out of it.

        Inside a panel no glass can be cut with a sharp inner corner; the corner of a border has
        nothing to part on its outer side.
        """
        return (*self.onward, self.between) if inside and self.between is not None else self.onward


def opening_at(web: Web, node: int) -> Opening | None:
    """Return the opening at a node: a free end or an elbow, none at most nodes."""
    if web.degree(node) == 1:
        return Opening(web.nodes[node], (heading(web, web.ends_at(node)[0]),))
    if not web.is_elbow(node):
        return None
    one, two = (heading(web, end) for end in web.ends_at(node))
    between = one + two
    return Opening(web.nodes[node], (one, two), between / max(float(np.hypot(*between)), 1e-9))


def heading(web: Web, end: tuple[int, bool]) -> Array:
    """Return the unit vector a lead points in at an end, by its last 20 mm but the tip."""
    path = evenly(web.away(*end), 0.5)
    tip = path[min(4, len(path) // 4)]
    way = tip - path[min(len(path) - 1, 44)]
    return np.asarray(way / max(float(np.hypot(*way)), 1e-9))


def turn_between(one: Opening, other: Opening, *, inside: bool) -> float:
    """Return the least turn in degrees with which a way out of either makes for the other.

    The place of a frayed end is known to a few mm, which matters over a short gap and is taken off.
    """
    chord = other.place - one.place
    apart = float(np.hypot(*chord))
    if apart < 1e-9:
        return 180.0
    turn = max(
        min(angle_deg(way, chord) for way in one.ways(inside=inside)),
        min(angle_deg(way, -chord) for way in other.ways(inside=inside)),
    )
    return turn - math.degrees(math.atan2(_FRAYED_MM, apart))


def angle_deg(u: Array, v: Array) -> float:
    """Angle between two vectors, 0 .. 180 degrees; 0 where one has no length."""
    scale = float(np.hypot(*u) * np.hypot(*v))
    if scale < 1e-9:
        return 0.0
    return math.degrees(math.acos(float(np.clip(u @ v / scale, -1.0, 1.0))))
