"""The re-leading pattern of a panel as a neutral drawing at true size."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import shapely
from shapely.geometry import MultiPolygon, Polygon

from rubbing2pattern.documents.drawing import (
    Anchor,
    Drawing,
    Mark,
    Outline,
    Stroke,
    Text,
    circle,
    plain_text,
)
from rubbing2pattern.documents.drawing.layers import (
    BORDER,
    CUT_OUTLINE,
    FACE,
    FINDING,
    HEART,
    JOINT,
    LEAD_LINE,
    PIECE_NUMBER,
    SIGHT_OUTLINE,
    STRIP_NUMBER,
    WIDTH_LETTER,
    layers_for,
)
from rubbing2pattern.documents.drawing.leaves import lead_bounds_mm, leaf_edges, middle_of
from rubbing2pattern.documents.drawing.lettering import letter_fits, piece_number
from rubbing2pattern.documents.drawing.margin import sheet_around
from rubbing2pattern.documents.drawing.mirroring import mirrored_mark, side_text
from rubbing2pattern.documents.drawing.names_beside import names_beside
from rubbing2pattern.documents.drawing.strip_numbers import strip_numbers
from rubbing2pattern.documents.drawing.width_letters import widths_used
from rubbing2pattern.findings import Finding, Severity
from rubbing2pattern.geometry.curves import Line, Point
from rubbing2pattern.leading import Strip
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.reading import Bounds

_JOINT_RADIUS_MM = 0.7
_FINDING_MM = 2.2
"""Half the size of a finding's mark."""


@dataclass(frozen=True, slots=True)
class PanelMarks:
    """A panel as it is drawn, before anything is put around it.

    Attributes
    ----------
    marks : in the panel's frame, or with x turned into the panel's width less x when mirrored.
    leads_mm : x_min, y_min, x_max, y_max of the leads.
    mirrored : True when it is drawn as seen from the other side.
    """

    marks: tuple[Mark, ...]
    leads_mm: Bounds
    mirrored: bool

    @property
    def with_strips(self) -> bool:
        """True when numbers of strips are written beside the leads."""
        return any(mark.layer == STRIP_NUMBER for mark in self.marks)


def pattern_drawing(
    panel: Panel,
    provenance: Mapping[str, Any],
    options: DocumentOptions,
    *,
    mirrored: bool = False,
) -> Drawing:
    """Draw a panel at true size with its margin.

    Parameters
    ----------
    panel : what to draw; the drawing keeps its frame.
    provenance : the record's provenance, for the name of the picture in the title block.
    options : lettering and margins.
    mirrored : True to draw the panel as seen from the other side.
    """
    return sheet_drawing(panel_marks(panel, options, mirrored=mirrored), panel, provenance, options)


def panel_marks(
    panel: Panel,
    options: DocumentOptions,
    *,
    mirrored: bool = False,
    strips: Sequence[Strip] = (),
) -> PanelMarks:
    """Draw what belongs to the panel itself: leads, joints, numbers, letters, findings.

    The numbers of `strips` are written beside their leads.
    """
    faces = [came.face_width_mm for came in panel.cames]
    marks: list[Mark] = []
    marks += _cut_and_sight(panel)
    marks += (Stroke(HEART, edge.curve) for edge in _hearts(panel))
    marks += (Stroke(LEAD_LINE, came.curve) for came in panel.cames)
    marks += (
        Stroke(BORDER if edge.outer else FACE, edge.curve)
        for edge in leaf_edges(panel.cames, faces, panel.outline)
    )
    marks += (circle(JOINT, (j.x_mm, j.y_mm), _JOINT_RADIUS_MM) for j in panel.joints)
    marks += _width_letters(panel)
    marks += (piece_number(piece, PIECE_NUMBER, options) for piece in panel.pieces)
    for finding in panel.findings:
        marks += _finding(finding)
    others = [mark for mark in marks if mark.layer in (PIECE_NUMBER, FINDING)]
    marks += strip_numbers(panel, strips, others, STRIP_NUMBER, options)
    lettered = [mark for mark in marks if isinstance(mark, Text)]
    marks += names_beside(panel, [*others, *lettered], options)
    x_min, y_min, x_max, y_max = lead_bounds_mm(panel.cames, faces)
    if not mirrored:
        return PanelMarks(tuple(marks), (x_min, y_min, x_max, y_max), mirrored)
    width = panel.width_mm
    turned = tuple(mirrored_mark(mark, width) for mark in marks)
    return PanelMarks(turned, (width - x_max, y_min, width - x_min, y_max), mirrored)


