"""The first page of a tiled pattern: which tile is where, how they go together, the title block."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from rubbing2pattern.documents.drawing import Anchor, Mark, Stroke, Text
from rubbing2pattern.documents.drawing.layers import LEAD_LINE, PANEL_NOTE
from rubbing2pattern.documents.drawing.margin import Column, Flow, title_block
from rubbing2pattern.documents.drawing.pattern import PanelMarks
from rubbing2pattern.documents.tiles.tile_page import MAP_LEAD, MAP_SEAM, TilePlan, words_options
from rubbing2pattern.documents.wording import count_of, size_of
from rubbing2pattern.errors import OutputNotWritten
from rubbing2pattern.geometry.curves import Arc, Cubic, Curve, Line, Point
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.reading import Bounds
from rubbing2pattern.units import format_length

_ADVICE_SHARE = 0.34
"""Of the page's width, for the words beside the map."""
_GAP_MM = 5.0
_LEAST_MAP_MM = 60.0
_WIDEST_BLOCK_MM = 250.0
_TILE_NAME_MM = 4.0


def map_pages(
    plan: TilePlan,
    drawn: PanelMarks,
    panel: Panel,
    provenance: Mapping[str, Any],
    options: DocumentOptions,
) -> tuple[tuple[Mark, ...], ...]:
    """Draw the map, and the title block below it or, where there is no room, on a second page.

    The marks of each page are given from its lower left corner.

    Raises
    ------
    OutputNotWritten
        When the title block is larger than the paper.
    """
    small = words_options(options)
    x_min, y_min, x_max, y_max = plan.frame.window_mm
    width = min(x_max - x_min, _WIDEST_BLOCK_MM)
    block = title_block(
        panel, provenance, width, small, mirrored=plan.mirrored, strips=drawn.with_strips
    )
    advice = _advice(plan, panel, _ADVICE_SHARE * (x_max - x_min) - _GAP_MM, small)
    need = max(advice.depth_mm, _LEAST_MAP_MM)
    if y_max - y_min - block.depth_mm - _GAP_MM >= need:
        beside = (x_min, y_min + block.depth_mm + _GAP_MM, x_max, y_max)
        return ((*_map(plan, drawn, advice, beside), *block.at((x_min, y_min + block.depth_mm))),)
    if block.depth_mm > y_max - y_min or need > y_max - y_min:
        raise OutputNotWritten(
            f"the paper {plan.sheet.name} is too small for the title block; choose a larger "
            "--paper or a smaller documents.letter_height_mm"
        )
    return (tuple(_map(plan, drawn, advice, plan.frame.window_mm)), tuple(block.at((x_min, y_max))))


def _advice(plan: TilePlan, panel: Panel, width_mm: float, options: DocumentOptions) -> Column:
    flow = Flow(width_mm, options.letter_height_mm, options.units)
    check = format_length(options.check_length_mm, options.units, decimals=0)
    first, last = plan.tiles[0].name, plan.tiles[-1].name
    tiles = count_of(len(plan.tiles), "tile")
    flow.line("Map of the tiles", 1.6 * flow.height_mm, bold=True)
    flow.text(f"{tiles} on {plan.sheet.name}" + (f", {first} to {last}" if first != last else ""))
    if len(plan.tiles) < plan.grid.rows * plan.grid.columns:
        flow.text("A dash: the panel does not reach there, so there is no page.")
    flow.heading("Putting them together")
    for advice in (
        "1. Print all pages in one go, at 100 %, never fitted to the page, all the same way up.",
        f"2. Measure both check lengths of each page: {check}. If all pages are off alike, give "
        f'what you measured, --print-scale "{_example(options)}" (across, up), and print again.',
        "3. Cut each page along its left and upper crop marks, where it has a neighbour there.",
        "4. Lay row by row, from the left: each page over the one to its left, each row over the "
        "one above, until the register marks lie on each other. Tape.",
        "5. Measure the whole: over all "
        f"{size_of(panel.outer_width_mm, panel.outer_height_mm, options)}.",
    ):
        flow.text(advice)
        flow.y -= 0.5 * flow.height_mm
    if (plan.paper.print_across, plan.paper.print_up) != (1.0, 1.0):
        flow.heading("Made for one printer")
        flow.text(
            f"It prints lengths {plan.paper.print_across:.4f} times across and "
            f"{plan.paper.print_up:.4f} times up; these pages make up for it. On another printer, "
            "or on the screen, they are not true."
        )
    return flow.column()


def _example(options: DocumentOptions) -> str:
    return "100.3mm,99.8mm" if options.units == "mm" else "4.01in,3.99in"


def _map(plan: TilePlan, drawn: PanelMarks, advice: Column, place: Bounds) -> Iterator[Mark]:
    """Yield the panel small with the seams over it, in the left of a place, advice at its right."""
    x_min, y_min, x_max, y_max = place
    words_left = x_max - _ADVICE_SHARE * (x_max - x_min) + _GAP_MM
    yield from advice.at((words_left, y_max))
    everything = [tile.cell_mm for tile in plan.grid.tiles()]
    left, low = min(c[0] for c in everything), min(c[1] for c in everything)
    right, high = max(c[2] for c in everything), max(c[3] for c in everything)
    room = words_left - _GAP_MM - x_min, y_max - y_min
    factor = min(room[0] / (right - left), room[1] / (high - low))
    shift = (x_min - factor * left, y_max - factor * high)
    for mark in drawn.marks:
        if isinstance(mark, Stroke) and mark.layer == LEAD_LINE:
            yield Stroke(MAP_LEAD, _smaller(mark.curve, factor, shift))
    for start, end in _seams(plan):
        yield Stroke(MAP_SEAM, Line(_at(start, factor, shift), _at(end, factor, shift)))
    shown = {tile.name for tile in plan.tiles}
    for tile in plan.grid.tiles():
        left, low, right, high = (factor * side for side in tile.cell_mm)
        height = min(_TILE_NAME_MM, 0.25 * (right - left), 0.5 * (high - low))
        middle = (0.5 * (left + right) + shift[0], 0.5 * (low + high) + shift[1])
        said = tile.name if tile.name in shown else "–"
        yield Text(PANEL_NOTE, middle, said, height, Anchor.CENTRE, bold=True, patch=True)


def _seams(plan: TilePlan) -> Iterator[tuple[Point, Point]]:
    """Yield the ends of each seam and of the four sides once; twice, dashes fill each other."""
    cells = [tile.cell_mm for tile in plan.grid.tiles()]
    xs = sorted({round(x, 6) for cell in cells for x in cell[::2]})
    ys = sorted({round(y, 6) for cell in cells for y in cell[1::2]})
    for x in xs:
        yield (x, ys[0]), (x, ys[-1])
    for y in ys:
        yield (xs[0], y), (xs[-1], y)


def _at(point: Point, factor: float, shift: Point) -> Point:
    return (factor * point[0] + shift[0], factor * point[1] + shift[1])


def _smaller(curve: Curve, factor: float, shift: Point) -> Curve:
    match curve:
        case Line():
            return Line(_at(curve.start, factor, shift), _at(curve.end, factor, shift))
        case Arc():
            centre = _at(curve.centre, factor, shift)
            return Arc(centre, factor * curve.radius_mm, curve.start_deg, curve.sweep_deg)
    return Cubic(tuple(_at(p, factor, shift) for p in curve.control))
