"""The widths of lead found in a panel, as a histogram with the sizes on sale."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

from rubbing2pattern.documents.drawing import plain_text, text_width_mm
from rubbing2pattern.documents.drawing.width_letters import WidthUse, widths_used
from rubbing2pattern.documents.report.view import View, n
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.trade.stock import DEFAULT_STOCK, StockWidth
from rubbing2pattern.units import MM_PER_INCH, Unit, inch_fraction

BIN_MM = 0.25
"""Half of what a width read from a rubbing is uncertain by."""
_WIDTH_MM, _HEIGHT_MM, _LEFT_MM, _FOOT_MM = 180.0, 62.0, 14.0, 11.0
_LETTERS_MM = 2.1
_ROWS = 4
"""Rows of names above the bars, so that none lies on another."""
_FILLS = ("#f2f2f2", "#a9a9a9", "#5c5c5c", "#d0d0d0")
"""Greys that differ between neighbours."""


@dataclass(frozen=True, slots=True)
class Bar:
    """Length of lead of one stock width whose measured face width lies in one bin."""

    low_mm: float
    letter: str
    length_mm: float


def bars(uses: Sequence[WidthUse]) -> tuple[Bar, ...]:
    """Add up the lead by bins of `BIN_MM`, narrow first; their lengths add up to all lead.

    The middle of each bin is a multiple of its width, so that whole sizes do not lie on an edge.
    """
    lengths: dict[tuple[int, int], float] = {}
    for order, use in enumerate(uses):
        for came in use.cames:
            place = math.floor(came.face_width_mm / BIN_MM + 0.5), order
            lengths[place] = lengths.get(place, 0.0) + came.length_mm
    return tuple(
        Bar((place - 0.5) * BIN_MM, uses[order].letter, lengths[place, order])
        for place, order in sorted(lengths)
    )


def sizes_on_sale(panel: Panel, provenance: Mapping[str, Any]) -> tuple[StockWidth, ...]:
    """Return the sizes with which the panel was read, and any that it has besides."""
    options = provenance.get("options")
    given = options.get("pieces.stock") if isinstance(options, Mapping) else None
    sizes = {(size.width_mm, size.name) for size in DEFAULT_STOCK}
    if isinstance(given, list) and all(_is_size(size) for size in given):
        sizes = {(float(size["width_mm"]), str(size["name"])) for size in given}
    sizes |= {(came.stock_mm, came.stock) for came in panel.cames}
    return tuple(StockWidth(name, width_mm) for width_mm, name in sorted(sizes))


def histogram_svg(panel: Panel, provenance: Mapping[str, Any], options: DocumentOptions) -> str:
    """Draw the length of lead over its measured face width, with the sizes on sale."""
    uses = widths_used(panel)
    found = bars(uses)
    if not found:
        return ""
    used = {(use.stock_mm, use.stock): use.letter for use in uses}
    widths = [bar.low_mm for bar in found] + [use.stock_mm for use in uses]
    chart = _Chart(
        math.floor(min(widths) - 0.75),
        math.ceil(max(widths) + 0.75),
        _tallest(found),
        options.units,
    )
    sizes = [
        size
        for size in sizes_on_sale(panel, provenance)
        if chart.low_mm <= size.width_mm <= chart.high_mm
    ]
    parts = (*chart.axes(), *chart.bars(found, uses), *chart.sizes(sizes, used))
    view = View((0.0, 0.0, _WIDTH_MM, _HEIGHT_MM), 1.0)
    return view.svg(parts, "Length of lead by measured face width", "chart")


def _is_size(datum: Any) -> bool:
    if not isinstance(datum, Mapping):
        return False
    width = datum.get("width_mm")
    return isinstance(datum.get("name"), str) and isinstance(width, int | float)


def _tallest(found: Sequence[Bar]) -> float:
    heights: dict[float, float] = {}
    for bar in found:
        heights[bar.low_mm] = heights.get(bar.low_mm, 0.0) + bar.length_mm
    return max(heights.values())


@dataclass(frozen=True, slots=True)
class _Chart:
    """Positions on the chart: widths to the right, lengths upwards."""

    low_mm: float
    high_mm: float
    tallest_mm: float
    unit: Unit

    @property
    def top_mm(self) -> float:
        return _ROWS * 1.7 * _LETTERS_MM

    def x(self, width_mm: float) -> float:
        share = (width_mm - self.low_mm) / (self.high_mm - self.low_mm)
        return _LEFT_MM + share * (_WIDTH_MM - _LEFT_MM - 2.0)

    def y(self, length_mm: float) -> float:
        foot = _HEIGHT_MM - _FOOT_MM
        return foot - length_mm / self.tallest_mm * (foot - self.top_mm - 2.0)

    def axes(self) -> Iterator[str]:
        """Yield the axes with round numbers in the documents' unit."""
        foot, right = self.y(0.0), _WIDTH_MM - 2.0
        metre = 1000.0 if self.unit == "mm" else MM_PER_INCH
        step = _round_step(self.tallest_mm / metre / 4.0)
        for k in range(1, math.floor(self.tallest_mm / metre / step + 1e-9) + 1):
            y = self.y(k * step * metre)
            yield _line(_LEFT_MM, y, right, y, 0.1, "#999")
            yield _word(_LEFT_MM - 1.0, y + 0.5 * _LETTERS_MM, f"{k * step:g}", "end")
        yield _line(_LEFT_MM, foot, right, foot, 0.3)
        for at, text in _width_ticks(self.low_mm, self.high_mm, self.unit):
            yield _line(self.x(at), foot, self.x(at), foot + 1.2, 0.2)
            yield _word(self.x(at), foot + 1.8 + _LETTERS_MM, text)
        unit = "m" if self.unit == "mm" else "in"
        yield _word(_LEFT_MM - 1.0, foot + 0.5 * _LETTERS_MM, unit, "end")
        said = f"measured face width, {self.unit}"
        yield _word(0.5 * (_LEFT_MM + right), _HEIGHT_MM - 1.0, said)

    def bars(self, found: Sequence[Bar], uses: Sequence[WidthUse]) -> Iterator[str]:
        """Yield the bars; lead of several sizes in one bin is stacked."""
        fills = {use.letter: _FILLS[k % len(_FILLS)] for k, use in enumerate(uses)}
        heights: dict[float, float] = {}
        for bar in found:
            base = heights.get(bar.low_mm, 0.0)
            heights[bar.low_mm] = base + bar.length_mm
            left, right = self.x(bar.low_mm), self.x(bar.low_mm + BIN_MM)
            top = self.y(base + bar.length_mm)
            yield (
                f'<rect data-letter="{bar.letter}" data-length-mm="{n(bar.length_mm)}" '
                f'x="{n(left + 0.2)}" y="{n(top)}" width="{n(right - left - 0.4)}" '
                f'height="{n(self.y(base) - top)}" fill="{fills[bar.letter]}" stroke="black" '
                'stroke-width="0.2"/>'
            )

    def sizes(
        self, sizes: Sequence[StockWidth], used: Mapping[tuple[float, str], str]
    ) -> Iterator[str]:
        """Yield a line for each size on sale, with its name; those in the panel are heavier."""
        ends = [-math.inf] * _ROWS
        for size in sizes:
            letter = used.get((size.width_mm, size.name))
            name = plain_text(f"{letter}: {size.name}" if letter else size.name)
            x, half = self.x(size.width_mm), 0.5 * text_width_mm(name, _LETTERS_MM, bold=True)
            row = next((k for k in range(_ROWS) if ends[k] <= x - half - 1.0), _ROWS - 1)
            ends[row] = x + half
            y = (row + 1) * 1.7 * _LETTERS_MM
            colour, weight = ("black", 0.35) if letter else ("#555", 0.12)
            yield _line(x, y + 0.7, x, self.y(0.0), weight, colour, dashed=True)
            yield _word(x, y, name, bold=letter is not None)


