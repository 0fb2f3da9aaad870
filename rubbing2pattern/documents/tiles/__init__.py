"""The pattern at true size on many pages of a smaller paper, with what puts them together again."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry import MultiPolygon, Polygon, box

from rubbing2pattern.documents.drawing import (
    Anchor,
    Drawing,
    Mark,
    Stroke,
    Text,
    bounds_of,
    circle,
    moved,
)
from rubbing2pattern.documents.drawing.edge_scale import scale_outside
from rubbing2pattern.documents.drawing.layers import PANEL_NOTE, layers_for
from rubbing2pattern.documents.drawing.pattern import PanelMarks, titles
from rubbing2pattern.documents.drawing.strip_numbers import meets
from rubbing2pattern.documents.formats.pdf import pdf_bytes
from rubbing2pattern.documents.tiles.grid import Grid, Tile, grid_over, page_frame, tile_name
from rubbing2pattern.documents.tiles.key_map import map_pages
from rubbing2pattern.documents.tiles.tile_page import (
    CROP_MARK,
    REGISTER_MARK,
    TilePlan,
    page_layers,
    page_marks,
    words_options,
)
from rubbing2pattern.geometry.curves import Line, Point
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.options.paper import Paper, PaperOptions
from rubbing2pattern.reading import Bounds

_RING_MM, _ARM_MM = 1.5, 3.0
"""Of a register mark."""
_SHARES = (0.25, 0.75)
"""Of the side of a cell, where its register marks lie if no lettering is there."""
_ASIDE_MM = (0.0, 5.0, -5.0, 10.0, -10.0, 15.0, -15.0, 20.0, -20.0)
_CROP_MM = (0.8, 4.0)
"""Where a crop mark begins and ends, outside the window."""
_INK_MM = 0.5
"""Room for the weight of a line when it is asked whether a mark lies in a window."""


@dataclass(frozen=True, slots=True)
class _Content:
    """What is drawn of the panel, M marks of which T are lettering.

    Attributes
    ----------
    bounds_mm, texts_mm : x_min, y_min, x_max, y_max of all marks and of lettering, (M, 4), (T, 4).
    ground : what leads and glass cover.
    """

    marks: tuple[Mark, ...]
    bounds_mm: Array
    texts_mm: Array
    ground: Polygon | MultiPolygon


def tile_names(options: DocumentOptions, paper: PaperOptions) -> tuple[str, ...]:
    """Return the names of the files of the tiled patterns."""
    return tuple(_file_of(sheet) for sheet in paper.sheets(options.units))


def tile_documents(
    drawn: PanelMarks,
    panel: Panel,
    provenance: Mapping[str, Any],
    options: DocumentOptions,
    paper: PaperOptions,
) -> dict[str, bytes]:
    """Return the tiled patterns by file name, ``pattern-A4.pdf``, one for each paper.

    Parameters
    ----------
    drawn : the panel, as `panel_marks` draws it.
    panel, provenance : content of the title block.
    options : lettering, units.
    paper : papers, overlap and what the printer does.

    Raises
    ------
    OutputNotWritten
        A paper is too small for the title block.
    """
    scale = (paper.print_across, paper.print_up)
    return {
        _file_of(sheet): pdf_bytes(
            *tile_drawings(drawn, panel, provenance, options, paper, sheet), print_scale=scale
        )
        for sheet in paper.sheets(options.units)
    }


def _file_of(sheet: Paper) -> str:
    return f"pattern-{sheet.name}.pdf"


def tile_drawings(
    drawn: PanelMarks,
    panel: Panel,
    provenance: Mapping[str, Any],
    options: DocumentOptions,
    paper: PaperOptions,
    sheet: Paper,
) -> tuple[Drawing, ...]:
    """Draw the pages for one paper: the map of the tiles, then those that show any of the panel.

    The page of a tile keeps the frame of the panel; its window shows that part at true size.
    """
    content, layers = _content(drawn, panel, options), page_layers(options)
    frame = page_frame(sheet, paper)
    # A number whose middle lies in a cell is then whole in the window around it.
    widest = float((content.texts_mm[:, 2:] - content.texts_mm[:, :2]).max(initial=0.0))
    overlap_mm = min(max(paper.overlap_mm, widest), 0.5 * min(frame.window_size_mm))
    grid = grid_over(drawn.leads_mm, frame, overlap_mm)
    tiles = tuple(t for t in grid.tiles() if content.ground.intersects(box(*t.cell_mm)))
    plan = TilePlan(sheet, paper, frame, grid, tiles, drawn.mirrored)
    places = tuple(_register_places(grid, content.texts_mm))
    title, subject = titles(panel, mirrored=drawn.mirrored)
    maps = map_pages(plan, drawn, panel, provenance, options)
    total = len(maps) + len(tiles)
    pages = []
    for number, marks in enumerate(maps, start=1):
        around = page_marks(plan, panel, options, "Map", number, total)
        size = (0.0, 0.0, frame.width_mm, frame.height_mm)
        pages.append(Drawing(title, subject, size, layers, (*marks, *around)))
    for number, tile in enumerate(tiles, start=len(maps) + 1):
        x, y = _origin(plan, tile)
        around = page_marks(plan, panel, options, tile.name, number, total)
        crop = tuple(_crop_marks(grid, tile))
        neighbours = tuple(_neighbours(plan, tile, options))
        marks = (
            *_within(content, tile.window_mm),
            *_register_marks(places, tile),
            *crop,
            *neighbours,
            *_scale(drawn, tile, panel, options, (*crop, *neighbours)),
            *(moved(mark, x, y) for mark in around),
        )
        size = (x, y, x + frame.width_mm, y + frame.height_mm)
        pages.append(Drawing(title, subject, size, layers, marks, tile.window_mm))
    return tuple(pages)


def _content(drawn: PanelMarks, panel: Panel, options: DocumentOptions) -> _Content:
    shown = {layer.name for layer in layers_for(options) if layer.shown}
    marks = tuple(mark for mark in drawn.marks if mark.layer in shown)
    bounds = np.array([bounds_of(mark) for mark in marks], dtype=np.float64).reshape(-1, 4)
    texts = np.array([isinstance(mark, Text) for mark in marks], dtype=bool)
    ground = panel.outline.buffer(0.5 * max(came.face_width_mm for came in panel.cames))
    if drawn.mirrored:
        ground = affinity.affine_transform(ground, (-1.0, 0.0, 0.0, 1.0, panel.width_mm, 0.0))
    shapely.prepare(ground)
    return _Content(marks, bounds, bounds[texts], ground)


def _within(content: _Content, window_mm: Bounds) -> Iterator[Mark]:
    b, (x_min, y_min, x_max, y_max) = content.bounds_mm, window_mm
    touching = (
        (b[:, 0] < x_max + _INK_MM)
        & (b[:, 2] > x_min - _INK_MM)
        & (b[:, 1] < y_max + _INK_MM)
        & (b[:, 3] > y_min - _INK_MM)
    )
    return (content.marks[k] for k in np.flatnonzero(touching))


def _origin(plan: TilePlan, tile: Tile) -> Point:
    """Return the lower left corner of a tile's page in the frame of the panel."""
    inside = plan.frame.window_mm
    return tile.window_mm[0] - inside[0], tile.window_mm[1] - inside[1]


