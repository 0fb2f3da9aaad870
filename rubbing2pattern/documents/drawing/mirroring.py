"""A drawing seen from the other side: marks mirrored, lettering still to be read."""

from __future__ import annotations

from dataclasses import replace

from rubbing2pattern.documents.drawing import Anchor, Mark, Outline, Stroke
from rubbing2pattern.geometry.curves import Arc, Cubic, Curve, Line, Point
from rubbing2pattern.model import Panel

_OTHER = {"inside": "outside", "outside": "inside"}
_ANCHORS = {Anchor.LEFT: Anchor.RIGHT, Anchor.RIGHT: Anchor.LEFT, Anchor.CENTRE: Anchor.CENTRE}


def mirrored_mark(mark: Mark, width_mm: float) -> Mark:
    """Return a mark with x turned into `width_mm` - x; a text keeps its place but reads as before.

    Parameters
    ----------
    width_mm : of the panel to its lead lines, so that the mirrored panel has its origin at its
        lower left corner again.
    """
    match mark:
        case Stroke():
            return replace(mark, curve=_curve(mark.curve, width_mm))
        case Outline():
            return replace(mark, points=tuple(_point(p, width_mm) for p in mark.points))
    return replace(
        mark,
        at=_point(mark.at, width_mm),
        anchor=_ANCHORS[mark.anchor],
        angle_deg=-mark.angle_deg if mark.angle_deg else 0.0,
    )


def side_text(panel: Panel, *, mirrored: bool) -> str:
    """Say from which side a drawing of the panel is seen."""
    if mirrored:
        other = _OTHER.get(panel.seen_from)
        return f"MIRRORED: seen from the other side{f' ({other})' if other else ''}"
    return panel.side.capitalize() or "Side of the rubbing: not stated"


def _point(point: Point, width_mm: float) -> Point:
    return (width_mm - point[0], point[1])


def _curve(curve: Curve, width_mm: float) -> Curve:
    match curve:
        case Line():
            return Line(_point(curve.start, width_mm), _point(curve.end, width_mm))
        case Arc():
            centre = _point(curve.centre, width_mm)
            return Arc(centre, curve.radius_mm, 180.0 - curve.start_deg, -curve.sweep_deg)
    return Cubic(tuple(_point(p, width_mm) for p in curve.control))
