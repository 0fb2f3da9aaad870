"""The frame of every page of the tiled pattern: check lengths, name, warning, page number."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from rubbing2pattern.documents.drawing import (
    Anchor,
    Layer,
    LineType,
    Mark,
    Text,
    plain_text,
    text_width_mm,
    wrapped,
)
from rubbing2pattern.documents.drawing.layers import (
    CHECK_LENGTH,
    EDGE_SCALE,
    PANEL_NOTE,
    SHEET_FRAME,
    layers_for,
)
from rubbing2pattern.documents.drawing.margin import check_lengths
from rubbing2pattern.documents.drawing.mirroring import side_text
from rubbing2pattern.documents.tiles.grid import Grid, PageFrame, Tile
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.options.paper import Paper, PaperOptions
from rubbing2pattern.units import format_length

REGISTER_MARK = "register mark"
CROP_MARK = "crop mark"
MAP_LEAD = "map lead"
MAP_SEAM = "map seam"

_AROUND = (SHEET_FRAME, CHECK_LENGTH, EDGE_SCALE, PANEL_NOTE)


def page_layers(options: DocumentOptions) -> tuple[Layer, ...]:
    """Return the layers of a page: what belongs to the panel ends at the window."""
    return (
        Layer(MAP_LEAD, 0.13),
        Layer(MAP_SEAM, 0.35, LineType.DASHED),
        *(
            replace(layer, cut=layer.name not in _AROUND)
            for layer in layers_for(options)
            if layer.shown
        ),
        Layer(REGISTER_MARK, 0.13),
        Layer(CROP_MARK, 0.18),
    )


NAME_MM = 4.5
_CHECK_IN_MM, _CHECK_AWAY_MM = 15.0, 4.5
"""The check lengths begin so far inside the window's corner, clear of crop marks, beside it."""
_LARGEST_WORDS_MM = 2.0
_LEADING = 1.6
_WARNING = "Print at 100 %, never fitted to the page"


@dataclass(frozen=True, slots=True)
class TilePlan:
    """All that is decided before pages are drawn.

    Attributes
    ----------
    tiles : those that show any of the panel, row by row.
    mirrored : True when the panel is drawn as seen from the other side.
    """

    sheet: Paper
    paper: PaperOptions
    frame: PageFrame
    grid: Grid
    tiles: tuple[Tile, ...]
    mirrored: bool


def words_options(options: DocumentOptions) -> DocumentOptions:
    """Return the options with lettering that the strips of a page have room for."""
    return replace(options, letter_height_mm=min(options.letter_height_mm, _LARGEST_WORDS_MM))


def page_marks(
    plan: TilePlan, panel: Panel, options: DocumentOptions, name: str, number: int, total: int
) -> Iterator[Mark]:
    """Yield the marks of every page, from the page's lower left corner.

    Parameters
    ----------
    name : of the tile, large at the lower left.
    number, total : of the page, from 1, and of all pages.
    """
    small = words_options(options)
    frame, h = plan.frame, small.letter_height_mm
    x_min, y_min, x_max, _ = frame.window_mm
    corner = (x_min + _CHECK_IN_MM, y_min + _CHECK_IN_MM)
    yield from check_lengths(corner, small, away_mm=_CHECK_IN_MM + _CHECK_AWAY_MM)
    low, left = frame.below_mm + 0.6, x_min - 8.0
    yield Text(PANEL_NOTE, (left, low), name, NAME_MM, bold=True)
    start = left + text_width_mm(name, NAME_MM, bold=True) + 3.0
    page = f"Page {number} of {total}, {plan.sheet.name}"
    warning = f"{_WARNING}{print_scale_text(plan.paper)}"
    for y, said, at_right, bold in (
        (low + _LEADING * h, _who(plan, panel), page, plan.mirrored),
        (low, warning, f"check lengths {_check(options)}", False),
    ):
        yield Text(PANEL_NOTE, (x_max, y), at_right, h, Anchor.RIGHT)
        room = x_max - text_width_mm(at_right, h) - 3.0 - start
        lines = wrapped(said, room, h * (1.06 if bold else 1.0))
        yield Text(PANEL_NOTE, (start, y), _shortened(lines), h, bold=bold)


def print_scale_text(paper: PaperOptions) -> str:
    """Say what the pages make up for, or nothing."""
    across, up = paper.print_across, paper.print_up
    if across == up == 1.0:
        return ""
    return f"; made for a printer that prints {across:.4g} across x {up:.4g} up"


def _check(options: DocumentOptions) -> str:
    return format_length(options.check_length_mm, options.units, decimals=0)


def _who(plan: TilePlan, panel: Panel) -> str:
    return f"{side_text(panel, mirrored=plan.mirrored)}. Panel {plain_text(panel.name)}"


def _shortened(lines: tuple[str, ...]) -> str:
    return lines[0] if len(lines) == 1 else f"{lines[0]} ..."