def _register_marks(places: Iterable[Point], tile: Tile) -> Iterator[Mark]:
    """Yield the marks that lie whole in a tile's window: a ring and a cross."""
    x_min, y_min, x_max, y_max = tile.window_mm
    for x, y in places:
        inside_x = x_min + _ARM_MM <= x <= x_max - _ARM_MM
        if inside_x and y_min + _ARM_MM <= y <= y_max - _ARM_MM:
            yield circle(REGISTER_MARK, (x, y), _RING_MM)
            yield Stroke(REGISTER_MARK, Line((x - _ARM_MM, y), (x + _ARM_MM, y)))
            yield Stroke(REGISTER_MARK, Line((x, y - _ARM_MM), (x, y + _ARM_MM)))


def _register_places(grid: Grid, texts_mm: Array) -> Iterator[Point]:
    """Yield two places on each seam between two cells, moved along it away from lettering."""
    for tile in grid.tiles():
        x_min, y_min, x_max, y_max = tile.cell_mm
        for share in _SHARES:
            if tile.column < grid.columns - 1:
                y = y_min + share * (y_max - y_min)
                yield _clear([(x_max, y + aside) for aside in _ASIDE_MM], texts_mm)
            if tile.row < grid.rows - 1:
                x = x_min + share * (x_max - x_min)
                yield _clear([(x + aside, y_min) for aside in _ASIDE_MM], texts_mm)


