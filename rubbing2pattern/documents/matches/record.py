"""The record of matched loose pieces: from a `Matching` to ``matches.json``, and its fields.

Lengths are rounded to 0.001 mm, as in the record of the panel.
"""

from __future__ import annotations

from pathlib import Path

from shapely.geometry import Polygon

from rubbing2pattern.documents.matches import fields
from rubbing2pattern.documents.matches.fields import FORMAT, VERSION, MatchesRecord
from rubbing2pattern.geometry.frame import Placement
from rubbing2pattern.inputs.files import content_of
from rubbing2pattern.matching.loose import Assembly, Match, Near, Placed, Stretch, Verdict
from rubbing2pattern.matching.pattern_evidence import Asked
from rubbing2pattern.matching.result import LoosePhoto, Matching
from rubbing2pattern.record.fields import AreaPart, PlacementPart
from rubbing2pattern.record.history import LENGTH_PLACES, finding_part
from rubbing2pattern.record.panel import area_parts, points_part, rounded_shape, scale_part
from rubbing2pattern.record.text import (
    json_text,
    plain_values,
    record_read,
    schema_of,
)

_AREA_PLACES, _ANGLE_PLACES, _SHARE_PLACES, _LIKELIHOOD_PLACES, _COLOUR_PLACES = 2, 5, 4, 3, 1
_UNWEIGHED = (Verdict.CUT_OFF, Verdict.FRAGMENT)
"""Verdicts without a margin."""


def has_margin(match: Match) -> bool:
    """Return whether a margin was found: not where a person gave the number, nor for fragments."""
    weighed = not match.known and match.verdict not in _UNWEIGHED
    return weighed and (match.placed is not None or match.second is not None)


def matches_record(matching: Matching) -> MatchesRecord:
    """Return the record of matched loose pieces."""
    panel, matches = matching.panel, matching.matches
    areas_mm2 = {piece.number: piece.cut_area_mm2 for piece in panel.pieces}
    return MatchesRecord.model_validate(
        {
            "format": FORMAT,
            "version": VERSION,
            "units": "mm",
            "panel": fields.MatchedPanel.model_validate(
                {
                    "name": panel.name,
                    "seen_from": panel.seen_from,
                    "pieces": len(panel.pieces),
                    "record_sha256": matching.record_sha256,
                }
            ),
            "face_up": matching.face_up,
            "turn_over": matching.turn_over,
            "photos": [_photo_part(photo) for photo in matching.photos],
            "pieces": [_loose_part(match) for match in matches.matches],
            "assemblies": [_assembly_part(assembly) for assembly in matches.assemblies],
            "unfilled": [
                fields.OpenPart(number=n, cut_area_mm2=_round(areas_mm2[n], _AREA_PLACES))
                for n in matches.unfilled
            ],
            "groups": [list(group) for group in matches.groups],
            "pattern": [_asked_part(asked) for asked in matching.asked],
            "findings": [finding_part(finding) for finding in matches.findings],
            "provenance": plain_values(matching.provenance),
        }
    )


def matches_json(matching: Matching) -> str:
    """Write the record as JSON, one line for each loose piece."""
    return json_text(matches_record(matching))


def read_matches(path: Path) -> MatchesRecord:
    """Read a record of matches.

    Raises
    ------
    InputUnreadable
        No such file, no such record, another version, or a field that is wrong.
    """
    what = "record of matches"
    return record_read(content_of(path), str(path), MatchesRecord, (FORMAT, VERSION), what)


def matches_schema() -> str:
    """Return the JSON Schema of the record, as in ``docs/matches.schema.json``."""
    return schema_of(MatchesRecord)


def _photo_part(photo: LoosePhoto) -> fields.PhotoPart:
    rubbing = photo.rubbing
    return fields.PhotoPart(
        name=photo.name,
        sha256=rubbing.photograph.sha256,
        scale=scale_part(rubbing.scale),
        findings=[finding_part(finding) for finding in photo.findings],
    )


def _loose_part(match: Match) -> fields.LoosePart:
    piece = match.piece
    return fields.LoosePart.model_validate(
        {
            "piece": piece.id,
            "photo": piece.photo,
            "verdict": match.verdict,
            "numbers": list(match.numbers),
            "placed": None if match.placed is None else _placed_part(match.placed),
            "margin": _round(match.margin, _LIKELIHOOD_PLACES) if has_margin(match) else None,
            "second": match.second,
            "known": match.known,
            "whole": piece.whole,
            "outline": _area(piece.outline),
            "uncertainty_mm": _mm(piece.uncertainty_mm),
            "nearest": None if match.nearest is None else _near_part(match.nearest),
            "pattern": list(match.pattern),
            "colour": piece.colour and tuple(_round(c, _COLOUR_PLACES) for c in piece.colour),
        }
    )


def _near_part(near: Near) -> fields.NearPart:
    return fields.NearPart(
        numbers=list(near.numbers),
        over=near.over,
        large_mm=_mm(near.large_mm),
        small_mm=_mm(near.small_mm),
    )


def _asked_part(asked: Asked) -> fields.AskedPart:
    return fields.AskedPart(
        wrong=asked.wrong,
        id=asked.id,
        at=(_mm(asked.at[0]), _mm(asked.at[1])),
        by_mm=(_mm(asked.by_mm[0]), _mm(asked.by_mm[1])),
        uncertainty_mm=_mm(asked.uncertainty_mm),
        log_odds=_round(asked.log_odds, _LIKELIHOOD_PLACES),
        numbers=list(asked.numbers),
        pieces=list(asked.names),
    )


def _placed_part(placed: Placed) -> fields.PlacedPart:
    return fields.PlacedPart(
        number=placed.number,
        over=placed.over,
        placement=_placement(placed.placement),
        outline=_area(placed.outline),
        rms_mm=_mm(placed.rms_mm),
        log_likelihood=_round(placed.log_likelihood, _LIKELIHOOD_PLACES),
        groze=[_stretch(stretch) for stretch in placed.groze],
        short=[_stretch(stretch) for stretch in placed.short],
        groze_mm=_mm(placed.groze_mm),
        short_mm=_mm(placed.short_mm),
        play_mm=_mm(placed.play_mm),
    )


def _placement(placement: Placement) -> PlacementPart:
    return PlacementPart(
        angle_deg=_round(placement.angle_deg, _ANGLE_PLACES),
        dx_mm=_mm(placement.dx_mm),
        dy_mm=_mm(placement.dy_mm),
    )


def _stretch(stretch: Stretch) -> fields.StretchPart:
    at = (_mm(stretch.at[0]), _mm(stretch.at[1]))
    return fields.StretchPart(path=points_part(stretch.path), most_mm=_mm(stretch.most_mm), at=at)


def _assembly_part(assembly: Assembly) -> fields.AssemblyPart:
    return fields.AssemblyPart(
        number=assembly.number,
        pieces=list(assembly.pieces),
        filled=_round(assembly.filled, _SHARE_PLACES),
        missing=area_parts(rounded_shape(assembly.missing)),
    )


def _area(outline: Polygon) -> AreaPart:
    """Return an outline; of one that rounding parts, the largest part."""
    return max(area_parts(rounded_shape(outline)), key=lambda a: Polygon(a.outline, a.holes).area)


def _mm(length_mm: float) -> float:
    return _round(length_mm, LENGTH_PLACES)


def _round(number: float, places: int) -> float:
    return round(float(number), places) + 0.0
