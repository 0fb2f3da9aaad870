"""A panel as the page draws it, and what differs between two."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TypeVar

import shapely

from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.model import Came, Joint, Panel, Piece
from rubbing2pattern.reviewing.bodies import (
    Area,
    CameShown,
    Gone,
    JointShown,
    Net,
    PieceShown,
)

_LINE_MM = 0.04
"""How far a drawn line may leave the lead line: a fifth of a pixel at the closest look."""
_SAME_MM2 = 0.5
"""Areas that differ by less are the same to the glazier; sheets show whole square millimetres."""
Key = TypeVar("Key", int, str)
Part = TypeVar("Part", PieceShown, CameShown, JointShown)


@dataclass(frozen=True)
class NetView:
    """The parts of a net by number or id."""

    pieces: Mapping[int, PieceShown]
    cames: Mapping[str, CameShown]
    joints: Mapping[str, JointShown]

    def whole(self) -> Net:
        """Return all of it."""
        return Net(
            pieces=[*self.pieces.values()],
            cames=[*self.cames.values()],
            joints=[*self.joints.values()],
        )

    def since(self, before: NetView) -> tuple[Net, Gone]:
        """Return what is new or differs, and what is gone."""
        net = Net(
            pieces=_newer(before.pieces, self.pieces),
            cames=_newer(before.cames, self.cames),
            joints=_newer(before.joints, self.joints),
        )
        gone = Gone(
            pieces=[n for n in before.pieces if n not in self.pieces],
            cames=[n for n in before.cames if n not in self.cames],
            joints=[n for n in before.joints if n not in self.joints],
        )
        return net, gone

    def areas_since(self, before: NetView) -> list[Area]:
        """Return the pieces whose glass has another area, by number."""
        areas = []
        for number in sorted({*before.pieces, *self.pieces}):
            old, new = before.pieces.get(number), self.pieces.get(number)
            if old is None or new is None or abs(old.area - new.area) >= _SAME_MM2:
                areas.append(
                    Area(
                        number=number,
                        before=None if old is None else old.area,
                        now=None if new is None else new.area,
                    )
                )
        return areas


class Drawer:
    """Makes views of panels of one review; a part that is the same object is not drawn again."""

    def __init__(self) -> None:
        self._cames: dict[str, tuple[Came, CameShown]] = {}
        self._pieces: dict[int, tuple[Piece, PieceShown]] = {}

    def view(self, panel: Panel) -> NetView:
        """Return the view of a panel."""
        return NetView(
            {p.number: self._piece(p) for p in panel.pieces},
            {c.id: self._came(c) for c in panel.cames},
            {j.id: _joint(j) for j in panel.joints},
        )

    def _came(self, came: Came) -> CameShown:
        known = self._cames.get(came.id)
        if known is None or known[0] is not came:
            known = self._cames[came.id] = (came, _came(came))
        return known[1]

    def _piece(self, piece: Piece) -> PieceShown:
        known = self._pieces.get(piece.number)
        if known is None or known[0] is not piece:
            known = self._pieces[piece.number] = (piece, _piece(piece))
        return known[1]


def _newer(before: Mapping[Key, Part], now: Mapping[Key, Part]) -> list[Part]:
    return [part for name, part in now.items() if before.get(name) != part]


def _flat(points: Array) -> list[float]:
    line = shapely.simplify(shapely.LineString(points), _LINE_MM)
    return [round(float(v), 2) for v in shapely.get_coordinates(line).ravel()]


def _came(came: Came) -> CameShown:
    return CameShown(
        id=came.id,
        start=came.start,
        end=came.end,
        line=_flat(came.path),
        width=round(came.face_width_mm, 2),
        length=round(came.length_mm, 1),
        stock=came.stock,
        border=came.border,
        surety=round(came.confidence, 2),
        gaps=[(round(a, 1), round(b, 1)) for a, b in came.gaps],
        pieces=[*came.pieces],
        corrected=came.corrected.value,
    )


def _piece(piece: Piece) -> PieceShown:
    rings = (piece.outline.exterior, *piece.outline.interiors)
    return PieceShown(
        number=piece.number,
        rings=[_flat(shapely.get_coordinates(ring)) for ring in rings],
        at=(round(piece.label_at[0], 2), round(piece.label_at[1], 2)),
        radius=round(piece.label_radius_mm, 2),
        area=round(piece.cut_area_mm2, 1),
        sight=round(piece.sight_area_mm2, 1),
        box=(round(piece.rectangle.width_mm, 1), round(piece.rectangle.height_mm, 1)),
        cames=[*piece.cames],
    )


def _joint(joint: Joint) -> JointShown:
    at = (round(joint.x_mm, 2), round(joint.y_mm, 2))
    return JointShown(id=joint.id, at=at, kind=joint.kind.value, cames=[*joint.cames])
