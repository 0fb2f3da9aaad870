"""A panel in two states: copies with known changes, as another rubbing would show them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np
import shapely

from rubbing2pattern.geometry.curves import Arc, Cubic, Curve, Line, Point, as_point
from rubbing2pattern.geometry.frame import Placement
from rubbing2pattern.model import Came, Panel
from tests.panels import Lead, build


def copy_of(
    panel: Panel,
    *,
    joints: Mapping[str, Point] | None = None,
    without: tuple[str, ...] = (),
    changed: Callable[[Lead], Lead] | None = None,
    gone: tuple[str, ...] = (),
) -> Panel:
    """Build a panel again with some joints elsewhere, some cames gone, some leads changed.

    Cames and joints that are built again are numbered anew, without those that are gone.
    """
    places = {j.id: (j.x_mm, j.y_mm) for j in panel.joints if j.id not in gone}
    places |= dict(joints or {})
    leads = [_lead(came, places) for came in panel.cames if came.id not in without]
    if changed is not None:
        leads = [changed(lead) for lead in leads]
    return build(panel.name, places, leads, seen_from=panel.seen_from)


def _lead(came: Came, places: Mapping[str, Point]) -> Lead:
    curve: Curve = came.curve
    ends = places[came.start], places[came.end]
    if ends != (as_point(came.path[0]), as_point(came.path[-1])):
        curve = curve.moved_ends(*ends)
    return Lead(came.start, came.end, curve, came.face_width_mm, came.stock, came.strip)


def carried(panel: Panel, placement: Placement, *, mirrored: bool = False) -> Panel:
    """Return the panel as if rubbed turned and shifted, or from the other side."""

    def moved(points: object) -> np.ndarray:
        places = np.asarray(points, dtype=np.float64)
        return placement.apply(places * (-1.0, 1.0) if mirrored else places)

    def curve(one: Curve) -> Curve:
        match one:
            case Line():
                return Line(*(as_point(p) for p in moved([one.start, one.end])))
            case Arc() if mirrored:
                one = Arc(
                    (-one.centre[0], one.centre[1]),
                    one.radius_mm,
                    180.0 - one.start_deg,
                    -one.sweep_deg,
                )
                return one.placed(placement)
            case Arc():
                return one.placed(placement)
        return Cubic(tuple(as_point(p) for p in moved(one.control)))

    joints = []
    for joint in panel.joints:
        x, y = as_point(moved([(joint.x_mm, joint.y_mm)])[0])
        joints.append(replace(joint, x_mm=x, y_mm=y))
    other = {"inside": "outside", "outside": "inside"}.get(panel.seen_from, panel.seen_from)
    return replace(
        panel,
        seen_from=other if mirrored else panel.seen_from,
        joints=tuple(joints),
        cames=tuple(
            replace(came, curve=curve(came.curve), path=moved(came.path)) for came in panel.cames
        ),
        pieces=tuple(
            replace(
                piece,
                outline=shapely.transform(piece.outline, moved),
                cut_outline=shapely.transform(piece.cut_outline, moved),
                sight_outline=shapely.transform(piece.sight_outline, moved),
                label_at=as_point(moved([piece.label_at])[0]),
            )
            for piece in panel.pieces
        ),
        outline=shapely.transform(panel.outline, moved),
    )
