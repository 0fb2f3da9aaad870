"""The margin around the panel on its sheet: check lengths, title block, legend, cautions."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from rubbing2pattern.documents.drawing import (
    Anchor,
    Mark,
    Outline,
    Stroke,
    Text,
    moved,
    plain_text,
    text_width_mm,
    wrapped,
)
from rubbing2pattern.documents.drawing.edge_scale import scale_inside
from rubbing2pattern.documents.drawing.layers import (
    BORDER,
    CHECK_LENGTH,
    FACE,
    LEAD_LINE,
    ON_WISH,
    PANEL_NOTE,
    SHEET_FRAME,
    sample_of,
)
from rubbing2pattern.documents.drawing.mirroring import side_text
from rubbing2pattern.documents.drawing.width_letters import WidthUse, widths_used
from rubbing2pattern.documents.wording import (
    corrections_text,
    count_of,
    findings_text,
    length_of,
    run_of,
    scale_sentence,
    size_of,
)
from rubbing2pattern.findings import Severity
from rubbing2pattern.geometry.curves import Line, Point
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.reading import Bounds
from rubbing2pattern.trade.cautions import CAUTIONS
from rubbing2pattern.units import Unit, format_length

_BLOCK_WIDTHS_MM = (190.0, 250.0)
"""Narrowest and widest title block."""
_SHARES = (0.36, 0.26, 0.38)
"""Of the block's width, for panel, leads and notes."""
_PAD_MM = 3.0
_GUTTER_MM = 16.0
"""Left of and below the panel, for the check lengths."""
_LEADING = 1.75
"""From line to line, times the height of capitals."""
_WISHED = {"heart": "heart", "cut": "cut line", "sight": "sight line"}
_BANNER_MM = 3.5
"""Height of the words above a mirrored panel."""


@dataclass(frozen=True, slots=True)
class Column:
    """Marks relative to the upper left corner of the place they take up, and how deep that is."""

    marks: tuple[Mark, ...]
    depth_mm: float

    def at(self, upper_left: Point) -> Iterator[Mark]:
        """Yield the marks at a place."""
        return (moved(mark, *upper_left) for mark in self.marks)


def sheet_around(
    leads_mm: Bounds,
    panel: Panel,
    provenance: Mapping[str, Any],
    options: DocumentOptions,
    *,
    mirrored: bool = False,
    strips: bool = False,
) -> tuple[Bounds, tuple[Mark, ...]]:
    """Lay out the sheet around a panel.

    Parameters
    ----------
    leads_mm : x_min, y_min, x_max, y_max of the leads.
    panel, provenance : content of the title block.
    options : margins, lettering, units.
    mirrored : True when the panel is drawn as seen from the other side.
    strips : True when the numbers of the strips are written beside the leads.

    Returns
    -------
    page_mm : x_min, y_min, x_max, y_max of the paper.
    marks : everything outside the panel.
    """
    x_min, y_min, x_max, y_max = leads_mm
    least, most = _BLOCK_WIDTHS_MM
    left = x_min - options.clear_mm - _GUTTER_MM
    right = max(x_max + options.clear_mm, left + least)
    top = max(y_max, y_min + options.check_length_mm) + options.clear_mm
    block_top = y_min - options.clear_mm - _GUTTER_MM
    block_width = min(right - left, most)
    block = title_block(panel, provenance, block_width, options, mirrored=mirrored, strips=strips)
    bottom = block_top - block.depth_mm
    marks: list[Mark] = [*check_lengths((x_min, y_min), options)]
    if options.edge_scale:
        frame = (left, block_top, right, top)
        turned = panel.width_mm if mirrored else None
        marks += scale_inside(frame, leads_mm, options.units, turned)
    marks += block.at((right - block_width, block_top))
    if mirrored:
        height = min(_BANNER_MM, 0.5 * options.clear_mm)
        at = (0.5 * (left + right), top - 0.5 * options.clear_mm)
        said = side_text(panel, mirrored=True)
        marks.append(Text(PANEL_NOTE, at, said, height, Anchor.CENTRE, bold=True))
    marks += _rectangle(SHEET_FRAME, (left, bottom, right, top))
    edge = options.margin_mm
    return (left - edge, bottom - edge, right + edge, top + edge), tuple(marks)


