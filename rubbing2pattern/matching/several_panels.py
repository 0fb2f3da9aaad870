"""Several panels matched at once: their numbers kept apart, and panels by their letters.

A window that was taken apart has many panels and one box of glass. The numbers of all panels but
the first are raised, so that a number stands for one opening; what is shown has the letter of the
panel before its own number.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.inputs.edits import Edit
from rubbing2pattern.matching.pattern_evidence import Asked
from rubbing2pattern.model import Panel
from rubbing2pattern.texts import LARGEST_ID

_ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


@dataclass(frozen=True, slots=True)
class PanelMatched:
    """A panel whose openings may be filled.

    Attributes
    ----------
    panel : as its record gives it, all numbers raised by `raised_by`.
    record_sha256 : of the file of that record.
    letter : by which its numbers are known among those of several panels; empty for a single one.
    raised_by : what is added to its numbers.
    asked : where the glass asks for another pattern, the surest first.
    edits : the corrections of these that can be made together, by its own numbers.
    """

    panel: Panel
    record_sha256: str
    letter: str = ""
    raised_by: int = 0
    asked: tuple[Asked, ...] = ()
    edits: tuple[Edit, ...] = ()

    def label(self, number: int) -> str:
        """Return one of its numbers as it is shown: 12, or B12 among several panels."""
        return f"{self.letter}{number - self.raised_by}"

    def holds(self, number: int) -> bool:
        """Return whether a number is one of its pieces."""
        return any(piece.number == number for piece in self.panel.pieces)


def side_by_side(panels: Sequence[tuple[Panel, str]]) -> tuple[PanelMatched, ...]:
    """Return panels, each with the checksum of its record, with numbers that are kept apart.

    Raises
    ------
    UsageFault
        Two panels have one name, they are seen from different sides, or their numbers are too
        large.
    """
    if len(panels) == 1:
        return (PanelMatched(*panels[0]),)
    names = [panel.name for panel, _ in panels]
    twice = next((name for k, name in enumerate(names) if name in names[:k]), None)
    if twice is not None:
        raise UsageFault(f"two of the panels are named {twice!r}; give each panel once")
    other = next((p for p, _ in panels if p.seen_from != panels[0][0].seen_from), None)
    if other is not None:
        raise UsageFault(
            f"panel {names[0]!r} is seen from {panels[0][0].seen_from}, panel {other.name!r} from "
            f"{other.seen_from}; match panels seen from different sides one by one"
        )
    largest = max(piece.number for panel, _ in panels for piece in panel.pieces)
    step = 10 ** len(str(largest))
    if step * len(panels) > LARGEST_ID:
        raise UsageFault(f"piece {largest} has too large a number for {len(panels)} panels at once")
    return tuple(
        PanelMatched(raised(panel, k * step), sha256, _letters(k), k * step)
        for k, (panel, sha256) in enumerate(panels)
    )


def raised(panel: Panel, by: int) -> Panel:
    """Return a panel with all its numbers raised; a negative figure lowers them again."""
    if by == 0:
        return panel

    def number_of(number: int) -> int:
        return number + by

    return replace(
        panel,
        pieces=tuple(replace(p, number=number_of(p.number)) for p in panel.pieces),
        cames=tuple(replace(c, pieces=tuple(map(number_of, c.pieces))) for c in panel.cames),
        findings=tuple(finding.renamed(pieces=number_of) for finding in panel.findings),
    )


def _letters(k: int) -> str:
    """Return A, B .. Z, AA, AB ... for 0, 1 ..."""
    head = _letters(k // len(_ALPHABET) - 1) if k >= len(_ALPHABET) else ""
    return head + _ALPHABET[k % len(_ALPHABET)]
