"""Options of the paper: what the pattern is printed on, by which printer, and from which side."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from typing import Any

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.options.base import Checked, choice, value
from rubbing2pattern.units import (
    MM_PER_INCH,
    PAPER_MM,
    Unit,
    decimal,
    parse_length,
    parse_sheet,
    refuse_long,
)

AUTO = "auto"
NONE = "none"
SMALLEST_PAPER_MM = 200.0
"""Check lengths both ways, the title block and a useful piece of pattern need this much."""
LARGEST_PAPER_MM = 5000.0
"""ISO 32000-1, annex C: a PDF page is 14,400/72 inches, 5080 mm, at most."""

_SCALE_CURE = (
    "write how a print made without --print-scale came out: two factors, as in 1.003x0.998 "
    "(across x up), or its two check lengths as measured, as in 100.3mm,99.8mm"
)
_LEAST_FACTOR, _MOST_FACTOR = 0.95, 1.05
"""How far off a printer may be; further off, the print was fitted to its page."""


@dataclass(frozen=True, slots=True)
class Paper:
    """A paper: its name as used in file names, and its size."""

    name: str
    width_mm: float
    height_mm: float


@dataclass(frozen=True, slots=True)
class PaperOptions(Checked):
    """How the pattern comes onto paper.

    `print_across` and `print_up` say what the printer does: the length of a print, made without
    compensation, over the length it should have, across the page and up it. The pages are drawn
    by so much smaller that the print comes out true.
    """

    # fmt: off
    papers: tuple[str, ...] = choice(
        (AUTO,),
        "papers of the tiled pattern, upright as named: A4, A3, Letter, Tabloid, 600x900mm; auto "
        "is A4, or Letter with inches, as in most offices; none for no tiles",
        "Papers of an office printer on which the pattern is printed in pages.",
    )
    overlap_mm: float = value(
        12.0, 8.0, 60.0, "that neighbouring pages share: tape, and a register mark on the seam",
        "How much of the pattern neighbouring pages share, to be joined there.",
    )
    unprinted_mm: float = value(
        8.0, 4.0, 15.0, "edge of each page left blank; most office printers cannot print 4 to 6 mm",
        "Edge of each page on which nothing is printed.",
    )
    print_across: float = value(
        1.0, _LEAST_FACTOR, _MOST_FACTOR, "a printer that is true; beyond, a print was fitted",
        "How much too wide the printer prints; the pages are drawn narrower by it.",
    )
    print_up: float = value(
        1.0, _LEAST_FACTOR, _MOST_FACTOR, "as print_across; printers differ the way paper is fed",
        "How much too high the printer prints; the pages are drawn lower by it.",
    )
    mirrored: bool = choice(
        False, "yes for a panel that is leaded from the other side; the record is never mirrored",
        "Whether the pattern is drawn as seen from the other side.",
    )
    # fmt: on

    def __post_init__(self) -> None:
        """Raise `UsageFault` for a value out of range, an unknown paper or one given twice."""
        Checked.__post_init__(self)
        self.sheets("mm")

    def sheets(self, units: Unit) -> tuple[Paper, ...]:
        """Return the papers of the tiles, in the order given.

        Raises
        ------
        UsageFault
            A paper that is not known, too small or too large, or given twice.
        """
        if NONE in self.papers and len(self.papers) > 1:
            raise UsageFault("the papers have none and others: write none alone")
        auto = "A4" if units == "mm" else "Letter"
        named = [auto if text == AUTO else text for text in self.papers if text != NONE]
        papers = tuple(_paper(text, units) for text in named)
        for k, paper in enumerate(papers):
            if any(paper.name == other.name for other in papers[:k]):
                raise UsageFault(f"the paper {paper.name} is given twice")
        return papers


def paper_given(
    paper: PaperOptions,
    check_length_mm: float,
    *,
    papers: str | None = None,
    print_scale: str | None = None,
    mirrored: bool | None = None,
) -> PaperOptions:
    """Return the options with what is given as text in place of theirs; None leaves it.

    Parameters
    ----------
    paper : what to start from.
    check_length_mm : what the check lengths of the measured print should be.
    papers, print_scale : see `parse_papers` and `parse_print_scale`.
    mirrored : whether the pattern is drawn as seen from the other side.

    Raises
    ------
    UsageFault
        A text that cannot be read, or a paper that no pattern can be tiled onto.
    """
    chosen: dict[str, Any] = {} if papers is None else {"papers": parse_papers(papers)}
    if print_scale is not None:
        across, up = parse_print_scale(print_scale, check_length_mm)
        chosen |= {"print_across": across, "print_up": up}
    if mirrored is not None:
        chosen["mirrored"] = mirrored
    return replace(paper, **chosen)


def parse_papers(text: str) -> tuple[str, ...]:
    """Read a list of papers: ``A4,Letter``, ``600x900mm``, ``none``.

    Raises
    ------
    UsageFault
        A paper that no pattern can be tiled onto.
    """
    given = tuple(part.strip() for part in text.split(",") if part.strip())
    if not given:
        raise UsageFault(f"{text!r} names no paper: write A4, A4,A3, 600x900mm, or none")
    names = tuple(part.lower() if part.lower() in (AUTO, NONE) else part for part in given)
    return PaperOptions(papers=names).papers


def parse_print_scale(text: str, check_length_mm: float) -> tuple[float, float]:
    """Read what a printer does to lengths and return the factors across and up.

    Parameters
    ----------
    text : two factors, ``1.003x0.998``: a print came out 1.003 times as wide and 0.998 times as
        high as it should; or both check lengths as measured on that print, ``100.3mm,99.8mm``.
    check_length_mm : what the check lengths should be.

    Raises
    ------
    UsageFault
        The text is neither, or no printer is as far off as it says.

    Examples
    --------
    >>> parse_print_scale("100.3mm, 99.8mm", 100.0)
    (1.003, 0.998)
    """
    refuse_long(text, "print scale", _SCALE_CURE)
    factors = re.fullmatch(r"\s*([0-9]*\.?[0-9]+)\s*[x×*]\s*([0-9]*\.?[0-9]+)\s*", text)
    if factors:
        across, up = float(factors[1]), float(factors[2])
    else:
        measured = [part.strip() for part in text.split(",")]
        if len(measured) != 2 or any(re.fullmatch(r"[0-9.\s]*", part) for part in measured):
            raise UsageFault(f"cannot read the print scale {text!r}: {_SCALE_CURE}")
        across, up = (round(parse_length(part) / check_length_mm, 9) for part in measured)
    for way, factor in (("across", across), ("up", up)):
        if not (math.isfinite(factor) and _LEAST_FACTOR <= factor <= _MOST_FACTOR):
            raise UsageFault(
                f"the print scale {text!r} is {factor:g} {way}, but must lie from {_LEAST_FACTOR} "
                f"to {_MOST_FACTOR}; further off, the print was fitted to the page: print at "
                f"100 % and measure again; {_SCALE_CURE}"
            )
    return across, up


def _paper(text: str, units: Unit) -> Paper:
    width_mm, height_mm = parse_sheet(text)
    size = f"{width_mm:.0f} x {height_mm:.0f} mm"
    if min(width_mm, height_mm) < SMALLEST_PAPER_MM:
        raise UsageFault(
            f"the paper {text!r} is {size}, too small for tiles: both sides must be "
            f"{SMALLEST_PAPER_MM:.0f} mm or more, as of A4 and Letter"
        )
    if max(width_mm, height_mm) > LARGEST_PAPER_MM:
        raise UsageFault(
            f"the paper {text!r} is {size}, but a page is {LARGEST_PAPER_MM:.0f} mm at most"
        )
    key = re.sub(r"[\s_-]+", "", text).lower()
    for name in PAPER_MM:
        if re.sub(r"\s", "", name).lower() == key:
            return Paper(name.replace(" ", "-"), width_mm, height_mm)
    return Paper(_size(width_mm, height_mm, units), width_mm, height_mm)


def _size(width_mm: float, height_mm: float, units: Unit) -> str:
    per = MM_PER_INCH if units == "in" else 1.0
    sides = (decimal(side / per, 2).rstrip("0").rstrip(".") for side in (width_mm, height_mm))
    return f"{'x'.join(sides)}{units}"
