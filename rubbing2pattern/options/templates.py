"""Options of the templates that replacement glass is cut by."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.options.base import Checked, choice, value
from rubbing2pattern.options.paper import NONE, PaperOptions
from rubbing2pattern.units import Unit, parse_length, parse_sheet

AUTO = "auto"
SMALLEST_PAPER_MM = 200.0
"""Check lengths both ways and the notes at the foot of a page need this much."""
LARGEST_PAPER_MM = 5000.0
"""ISO 32000-1, annex C: a PDF page is 14,400/72 inches, 5080 mm, at most."""

_CURE = "write auto, A4, A3, Letter, Tabloid, 600x900mm, or roll 610mm for a plotter"


@dataclass(frozen=True, slots=True)
class TemplateOptions(Checked):
    """How templates come onto paper, and onto the one sheet for a plotter or cutter."""

    # fmt: off
    paper: str = choice(
        AUTO,
        "of templates.pdf: A4, A3, Letter, Tabloid, 600x900mm, or roll 610mm; auto is the first of "
        "paper.papers, for who has that paper for the pattern has it for templates",
        "Paper of templates.pdf: a page, or a roll of that width.",
    )
    gap_mm: float = value(5.0, 1.0, 50.0, "between templates, room for scissors or a knife",
        "Room between templates on a page or sheet.")
    cutter_width_mm: float = value(
        600.0, 200.0, 5000.0,
        "of the sheet of templates.svg and .dxf; small cutters take 24 inches",
        "Width of the one sheet of templates.svg and templates.dxf.",
    )
    arrow_mm: float = value(25.0, 5.0, 100.0, "longest arrow for the grain; seen at arm's length",
        "Length of the arrow for the grain on a template, at most.")
    # fmt: on

    def __post_init__(self) -> None:
        """Raise `UsageFault` for a value out of range or an unknown paper."""
        Checked.__post_init__(self)
        self.page_mm("mm")

    def following(self, paper: PaperOptions) -> TemplateOptions:
        """Return the options with the pattern's paper, its first one, unless another is set."""
        first = next(iter(paper.papers), NONE)
        if self.paper.strip() != AUTO or first in (AUTO, NONE):
            return self
        return replace(self, paper=first)

    def page_mm(self, units: Unit) -> tuple[float, float | None]:
        """Return width and height of a page; the height is None for a roll.

        Raises
        ------
        UsageFault
            A paper that cannot be read, or that is too small or too large.
        """
        named = ("A4" if units == "mm" else "Letter") if self.paper.strip() == AUTO else self.paper
        roll = re.fullmatch(r"\s*roll\s+(.+)", named, re.IGNORECASE)
        try:
            width_mm, height_mm = (parse_length(roll[1]), None) if roll else parse_sheet(named)
        except UsageFault as fault:
            raise UsageFault(f"paper of the templates: {fault}; {_CURE}") from fault
        sides = [side for side in (width_mm, height_mm) if side is not None]
        if not all(SMALLEST_PAPER_MM <= side <= LARGEST_PAPER_MM for side in sides):
            size = " x ".join(f"{side:.0f}" for side in sides)
            raise UsageFault(
                f"the paper {self.paper!r} for templates is {size} mm, but each side must lie from "
                f"{SMALLEST_PAPER_MM:.0f} to {LARGEST_PAPER_MM:.0f} mm: {_CURE}"
            )
        return width_mm, height_mm
