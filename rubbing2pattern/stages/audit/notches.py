"""Pieces that no glazier would cut: a sharp corner that points into the glass.

Glass is scored and broken along lines that run through the sheet, so an inward curve is hard and an
inward corner is not cut (common practice, without source). Where an outline shows one, a lead that
parts the piece there was most likely not read: a short lead often does not show in the rubbing.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import lru_cache

import numpy as np
import shapely
from shapely.geometry import Polygon

from rubbing2pattern.findings import Finding, Kind, Point, Severity, finding_of
from rubbing2pattern.geometry.curves import as_point
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.model import JointKind, Panel
from rubbing2pattern.options.audit import AuditOptions

_STEP_MM = 0.5
"""Step at which outlines are followed; a tenth of the usual chord."""
_MOST_KEPT = 4096
"""Outlines whose corners are kept: a panel is audited several times while it is corrected."""
_LOOSE = (JointKind.CORNER, JointKind.MEETING, JointKind.END)
"""Joints through which no lead runs."""


def check_notches(panel: Panel, options: AuditOptions) -> Iterator[Finding]:
    """Find pieces with a corner that points into the glass, and say between which corners to look.

    Rules:

    1. between chords of `notch_chord_mm` before and after a place the outline to the middle of the
       leads turns inward by more than `notch_deg`;
    2. where a lead runs through the joint at every such corner, or no joint is there, it is a note:
       the leads meet there with all their ends, and few lack one.
    """
    loose = [j.at for j in panel.joints if j.kind in _LOOSE]
    for piece in panel.pieces:
        corners = inward_corners(piece.outline, options.notch_chord_mm, options.notch_deg)
        if not corners:
            continue
        sharpest = max(turn for _, turn in corners)
        at = max(corners, key=lambda corner: corner[1])[0]
        held = all(
            math.dist(place, joint) > options.notch_joint_mm
            for place, _ in corners
            for joint in loose
        )
        severity = Severity.NOTE if held else Severity.CHECK
        two = len(corners) == 2
        yield finding_of(
            Kind.INWARD_CORNERS if two else Kind.INWARD_CORNER,
            at,
            severity=severity,
            pieces=(piece.number,),
            sharpest_deg=sharpest,
            length_mm=math.dist(corners[0][0], corners[1][0]) if two else None,
        )


@lru_cache(maxsize=_MOST_KEPT)
def inward_corners(
    outline: Polygon, chord_mm: float, limit_deg: float
) -> tuple[tuple[Point, float], ...]:
    """Return where an outline turns inward by more than a limit, and by how many degrees.

    Of places that lie within a chord of each other the sharpest is kept. In outlines shorter than
    four chords corners cannot be distinguished from curves.
    """
    ring = shapely.get_exterior_ring(shapely.orient_polygons(outline))
    count = math.ceil(ring.length / _STEP_MM)
    step_mm = ring.length / max(count, 1)
    chord = max(1, round(chord_mm / _STEP_MM))
    if count < 4 * chord:
        return ()
    places = shapely.get_coordinates(ring.interpolate(np.arange(count) * step_mm))
    turns = _inward_turns_deg(places, chord)
    found: list[tuple[Point, float]] = []
    while turns.max() > limit_deg:
        at = int(turns.argmax())
        found.append((as_point(places[at]), float(turns[at])))
        turns[np.arange(at - chord, at + chord + 1) % count] = 0.0
    return tuple(found)


def _inward_turns_deg(places: Array, chord: int) -> Array:
    """Return by how much a ring run anticlockwise turns to the right at each of its places."""
    before = places - np.roll(places, chord, axis=0)
    after = np.roll(places, -chord, axis=0) - places
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    return np.asarray(-np.degrees(np.arctan2(cross, np.einsum("ij,ij->i", before, after))))