def title_block(
    panel: Panel,
    provenance: Mapping[str, Any],
    width_mm: float,
    options: DocumentOptions,
    *,
    mirrored: bool = False,
    strips: bool = False,
) -> Column:
    """Write panel, leads and notes in three columns with rules around them."""
    widths = [share * width_mm for share in _SHARES]
    insides = [width - 2 * _PAD_MM for width in widths]
    columns = (
        _identity(panel, provenance, insides[0], options, mirrored=mirrored),
        _leads(panel, insides[1], options, strips=strips),
        _notes(panel, insides[2], options),
    )
    depth_mm = max(c.depth_mm for c in columns) + 2 * _PAD_MM
    marks: list[Mark] = [*_rectangle(SHEET_FRAME, (0.0, -depth_mm, width_mm, 0.0))]
    x = 0.0
    for column, width in zip(columns, widths, strict=True):
        if x > 0.0:
            marks.append(Stroke(SHEET_FRAME, Line((x, -depth_mm), (x, 0.0))))
        marks += column.at((x + _PAD_MM, -_PAD_MM))
        x += width
    return Column(tuple(marks), depth_mm)


def _rectangle(layer: str, bounds_mm: Bounds) -> Iterator[Outline]:
    x_min, y_min, x_max, y_max = bounds_mm
    yield Outline(layer, ((x_min, y_min), (x_max, y_min), (x_max, y_max), (x_min, y_max)))


def check_lengths(
    corner: Point, options: DocumentOptions, *, away_mm: float = 0.6 * _GUTTER_MM
) -> Iterator[Mark]:
    """Yield two rules, one each way, divided into ten (or eight).

    Parameters
    ----------
    corner : from which one runs to the right and one upwards.
    away_mm : how far below and to the left of it they lie.
    """
    length = options.check_length_mm
    parts = 10 if options.units == "mm" else 8
    x, y = corner[0] - away_mm, corner[1] - away_mm
    said = f"{format_length(length, options.units, decimals=0)} check length: measure before use"
    yield Stroke(CHECK_LENGTH, Line((corner[0], y), (corner[0] + length, y)))
    yield Stroke(CHECK_LENGTH, Line((x, corner[1]), (x, corner[1] + length)))
    for k in range(parts + 1):
        at, tick = k * length / parts, 2.4 if k in (0, parts) else 1.0
        yield Stroke(CHECK_LENGTH, Line((corner[0] + at, y - tick), (corner[0] + at, y + tick)))
        yield Stroke(CHECK_LENGTH, Line((x - tick, corner[1] + at), (x + tick, corner[1] + at)))
    height = options.letter_height_mm
    middle = corner[0] + 0.5 * length, corner[1] + 0.5 * length
    away = 1.2 + 1.1 * height
    yield Text(CHECK_LENGTH, (middle[0], y - away), said, height, Anchor.CENTRE)
    yield Text(CHECK_LENGTH, (x - away, middle[1]), said, height, Anchor.CENTRE, 90.0)


class Flow:
    """Writes marks from the top of a column downwards."""

    def __init__(self, width_mm: float, height_mm: float, unit: Unit) -> None:
        self.width_mm = width_mm
        self.height_mm = height_mm
        self.unit = unit
        self.y = 0.0
        self.marks: list[Mark] = []

    def heading(self, text: str) -> None:
        """Write a bold line with room around it."""
        if self.marks:
            self.y -= 0.9 * self.height_mm
        self.line(text, self.height_mm, bold=True)
        self.y -= 0.3 * self.height_mm

    def line(self, text: str, height_mm: float, *, bold: bool = False) -> None:
        """Write one line as it is."""
        self.y -= height_mm
        self.marks.append(Text(PANEL_NOTE, (0.0, self.y), text, height_mm, bold=bold))
        self.y -= (_LEADING - 1.0) * height_mm

    def text(self, text: str, size: float = 1.0) -> None:
        """Write a text over as many lines as it needs, `size` times the usual height."""
        height = size * self.height_mm
        for line in wrapped(plain_text(text), self.width_mm, height):
            self.line(line, height)

    def blanks(self, *labels: str) -> None:
        """Leave rules to write on, side by side, each behind its label."""
        self.y -= 1.9 * self.height_mm
        share = self.width_mm / len(labels)
        for k, label in enumerate(labels):
            x = k * share
            self.marks.append(Text(PANEL_NOTE, (x, self.y), label, self.height_mm))
            start = x + text_width_mm(label, self.height_mm) + 1.0
            rule = Line((start, self.y - 0.4), (max(start, x + share - 1.5), self.y - 0.4))
            self.marks.append(Stroke(SHEET_FRAME, rule))
        self.y -= 0.6 * self.height_mm

    def column(self) -> Column:
        """Return what was written."""
        return Column(tuple(self.marks), -self.y)


