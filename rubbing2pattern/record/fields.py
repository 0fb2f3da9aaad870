"""The fields of the panel record, ``panel.json``: names, types and limits.

The JSON Schema in ``docs/panel.schema.json`` is made from these models. Coordinates are in mm in
the panel's frame: origin at the lower left corner of the bounding box of the outer centre outline,
x to the right, y up, seen from the side on which the paper lay. Rings of outlines end with their
first point.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Annotated, Any, Final, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, JsonValue, model_validator

from rubbing2pattern.findings import Code, Severity
from rubbing2pattern.model import Corrected, JointKind, Profile
from rubbing2pattern.texts import ID_NUMBER, LARGEST_ID, is_date, name_fault

FORMAT: Final = "rubbing2pattern panel"
VERSION: Final = 1
"""Of the format; it grows when an older program could misread a record."""

LARGEST_MM: Final = 1e6
"""Of a length or a coordinate, a kilometre; no panel and no wall of panels is as large."""
_LARGEST_RADIUS_MM = 1e9
"""Of an arc, and of the coordinates of its centre: a lead that is all but straight."""
_LARGEST_SIDE_PX = 999_999
"""Of the kept rubbing."""
_LARGEST_NUMBER = 1e15
"""Of a number that has no unit of its own; a double has all whole numbers up to there."""


def _real_day(text: str) -> str:
    if not is_date(text):
        raise ValueError(f"{text!r} is not a date")
    return text


def _panel_name(name: str) -> str:
    fault = name_fault(name)
    if fault:
        raise ValueError(fault)
    return name


def _finite(datum: JsonValue) -> JsonValue:
    """Refuse numbers that a later reader could not take, wherever they lie in a table."""
    if isinstance(datum, dict):
        for item in datum.values():
            _finite(item)
    elif isinstance(datum, list):
        for item in datum:
            _finite(item)
    elif isinstance(datum, int | float) and not abs(datum) <= _LARGEST_NUMBER:
        raise ValueError(f"a number is not finite, or larger than {_LARGEST_NUMBER:g}")
    return datum


Length = Annotated[float, Field(strict=True, ge=-LARGEST_MM, le=LARGEST_MM)]
"""A length with its sign, or a coordinate. Numbers are strict: neither true nor "1" is one."""
Size = Annotated[float, Field(strict=True, ge=0.0, le=LARGEST_MM)]
Positive = Annotated[float, Field(strict=True, gt=0.0, le=LARGEST_MM)]
Area = Annotated[float, Field(strict=True, ge=0.0, le=LARGEST_MM**2)]
Share = Annotated[float, Field(strict=True, ge=0.0, le=LARGEST_MM)]
Angle = Annotated[float, Field(strict=True, ge=-3600.0, le=3600.0)]
"""In degrees; ten turns."""
Figure = Annotated[float, Field(strict=True, ge=-_LARGEST_NUMBER, le=_LARGEST_NUMBER)]
"""A number of any meaning."""
Flag = Annotated[bool, Field(strict=True)]
Place = tuple[Length, Length]
Ring = Annotated[list[Place], Field(min_length=4)]
_Far = Annotated[float, Field(strict=True, ge=-_LARGEST_RADIUS_MM, le=_LARGEST_RADIUS_MM)]
Day = Annotated[str, Field(pattern=r"^[0-9]{4}-[0-9]{2}-[0-9]{2}$"), AfterValidator(_real_day)]
Number = Annotated[int, Field(strict=True, ge=1, le=LARGEST_ID)]
"""Of a piece; six digits, as in a file of corrections."""
CameName = Annotated[str, Field(pattern=f"^C{ID_NUMBER}$")]
JointName = Annotated[str, Field(pattern=f"^J{ID_NUMBER}$")]
FindingName = Annotated[str, Field(pattern=f"^F{ID_NUMBER}$")]
PanelName = Annotated[str, AfterValidator(_panel_name)]
Plain = Annotated[JsonValue, AfterValidator(_finite)]
"""What the record carries along without reading it; its numbers are finite."""


class Part(BaseModel):
    """Base of all parts: no unknown fields, no infinite numbers, nothing changed once read."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, allow_inf_nan=False, use_attribute_docstrings=True
    )


class AreaPart(Part):
    """One polygon of a shape that is in several parts."""

    outline: Ring
    holes: list[Ring] = []


class PlacementPart(Part):
    """Rigid motion from the rubbing sheet to the panel: turned about the origin, then shifted."""

    angle_deg: Angle
    dx_mm: Length
    dy_mm: Length


