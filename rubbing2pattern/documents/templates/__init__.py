"""Templates of the pieces to be replaced: pages to print, and one sheet for a plotter or cutter."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from rubbing2pattern.documents.drawing import Drawing, plain_text
from rubbing2pattern.documents.formats.dxf import dxf_text
from rubbing2pattern.documents.formats.pdf import pdf_bytes
from rubbing2pattern.documents.formats.svg import svg_text
from rubbing2pattern.documents.templates.checklist import ListedTemplate
from rubbing2pattern.documents.templates.layout import one_sheet, page_drawings
from rubbing2pattern.documents.templates.one_piece import Template, template_of
from rubbing2pattern.documents.templates.surround import SheetStyle, doubts
from rubbing2pattern.errors import UsageFault
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.options.templates import TemplateOptions

_USUAL = TemplateOptions()
_MOST_LETTERS = 400
"""Of what was typed about a piece; more than its lines in the list can hold."""


@dataclass(frozen=True, slots=True)
class TemplatePiece:
    """A piece that gets a template.

    Attributes
    ----------
    number : of the piece in the panel.
    glass : what it is to be cut from, as typed; written under the number where there is room.
    note : a remark, written under the glass.
    grain_deg : direction of the grain in the panel, anticlockwise from the x axis (90 for upright
        streaks), or None for glass without one.
    """

    number: int
    glass: str = ""
    note: str = ""
    grain_deg: float | None = None


@dataclass(frozen=True, slots=True)
class Templates:
    """Templates as they are drawn.

    Attributes
    ----------
    pages : to print.
    sheet : all of them on one sheet for a plotter or cutter.
    print_scale : what the printer makes of a length across and up, over what it should be; the
        pages make up for it.
    """

    pages: tuple[Drawing, ...]
    sheet: Drawing
    print_scale: tuple[float, float]

    def pdf(self) -> bytes:
        """Return the pages as PDF."""
        return pdf_bytes(*self.pages, print_scale=self.print_scale)

    def svg(self) -> str:
        """Return the sheet as SVG."""
        return svg_text(self.sheet)

    def dxf(self) -> str:
        """Return the sheet as DXF."""
        return dxf_text(self.sheet)


def templates_of(
    panel: Panel,
    pieces: Sequence[TemplatePiece],
    options: DocumentOptions,
    templates: TemplateOptions = _USUAL,
    print_scale: tuple[float, float] = (1.0, 1.0),
) -> Templates | None:
    """Draw the templates of pieces; None without a piece that could have a template.

    The order of the pieces makes no difference.

    Parameters
    ----------
    panel : the finished panel.
    pieces : those to be replaced.
    options : unit, lettering, margins.
    templates : paper, gaps, width of the cutter.
    print_scale : see `Templates`.

    Raises
    ------
    UsageFault
        A number that the panel does not have or that is given twice, or a grain that is not an
        angle.
    OutputNotWritten
        A template is larger than a PDF page may be.
    """
    _check(panel, pieces)
    drawn = _drawn(panel, pieces, options, templates)
    if not drawn:
        return None
    without = without_template(panel, [piece.number for piece in pieces])
    unneeded = (f"No template, all under lead: {_listed(without)}.",) if without else ()
    style = SheetStyle(
        panel,
        (*doubts(panel, [piece.number for piece in pieces]), *unneeded),
        any(piece.grain_deg is not None for piece in pieces),
        options,
        options.margin_mm,
    )
    pages = page_drawings(drawn, _listed_with(drawn, pieces), style, templates, print_scale)
    return Templates(tuple(pages), one_sheet(drawn, style, templates), print_scale)


def without_template(panel: Panel, numbers: Sequence[int]) -> tuple[int, ...]:
    """Return those numbers whose pieces leave nothing to cut between the hearts."""
    empty = {piece.number for piece in panel.pieces if piece.cut_outline.is_empty}
    return tuple(sorted(empty.intersection(numbers)))


def _listed_with(
    drawn: Sequence[Template], pieces: Sequence[TemplatePiece]
) -> tuple[ListedTemplate, ...]:
    """Return what the list of templates says of each."""
    words = {piece.number: (piece.glass, piece.note) for piece in pieces}
    grained = {piece.number for piece in pieces if piece.grain_deg is not None}
    return tuple(
        ListedTemplate(
            template.number,
            template.box,
            plain_text("; ".join(filter(None, words[template.number])))[:_MOST_LETTERS],
            grained=template.number in grained,
        )
        for template in drawn
    )


def _check(panel: Panel, pieces: Sequence[TemplatePiece]) -> None:
    known = {piece.number for piece in panel.pieces}
    counts = Counter(piece.number for piece in pieces)
    faults = []
    unknown = sorted(number for number in counts if number not in known)
    if unknown:
        faults.append(
            f"templates are asked for {_listed(unknown)}, but panel {panel.name} has the pieces "
            f"{min(known)} to {max(known)}"
        )
    twice = sorted(number for number, count in counts.items() if count > 1)
    if twice:
        faults.append(f"templates are asked for twice: {_listed(twice)}; give each piece once")
    for piece in pieces:
        if piece.grain_deg is not None and not abs(piece.grain_deg) <= 360.0:
            faults.append(
                f"the grain of piece {piece.number} is {piece.grain_deg:g} degrees, but must lie "
                "from -360 to 360"
            )
    if faults:
        raise UsageFault("; ".join(faults))


def _listed(numbers: Sequence[int]) -> str:
    more = f" and {len(numbers) - 12} more" if len(numbers) > 12 else ""
    noun = "piece" if len(numbers) == 1 else "pieces"
    return f"{noun} {', '.join(map(str, numbers[:12]))}{more}"


def _drawn(
    panel: Panel,
    pieces: Sequence[TemplatePiece],
    options: DocumentOptions,
    templates: TemplateOptions,
) -> tuple[Template, ...]:
    by_number = {piece.number: piece for piece in panel.pieces}
    side = panel.side.removeprefix("seen ")
    return tuple(
        template_of(
            by_number[asked.number],
            panel.name,
            (asked.glass, side, asked.note),
            asked.grain_deg,
            templates.arrow_mm,
            options,
        )
        for asked in sorted(pieces, key=lambda piece: piece.number)
        if not by_number[asked.number].cut_outline.is_empty
    )
