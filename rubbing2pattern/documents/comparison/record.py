"""The record of a comparison: from a `Comparison` to ``comparison.json``, and back to its fields.

Lengths are rounded to 0.001 mm, as in the record of the panel.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from rubbing2pattern.comparing.found import (
    BorderSide,
    Bow,
    Comparison,
    JointPair,
    LeadPair,
    LoneLead,
    PieceLine,
)
from rubbing2pattern.comparing.rigid import Motion
from rubbing2pattern.documents.comparison import fields
from rubbing2pattern.documents.comparison.fields import FORMAT, VERSION, ComparisonRecord
from rubbing2pattern.geometry.curves import Point
from rubbing2pattern.inputs.files import content_of
from rubbing2pattern.model import Panel
from rubbing2pattern.record.fields import PlacementPart
from rubbing2pattern.record.history import LENGTH_PLACES
from rubbing2pattern.record.panel import points_part
from rubbing2pattern.record.text import (
    json_text,
    plain_values,
    record_read,
    schema_of,
)

_AREA_PLACES, _ANGLE_PLACES, _SHARE_PLACES, _SMALL_SHARE_PLACES = 2, 7, 4, 7


def comparison_record(found: Comparison, provenance: Mapping[str, Any]) -> ComparisonRecord:
    """Return the record of a comparison.

    Parameters
    ----------
    provenance : plain values that JSON can hold: program, options.
    """
    return ComparisonRecord(
        format=FORMAT,
        version=VERSION,
        units="mm",
        before=_panel(found.before, found.before_sha256),
        after=_panel(found.after, found.after_sha256),
        registration=_registration(found),
        differs=found.differs,
        leads=[_lead(pair) for pair in found.pairs],
        lone_leads=[_lone(lead) for lead in found.lone_leads],
        joints=[_joint(pair) for pair in found.joint_pairs],
        lone_joints=[
            fields.LoneJointPart(fate=lone.fate, joint=lone.joint, at=_place(lone.at))
            for lone in found.lone_joints
        ],
        pieces=[_piece(line) for line in found.pieces],
        sides=[_side(side) for side in found.sides],
        notes=list(found.notes),
        provenance=plain_values(provenance),
    )


def comparison_json(found: Comparison, provenance: Mapping[str, Any]) -> str:
    """Write the record as JSON, one line for each lead, joint, piece and side."""
    return json_text(comparison_record(found, provenance))


def read_comparison(path: Path) -> ComparisonRecord:
    """Read a record of a comparison.

    Raises
    ------
    InputUnreadable
        No such file, no such record, another version, or a field that is wrong.
    """
    what = "record of a comparison"
    return record_read(content_of(path), str(path), ComparisonRecord, (FORMAT, VERSION), what)


def comparison_schema() -> str:
    """Return the JSON Schema of the record, as in ``docs/comparison.schema.json``."""
    return schema_of(ComparisonRecord)


def _panel(panel: Panel, sha256: str) -> fields.ComparedPanel:
    return fields.ComparedPanel.model_validate(
        {
            "name": panel.name,
            "seen_from": panel.seen_from,
            "pieces": len(panel.pieces),
            "cames": len(panel.cames),
            "relative_uncertainty": _round(panel.scale.relative_uncertainty, _SMALL_SHARE_PLACES),
            "record_sha256": sha256,
        }
    )


def _registration(found: Comparison) -> fields.RegistrationPart:
    laid = found.registration
    return fields.RegistrationPart(
        mirrored=laid.motion.mirrored,
        placement=_placement(laid.motion),
        share=_round(laid.share, _SHARE_PLACES),
        inner_share=_if_known(laid.inner_share, _SHARE_PLACES),
        rms_mm=_mm(laid.rms_mm),
        uncertainty_mm=_mm(laid.uncertainty_mm),
        growth=_round(laid.growth, _SMALL_SHARE_PLACES),
        growth_uncertainty=_if_known(laid.growth_uncertainty, _SMALL_SHARE_PLACES),
        alike=[
            fields.OtherMotion(mirrored=motion.mirrored, placement=_placement(motion))
            for motion in laid.alike
        ],
    )


def _placement(motion: Motion) -> PlacementPart:
    placement = motion.placement
    return PlacementPart(
        angle_deg=_round(placement.angle_deg, _ANGLE_PLACES),
        dx_mm=_mm(placement.dx_mm),
        dy_mm=_mm(placement.dy_mm),
    )


def _lead(pair: LeadPair) -> fields.LeadPart:
    return fields.LeadPart(
        before=pair.before,
        after=pair.after,
        length_mm=_mm(pair.length_mm),
        moved=pair.moved,
        shift_mm=_place(pair.shift_mm),
        most_mm=_mm(pair.most_mm),
        most_at=_place(pair.most_at),
        move_uncertainty_mm=_mm(pair.uncertainty_mm),
        width_changed=pair.width_changed,
        width_before_mm=_mm(pair.width_before_mm),
        width_after_mm=_mm(pair.width_after_mm),
        width_uncertainty_mm=_if_known(pair.width_uncertainty_mm, LENGTH_PLACES),
        stock_before=pair.stock_before,
        stock_after=pair.stock_after,
    )


def _lone(lead: LoneLead) -> fields.LoneLeadPart:
    return fields.LoneLeadPart(
        fate=lead.fate,
        came=lead.came,
        whole=lead.whole,
        length_mm=_mm(lead.length_mm),
        face_width_mm=_mm(lead.face_width_mm),
        path=points_part(lead.path),
    )


def _joint(pair: JointPair) -> fields.JointPairPart:
    return fields.JointPairPart(
        before=pair.before,
        after=pair.after,
        at=_place(pair.at),
        shift_mm=_place(pair.shift_mm),
        uncertainty_mm=_mm(pair.uncertainty_mm),
        moved=pair.moved,
    )


def _piece(line: PieceLine) -> fields.PieceLinePart:
    return fields.PieceLinePart(
        fate=line.fate,
        before=list(line.before),
        after=list(line.after),
        area_before_mm2=_round(line.area_before_mm2, _AREA_PLACES),
        area_after_mm2=_round(line.area_after_mm2, _AREA_PLACES),
    )


def _side(side: BorderSide) -> fields.SidePart:
    return fields.SidePart(
        name=side.name,
        kind=side.kind,
        before=_bow(side.before),
        after=_bow(side.after),
        change_mm=_mm(side.change_mm),
        change_at=_place(side.change_at),
        uncertainty_mm=_mm(side.uncertainty_mm),
        changed=side.changed,
    )


def _bow(bow: Bow) -> fields.BowPart:
    return fields.BowPart(
        length_mm=_mm(bow.length_mm),
        rise_mm=_mm(bow.rise_mm),
        most_mm=_mm(bow.most_mm),
        along_mm=_mm(bow.along_mm),
        at=_place(bow.at),
    )


def _place(at: Point) -> Point:
    return (_mm(at[0]), _mm(at[1]))


def _mm(length_mm: float) -> float:
    return _round(length_mm, LENGTH_PLACES)


def _if_known(number: float, places: int) -> float | None:
    return _round(number, places) if math.isfinite(number) else None


def _round(number: float, places: int) -> float:
    return round(float(number), places) + 0.0