class PanelPart(Part):
    """The panel as a whole."""

    name: PanelName
    """the panel's identifier as given"""
    seen_from: Literal["inside", "outside", "unstated"]
    """the side on which the paper lay"""
    width_mm: Size
    """bounding box of the outer centre outline"""
    height_mm: Size
    outer_width_mm: Size
    """the same to the outer edges of the border leads"""
    outer_height_mm: Size
    heart_mm: Size
    """given, never measured"""
    clearance_mm: Size
    """between heart and glass, on each side; given"""
    level_angle_deg: Angle
    """angle taken out when the panel was levelled"""
    placement: PlacementPart
    outline: list[AreaPart]
    """union of all centre outlines"""


class ResidualPart(Part):
    """How far one reference mark lies from the fit."""

    name: str
    residual_mm: Length
    used: Flag = True


class ScalePart(Part):
    """How the scale was found and how far it can be trusted."""

    reference: str
    px_per_mm: Positive
    relative_uncertainty: Share
    """one standard deviation of any length, as a share of it"""
    residuals: list[ResidualPart] = []
    lens_k1: Figure = 0.0
    """radial coefficient of the lens that was taken out"""
    statement: str = ""


class JointPart(Part):
    """Where cames meet."""

    id: JointName
    x: Length
    y: Length
    kind: JointKind
    uncertainty_mm: Size
    cames: list[CameName]


class LineCurve(Part):
    """A straight lead line, from the first point of the path to the last."""

    kind: Literal["line"]


class ArcCurve(Part):
    """A circular lead line; sweep positive anticlockwise, 360 or -360 for a ring."""

    kind: Literal["arc"]
    centre: tuple[_Far, _Far]
    radius_mm: Annotated[float, Field(strict=True, gt=0.0, le=_LARGEST_RADIUS_MM)]
    start_deg: Angle
    sweep_deg: Annotated[float, Field(strict=True, ge=-360.0, le=360.0)]


class CubicCurve(Part):
    """A chain of n cubic Bézier curves: 3 n + 1 control points."""

    kind: Literal["cubic"]
    control: Annotated[list[Place], Field(min_length=4)]

    @model_validator(mode="after")
    def _whole_curves(self) -> CubicCurve:
        if len(self.control) % 3 != 1:
            raise ValueError(f"control has {len(self.control)} points, but must have 3 n + 1")
        return self


CurvePart = Annotated[LineCurve | ArcCurve | CubicCurve, Field(discriminator="kind")]


class CamePart(Part):
    """A came between two joints."""

    id: CameName
    start: JointName
    end: JointName
    path: Annotated[list[Place], Field(min_length=2)]
    """the lead line as a polyline"""
    curve: CurvePart
    """the lead line exactly"""
    length_mm: Size
    strip: Annotated[int, Field(strict=True, ge=0, le=LARGEST_ID)]
    """number of the continuous run of lead it belongs to"""
    face_width_mm: Positive
    face_width_uncertainty_mm: Size | None
    """one standard deviation; null when it could not be estimated"""
    shown_width_mm: Size | None
    """width of the dark band in the rubbing"""
    stock: str
    """name of the nearest stock width"""
    stock_mm: Positive
    border: Flag
    profile: Profile
    seen_share: Share
    """share of the length that the rubbing shows"""
    contrast: Share
    confidence: Share
    """probability that this lead is there"""
    gaps: list[Place] = []
    """from and to along the came [mm], bridged because the rubbing does not show it"""
    pieces: list[Number]
    """numbers of the pieces to the left and right"""
    corrected: Corrected = Corrected.NO
    """what a person settled about it; empty when nothing"""


class RectanglePart(Part):
    """Smallest rectangle around the cut outline; width is the longer side."""

    width_mm: Size
    height_mm: Size
    angle_deg: Angle


class PiecePart(Part):
    """One piece of glass."""

    number: Number
    outline: Ring
    """centre outline: to the middle of the leads"""
    holes: list[Ring] = []
    cut_outline: list[Place]
    """as the glass is cut; empty when the leads leave no glass"""
    cut_holes: list[Ring] = []
    cut_parts: list[AreaPart] = []
    """further parts, where the leads divide the piece"""
    sight_outline: list[Place]
    """as seen between the leaves"""
    sight_holes: list[Ring] = []
    sight_parts: list[AreaPart] = []
    centre_area_mm2: Area
    cut_area_mm2: Area
    sight_area_mm2: Area
    area_uncertainty_mm2: Area
    """one standard deviation of the centre area"""
    label_at: Place
    """where the number is written"""
    label_radius_mm: Length
    """free circle there"""
    rectangle: RectanglePart
    cames: list[CameName]
    """around the piece in order, then around its holes, then strap leads in it"""


