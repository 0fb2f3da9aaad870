"""What glass must be bought for the pieces that are replaced."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.glazing.entries import Entry, Filled
from rubbing2pattern.model import Panel, Piece
from rubbing2pattern.options.glass import GlassOptions
from rubbing2pattern.packing import Box, Packing, sheets_needed, upright


@dataclass(frozen=True, slots=True)
class NewPiece:
    """A piece to be made new.

    Attributes
    ----------
    piece, entry : the piece, and what is written about it.
    blank : the rectangle to cut out of the sheet, with an edge to break out in, the grain along
        its height; None where the leads leave no glass.
    size_mm : width and height of the glass as it hangs.
    area_with_waste_mm2 : of the cut outline, with the share for waste.
    """

    piece: Piece
    entry: Entry
    blank: Box | None
    size_mm: tuple[float, float]
    area_with_waste_mm2: float

    @property
    def number(self) -> int:
        """Number of the piece."""
        return self.piece.number


@dataclass(frozen=True, slots=True)
class GlassOrder:
    """All new pieces of one glass.

    Attributes
    ----------
    glass : its name, empty when none is written.
    thickness : as first written, empty when none is.
    pieces : by number.
    sheets : the blanks on sheets; its items count those pieces that have a blank.
    too_large : numbers of pieces that fit on no sheet.
    """

    glass: str
    thickness: str
    pieces: tuple[NewPiece, ...]
    sheets: Packing
    too_large: tuple[int, ...]

    @property
    def area_mm2(self) -> float:
        """Cut area of all pieces."""
        return sum(new.piece.cut_area_mm2 for new in self.pieces)

    @property
    def area_with_waste_mm2(self) -> float:
        """The same with the share for waste."""
        return sum(new.area_with_waste_mm2 for new in self.pieces)


def grain_of(entry: Entry, options: GlassOptions) -> float | None:
    """Return the direction of the grain of a piece in degrees, or None if it has none.

    An entry for the piece counts before the option for all glass.
    """
    if entry.grain_deg is not None:
        return entry.grain_deg
    return options.grain_deg if options.grained else None


def glass_orders(panel: Panel, filled: Filled, options: GlassOptions) -> tuple[GlassOrder, ...]:
    """Gather the pieces to be replaced by glass, and count the sheets they need.

    Glass of one name and one thickness goes together; upper and lower case are the same. Glass
    without a name comes last.
    """
    groups: dict[tuple[bool, str, float], list[NewPiece]] = {}
    for piece in panel.pieces:
        entry = filled.of(piece.number)
        if entry.replaced:
            key = (not entry.glass, entry.glass.casefold(), entry.thickness_mm or 0.0)
            groups.setdefault(key, []).append(_new_piece(piece, entry, options))
    return tuple(_order(groups[key], options) for key in sorted(groups))


def _new_piece(piece: Piece, entry: Entry, options: GlassOptions) -> NewPiece:
    blank, size_mm = None, (0.0, 0.0)
    if not piece.cut_outline.is_empty:
        x_min, y_min, x_max, y_max = piece.cut_outline.bounds
        size_mm = (x_max - x_min, y_max - y_min)
        _, box = upright(piece.cut_outline, grain_of(entry, options))
        edge_mm = 2.0 * options.blank_edge_mm
        blank = Box(box.width_mm + edge_mm, box.height_mm + edge_mm, box.may_turn)
    area_mm2 = piece.cut_area_mm2 * (1.0 + options.waste_share)
    return NewPiece(piece, entry, blank, size_mm, area_mm2)


def _order(pieces: list[NewPiece], options: GlassOptions) -> GlassOrder:
    with_blank = [new for new in pieces if new.blank is not None]
    packing = sheets_needed(
        [new.blank for new in with_blank if new.blank is not None],
        (options.sheet_width_mm, options.sheet_height_mm),
        gap_mm=options.cut_gap_mm,
        edge_mm=options.sheet_edge_mm,
    )
    too_large = tuple(with_blank[k].number for k in packing.left_out)
    first = pieces[0].entry
    return GlassOrder(first.glass, first.thickness, tuple(pieces), packing, too_large)
