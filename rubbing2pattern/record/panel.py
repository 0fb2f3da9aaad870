"""The record of a panel: from a `Panel` to ``panel.json`` and back.

Numbers are rounded here and nowhere else: lengths to 0.001 mm, areas to 0.01 mm². All other
documents are made from the panel as the record gives it back, so they can be made again from the
record alone, byte for byte.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import MultiPolygon, Polygon

from rubbing2pattern.errors import InputUnreadable, ScaleNotFound
from rubbing2pattern.geometry.curves import Arc, Cubic, Curve, Line
from rubbing2pattern.geometry.frame import Array, Placement, points_array
from rubbing2pattern.inputs.files import content_of
from rubbing2pattern.model import Came, Joint, Panel, Piece, Rectangle
from rubbing2pattern.reading import MarkResidual, Scale
from rubbing2pattern.record import fields
from rubbing2pattern.record.agreement import contradictions
from rubbing2pattern.record.fields import FORMAT, VERSION, PanelRecord
from rubbing2pattern.record.history import (
    LENGTH_PLACES,
    corrections_of,
    corrections_parts,
    dismissed_parts,
    doubts_of,
    finding_part,
    rubbing_of,
    rubbing_part,
)
from rubbing2pattern.record.text import (
    json_text,
    plain_values,
    record_read,
    schema_of,
)

Shape: TypeAlias = Polygon | MultiPolygon

_GIVEN_PLACES = 6  # what a person states stays exact down to 1/64 in
_LARGEST_PANEL_MM = fields.LARGEST_MM / 10.0
"""So that margins and corrections around it can be written too."""
_AREA_PLACES = 2
"""Decimal places of an area, a hundredth of a square millimetre."""
_ANGLE_PLACES = 7  # a ten-thousandth of a millimetre at the end of an arc of 50 m radius
_SHARE_PLACES = 4
"""Decimal places of a share or a chance."""
_SMALL_SHARE_PLACES = 7  # scale and lens: a ten-thousandth of a millimetre in a metre


def record_of(panel: Panel, provenance: Mapping[str, Any]) -> PanelRecord:
    """Return the record of a panel.

    Parameters
    ----------
    panel : the finished panel.
    provenance : plain values that JSON can hold: program, picture, reference, options.

    Raises
    ------
    ScaleNotFound
        A length of the panel is larger than a record holds.
    """
    _refuse_huge(panel)
    return PanelRecord(
        format=FORMAT,
        version=VERSION,
        units="mm",
        provenance=plain_values(provenance),
        **_parts(panel),
    )


def _parts(panel: Panel) -> dict[str, Any]:
    """Return what of a record is about the panel."""
    return {
        "panel": _panel_part(panel),
        "scale": scale_part(panel.scale),
        "joints": [_joint_part(joint) for joint in panel.joints],
        "cames": [_came_part(came) for came in panel.cames],
        "pieces": [_piece_part(piece) for piece in panel.pieces],
        "findings": [finding_part(finding) for finding in panel.findings],
        "dismissed": dismissed_parts(panel.dismissed),
        "corrections": corrections_parts(panel.corrections),
        "rubbing": rubbing_part(panel.rubbing),
    }


def _refuse_huge(panel: Panel) -> None:
    """Refuse a panel that only a wrong scale makes so large."""
    largest_mm = max(panel.width_mm, panel.height_mm)
    if largest_mm > _LARGEST_PANEL_MM:
        raise ScaleNotFound(
            f"the panel would be {largest_mm:.0f} mm long, but {_LARGEST_PANEL_MM:.0f} mm is the "
            "limit; check the length and its unit in the reference for the scale"
        )


def panel_of(record: PanelRecord) -> Panel:
    """Return the panel of a record; ``record_of`` of it gives the same record again."""
    part = record.panel
    return Panel(
        part.name,
        part.seen_from,
        tuple(_joint(joint) for joint in record.joints),
        tuple(_came(came) for came in record.cames),
        tuple(_piece(piece) for piece in record.pieces),
        _shape([(area.outline, area.holes) for area in part.outline]),
        part.width_mm,
        part.height_mm,
        part.outer_width_mm,
        part.outer_height_mm,
        part.heart_mm,
        part.clearance_mm,
        _scale(record.scale),
        Placement(part.placement.angle_deg, part.placement.dx_mm, part.placement.dy_mm),
        part.level_angle_deg,
        *doubts_of(record),
        corrections_of(record.corrections),
        rubbing_of(record.rubbing),
    )


def rounded_panel(panel: Panel, before: Panel) -> Panel:
    """Return a panel as its record gives it back.

    What it took over from a panel before, which a record gave back, is rounded already.
    """
    old = {
        *map(id, before.joints),
        *map(id, before.pieces),
        *(id(came.path) for came in before.cames),
    }
    made = replace(
        panel,
        joints=tuple(joint for joint in panel.joints if id(joint) not in old),
        cames=tuple(came for came in panel.cames if id(came.path) not in old),
        pieces=tuple(piece for piece in panel.pieces if id(piece) not in old),
    )
    rounded = panel_of(PanelRecord.model_construct(**_parts(made)))
    joints = {joint.id: joint for joint in rounded.joints}
    cames = {came.id: came for came in rounded.cames}
    pieces = {piece.number: piece for piece in rounded.pieces}
    return replace(
        rounded,
        joints=tuple(joints.get(joint.id, joint) for joint in panel.joints),
        cames=tuple(cames.get(came.id, came) for came in panel.cames),
        pieces=tuple(pieces.get(piece.number, piece) for piece in panel.pieces),
    )


def record_text(record: PanelRecord) -> str:
    """Write a record as JSON, one line for each joint, came, piece and finding."""
    return json_text(record)


def record_from_text(text: str | bytes, source: str = "the record") -> PanelRecord:
    """Read a record.

    Raises
    ------
    InputUnreadable
        As `record_read` says, or the record contradicts itself.
    """
    record = record_read(text, source, PanelRecord, (FORMAT, VERSION), "panel record")
    for fault in contradictions(record):
        raise InputUnreadable(f"{source} is a damaged panel record: {fault}")
    return record


def read_record(path: Path) -> PanelRecord:
    """Read a record from a file; raises `InputUnreadable` as `record_from_text` does."""
    return record_from_text(content_of(path), str(path))


def schema_text() -> str:
    """Return the JSON Schema of the record, as in ``docs/panel.schema.json``."""
    return schema_of(PanelRecord)


def _round(number: float, places: int) -> float:
    return round(float(number), places) + 0.0  # plus 0: no minus zero


def _mm(number: float) -> float:
    return _round(number, LENGTH_PLACES)


def _mm_if_known(number: float) -> float | None:
    return _mm(number) if math.isfinite(number) else None


def _given(length_mm: float) -> float:
    return _round(length_mm, _GIVEN_PLACES)


def _share(number: float) -> float:
    return _round(number, _SHARE_PLACES)


def _deg(number: float) -> float:
    return _round(number, _ANGLE_PLACES)


def points_part(points: npt.ArrayLike) -> list[fields.Place]:
    """Return places of shape (N, 2) in mm as the record rounds them."""
    # Written out and not with `_mm`: a record has a hundred thousand of them.
    places = points_array(points).tolist()
    return [(round(x, LENGTH_PLACES) + 0.0, round(y, LENGTH_PLACES) + 0.0) for x, y in places]


def _panel_part(panel: Panel) -> fields.PanelPart:
    return fields.PanelPart.model_validate(
        {
            "name": panel.name,
            "seen_from": panel.seen_from,
            "width_mm": _mm(panel.width_mm),
            "height_mm": _mm(panel.height_mm),
            "outer_width_mm": _mm(panel.outer_width_mm),
            "outer_height_mm": _mm(panel.outer_height_mm),
            "heart_mm": _given(panel.heart_mm),
            "clearance_mm": _given(panel.clearance_mm),
            "level_angle_deg": _deg(panel.level_angle_deg),
            "placement": fields.PlacementPart(
                angle_deg=_deg(panel.placement.angle_deg),
                dx_mm=_mm(panel.placement.dx_mm),
                dy_mm=_mm(panel.placement.dy_mm),
            ),
            "outline": area_parts(rounded_shape(panel.outline)),
        }
    )


def scale_part(scale: Scale) -> fields.ScalePart:
    """Return the part of a scale."""
    return fields.ScalePart(
        reference=scale.reference,
        px_per_mm=_round(scale.px_per_mm, _SMALL_SHARE_PLACES),
        relative_uncertainty=_round(scale.relative_uncertainty, _SMALL_SHARE_PLACES),
        residuals=[
            fields.ResidualPart(name=r.name, residual_mm=_mm(r.residual_mm), used=r.used)
            for r in scale.residuals
        ],
        lens_k1=_round(scale.lens_k1, _SMALL_SHARE_PLACES),
        statement=scale.statement,
    )


def _scale(part: fields.ScalePart) -> Scale:
    return Scale(
        part.reference,
        part.px_per_mm,
        part.relative_uncertainty,
        tuple(MarkResidual(r.name, r.residual_mm, r.used) for r in part.residuals),
        part.lens_k1,
        part.statement,
    )


def _joint_part(joint: Joint) -> fields.JointPart:
    return fields.JointPart(
        id=joint.id,
        x=_mm(joint.x_mm),
        y=_mm(joint.y_mm),
        kind=joint.kind,
        uncertainty_mm=_mm(joint.uncertainty_mm),
        cames=list(joint.cames),
    )


def _joint(part: fields.JointPart) -> Joint:
    return Joint(part.id, part.x, part.y, part.kind, part.uncertainty_mm, tuple(part.cames))


def _came_part(came: Came) -> fields.CamePart:
    return fields.CamePart(
        id=came.id,
        start=came.start,
        end=came.end,
        path=points_part(came.path),
        curve=_curve_part(came.curve),
        length_mm=_mm(_curve(_curve_part(came.curve), points_part(came.path)).length_mm),
        strip=int(came.strip),
        face_width_mm=_mm(came.face_width_mm),
        face_width_uncertainty_mm=_mm_if_known(came.face_width_uncertainty_mm),
        shown_width_mm=_mm_if_known(came.shown_width_mm),
        stock=came.stock,
        stock_mm=_given(came.stock_mm),
        border=bool(came.border),
        profile=came.profile,
        seen_share=_share(came.seen_share),
        contrast=_share(came.contrast),
        confidence=_share(came.confidence),
        gaps=points_part(came.gaps) if came.gaps else [],
        pieces=[int(number) for number in came.pieces],
        corrected=came.corrected,
    )


def _came(part: fields.CamePart) -> Came:
    path: Array = points_array(part.path)
    path.setflags(write=False)
    return Came(
        part.id,
        part.start,
        part.end,
        _curve(part.curve, part.path),
        path,
        part.strip,
        part.face_width_mm,
        _known(part.face_width_uncertainty_mm),
        _known(part.shown_width_mm),
        part.stock,
        part.stock_mm,
        part.border,
        part.profile,
        part.seen_share,
        part.contrast,
        part.confidence,
        tuple(part.gaps),
        tuple(part.pieces),
        part.corrected,
    )


def _known(number: float | None) -> float:
    return math.nan if number is None else number


def _curve_part(curve: Curve) -> fields.LineCurve | fields.ArcCurve | fields.CubicCurve:
    match curve:
        case Line():
            return fields.LineCurve(kind="line")
        case Arc():
            return fields.ArcCurve(
                kind="arc",
                centre=(_mm(curve.centre[0]), _mm(curve.centre[1])),
                radius_mm=_mm(curve.radius_mm),
                start_deg=_deg(curve.start_deg),
                sweep_deg=_deg(curve.sweep_deg),
            )
    return fields.CubicCurve(kind="cubic", control=points_part(curve.control))


def _curve(
    part: fields.LineCurve | fields.ArcCurve | fields.CubicCurve, path: list[fields.Place]
) -> Curve:
    match part:
        case fields.LineCurve():
            return Line(path[0], path[-1])
        case fields.ArcCurve():
            return Arc(part.centre, part.radius_mm, part.start_deg, part.sweep_deg)
    return Cubic(tuple(part.control))


def _piece_part(piece: Piece) -> fields.PiecePart:
    outline, cut, sight = (
        rounded_shape(shape) for shape in (piece.outline, piece.cut_outline, piece.sight_outline)
    )
    first, cut_parts, sight_parts = area_parts(outline)[0], area_parts(cut), area_parts(sight)
    return fields.PiecePart(
        number=int(piece.number),
        outline=first.outline,
        holes=first.holes,
        cut_outline=cut_parts[0].outline if cut_parts else [],
        cut_holes=cut_parts[0].holes if cut_parts else [],
        cut_parts=cut_parts[1:],
        sight_outline=sight_parts[0].outline if sight_parts else [],
        sight_holes=sight_parts[0].holes if sight_parts else [],
        sight_parts=sight_parts[1:],
        centre_area_mm2=_round(outline.area, _AREA_PLACES),
        cut_area_mm2=_round(cut.area, _AREA_PLACES),
        sight_area_mm2=_round(sight.area, _AREA_PLACES),
        area_uncertainty_mm2=_round(piece.area_uncertainty_mm2, _AREA_PLACES),
        label_at=(_mm(piece.label_at[0]), _mm(piece.label_at[1])),
        label_radius_mm=_mm(piece.label_radius_mm),
        rectangle=fields.RectanglePart(
            width_mm=_mm(piece.rectangle.width_mm),
            height_mm=_mm(piece.rectangle.height_mm),
            angle_deg=_deg(piece.rectangle.angle_deg),
        ),
        cames=list(piece.cames),
    )


def _piece(part: fields.PiecePart) -> Piece:
    r = part.rectangle
    return Piece(
        part.number,
        Polygon(part.outline, part.holes),
        _shape(
            [(part.cut_outline, part.cut_holes), *((p.outline, p.holes) for p in part.cut_parts)]
        ),
        _shape(
            [
                (part.sight_outline, part.sight_holes),
                *((p.outline, p.holes) for p in part.sight_parts),
            ]
        ),
        part.label_at,
        part.label_radius_mm,
        Rectangle(r.width_mm, r.height_mm, r.angle_deg),
        tuple(part.cames),
        part.area_uncertainty_mm2,
    )


def rounded_shape(shape: Shape) -> Shape:
    """Round the corners; a shape that this would make cross itself is brought to the grid."""
    if shape.is_empty:
        return Polygon()
    rounded = shapely.transform(shape, lambda xy: np.round(xy, LENGTH_PLACES) + 0.0)
    if not rounded.is_valid:
        rounded = shapely.set_precision(shape, 10.0**-LENGTH_PLACES)
    parts = [p for p in shapely.get_parts(rounded) if isinstance(p, Polygon) and p.area > 0.0]
    largest_first = sorted(parts, key=lambda part: -part.area)
    return largest_first[0] if len(parts) == 1 else MultiPolygon(largest_first)


def area_parts(shape: Shape) -> list[fields.AreaPart]:
    """Return the parts of a shape, corners rounded."""
    return [
        fields.AreaPart(
            outline=points_part(part.exterior.coords),
            holes=[points_part(ring.coords) for ring in part.interiors],
        )
        for part in shapely.get_parts(shape)
        if not part.is_empty
    ]


def _shape(parts: Iterable[tuple[list[fields.Place], list[list[fields.Place]]]]) -> Shape:
    polygons = [Polygon(outline, holes) for outline, holes in parts if outline]
    if not polygons:
        return Polygon()
    return polygons[0] if len(polygons) == 1 else MultiPolygon(polygons)