def _identity(
    panel: Panel,
    provenance: Mapping[str, Any],
    width_mm: float,
    options: DocumentOptions,
    *,
    mirrored: bool,
) -> Column:
    flow = Flow(width_mm, options.letter_height_mm, options.units)
    name = plain_text(panel.name) or "panel"
    natural = text_width_mm(name, 7.0, bold=True)
    height = max(3.0, min(7.0, 6.99 * width_mm / natural))
    lines = wrapped(name, width_mm, 1.06 * height)
    for line in lines[:3]:
        flow.line(line, height, bold=True)
    flow.y += (_LEADING - 1.4) * height
    flow.text(side_text(panel, mirrored=mirrored), 1.4)
    flow.text("Re-leading pattern, scale 1:1", 1.4)
    flow.y -= 0.8 * flow.height_mm
    for label, width, height in (
        ("To the lead lines", panel.width_mm, panel.height_mm),
        ("Over all", panel.outer_width_mm, panel.outer_height_mm),
    ):
        flow.text(f"{label}: {size_of(width, height, options)}")
    flow.text(
        f"{count_of(len(panel.pieces), 'piece')}, {count_of(len(panel.cames), 'came')}, "
        f"{count_of(len(panel.joints), 'joint')}"
    )
    flow.text(
        f"Heart {length_of(panel.heart_mm, options)}, clearance "
        f"{length_of(panel.clearance_mm, options)} a side: as given, not measured"
    )
    faults = sum(f.severity is Severity.WRONG for f in panel.findings)
    if faults:
        for line in wrapped(
            f"DO NOT USE YET: {count_of(faults, 'fault')} to settle", width_mm, 1.4 * flow.height_mm
        ):
            flow.line(line, 1.25 * flow.height_mm, bold=True)
    flow.text(findings_text(panel))
    if panel.corrections:
        flow.text(corrections_text(panel))
    image = provenance.get("image")
    if isinstance(image, Mapping) and "name" in image:
        flow.text(f"Read from {image['name']}")
    return flow.column()


def _leads(panel: Panel, width_mm: float, options: DocumentOptions, *, strips: bool) -> Column:
    flow = Flow(width_mm, options.letter_height_mm, options.units)
    flow.heading("Leads")
    uses = widths_used(panel)
    for use in uses:
        depth = max(use.stock_mm, flow.height_mm) + 1.8
        flow.y -= 0.5 * depth
        flow.marks += _sample(use, flow, options, lettered=len(uses) > 1)
        flow.y -= 0.5 * depth
    flow.y -= 0.5 * flow.height_mm
    flow.text("Widths as measured, named by the nearest stock; lengths along the lead lines.", 0.85)
    flow.heading("Lines")
    asked = [(sample_of(ON_WISH[name]), _WISHED[name]) for name in options.lines]
    for layer, said in (
        (LEAD_LINE, "lead line"),
        (FACE, "edge of the leaf"),
        (BORDER, "rim"),
        *asked,
    ):
        flow.y -= 0.5 * flow.height_mm
        flow.marks.append(Stroke(layer, Line((0.0, flow.y), (16.0, flow.y))))
        flow.marks.append(
            Text(PANEL_NOTE, (19.0, flow.y - 0.5 * flow.height_mm), said, flow.height_mm)
        )
        flow.y -= 1.3 * flow.height_mm
    if options.edge_scale:
        unit = "millimetres" if options.units == "mm" else "inches"
        flow.text(f"Along the edges: {unit} of the panel, as places in messages are given", 0.85)
    if strips:
        flow.text("S1, S2 … beside the leads: the strips of strips.csv, where there is room", 0.85)
    return flow.column()


def _sample(
    use: WidthUse, flow: Flow, options: DocumentOptions, *, lettered: bool
) -> Iterator[Mark]:
    """Yield letter, a bit of lead at true width, name and length of one stock width."""
    y, height, half = flow.y, flow.height_mm, 0.5 * use.stock_mm
    if lettered:
        yield Text(PANEL_NOTE, (1.5, y), use.letter, height, Anchor.CENTRE, bold=True)
    for layer, dy in ((FACE, half), (LEAD_LINE, 0.0), (FACE, -half)):
        yield Stroke(layer, Line((5.0, y + dy), (17.0, y + dy)))
    baseline = y - 0.5 * height
    yield Text(PANEL_NOTE, (20.0, baseline), plain_text(use.stock), height)
    length = run_of(use.length_mm, options)
    yield Text(PANEL_NOTE, (flow.width_mm, baseline), length, height, Anchor.RIGHT)


def _notes(panel: Panel, width_mm: float, options: DocumentOptions) -> Column:
    flow = Flow(width_mm, options.letter_height_mm, options.units)
    check = format_length(options.check_length_mm, options.units, decimals=0)
    flow.line("Measure before use", 1.4 * flow.height_mm, bold=True)
    flow.text(
        f"Print at 100 %, never fitted to the page. Both check lengths must be {check} on the "
        "paper; if one is not, do not use this print.",
        1.1,
    )
    flow.blanks("Across", "Up")
    flow.blanks("By", "Date")
    flow.heading("Scale of the rubbing")
    flow.text(scale_sentence(panel, options))
    flow.heading("Cautions")
    for caution in CAUTIONS:
        flow.text(caution, 0.85)
    return flow.column()
