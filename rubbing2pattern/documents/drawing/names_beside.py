"""Ids of cames and joints, small beside what they name; shown on wish."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping

import numpy as np

from rubbing2pattern.documents.drawing import Anchor, Mark, Text, bounds_of
from rubbing2pattern.documents.drawing.layers import CAME_ID, JOINT_ID
from rubbing2pattern.documents.drawing.leaves import middle_of
from rubbing2pattern.documents.drawing.lettering import text_box
from rubbing2pattern.documents.drawing.strip_numbers import (
    GAP_MM,
    Seen,
    glass_seen,
    in_glass,
    meets,
    placed_beside,
)
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.model import Joint, Panel
from rubbing2pattern.options.documents import DocumentOptions

_HEIGHTS_MM = (1.8, 1.5, 1.2)
"""5 to 3 point: to be looked up from near, and never taken for the number of a piece."""
_WAYS_DEG = (45.0, 135.0, 225.0, 315.0, 0.0, 90.0, 180.0, 270.0)
"""Directions from a joint in which its id is tried."""


def names_beside(panel: Panel, others: Iterable[Mark], options: DocumentOptions) -> Iterator[Text]:
    """Yield the ids that `options.ids` asks for.

    Rules:

    1. An id lies in the glass that is seen, beside the leaf of its came or near its joint, clear
       of `others` and of the ids before it; smaller where there is little room.
    2. One that has no room so is written over its came or joint, for who asks for ids looks for a
       certain one.
    """
    if not options.ids:
        return
    taken = np.array([bounds_of(mark) for mark in others]).reshape(-1, 4)
    seen = glass_seen(panel)
    if "joint" in options.ids:
        for joint in panel.joints:
            name = _at_joint(panel, joint, seen, taken)
            taken = np.vstack((taken, bounds_of(name)))
            yield name
    for came in panel.cames if "came" in options.ids else ():
        beside = placed_beside(came.id, (came,), _HEIGHTS_MM, seen, taken, CAME_ID)
        over = Text(  # rule 2
            CAME_ID, middle_of(came.curve), came.id, _HEIGHTS_MM[-1], Anchor.CENTRE, patch=True
        )
        name = beside or over
        taken = np.vstack((taken, bounds_of(name)))
        yield name


def _at_joint(panel: Panel, joint: Joint, seen: Mapping[int, Seen], taken: Array) -> Text:
    widths = [
        came.face_width_mm
        for came in panel.cames
        if joint.id in (came.start, came.end) and math.isfinite(came.face_width_mm)
    ]
    for height in _HEIGHTS_MM:
        reach = 0.75 * max(widths, default=0.0) + GAP_MM + height
        for way in _WAYS_DEG:
            turn = math.radians(way)
            aside = reach + 0.5 * abs(math.cos(turn)) * height * len(joint.id)
            at = joint.x_mm + aside * math.cos(turn), joint.y_mm + reach * math.sin(turn)
            room = text_box(joint.id, at, height)
            inside = any(in_glass(room, glass) for glass in seen.values())
            if inside and not meets(room.bounds, taken, 0.5 * GAP_MM):
                return Text(JOINT_ID, at, joint.id, height, Anchor.CENTRE)
    at = (joint.x_mm, joint.y_mm)
    return Text(JOINT_ID, at, joint.id, _HEIGHTS_MM[-1], Anchor.CENTRE, patch=True)
