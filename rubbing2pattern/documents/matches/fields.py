"""The fields of the record of matched loose pieces, ``matches.json``: names, types and limits.

The JSON Schema in ``docs/matches.schema.json`` is made from these models. A loose piece lies in
the frame of its photograph's rectified sheet, everything that is placed in the panel's frame; both
in mm, y up. A piece comes from the one to the other so: if ``over``, x becomes -x; then it is
turned by ``angle_deg`` (anticlockwise) about the origin and shifted.
"""

from __future__ import annotations

from typing import Annotated, Final, Literal

from pydantic import Field

from rubbing2pattern.matching.loose import Verdict
from rubbing2pattern.matching.pattern_evidence import Wrong
from rubbing2pattern.record.fields import (
    Area,
    AreaPart,
    Figure,
    FindingPart,
    Flag,
    Number,
    PanelName,
    Part,
    Place,
    PlacementPart,
    Plain,
    ScalePart,
    Share,
    Size,
)
from rubbing2pattern.texts import ID_NUMBER

FORMAT: Final = "rubbing2pattern matches"
VERSION: Final = 1


class MatchedPanel(Part):
    """The panel whose openings were filled."""

    name: PanelName
    seen_from: Literal["inside", "outside", "unstated"]
    pieces: Annotated[int, Field(strict=True, ge=0)]
    record_sha256: str
    """of its panel.json"""
    letter: str = ""
    """by which its numbers are shown where there are several panels: B12"""
    raised_by: Annotated[int, Field(strict=True, ge=0)] = 0
    """added to its numbers in all of this record, so that each stands for one opening"""


class PhotoPart(Part):
    """One photograph of loose pieces."""

    name: str
    """of the file, without folder"""
    sha256: str
    scale: ScalePart
    findings: list[FindingPart]
    """what is doubtful about it and the pieces in it, places in its frame"""


class StretchPart(Part):
    """A stretch of an edge where glass and lead do not go together, in the panel's frame."""

    path: list[Place]
    most_mm: Size
    at: Place
    """where it is worst"""


class PlacedPart(Part):
    """A loose piece laid into an opening."""

    number: Number
    over: Flag
    """turned over first: x becomes -x"""
    placement: PlacementPart
    outline: AreaPart
    """of the glass in its place, in the panel's frame"""
    rms_mm: Size
    """root of the mean squared distance of its edge from the cut outline"""
    log_likelihood: Figure
    groze: list[StretchPart]
    """where it reaches over the heart"""
    short: list[StretchPart]
    """where light would show beside the leaf"""
    groze_mm: Size
    short_mm: Size
    play_mm: Size


class NearPart(Part):
    """The opening that a piece without a place comes nearest to."""

    numbers: list[Number]
    """of the opening and all that are alike"""
    over: Flag
    """it would have to be turned over"""
    large_mm: Size
    """by how much it reaches over the hearts there"""
    small_mm: Size
    """by how much it falls short of the leaves"""


class LoosePart(Part):
    """One loose piece and what was found about it."""

    piece: Annotated[str, Field(pattern=f"^P{ID_NUMBER}$")]
    photo: str
    verdict: Verdict
    numbers: list[Number]
    """every number it fits alike; none for a stranger"""
    panels: Annotated[list[str], Field(default_factory=list)]
    """the panels that these belong to"""
    placed: PlacedPart | None
    """where it lies; of openings that are alike the first that was free"""
    margin: Share | None
    """how much less likely the whole is, as a logarithm, when it may not go there; none where a
    person gave the number, for fragments and for what was not matched"""
    second: Number | None
    """where it would go then"""
    known: Flag
    """a person gave the number"""
    whole: Flag
    """all of its outline is seen"""
    outline: AreaPart
    """in the frame of its photograph"""
    uncertainty_mm: Size
    colour: tuple[Figure, Figure, Figure] | None
    """mean colour of the glass as CIE L*, a*, b* by the light of the photograph"""
    nearest: NearPart | None = None
    """of a piece without a place, the opening that it misses by little"""
    pattern: Annotated[list[str], Field(default_factory=list)]
    """where it does not fit because the pattern may be wrong: names of findings of the panel, and
    of joints and leads that the glass wants elsewhere"""


class AssemblyPart(Part):
    """An opening that fragments fill, or fill in part."""

    number: Number
    pieces: list[str]
    filled: Annotated[float, Field(strict=True, ge=0.0, le=1.0)]
    """share of the cut outline that they cover"""
    missing: list[AreaPart]
    """what is still missing, in the panel's frame"""


class OpenPart(Part):
    """An opening for which there is no glass."""

    number: Number
    cut_area_mm2: Area
    """by which a later reader knows that the piece is still the same"""


class AskedPart(Part):
    """A correction of the pattern that several pieces of glass ask for."""

    panel: PanelName
    wrong: Wrong
    id: str
    """of the joint or the lead"""
    at: Place
    """where the pattern has the joint or the middle of the lead, in the panel's frame"""
    by_mm: Place
    """how far it lies from there, to the right and upwards"""
    uncertainty_mm: Size
    log_odds: Figure
    """logarithm of the odds that the pattern is wrong there"""
    numbers: list[Number]
    """of the openings whose glass agrees"""
    pieces: list[str]
    """that glass"""


class MatchesRecord(Part):
    """Everything found about loose pieces."""

    format: Literal["rubbing2pattern matches"]
    version: Literal[1]
    units: Literal["mm"]
    panel: MatchedPanel
    """the first of the panels"""
    panels: Annotated[list[MatchedPanel], Field(default_factory=list)]
    """where there are several: all of them"""
    face_up: Literal["inside", "outside", "unstated"]
    """the side of the loose pieces that lies up in the photographs; unstated: that of the panel"""
    turn_over: Flag
    """whether pieces were tried turned over as well"""
    photos: list[PhotoPart]
    pieces: list[LoosePart]
    assemblies: list[AssemblyPart]
    unfilled: list[OpenPart]
    groups: list[list[Number]]
    """numbers whose openings are alike"""
    pattern: Annotated[list[AskedPart], Field(default_factory=list)]
    """where the glass asks for another pattern"""
    findings: list[FindingPart]
    provenance: dict[str, Plain]
