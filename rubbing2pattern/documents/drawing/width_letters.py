"""The widths of lead in a panel: one letter for each, in the drawing and in the list alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from string import ascii_uppercase

from rubbing2pattern.model import Came, Panel


@dataclass(frozen=True, slots=True)
class WidthUse:
    """All cames of one stock width.

    Attributes
    ----------
    letter : "A" for the narrowest; AA after Z.
    stock, stock_mm : name and size of the width.
    cames : the cames, in the panel's order.
    """

    letter: str
    stock: str
    stock_mm: float
    cames: tuple[Came, ...]

    @property
    def length_mm(self) -> float:
        """Length of lead lines of this width."""
        return sum(came.length_mm for came in self.cames)

    @property
    def border_length_mm(self) -> float:
        """The share of the length that lies at the border."""
        return sum(came.length_mm for came in self.cames if came.border)

    @property
    def measured_mm(self) -> tuple[float, float, float]:
        """Least, mean (by length) and largest face width measured."""
        widths = [came.face_width_mm for came in self.cames]
        weight = sum(came.face_width_mm * came.length_mm for came in self.cames)
        mean = weight / self.length_mm if self.length_mm > 0.0 else sum(widths) / len(widths)
        return min(widths), mean, max(widths)

    @property
    def longest_mm(self) -> float:
        """Length of the longest came."""
        return max(came.length_mm for came in self.cames)


def widths_used(panel: Panel) -> tuple[WidthUse, ...]:
    """Group the cames of a panel by stock width, narrowest first."""
    groups: dict[tuple[float, str], list[Came]] = {}
    for came in panel.cames:
        groups.setdefault((came.stock_mm, came.stock), []).append(came)
    return tuple(
        WidthUse(letter_of(k), stock, stock_mm, tuple(groups[stock_mm, stock]))
        for k, (stock_mm, stock) in enumerate(sorted(groups))
    )


def commonest(uses: Sequence[WidthUse]) -> WidthUse | None:
    """Return the width with the greatest length, the narrowest of equals."""
    return max(uses, key=lambda use: use.length_mm, default=None)


def letter_of(index: int) -> str:
    """Return A, B ... Z, AA, AB ... for 0, 1 ..."""
    letter = ascii_uppercase[index % 26]
    return letter if index < 26 else letter_of(index // 26 - 1) + letter
