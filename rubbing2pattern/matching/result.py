"""Matched loose pieces as a result: photographs, pieces, openings and who fits where."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from rubbing2pattern.findings import Code, Finding
from rubbing2pattern.inputs.edits import Edit
from rubbing2pattern.matching.loose import LoosePiece, Match, Matches, Placed, Verdict
from rubbing2pattern.matching.pattern_evidence import Asked
from rubbing2pattern.model import Panel
from rubbing2pattern.reading import Rubbing

Colours = npt.NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class LoosePhoto:
    """A photograph of loose pieces with its map to millimetres.

    Attributes
    ----------
    rubbing : the photograph and its warp.
    colour : (H, W, 3) the same picture in red, green, blue.
    pieces : what was found in it.
    findings : what is doubtful about it and them, places in the sheet's mm.
    """

    rubbing: Rubbing
    colour: Colours
    pieces: tuple[LoosePiece, ...]
    findings: tuple[Finding, ...] = ()

    @property
    def name(self) -> str:
        """File name without folder."""
        return self.rubbing.photograph.source


@dataclass(frozen=True, slots=True)
class Matching:
    """Loose pieces of some photographs matched with the numbered pieces of a panel.

    Attributes
    ----------
    panel : the panel, as its record gives it.
    record_sha256 : of the file of that record.
    matches : what was found.
    photos : in the order given.
    face_up : "inside" or "outside": the side of the glass that lies up; "unstated" when it is taken
        to be that from which the panel is seen.
    turn_over : whether pieces were tried turned over as well.
    provenance : plain values for the record.
    asked : where the glass asks for another pattern, the surest first.
    edits : the corrections of these that can be made together.
    """

    panel: Panel
    record_sha256: str
    matches: Matches
    photos: tuple[LoosePhoto, ...]
    face_up: str
    turn_over: bool
    provenance: Mapping[str, Any]
    asked: tuple[Asked, ...] = ()
    edits: tuple[Edit, ...] = ()

    def of(self, piece: str) -> Match:
        """Return what was found about a loose piece, by its id."""
        return next(match for match in self.matches.matches if match.piece.id == piece)

    def count(self, *verdicts: Verdict) -> int:
        """Count the loose pieces of which one of these was found."""
        return sum(match.verdict in verdicts for match in self.matches.matches)

    @property
    def findings(self) -> tuple[Finding, ...]:
        """All that is doubtful: about the matches, then about each photograph."""
        return (*self.matches.findings, *(f for photo in self.photos for f in photo.findings))

    @property
    def unread(self) -> int:
        """How many things in the photographs may be glass and were not matched."""
        codes = [f.code for photo in self.photos for f in photo.findings]
        return codes.count(Code.GLASS_UNREAD) + codes.count(Code.GLASS_CUT_OFF)

    @property
    def parts_missing(self) -> tuple[int, ...]:
        """Numbers that fragments fill only in part."""
        return tuple(a.number for a in self.matches.assemblies if not a.missing.is_empty)

    @property
    def placed(self) -> int:
        """How many loose pieces have a place, fragments among them."""
        return sum(match.placed is not None for match in self.matches.matches)

    @property
    def up(self) -> str:
        """The side of the glass that lies up, "inside" or "outside"; empty when it is unknown."""
        side = self.panel.seen_from if self.face_up == "unstated" else self.face_up
        return "" if side == "unstated" else side

    @property
    def upside_down(self) -> bool:
        """Whether all pieces lie with the side up from which the panel is not seen."""
        return self.face_up != "unstated" and self.face_up != self.panel.seen_from

    def lies_over(self, placed: Placed) -> bool:
        """Return whether a piece lies with another side up than the rest."""
        return placed.over is not self.upside_down