def _clear(places: list[Point], texts_mm: Array) -> Point:
    """Return the first place where a mark touches no lettering, or else the first."""
    for x, y in places:
        t = texts_mm
        over = (
            (t[:, 0] < x + _ARM_MM) & (t[:, 2] > x - _ARM_MM)
            & (t[:, 1] < y + _ARM_MM) & (t[:, 3] > y - _ARM_MM)
        )  # fmt: skip
        if not over.any():
            return x, y
    return places[0]


def _crop_marks(grid: Grid, tile: Tile) -> Iterator[Mark]:
    """Yield the ends of each seam, outside the window, at which to lay the rule."""
    x_min, y_min, x_max, y_max = tile.window_mm
    near, far = _CROP_MM
    for x in _inner(tile.cell_mm[::2], (tile.column > 0, tile.column < grid.columns - 1)):
        yield Stroke(CROP_MARK, Line((x, y_min - near), (x, y_min - far)))
        yield Stroke(CROP_MARK, Line((x, y_max + near), (x, y_max + far)))
    for y in _inner(tile.cell_mm[1::2], (tile.row < grid.rows - 1, tile.row > 0)):
        yield Stroke(CROP_MARK, Line((x_min - near, y), (x_min - far, y)))
        yield Stroke(CROP_MARK, Line((x_max + near, y), (x_max + far, y)))


def _inner(ends: tuple[float, ...], seams: tuple[bool, bool]) -> tuple[float, ...]:
    return tuple(end for end, seam in zip(ends, seams, strict=True) if seam)


def _scale(
    drawn: PanelMarks,
    tile: Tile,
    panel: Panel,
    options: DocumentOptions,
    others: Iterable[Mark],
) -> Iterator[Mark]:
    """Yield the scale beside a tile's window; labels keep clear of what else is there."""
    if not options.edge_scale:
        return
    turned = panel.width_mm if drawn.mirrored else None
    taken = np.array([bounds_of(mark) for mark in others]).reshape(-1, 4)
    for mark in scale_outside(tile.window_mm, drawn.leads_mm, options.units, turned):
        if not (isinstance(mark, Text) and meets(bounds_of(mark), taken)):
            yield mark


def _neighbours(plan: TilePlan, tile: Tile, options: DocumentOptions) -> Iterator[Text]:
    """Yield the names of the tiles that come above, below, left and right, outside the window."""
    shown = {t.name for t in plan.tiles}
    x_min, y_min, x_max, y_max = tile.window_mm
    h = words_options(options).letter_height_mm
    right, up = x_max - 0.25 * (x_max - x_min), y_max - 0.25 * (y_max - y_min)
    for row, column, at, turn in (
        (tile.row - 1, tile.column, (right, y_max + 2.4), 0.0),
        (tile.row + 1, tile.column, (right, y_min - 2.4), 0.0),
        (tile.row, tile.column - 1, (x_min - 2.4, up), 90.0),
        (tile.row, tile.column + 1, (x_max + 2.4, up), 90.0),
    ):
        if row >= 0 and column >= 0 and tile_name(row, column) in shown:
            said = f"to {tile_name(row, column)}"
            yield Text(PANEL_NOTE, at, said, h, Anchor.CENTRE, turn)
