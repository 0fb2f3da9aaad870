"""The frame around the templates on a page: check lengths, names, legend, remarks."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from rubbing2pattern.documents.drawing import (
    Drawing,
    Mark,
    Outline,
    Stroke,
    moved,
    plain_text,
    wrapped,
)
from rubbing2pattern.documents.drawing.layers import (
    SHEET_FRAME,
)
from rubbing2pattern.documents.drawing.margin import Column, Flow, check_lengths
from rubbing2pattern.documents.drawing.mirroring import side_text
from rubbing2pattern.documents.templates.one_piece import (
    CUT_SAMPLE,
    GRAIN,
    SIGHT_SAMPLE,
    TEMPLATE_LAYERS,
    arrow,
)
from rubbing2pattern.documents.wording import length_of, scale_sentence
from rubbing2pattern.findings import Severity
from rubbing2pattern.geometry.curves import Line
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.trade.cautions import CUTTING
from rubbing2pattern.units import format_length

GUTTER_MM = 16.0
"""Left of and below the templates, for the check lengths."""
_PAD_MM = 2.5
_SHARES = (0.28, 0.30, 0.42)
_WIDEST_FOOT_MM = 260.0


@dataclass(frozen=True, slots=True)
class SheetStyle:
    """What all sheets of one set of templates have in common.

    Attributes
    ----------
    panel : whose pieces they are.
    remarks : what must be settled before glass is cut.
    grained : whether any template has an arrow.
    options : unit, lettering, margins.
    edge_mm : paper outside the frame.
    common_lines : text on every sheet.
    """

    panel: Panel
    remarks: tuple[str, ...]
    grained: bool
    options: DocumentOptions
    edge_mm: float
    common_lines: tuple[str, ...] = ()
    _written: dict[float, tuple[Column, Column]] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )
    """Legend and notes by the width of the foot: all pages have the same."""

    def foot_mm(self, width_mm: float) -> float:
        """Return the depth of the foot on a page of a width, for any text of the page."""
        inner = min(width_mm - 2.0 * self.edge_mm, _WIDEST_FOOT_MM)
        columns = self._columns(inner, ("Page 88 of 88", too_large_sentence(888)))
        return max(column.depth_mm for column in columns) + 2.0 * _PAD_MM

    def around_mm(self, width_mm: float) -> tuple[float, float, float, float]:
        """Return what a page of a width keeps free left, below, right and above the templates."""
        edge = self.edge_mm
        return (
            edge + GUTTER_MM,
            edge + self.foot_mm(width_mm) + GUTTER_MM,
            edge + _PAD_MM,
            edge + _PAD_MM,
        )

    def sheet(
        self, size_mm: tuple[float, float], marks: Sequence[Mark], page_lines: Sequence[str]
    ) -> Drawing:
        """Return a page with its templates.

        Parameters
        ----------
        size_mm : width and height of the paper.
        marks : of the templates, from the lower left corner of the paper.
        page_lines : text of this page: its number, why it is larger than the others.
        """
        width, height = size_mm
        left, bottom, _, _ = self.around_mm(width)
        edge, foot_top = self.edge_mm, bottom - GUTTER_MM
        around: list[Mark] = [
            *_rectangle(edge, edge, width - edge, height - edge),
            Stroke(SHEET_FRAME, Line((edge, foot_top), (width - edge, foot_top))),
            *check_lengths((left, bottom), self.options),
        ]
        inner = min(width - 2.0 * edge, _WIDEST_FOOT_MM)
        x = edge
        for column, share in zip(self._columns(inner, page_lines), _SHARES, strict=True):
            around += (moved(mark, x + _PAD_MM, foot_top - _PAD_MM) for mark in column.marks)
            x += share * inner
            if x < width - edge - 1.0:
                around.append(Stroke(SHEET_FRAME, Line((x, edge), (x, foot_top))))
        return Drawing(
            plain_text(f"Templates of panel {self.panel.name}"),
            ", ".join(filter(None, ("Templates for cutting glass at 1:1", self.panel.side))),
            (0.0, 0.0, width, height),
            TEMPLATE_LAYERS,
            (*marks, *around),
        )

    def _columns(self, width_mm: float, page_lines: Sequence[str]) -> tuple[Column, ...]:
        first, second, third = (share * width_mm - 2.0 * _PAD_MM for share in _SHARES)
        if width_mm not in self._written:
            self._written[width_mm] = self._legend(second), self._notes(third)
        return self._names(first, page_lines), *self._written[width_mm]

    def _names(self, width_mm: float, page_lines: Sequence[str]) -> Column:
        flow = self._flow(width_mm)
        height = 1.8 * flow.height_mm
        for line in wrapped(plain_text(self.panel.name) or "panel", width_mm, 1.06 * height)[:2]:
            flow.line(line, height, bold=True)
        flow.text("Templates, scale 1:1", 1.2)
        flow.text(side_text(self.panel, mirrored=False), 1.2)
        for text in (*page_lines, *self.common_lines):
            flow.text(text)
        return flow.column()

    def _legend(self, width_mm: float) -> Column:
        flow = self._flow(width_mm)
        heart, play = (
            length_of(v, self.options) for v in (self.panel.heart_mm, self.panel.clearance_mm)
        )
        rows: list[tuple[str, str]] = [
            (CUT_SAMPLE, f"cut line: heart {heart}, play {play} a side taken off"),
            (SIGHT_SAMPLE, "sight line: edge of the leaves"),
        ]
        if self.grained:
            rows.append((GRAIN, "grain: runs up the page"))
        for layer, said in rows:
            y = flow.y - 0.6 * flow.height_mm
            sample = Stroke(layer, Line((0.0, y), (10.0, y)))
            flow.marks += arrow((0.0, y), (10.0, y)) if layer == GRAIN else (sample,)
            self._beside(flow, 12.5, said)
        flow.y -= 0.5 * flow.height_mm
        flow.text("The line under a number marks the foot of the piece in the panel.")
        return flow.column()

    def _beside(self, flow: Flow, x: float, said: str) -> None:
        part = self._flow(flow.width_mm - x)
        part.text(said)
        column = part.column()
        flow.marks += (moved(mark, x, flow.y) for mark in column.marks)
        flow.y -= column.depth_mm

    def _notes(self, width_mm: float) -> Column:
        flow = self._flow(width_mm)
        check = format_length(self.options.check_length_mm, self.options.units, decimals=0)
        flow.line("Measure before use", 1.2 * flow.height_mm, bold=True)
        flow.text(
            f"Print at 100 %, never fitted to the page. Both check lengths must be {check}; if one "
            "is not, do not cut by this page."
        )
        for remark in self.remarks:
            for line in wrapped(remark, width_mm, 1.06 * flow.height_mm):
                flow.line(line, flow.height_mm, bold=True)
        for text in (f"Scale: {scale_sentence(self.panel, self.options)}", CUTTING):
            flow.y -= 0.5 * flow.height_mm
            flow.text(text, 0.8)
        return flow.column()

    def _flow(self, width_mm: float) -> Flow:
        return Flow(width_mm, self.options.letter_height_mm, self.options.units)


def too_large_sentence(number: int) -> str:
    """Say what to do with a page that is larger than the paper."""
    return (
        f"Piece {number} is larger than the paper: print this page on a plotter, or cut by the "
        "whole pattern."
    )


def doubts(panel: Panel, numbers: Sequence[int]) -> tuple[str, ...]:
    """Say which of the pieces have findings that ask for a look before glass is cut."""
    sentences = []
    for severity, said in (
        (Severity.WRONG, "DO NOT CUT YET, settle first"),
        (Severity.CHECK, "Check against the window first"),
    ):
        pairs = [
            f"{number} ({finding.id})"
            for number in sorted(numbers)
            for finding in panel.findings
            if finding.severity is severity and number in finding.pieces
        ]
        if pairs:
            more = f" and {len(pairs) - 8} more" if len(pairs) > 8 else ""
            sentences.append(f"{said}: {', '.join(pairs[:8])}{more}.")
    return tuple(sentences)


def _rectangle(x_min: float, y_min: float, x_max: float, y_max: float) -> Iterator[Outline]:
    yield Outline(SHEET_FRAME, ((x_min, y_min), (x_max, y_min), (x_max, y_max), (x_min, y_max)))
