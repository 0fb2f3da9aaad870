"""Options of the documents: unit, lettering, margins, resolution of the overlay."""

from __future__ import annotations

from dataclasses import dataclass
from typing import get_args

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.options.base import Checked, choice, value
from rubbing2pattern.units import MM_PER_INCH, Unit

FRACTIONS = (16, 32)
"""Parts of an inch on the rules of the bench."""
LINES = ("heart", "cut", "sight")
"""Lines that are drawn on the pattern on wish."""
IDS = ("came", "joint")
"""Of what ids are written on the pattern on wish."""


@dataclass(frozen=True, slots=True)
class DocumentOptions(Checked):
    """How the documents are drawn and written."""

    # fmt: off
    units: Unit = choice("mm", "mm, or in for inches with fractions; the record is always in mm",  # noqa: RUF009
        "Unit in which lists, pages and summary state lengths.")
    fraction: int = choice(16, "16 or 32: the finest part of an inch on the rules of the bench",
        "Finest part of an inch in which lengths are written.")
    margin_mm: float = value(
        8.0, 5.0, 50.0, "paper outside the frame; plotters leave about 5 mm of an edge unprinted",
        "Paper that stays blank outside the frame of the pattern.",
    )
    clear_mm: float = value(
        12.0, 5.0, 100.0, "between panel and frame, room for the notes of the bench",
        "Room between the panel and the frame of the pattern.",
    )
    number_height_mm: float = value(
        6.0, 2.0, 20.0, "height of piece numbers where there is room; read from a step away",
        "Height of the piece numbers on the pattern where there is room.",
    )
    least_number_mm: float = value(
        1.2, 0.5, 5.0, "smallest height of piece numbers; print of 5 point can still be read",
        "Piece numbers are not drawn smaller than this, however small the piece.",
    )
    letter_height_mm: float = value(
        2.0, 1.5, 5.0, "height of capitals in the title block; ISO 3098 begins at 1.8 mm",
        "Height of the capitals in the title block.",
    )
    lines: tuple[str, ...] = choice(
        (), "none, for a clear drawing; or of heart, cut, sight, with commas between",
        "Lines printed on the pattern besides: hearts, cut lines, sight lines.",
    )
    ids: tuple[str, ...] = choice(
        (), "none, so that numbers of pieces are found easily; or of came, joint",
        "Ids written on the pattern besides: of cames, of joints.",
    )
    edge_scale: bool = choice(
        True, "yes, for by it the eye finds a place that a message names",
        "Whether pattern and tiles have a scale along their edges.",
    )
    overlay_px_per_mm: float = value(
        5.0, 1.0, 20.0, "a lead of 4 mm is 20 pixels wide, so half a millimetre can be seen",
        "How finely overlay.png shows the rubbing.",
    )
    overlay_limit_mp: float = value(
        16.0, 1.0, 200.0, "megapixels of the overlay; beyond, its resolution is lowered",
        "A larger overlay.png is drawn at a lower resolution.",
    )
    overlay_margin_mm: float = value(
        15.0, 0.0, 200.0, "rubbing shown around the panel, to see a border that was missed",
        "How much of the rubbing around the panel overlay.png shows.",
    )
    report_crops: int = value(
        30, 0, 500, "pictures of findings in the report; some three pages of them",
        "How many findings are shown with a picture in report.html.",
    )
    report_crop_mm: float = value(
        60.0, 20.0, 300.0, "width of the rubbing in such a picture; shows the leads around a place",
        "Width of the rubbing in each picture of a finding.",
    )
    report_limit_mb: float = value(
        5.0, 0.5, 100.0, "megabytes of the report, so that it can be mailed; pictures get coarser",
        "The pictures of a larger report.html are made coarser.",
    )
    # fmt: on

    def __post_init__(self) -> None:
        """Raise `UsageFault` for a value out of range or an unknown unit or fraction."""
        Checked.__post_init__(self)
        if self.units not in get_args(Unit):
            raise UsageFault(f"units is {self.units!r}, but must be mm or in")
        if self.fraction not in FRACTIONS:
            raise UsageFault(f"fraction is {self.fraction}, but must be 16 or 32")
        for name, known in (("lines", LINES), ("ids", IDS)):
            unknown = [text for text in getattr(self, name) if text not in known]
            if unknown:
                raise UsageFault(
                    f"{name} has {unknown[0]!r}, but takes {', '.join(known)}; write it like "
                    f"{','.join(known[:2])}"
                )
        if self.least_number_mm > self.number_height_mm:
            raise UsageFault(
                f"least_number_mm is {self.least_number_mm:g}, but must not be over "
                f"number_height_mm, {self.number_height_mm:g}"
            )

    @property
    def check_length_mm(self) -> float:
        """Length to measure on a print: 100 mm, or 4 inches."""
        return 100.0 if self.units == "mm" else 4.0 * MM_PER_INCH
