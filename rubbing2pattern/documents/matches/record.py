"""The record of matched loose pieces: from a `Matching` to ``matches.json``, and its fields.

Lengths are rounded to 0.001 mm, as in the record of the panel.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from shapely.geometry import Polygon

from rubbing2pattern.documents.matches import fields
from rubbing2pattern.documents.matches.fields import FORMAT, VERSION, MatchesRecord
from rubbing2pattern.geometry.frame import Placement
from rubbing2pattern.inputs.files import content_of
from rubbing2pattern.matching.loose import Assembly, Match, Near, Placed, Stretch, Verdict
from rubbing2pattern.matching.pattern_evidence import Asked
from rubbing2pattern.matching.result import LoosePhoto, Matching
from rubbing2pattern.matching.several_panels import PanelMatched
from rubbing2pattern.record.fields import AreaPart, PlacementPart
from rubbing2pattern.record.history import LENGTH_PLACES, finding_part
from rubbing2pattern.record.panel import area_parts, points_part, rounded_shape, scale_part
from rubbing2pattern.record.text import (
    json_text,
    plain_values,
    record_read,
    schema_of,
)
from rubbing2pattern.texts import LARGEST_ID

_AREA_PLACES, _ANGLE_PLACES, _SHARE_PLACES, _LIKELIHOOD_PLACES, _COLOUR_PLACES = 2, 5, 4, 3, 1
_UNWEIGHED = (Verdict.CUT_OFF, Verdict.FRAGMENT)
"""Verdicts without a margin."""


def has_margin(match: Match) -> bool:
    """Return whether a margin was found: not where a person gave the number, nor for fragments."""
    weighed = not match.known and match.verdict not in _UNWEIGHED
    return weighed and (match.placed is not None or match.second is not None)


def matches_record(matching: Matching) -> MatchesRecord:
    """Return the record of matched loose pieces."""
    matches = matching.matches
    panels = [_panel_part(own) for own in matching.panels]
    areas_mm2 = {
        piece.number: piece.cut_area_mm2 for own in matching.panels for piece in own.panel.pieces
    }
    return MatchesRecord.model_validate(
        {
            "format": FORMAT,
            "version": VERSION,
            "units": "mm",
            "panel": panels[0],
            "panels": panels if len(panels) > 1 else [],
            "face_up": matching.face_up,
            "turn_over": matching.turn_over,
            "photos": [_photo_part(photo) for photo in matching.photos],
            "pieces": [_loose_part(match, matching) for match in matches.matches],
            "assemblies": [_assembly_part(assembly) for assembly in matches.assemblies],
            "unfilled": [
                fields.OpenPart(number=n, cut_area_mm2=_round(areas_mm2[n], _AREA_PLACES))
                for n in matches.unfilled
            ],
            "groups": [list(group) for group in matches.groups],
            "pattern": [_asked_part(own, a) for own in matching.panels for a in own.asked],
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


def of_panel(record: MatchesRecord, name: str) -> MatchesRecord | None:
    """Return what a record says about one of its panels, by that panel's own numbers."""
    own = next((p for p in record.panels or [record.panel] if p.name == name), None)
    if own is None:
        return None
    if not record.panels:
        return record
    later = [p.raised_by for p in record.panels if p.raised_by > own.raised_by]
    high = min(later, default=LARGEST_ID + 1)

    def kept(numbers: list[int]) -> list[int]:
        return [n - own.raised_by for n in numbers if own.raised_by < n <= high]

    def lowered(part: Any) -> Any:
        return part.model_copy(update={"number": part.number - own.raised_by})

    return record.model_copy(
        update={
            "panel": own,
            "unfilled": [lowered(p) for p in record.unfilled if kept([p.number])],
            "assemblies": [lowered(a) for a in record.assemblies if kept([a.number])],
            "pieces": [
                p.model_copy(update={"numbers": kept(p.numbers)})
                for p in record.pieces
                if len(kept(p.numbers)) == len(p.numbers)
            ],
            "findings": [
                f.model_copy(update={"pieces": kept(f.pieces)})
                for f in record.findings
                if kept(f.pieces) or not f.pieces
            ],
        }
    )


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


def _loose_part(match: Match, matching: Matching) -> fields.LoosePart:
    piece = match.piece
    return fields.LoosePart.model_validate(
        {
            "piece": piece.id,
            "photo": piece.photo,
            "verdict": match.verdict,
            "numbers": list(match.numbers),
            "panels": list(dict.fromkeys(matching.home(n).panel.name for n in match.numbers)),
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


def _panel_part(own: PanelMatched) -> fields.MatchedPanel:
    return fields.MatchedPanel.model_validate(
        {
            "name": own.panel.name,
            "seen_from": own.panel.seen_from,
            "pieces": len(own.panel.pieces),
            "record_sha256": own.record_sha256,
            "letter": own.letter,
            "raised_by": own.raised_by,
        }
    )


def _asked_part(own: PanelMatched, asked: Asked) -> fields.AskedPart:
    return fields.AskedPart(
        panel=own.panel.name,
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
