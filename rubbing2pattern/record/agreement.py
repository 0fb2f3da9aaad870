"""Whether a record agrees with itself: what it says of a shape must be so of the shape it holds.

A record carries no checksum, and a person may have had it open in an editor. Documents are made
from its figures and from its shapes, and one that contradicts the other would be wrong in silence.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import shapely
from shapely.geometry import Polygon
from shapely.validation import explain_validity

from rubbing2pattern.record.fields import AreaPart, CamePart, JointPart, PanelRecord, PiecePart

_SAME_MM = 0.05
"""By how much an end of a path may lie beside its joint, which is rounded by itself."""
_SAME_MM2 = 0.02
"""By how much an area may differ from that of its shape: both are rounded to 0.01 mm²."""
_SAME_SHARE = 1e-6
"""The same as a share of a large area."""


def contradictions(record: PanelRecord) -> Iterator[str]:
    """Yield what in a record cannot be so, with the field that says it.

    Rules:

    1. No outline crosses itself, and holes lie in it.
    2. An area is that of its outline with its holes and further parts.
    3. A path begins and ends at the joints of its came.
    """
    for k, area in enumerate(record.panel.outline):
        yield from _crossing(f"panel.outline.{k}", [area])
    for k, piece in enumerate(record.pieces):
        yield from _piece(f"pieces.{k}", piece)
    joints = {joint.id: joint for joint in record.joints}
    for k, came in enumerate(record.cames):
        yield from _came(f"cames.{k}", came, joints)


def _piece(where: str, piece: PiecePart) -> Iterator[str]:
    centre = [AreaPart(outline=piece.outline, holes=piece.holes)]
    for name, parts, stated_mm2 in (
        ("centre", centre, piece.centre_area_mm2),
        ("cut", _parts(piece.cut_outline, piece.cut_holes, piece.cut_parts), piece.cut_area_mm2),
        (
            "sight",
            _parts(piece.sight_outline, piece.sight_holes, piece.sight_parts),
            piece.sight_area_mm2,
        ),
    ):
        outline = "outline" if name == "centre" else f"{name}_outline"
        crossing = list(_crossing(f"{where}.{outline}", parts))  # rule 1
        yield from crossing
        found_mm2 = sum(Polygon(part.outline, part.holes).area for part in parts)
        if not crossing and abs(found_mm2 - stated_mm2) > _SAME_MM2 + _SAME_SHARE * found_mm2:
            yield (  # rule 2
                f"{where}.{name}_area_mm2 is {stated_mm2:g}, but the area of its outline is "
                f"{found_mm2:.2f}"
            )


def _parts(
    outline: list[tuple[float, float]],
    holes: list[list[tuple[float, float]]],
    more: list[AreaPart],
) -> list[AreaPart]:
    return [AreaPart(outline=outline, holes=holes), *more] if outline else more


def _crossing(where: str, parts: list[AreaPart]) -> Iterator[str]:
    for part in parts:
        shape = Polygon(part.outline, part.holes)
        if not shapely.is_valid(shape):
            yield f"{where}: {explain_validity(shape)}"


def _came(where: str, came: CamePart, joints: dict[str, JointPart]) -> Iterator[str]:
    for end, place in (("start", came.path[0]), ("end", came.path[-1])):  # rule 3
        joint = joints[getattr(came, end)]
        off_mm = math.dist(place, (joint.x, joint.y))
        if off_mm > _SAME_MM:
            yield f"{where}.path: its {end} lies {off_mm:g} mm from {joint.id}"