def _round_step(least: float) -> float:
    power = 10.0 ** math.floor(math.log10(max(least, 1e-9)))
    return next(step * power for step in (1.0, 2.0, 5.0, 10.0) if step * power >= least - 1e-12)


def _width_ticks(low_mm: float, high_mm: float, unit: Unit) -> Iterator[tuple[float, str]]:
    """Yield whole millimetres, or sixteenths of an inch."""
    step = 1.0 if unit == "mm" else MM_PER_INCH / 16.0
    for k in range(math.ceil(low_mm / step - 1e-9), math.floor(high_mm / step + 1e-9) + 1):
        yield k * step, f"{k}" if unit == "mm" else inch_fraction(k * step, 16)


def _line(
    x1: float,
    y1: float,
    x2: float,
    y2: float,
    weight: float,
    colour: str = "black",
    *,
    dashed: bool = False,
) -> str:
    dash = ' stroke-dasharray="1.6 0.9"' if dashed else ""
    return (
        f'<line x1="{n(x1)}" y1="{n(y1)}" x2="{n(x2)}" y2="{n(y2)}" stroke="{colour}" '
        f'stroke-width="{n(weight)}"{dash}/>'
    )


def _word(x: float, y: float, text: str, anchor: str = "middle", *, bold: bool = False) -> str:
    """Write letters of one size, on a baseline."""
    weight = ' font-weight="bold"' if bold else ""
    return (
        f'<text x="{n(x)}" y="{n(y)}" font-size="{n(_LETTERS_MM / 0.718)}" '
        f'text-anchor="{anchor}"{weight}>{escape(text, quote=False)}</text>'
    )