def sheet_drawing(
    drawn: PanelMarks, panel: Panel, provenance: Mapping[str, Any], options: DocumentOptions
) -> Drawing:
    """Put the margin around a drawn panel."""
    page_mm, margin = sheet_around(
        drawn.leads_mm,
        panel,
        provenance,
        options,
        mirrored=drawn.mirrored,
        strips=drawn.with_strips,
    )
    title, subject = titles(panel, mirrored=drawn.mirrored)
    return Drawing(title, subject, page_mm, layers_for(options), (*drawn.marks, *margin))


def titles(panel: Panel, *, mirrored: bool) -> tuple[str, str]:
    """Return title and subject for the properties of a file."""
    side = side_text(panel, mirrored=True) if mirrored else panel.side
    return (
        plain_text(f"Panel {panel.name}{' (mirrored)' if mirrored else ''}"),
        plain_text(f"Re-leading pattern at 1:1{f', {side}' if side else ''}"),
    )


def finding_mark(
    severity: Severity, at: Point, half_mm: float
) -> tuple[tuple[Point, ...], ...] | None:
    """Return polygons and lines of a finding's mark, or None for the circle that marks a note.

    A note is a circle, something to check a triangle, something wrong a square with a cross:
    shape distinguishes them, not colour.
    """
    x, y = at
    if severity is Severity.NOTE:
        return None
    if severity is Severity.CHECK:
        turns = (math.radians(a) for a in (90.0, 210.0, 330.0))
        reach = 1.25 * half_mm
        return (tuple((x + reach * math.cos(a), y + reach * math.sin(a)) for a in turns),)
    h = half_mm
    square = ((x - h, y - h), (x + h, y - h), (x + h, y + h), (x - h, y + h))
    return square, (square[0], square[2]), (square[1], square[3])


def _hearts(panel: Panel) -> tuple[Any, ...]:
    if panel.heart_mm <= 0.0:
        return ()
    return leaf_edges(panel.cames, [panel.heart_mm] * len(panel.cames), panel.outline)


def _cut_and_sight(panel: Panel) -> Iterator[Outline]:
    for piece in panel.pieces:
        yield from rings(CUT_OUTLINE, piece.cut_outline)
        yield from rings(SIGHT_OUTLINE, piece.sight_outline)


def rings(layer: str, shape: Polygon | MultiPolygon) -> Iterator[Outline]:
    """Yield the outer and inner outlines of a shape."""
    for part in shapely.get_parts(shape):
        for ring in (part.exterior, *part.interiors):
            points = tuple((float(x), float(y)) for x, y in ring.coords[:-1])
            if len(points) >= 3:
                yield Outline(layer, points)


def _width_letters(panel: Panel) -> Iterator[Text]:
    """Yield the letter of its width for each came that has room for one, clear of findings."""
    doubts = [finding.at for finding in panel.findings if finding.at is not None]
    uses = widths_used(panel)
    letters = {came.id: use.letter for use in uses for came in use.cames}
    for came in panel.cames if len(uses) > 1 else ():
        height_mm, at = letter_fits(came.length_mm, came.face_width_mm), middle_of(came.curve)
        if height_mm is not None and all(
            math.dist(at, place) > 4 * _FINDING_MM for place in doubts
        ):
            yield Text(
                WIDTH_LETTER,
                at,
                letters[came.id],
                height_mm,
                Anchor.CENTRE,
                patch=True,
            )


def _finding(finding: Finding) -> Iterator[Mark]:
    if finding.at is None:
        return
    shapes = finding_mark(finding.severity, finding.at, _FINDING_MM)
    if shapes is None:
        yield circle(FINDING, finding.at, _FINDING_MM)
    for shape in shapes or ():
        yield Outline(FINDING, shape) if len(shape) > 2 else Stroke(FINDING, Line(*shape))
    beside = (finding.at[0] + 1.5 * _FINDING_MM, finding.at[1] - 0.4 * _FINDING_MM)
    yield Text(FINDING, beside, finding.id, 1.8, bold=True, patch=True)
