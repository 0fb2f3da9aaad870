"""Templates laid out: on pages to print, and all on one sheet.

A piece that is larger than the page comes on a page of its own size. It is not split over pages:
glass is cut along the template's edge, and a seam in that edge would be cut into the glass.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from rubbing2pattern.documents.drawing import Drawing, Mark, moved
from rubbing2pattern.documents.templates.checklist import ListedTemplate, list_marks
from rubbing2pattern.documents.templates.one_piece import Template, quarter_turned
from rubbing2pattern.documents.templates.surround import SheetStyle, too_large_sentence
from rubbing2pattern.options.templates import LARGEST_PAPER_MM, TemplateOptions
from rubbing2pattern.packing import Packing, sheets_needed

_Size = tuple[float, float]


@dataclass(frozen=True, slots=True)
class _Page:
    """A page before it is known how many there are.

    Attributes
    ----------
    size_mm : width and height on paper.
    marks : of its templates.
    numbers : of its pieces.
    note : a sentence about the page, in its foot.
    """

    size_mm: _Size
    marks: tuple[Mark, ...]
    numbers: tuple[int, ...] = ()
    note: str = ""


def page_drawings(
    drawn: Sequence[Template],
    listed: Sequence[ListedTemplate],
    style: SheetStyle,
    templates: TemplateOptions,
    print_scale: _Size,
) -> tuple[Drawing, ...]:
    """Lay out the pages, last the list that says which template is on which.

    Rules:

    1. The page is upright or across, whichever leaves fewer templates out, then needs fewer pages.
    2. What does not fit so is tried the other way.
    3. What fits neither way gets a page of its own size.

    Parameters
    ----------
    drawn, listed : the templates, and what the list says of them.
    style : what all pages have in common.
    templates : paper and gap.
    print_scale : see `pdf.pdf_bytes`; a page is laid out as large as the printer makes it.
    """
    width, height = templates.page_mm(style.options.units)
    grown = width * print_scale[0], None if height is None else height * print_scale[1]
    # What the printer makes larger must still fit on the paper.
    over = max(width * (print_scale[0] - 1.0), (height or 0.0) * (print_scale[1] - 1.0), 0.0)
    made_for = () if print_scale == (1.0, 1.0) else (printer_sentence(print_scale),)
    style = replace(style, edge_mm=style.edge_mm + 0.5 * over, common_lines=made_for)
    pages = list(_filled(drawn, grown, style, templates))
    on_page = {number: k for k, page in enumerate(pages, start=1) for number in page.numbers}
    first = pages[0].size_mm if grown[1] is None else (grown[0], grown[1])
    pages += (_Page(first, m) for m in list_marks(listed, on_page, first, style))
    return tuple(
        style.sheet(page.size_mm, page.marks, (f"Page {k} of {len(pages)}", page.note))
        for k, page in enumerate(pages, start=1)
    )


def printer_sentence(print_scale: _Size) -> str:
    """Say which printer the pages are made for."""
    return (
        f"Made for a printer that prints lengths {print_scale[0]:.4g} times across, "
        f"{print_scale[1]:.4g} times up."
    )


def _filled(
    drawn: Sequence[Template],
    paper_mm: tuple[float, float | None],
    style: SheetStyle,
    templates: TemplateOptions,
) -> Iterator[_Page]:
    width, height = paper_mm
    roll = height is None
    ways = [(width, LARGEST_PAPER_MM if height is None else height)]
    if height is not None and height != width:
        ways.append((height, width))
    trials = {way: _packed(drawn, way, style, templates, on_roll=roll) for way in ways}
    ways.sort(key=lambda way: (len(trials[way].left_out), trials[way].sheets))  # rule 1
    left = list(drawn)
    for way in ways:  # rule 2
        packing = trials[way]
        if len(left) < len(drawn):
            packing = _packed(left, way, style, templates, on_roll=roll)
        for k in range(packing.sheets):
            marks = tuple(_on_sheet(left, packing, k, style.around_mm(way[0])))
            size = (way[0], _used(left, packing, k, way[0], style)) if roll else way
            numbers = tuple(left[p.item].number for p in packing.places if p.sheet == k)
            yield _Page(size, marks, numbers)
        left = [left[k] for k in packing.left_out]
    for template in left:  # rule 3
        size = _own_size(template, style)
        beside = style.around_mm(size[0])
        marks = tuple(moved(mark, beside[0], beside[1]) for mark in template.marks)
        yield _Page(size, marks, (template.number,), too_large_sentence(template.number))


def one_sheet(drawn: Sequence[Template], style: SheetStyle, templates: TemplateOptions) -> Drawing:
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
