"""Options of the glass: what a filled-in sheet may hold, sheets to buy, and the kiln."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.options.base import Checked, choice, value


@dataclass(frozen=True, slots=True)
class GlassOptions(Checked):
    """How the sheet of pieces is read, and how new glass is counted and fired."""

    # fmt: off
    most_faults: int = value(20, 1, 1000, "problems of a sheet in one message; a screenful",
        "How many problems of a filled-in sheet one message lists.")
    least_thickness_mm: float = value(0.5, 0.1, 3.0, "thinner is not window glass",
        "A thinner glass on a filled-in sheet is refused.")
    most_thickness_mm: float = value(25.0, 6.0, 60.0, "thicker was meant in another unit",
        "A thicker glass on a filled-in sheet is refused.")
    blank_edge_mm: float = value(
        5.0, 0.0, 50.0, "glass left round a piece for breaking it out; common practice",
        "Glass that is ordered all round each new piece, for breaking it out.",
    )
    waste_share: float = value(
        0.25, 0.0, 2.0, "of the area, for breakage and offcuts; from memory, 10 to 30 %",
        "Share of the area that is ordered in addition.",
    )
    sheet_width_mm: float = value(
        600.0, 50.0, 5000.0, "of a sheet as it is sold; from memory, ask the maker",
        "Width of a sheet of glass, by which sheets to buy are counted.",
    )
    sheet_height_mm: float = value(900.0, 50.0, 5000.0, "as sheet_width_mm",
        "Height of a sheet of glass, by which sheets to buy are counted.")
    sheet_edge_mm: float = value(
        10.0, 0.0, 100.0, "of a sheet that is not used: thick and curled edges; common practice",
        "Edge of a sheet of glass from which no piece is cut.",
    )
    cut_gap_mm: float = value(2.0, 0.0, 50.0, "between pieces on a sheet, for the wheel",
        "Room between pieces on a sheet of glass.")
    grained: bool = choice(
        True, "yes: the grain runs as grain_deg says and no piece is turned on a sheet",
        "Whether new glass has a grain, so that pieces are not turned on the sheet.",
    )
    grain_deg: float = value(
        90.0, 0.0, 180.0, "direction of the grain as the panel hangs; 90 is upright, 0 level",
        "Direction of the grain in pieces for which the sheet of pieces states none.",
    )
    paint_f: float = value(
        1175.0, 900.0, 1400.0, "firing of traced and shaded paint, °F; common practice, no source",
        "Temperature that kiln.csv gives for painted pieces.",
    )
    stain_f: float = value(1100.0, 900.0, 1300.0, "firing of silver stain, °F; as paint_f",
        "Temperature that kiln.csv gives for pieces with silver stain.")
    paint_parts: float = value(
        20.0, 1.0, 200.0, "powdered paint to 1 of gum arabic, to start from; common practice",
        "How much powdered paint the notes on firing mix with one part of gum arabic.",
    )
    shelf_width_mm: float = value(400.0, 50.0, 3000.0, "of a kiln shelf; measure yours",
        "Width of the kiln's shelf, by which shelves are counted.")
    shelf_height_mm: float = value(400.0, 50.0, 3000.0, "as shelf_width_mm",
        "Depth of the kiln's shelf, by which shelves are counted.")
    shelf_gap_mm: float = value(
        10.0, 0.0, 100.0, "between pieces on the shelf, and to its edge; common practice",
        "Room around each piece on the kiln's shelf.",
    )
    # fmt: on

    def __post_init__(self) -> None:
        """Raise `UsageFault` for a value out of range, or edges that leave no sheet or shelf."""
        Checked.__post_init__(self)
        for what, edge_mm in (("sheet", self.sheet_edge_mm), ("shelf", self.shelf_gap_mm)):
            sides = getattr(self, f"{what}_width_mm"), getattr(self, f"{what}_height_mm")
            if 2.0 * edge_mm >= min(sides):
                raise UsageFault(
                    f"an edge of {edge_mm:g} mm leaves no glass of a {what} of "
                    f"{sides[0]:g} x {sides[1]:g} mm"
                )
