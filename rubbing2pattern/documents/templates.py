"""Templates of the pieces to be replaced: pages to print, and one sheet for a plotter or cutter.

A piece that is larger than the page comes on a page of its own size. It is not split over pages:
glass is cut along the template's edge, and a seam in that edge would be cut into the glass.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from rubbing2pattern.documents.drawing import Drawing, Mark, moved
from rubbing2pattern.documents.dxf import dxf_text
from rubbing2pattern.documents.pdf import pdf_bytes
from rubbing2pattern.documents.svg import svg_text
from rubbing2pattern.documents.template_marks import Template, quarter_turned, template_of
from rubbing2pattern.documents.template_sheet import SheetStyle, doubts
from rubbing2pattern.errors import UsageFault
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.options.templates import LARGEST_PAPER_MM, TemplateOptions
from rubbing2pattern.packing import Packing, sheets_needed

_USUAL = TemplateOptions()


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


def template_documents(
    panel: Panel,
    pieces: Sequence[TemplatePiece],
    options: DocumentOptions,
    templates: TemplateOptions = _USUAL,
) -> dict[str, bytes]:
    """Return templates.pdf (pages), templates.svg and templates.dxf (one sheet) by file name.

    The order of the pieces makes no difference. Without a piece that could have a template there
    is no document.

    Parameters
    ----------
    panel : the finished panel.
    pieces : those to be replaced.
    options : unit, lettering, margins.
    templates : paper, gaps, width of the cutter.

    Raises
    ------
    UsageFault
        A number that the panel does not have or that is given twice, or a grain that is no angle.
    OutputNotWritten
        A template is larger than a PDF page may be.
    """
    _check(panel, pieces)
    drawn = _drawn(panel, pieces, options, templates)
    if not drawn:
        return {}
    without = without_template(panel, [piece.number for piece in pieces])
    told = (f"No template, all under lead: {_listed(without)}.",) if without else ()
    style = SheetStyle(
        panel,
        tuple(template.number for template in drawn),
        (*doubts(panel, [piece.number for piece in pieces]), *told),
        any(piece.grain_deg is not None for piece in pieces),
        options,
    )
    sheet = _one_sheet(drawn, style, templates)
    return {
        "templates.pdf": pdf_bytes(*_pages(drawn, style, templates)),
        "templates.svg": svg_text(sheet).encode(),
        "templates.dxf": dxf_text(sheet).encode(),
    }


def without_template(panel: Panel, numbers: Sequence[int]) -> tuple[int, ...]:
    """Return those numbers whose pieces leave nothing to cut between the hearts."""
    empty = {piece.number for piece in panel.pieces if piece.cut_outline.is_empty}
    return tuple(sorted(empty.intersection(numbers)))


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
    side = () if panel.seen_from == "unstated" else (f"from {panel.seen_from}",)
    return tuple(
        template_of(
            by_number[asked.number],
            (asked.glass, *side, asked.note),
            asked.grain_deg,
            templates.arrow_mm,
            options,
        )
        for asked in sorted(pieces, key=lambda piece: piece.number)
        if not by_number[asked.number].cut_outline.is_empty
    )


def _pages(
    drawn: Sequence[Template], style: SheetStyle, templates: TemplateOptions
) -> tuple[Drawing, ...]:
    """Lay out the pages.

    Rules:

    1. The page stands or lies, whichever leaves fewer templates out, then needs fewer pages.
    2. What does not fit so is tried the other way.
    3. What fits neither way gets a page of its own size.
    """
    width, height = templates.page_mm(style.options.units)
    ways = [(width, LARGEST_PAPER_MM)] if height is None else [(width, height), (height, width)]
    ways = list(dict.fromkeys(ways))
    trials = {way: _packed(drawn, way, style, templates, on_roll=height is None) for way in ways}
    ways.sort(key=lambda way: (len(trials[way].left_out), trials[way].sheets))  # rule 1
    left = list(drawn)
    pages: list[tuple[tuple[float, float], list[Mark], str]] = []
    for way in ways:  # rule 2
        packing = trials[way]
        if len(left) < len(drawn):
            packing = _packed(left, way, style, templates, on_roll=height is None)
        for k in range(packing.sheets):
            marks = list(_on_sheet(left, packing, k, style.around_mm(way[0])))
            size = (way[0], _used(left, packing, k, way[0], style)) if height is None else way
            pages.append((size, marks, ""))
        left = [left[k] for k in packing.left_out]
    for template in left:  # rule 3
        size = _own_size(template, style)
        beside = style.around_mm(size[0])
        note = (
            f"Piece {template.number} is larger than the paper: print this page on a plotter, or "
            "cut by the whole pattern."
        )
        pages.append((size, [moved(m, beside[0], beside[1]) for m in template.marks], note))
    return tuple(
        style.sheet(size, marks, tuple(filter(None, (f"Page {k} of {len(pages)}", note))))
        for k, (size, marks, note) in enumerate(pages, start=1)
    )


def _one_sheet(drawn: Sequence[Template], style: SheetStyle, templates: TemplateOptions) -> Drawing:
    """Lay all templates on one sheet as wide as the cutter, or as the widest of them needs."""
    beside = style.around_mm(templates.cutter_width_mm)
    widest = max(
        min(t.box.width_mm, t.box.height_mm) if t.box.may_turn else t.box.width_mm for t in drawn
    )
    width = max(templates.cutter_width_mm, widest + beside[0] + beside[2] + 0.01)
    # So long that a row over the whole width can always be begun above all others.
    length = width + sum(
        max(t.box.width_mm, t.box.height_mm) + templates.gap_mm for t in drawn
    ) + sum(style.around_mm(width))  # fmt: skip
    packing = _packed(drawn, (width, length), style, templates, on_roll=True)
    size = width, _used(drawn, packing, 0, width, style)
    over = width - templates.cutter_width_mm > 0.01
    note = ("Wider than the cutter: a template needs it.",) if over else ()
    marks = tuple(_on_sheet(drawn, packing, 0, style.around_mm(width)))
    return style.sheet(size, marks, ("All templates on one sheet", *note))


def _packed(
    drawn: Sequence[Template],
    size_mm: tuple[float, float],
    style: SheetStyle,
    templates: TemplateOptions,
    *,
    on_roll: bool,
) -> Packing:
    left, bottom, right, top = style.around_mm(size_mm[0])
    room = size_mm[0] - left - right, size_mm[1] - bottom - top
    return sheets_needed(
        [template.box for template in drawn],
        room,
        gap_mm=templates.gap_mm,
        straight_cuts=on_roll,
    )


def _on_sheet(
    drawn: Sequence[Template],
    packing: Packing,
    sheet: int,
    beside_mm: tuple[float, float, float, float],
) -> Iterator[Mark]:
    for place in packing.places:
        if place.sheet == sheet:
            template = drawn[place.item]
            marks = quarter_turned(template) if place.turned else template.marks
            x, y = place.x_mm + beside_mm[0], place.y_mm + beside_mm[1]
            yield from (moved(mark, x, y) for mark in marks)


def _used(
    drawn: Sequence[Template], packing: Packing, sheet: int, width_mm: float, style: SheetStyle
) -> float:
    """Return the length of a roll that a sheet uses, in whole millimetres."""
    _, bottom, _, top = style.around_mm(width_mm)
    reach = max(
        place.y_mm
        + (drawn[place.item].box.width_mm if place.turned else drawn[place.item].box.height_mm)
        for place in packing.places
        if place.sheet == sheet
    )
    return math.ceil(bottom + max(reach, style.options.check_length_mm) + top)


def _own_size(template: Template, style: SheetStyle) -> tuple[float, float]:
    """Return the page that a template needs, in whole millimetres."""
    box, check = template.box, style.options.check_length_mm
    left, _, right, _ = style.around_mm(1000.0)
    width = math.ceil(left + right + max(box.width_mm, 1.7 * check))
    _, bottom, _, top = style.around_mm(width)
    return width, math.ceil(bottom + top + max(box.height_mm, check))


__all__ = ["TemplatePiece", "template_documents", "without_template"]
