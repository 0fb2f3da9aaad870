"""The firings of painted pieces that are made new, in the order in which they are done.

The order and the temperatures are common practice without a source; the temperatures are options.
"""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.glazing.entries import Decoration, Filled
from rubbing2pattern.model import Panel, Piece
from rubbing2pattern.options.glass import GlassOptions
from rubbing2pattern.packing import Box, sheets_needed

_ORDER = (Decoration.PAINTED, Decoration.ENAMEL, Decoration.SILVER_STAIN)
"""Silver stain comes last: a hotter firing after it would spoil it."""


@dataclass(frozen=True, slots=True)
class Firing:
    """One firing.

    Attributes
    ----------
    number : from 1, in order.
    decoration : what is fired.
    temperature_f : in degrees Fahrenheit, None where the maker's sheet gives it.
    pieces : numbers of the pieces in it.
    shelf_mm2 : shelf that they need: their smallest rectangles with the gap around each.
    loads : shelves of the given size that they fill, one firing each or several in one kiln.
    too_large : numbers of pieces that fit on no such shelf.
    """

    number: int
    decoration: Decoration
    temperature_f: float | None
    pieces: tuple[int, ...]
    shelf_mm2: float
    loads: int
    too_large: tuple[int, ...]

    @property
    def temperature_c(self) -> float | None:
        """In degrees Celsius: (°F - 32) / 1.8, by definition."""
        return None if self.temperature_f is None else (self.temperature_f - 32.0) / 1.8


def firings(panel: Panel, filled: Filled, options: GlassOptions) -> tuple[Firing, ...]:
    """Return the firings of all pieces that are replaced and decorated.

    Rules:

    1. Traced and shaded paint first, enamel next, silver stain last; what no piece has is left out.
    2. A piece with several decorations is in several firings.
    3. A piece lies on the shelf in its smallest rectangle with a gap around it.
    """
    temperatures = {
        Decoration.PAINTED: options.paint_f,
        Decoration.ENAMEL: None,
        Decoration.SILVER_STAIN: options.stain_f,
    }
    found: list[Firing] = []
    for decoration in _ORDER:  # rule 1
        pieces = [
            piece
            for piece in panel.pieces
            if not piece.cut_outline.is_empty
            and filled.of(piece.number).replaced
            and decoration in filled.of(piece.number).decoration  # rule 2
        ]
        if pieces:
            found.append(
                _firing(len(found) + 1, decoration, temperatures[decoration], pieces, options)
            )
    return tuple(found)


def _firing(
    number: int,
    decoration: Decoration,
    temperature_f: float | None,
    pieces: list[Piece],
    options: GlassOptions,
) -> Firing:
    gap_mm = options.shelf_gap_mm
    boxes = [Box(p.rectangle.width_mm, p.rectangle.height_mm) for p in pieces]
    packing = sheets_needed(  # rule 3
        boxes,
        (options.shelf_width_mm, options.shelf_height_mm),
        gap_mm=gap_mm,
        edge_mm=gap_mm,
        straight_cuts=False,
    )
    shelf_mm2 = sum((box.width_mm + gap_mm) * (box.height_mm + gap_mm) for box in boxes)
    too_large = tuple(pieces[k].number for k in packing.left_out)
    numbers = tuple(piece.number for piece in pieces)
    return Firing(number, decoration, temperature_f, numbers, shelf_mm2, packing.sheets, too_large)
