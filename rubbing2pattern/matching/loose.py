"""Loose pieces of glass, the openings they may fill, and what is found about both.

A loose piece lies in the frame of its own photograph: millimetres, y upwards, origin anywhere. An
opening lies in the panel's frame. All lengths in mm, angles in degrees anticlockwise.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from shapely.geometry import MultiPolygon, Polygon

from rubbing2pattern.findings import Finding
from rubbing2pattern.geometry.curves import Point
from rubbing2pattern.geometry.frame import Array, Placement


class Verdict(StrEnum):
    """What is to be done with a loose piece."""

    FITS = "fits"
    GROZE = "groze"
    """it reaches over the heart somewhere and has to be grozed"""
    SHORT = "short"
    """its edge would show beside the leaf somewhere"""
    OTHER_SIDE = "other side"
    """it fits turned over only, so that its painted face would look the other way"""
    FRAGMENT = "fragment of"
    """with others it makes up one piece"""
    NO_PLACE = "no place"
    """it fits no opening"""
    CUT_OFF = "cut off"
    """the edge of the picture, or something that lies on it, hides part of its outline"""


@dataclass(frozen=True, slots=True)
class LoosePiece:
    """One loose piece of glass as seen from above.

    Attributes
    ----------
    id : "P1", "P2" ... in reading order, photograph after photograph.
    photo : file name of its photograph, without folder.
    outline : outline of the glass, shifts by its thickness taken out as far as it was stated.
    uncertainty_mm : one standard deviation of the outline across itself.
    whole : False where the outline is cut off by the picture's edge or covered.
    colour : mean colour of the glass as CIE L*, a*, b* (ISO/CIE 11664-4) by the light of the
        photograph, or None.
    """

    id: str
    photo: str
    outline: Polygon
    uncertainty_mm: float
    whole: bool = True
    colour: tuple[float, float, float] | None = None


@dataclass(frozen=True, slots=True)
class Opening:
    """The place of one numbered piece between its leads, in the panel's frame.

    Attributes
    ----------
    number : of the piece.
    hearts : outline to the hearts; glass beyond it binds.
    cut : outline as glass is cut, the hearts less clearance.
    sight : outline between the leaves; where glass does not reach it, light shows.
    uncertainty_mm : one standard deviation of the outlines across themselves.
    """

    number: int
    hearts: Polygon
    cut: Polygon
    sight: Polygon | MultiPolygon
    uncertainty_mm: float


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of an edge where glass and lead do not go together.

    Attributes
    ----------
    path : (N, 2) in the panel's frame, read-only: the edge of the glass where it binds, the edge of
        the leaf where light would show beside it.
    most_mm : how far the worst place is off.
    at : that place.
    """

    path: Array
    most_mm: float
    at: Point


@dataclass(frozen=True, slots=True)
class Placed:
    """A loose piece laid into an opening.

    Attributes
    ----------
    number : of the opening.
    over : whether the piece is turned over first (x becomes -x in its photograph's frame).
    placement : the rigid motion that then carries it from its photograph's frame to the panel's.
    outline : of the glass, in the panel's frame.
    rms_mm : root of the mean squared distance of its edge from the cut outline.
    log_likelihood : of the whole outline, given the uncertainties of both; see `fitting`.
    groze, short : stretches that reach over the heart, and that leave a gap beside the leaf.
    groze_mm, short_mm : the most of each, 0 where there is none.
    play_mm : how far it can be shifted between the hearts, both ways together, where it has the
        least play; 0 when it binds.
    """

    number: int
    over: bool
    placement: Placement
    outline: Polygon
    rms_mm: float
    log_likelihood: float
    groze: tuple[Stretch, ...] = ()
    short: tuple[Stretch, ...] = ()
    groze_mm: float = 0.0
    short_mm: float = 0.0
    play_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class Assembly:
    """Fragments that together make up one piece, or part of it.

    Attributes
    ----------
    number : of the opening in which they are drawn.
    parts : the fragments as placed, with the ids of the loose pieces in `pieces`.
    pieces : ids of the fragments, in the order of `parts`.
    filled : share of the opening's cut outline that they cover, 0 .. 1.
    missing : what is left open between them and the cut outline, parts too thin for glass left out.
    numbers : every opening without glass that they fit as well, `number` among them.
    """

    number: int
    parts: tuple[Placed, ...]
    pieces: tuple[str, ...]
    filled: float
    missing: Polygon | MultiPolygon
    numbers: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Near:
    """The opening that a piece without a place comes nearest to.

    Attributes
    ----------
    numbers : of the opening and all that are alike.
    over : whether the piece would have to be turned over.
    large_mm, small_mm : by how much it reaches over the hearts there, and falls short of leaves.
    outline : of the glass as it would lie there, in the panel's frame.
    """

    numbers: tuple[int, ...]
    over: bool
    large_mm: float
    small_mm: float
    outline: Polygon


@dataclass(frozen=True, slots=True)
class Match:
    """What was found about one loose piece.

    Attributes
    ----------
    piece : the loose piece.
    verdict : what is to be done with it.
    numbers : every number it fits alike: one, several where openings are alike, none for a
        stranger.
    placed : where it lies; among interchangeable openings the first that is free.
    margin : by how much the log likelihood of the whole assignment falls when this piece may not go
        to any of `numbers`; small means doubtful. 0 where a person gave the number.
    second : number of the opening it would then go to; None for none.
    known : whether a person gave the number.
    nearest : of a piece without a place, the opening that it misses by little; None for none.
    pattern : where it does not fit because the pattern may be wrong: names of the panel's findings
        there, and of joints and leads that the glass wants elsewhere.
    """

    piece: LoosePiece
    verdict: Verdict
    numbers: tuple[int, ...] = ()
    placed: Placed | None = None
    margin: float = 0.0
    second: int | None = None
    known: bool = False
    nearest: Near | None = None
    pattern: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Matches:
    """All loose pieces of some photographs against the openings of one panel.

    Attributes
    ----------
    matches : one for each loose piece, in the order of their ids.
    assemblies : openings filled by fragments.
    unfilled : numbers of the pieces for which no glass was found: what still has to be cut. Of a
        group of openings that are alike the last ones are named.
    groups : sets of numbers whose openings are alike, each sorted, without single ones.
    findings : what is doubtful.
    """

    matches: tuple[Match, ...]
    assemblies: tuple[Assembly, ...]
    unfilled: tuple[int, ...]
    groups: tuple[tuple[int, ...], ...]
    findings: tuple[Finding, ...] = ()