class FindingPart(Part):
    """One doubt."""

    id: Annotated[str, Field(pattern=f"^(F{ID_NUMBER})?$")] = ""
    """its name, which stays through all corrections; empty for loose glass, and in records that
    were written before findings had names"""
    code: Code
    severity: Severity
    message: str
    """its sentence, made from kind, ids and figures"""
    at: Place | None
    pieces: list[Number] = []
    """numbers of the pieces touched"""
    kind: str = ""
    """which sentence of its code; empty where only the sentence is known"""
    cames: list[CameName] = []
    joints: list[JointName] = []
    """ids that the sentence names, as `cames`"""
    numbers: dict[str, Figure] = {}
    """figures of the sentence; each name ends in its unit"""
    names: dict[str, str] = {}
    """what the sentence names besides: a mark, a file, a stock width, a side of the sheet"""


class DismissedPart(FindingPart):
    """A doubt that a person has settled without changing the panel."""

    by: str
    date: Day
    why: str


class ChangePart(Part):
    """One correction that was made."""

    table: str
    """kind of correction"""
    index: Annotated[int, Field(strict=True, ge=1)]
    """which of its kind in the file"""
    given: dict[str, Plain]
    """its fields, lengths in mm"""
    did: str
    """what it did"""


class CorrectionsPart(Part):
    """What one file of corrections did."""

    by: str
    date: Day
    remark: str = ""
    file: Annotated[str, Field(pattern=rf"^corrections-{ID_NUMBER}\.toml$")]
    """name of the copy beside the record"""
    sha256: str
    """of the file"""
    changes: list[ChangePart]
    pieces_new: list[Number] = []
    pieces_gone: list[Number] = []
    cames_new: list[CameName] = []
    cames_gone: list[CameName] = []
    joints_new: list[JointName] = []
    findings_new: list[FindingName] = []
    findings_gone: list[FindingName] = []


class RubbingPart(Part):
    """The rubbing kept beside the record: rectified, in the panel's frame, for the overlay."""

    file: Literal["rubbing.png"]
    px_per_mm: Positive
    left_mm: Length
    """x of the centre of the first column"""
    top_mm: Length
    """y of the centre of the first row"""
    width_px: Annotated[int, Field(strict=True, ge=1, le=_LARGEST_SIDE_PX)]
    height_px: Annotated[int, Field(strict=True, ge=1, le=_LARGEST_SIDE_PX)]


class PanelRecord(Part):
    """Everything known of a panel."""

    format: Literal["rubbing2pattern panel"]
    version: Literal[1]
    units: Literal["mm"]
    panel: PanelPart
    scale: ScalePart
    joints: list[JointPart]
    cames: list[CamePart]
    pieces: list[PiecePart]
    findings: list[FindingPart]
    dismissed: list[DismissedPart] = []
    corrections: list[CorrectionsPart] = []
    rubbing: RubbingPart | None = None
    provenance: dict[str, Plain]

    @model_validator(mode="after")
    def _names_exist(self) -> PanelRecord:
        """Collect every name that is listed twice or unknown."""
        joints, cames = [j.id for j in self.joints], [c.id for c in self.cames]
        pieces = [p.number for p in self.pieces]
        faults = _twice("joints.id", joints) + _twice("cames.id", cames)
        faults += _twice("pieces.number", pieces)
        faults += _unknown("joints", self.joints, "cames", cames, "came")
        faults += _unknown("cames", self.cames, "pieces", pieces, "piece")
        faults += _unknown("pieces", self.pieces, "cames", cames, "came")
        faults += _same(self.dismissed)
        faults += _twice("corrections.file", [c.file for c in self.corrections])
        faults += _twice("findings.id", [f.id for f in self.findings if f.id])
        faults += _unknown("findings", self.findings, "pieces", pieces, "piece")
        faults += _unknown("findings", self.findings, "cames", cames, "came")
        faults += _unknown("findings", self.findings, "joints", joints, "joint")
        faults += [
            f"cames.{k}.{end}: there is no joint {getattr(came, end)!r}"
            for k, came in enumerate(self.cames)
            for end in ("start", "end")
            if getattr(came, end) not in joints
        ]
        if faults:
            raise ValueError("; ".join(faults[:5]))
        return self


def _twice(field: str, names: Sequence[str | int]) -> list[str]:
    return [f"{field}: {name!r} is listed twice" for name, n in Counter(names).items() if n > 1]


def _same(dismissed: Sequence[DismissedPart]) -> list[str]:
    said = [part.model_dump_json() for part in dismissed]
    first = {text: k for k, text in reversed([*enumerate(said)])}
    return [
        f"dismissed.{k}: it is the same as dismissed.{first[text]}"
        for k, text in enumerate(said)
        if first[text] != k
    ]


def _unknown(
    parts_name: str, parts: list[Any], field: str, known: list[Any], what: str
) -> list[str]:
    names = set(known)
    return [
        f"{parts_name}.{k}.{field}: there is no {what} {name!r}"
        for k, part in enumerate(parts)
        for name in getattr(part, field)
        if name not in names
    ]
