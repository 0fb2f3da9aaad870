"""Matched loose pieces as a result: photographs, pieces, openings and who fits where."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from rubbing2pattern.findings import Code, Finding
from rubbing2pattern.geometry.curves import Point
from rubbing2pattern.matching.loose import LoosePiece, Match, Matches, Placed, Verdict
from rubbing2pattern.matching.several_panels import PanelMatched
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

    @property
    def unread_mm(self) -> tuple[Point, ...]:
        """Where something lies that may be glass and was not outlined, in the sheet's mm."""
        codes = (Code.GLASS_UNREAD,)
        return tuple(f.at for f in self.findings if f.code in codes and f.at is not None)

    def where(self, finding: Finding) -> str:
        """Say in which photograph a finding was made and, where it names no piece, at which pixel.

        Pixels are counted from the upper left corner, as in a file of known numbers.
        """
        if finding.at is None or "loose" in finding.names:
            return self.name
        column, row = self.rubbing.warp.to_px([finding.at])[0]
        return f"{self.name} at pixel {column:.0f},{row:.0f}"


@dataclass(frozen=True, slots=True)
class Matching:
    """Loose pieces of some photographs matched with the numbered pieces of one or several panels.

    Attributes
    ----------
    panels : the panels; of several, numbers are raised as each says.
    matches : what was found.
    photos : in the order given.
    face_up : "inside" or "outside": the side of the glass that lies up; "unstated" when it is taken
        to be that from which the panel is seen.
    turn_over : whether pieces were tried turned over as well.
    provenance : plain values for the record.
    """

    panels: tuple[PanelMatched, ...]
    matches: Matches
    photos: tuple[LoosePhoto, ...]
    face_up: str
    turn_over: bool
    provenance: Mapping[str, Any]

    @property
    def panel(self) -> Panel:
        """The panel, or the first of several."""
        return self.panels[0].panel

    def home(self, number: int) -> PanelMatched:
        """Return the panel that a number belongs to."""
        return next(p for p in reversed(self.panels) if number > p.raised_by)

    def label(self, number: int) -> str:
        """Return a number as it is shown: 12, or B12 among several panels."""
        return self.home(number).label(number)

    def labels(self, numbers: Iterable[int]) -> str:
        """Return numbers as they are shown, one after the other: A3, A7, B12 or all of B."""
        given = sorted(numbers)
        whole = [
            own
            for own in self.panels[: None if len(self.panels) > 1 else 0]
            if {piece.number for piece in own.panel.pieces} <= {*given}
        ]
        some = [self.label(n) for n in given if not any(own.holds(n) for own in whole)]
        return ", ".join([*some, *(f"all of {own.letter}" for own in whole)])

    @property
    def title(self) -> str:
        """What was matched with: the panel, or all of them with their letters."""
        if len(self.panels) == 1:
            return f"Panel {self.panel.name}"
        return f"Panels {', '.join(f'{p.letter}: {p.panel.name}' for p in self.panels)}"

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
