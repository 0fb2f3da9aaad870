"""The figures of the report that show the whole panel: the overlay and the numbered drawing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from rubbing2pattern.documents.drawing import Text
from rubbing2pattern.documents.drawing.lettering import piece_number
from rubbing2pattern.documents.overlay import BLUE, VERMILION, diamonds, leaf_rings, seen_parts
from rubbing2pattern.documents.report.pictures import Pictures
from rubbing2pattern.documents.report.scale import scale_parts
from rubbing2pattern.documents.report.view import View, n
from rubbing2pattern.model import Corrected, Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.units import Unit

FIGURE_MM = (180.0, 222.0)
"""Room for a figure on A4 and on Letter, with its caption."""
_AROUND_MM = 4.0
"""Paper around the panel in the drawing, times the reduction."""
_DOTS_PER_MM = 6.0
"""Of the overlay on the paper: about 150 to the inch."""
_NUMBER_MM, _LEAST_MM, _MARK_MM = 3.0, 1.1, 1.5
"""Sizes on the paper: the height of piece numbers, their least height, half a finding's mark."""
_FINE_MM = 0.03
"""Lines are simplified by no more on the paper."""


@dataclass(frozen=True, slots=True)
class Traced:
    """Lines and lettering of a panel, prepared once for both figures.

    Attributes
    ----------
    view : the panel with some paper around it, as the numbered drawing shows it.
    rings : where the leaves end, (N, 2) in mm.
    numbers : piece numbers as large as they may be at the view's reduction.
    unit : of the scale along the edges.
    """

    panel: Panel
    view: View
    rings: tuple[np.ndarray, ...]
    numbers: tuple[Text, ...]
    unit: Unit


def traced(panel: Panel, options: DocumentOptions) -> Traced:
    """Prepare the lines and numbers of a panel for figures on an office page."""
    rings = np.array(list(leaf_rings(panel)), dtype=object)
    view = _view_around(shapely.total_bounds(rings))
    reduction = view.reduction
    high = min(20.0, max(options.number_height_mm, _NUMBER_MM * reduction))
    low = min(5.0, max(options.least_number_mm, _LEAST_MM * reduction))
    lettering = replace(options, number_height_mm=high, least_number_mm=min(low, high))
    return Traced(
        panel,
        view,
        tuple(np.asarray(r.coords)[:-1] for r in shapely.simplify(rings, _FINE_MM * reduction)),
        tuple(piece_number(piece, "", lettering) for piece in panel.pieces),
        options.units,
    )


def drawing_svg(lines: Traced) -> str:
    """Draw the panel with leads in grey, lead lines, piece numbers and marks of findings."""
    view = lines.view
    k = view.reduction
    leads = " ".join(view.run(ring, closed=True) for ring in lines.rings)
    cames = " ".join(_came_runs(lines, view))
    joints = (
        f'<circle cx="{n(x)}" cy="{n(y)}" r="{n(0.3 * k)}"/>'
        for x, y in (view.at((joint.x_mm, joint.y_mm)) for joint in lines.panel.joints)
    )
    parts = (
        view.group([f'<path d="{leads}"/>'], "face", 0.16, fill="#dcdcdc", fill_rule="evenodd"),
        view.group([f'<path d="{cames}"/>'], "lead line", 0.08),
        view.group(joints, "joint", 0.08, fill="white"),
        *scale_parts(view, lines.unit),
        view.group(_numbers(lines, view), "piece number", 0.0, fill="black", stroke="none"),
        *_findings(lines.panel, view, coloured=False),
    )
    return view.svg(parts, f"Numbered drawing of panel {lines.panel.name}", "panel-figure")


def overlay_svg(lines: Traced, pictures: Pictures) -> str:
    """Draw lead lines, leaves, numbers, findings and what was corrected over the rubbing."""
    view = View.within(pictures.rubbing.frame.bounds_mm, *FIGURE_MM)
    panel = lines.panel
    leaves = " ".join(view.run(ring, closed=True) for ring in lines.rings)
    seen: list[str] = []
    bridged: list[str] = []
    for came in panel.cames:
        for part, shown in seen_parts(came):
            fine = shapely.LineString(part).simplify(_FINE_MM * view.reduction)
            (seen if shown else bridged).append(view.run(fine.coords))
    dash = f"{n(1.1 * view.reduction)} {n(0.9 * view.reduction)}"
    red = "#{:02x}{:02x}{:02x}".format(*VERMILION)
    blue = "#{:02x}{:02x}{:02x}".format(*BLUE)
    parts = (
        pictures.image(view, _DOTS_PER_MM / view.reduction, pale=True),
        *scale_parts(view, lines.unit),
        view.group([f'<path d="{leaves}"/>'], "face", 0.12, stroke=blue),
        view.group([f'<path d="{" ".join(seen)}"/>'], "lead line", 0.22, stroke=red),
        view.group(
            [f'<path d="{" ".join(bridged)}"/>'] if bridged else [],
            "bridged",
            0.3,
            stroke=red,
            stroke_dasharray=dash,
        ),
        view.group(
            (
                f'<path d="{view.run(corners, closed=True)}"/>'
                for came in panel.cames
                if came.corrected is not Corrected.NO
                for corners in diamonds(came)
            ),
            "corrected",
            0.12,
            fill="white",
        ),
        view.group(_numbers(lines, view), "piece number", 0.0, fill="black", stroke="none"),
        *_findings(panel, view, coloured=True),
    )
    return view.svg(parts, f"Panel {panel.name} over its rubbing", "panel-figure")


def _view_around(leads_mm: Sequence[float]) -> View:
    """Return the view of the leads with some paper around them."""
    x_min, y_min, x_max, y_max = (float(side) for side in leads_mm)
    width, height = (side - 2.0 * _AROUND_MM for side in FIGURE_MM)
    bare = View.within((x_min, y_min, x_max, y_max), width, height)
    around = _AROUND_MM * bare.reduction
    bounds = (x_min - around, y_min - around, x_max + around, y_max + around)
    return replace(bare, bounds_mm=bounds)


def _came_runs(lines: Traced, view: View) -> Iterator[str]:
    paths = np.array([shapely.LineString(came.path) for came in lines.panel.cames], dtype=object)
    for path in shapely.simplify(paths, _FINE_MM * view.reduction):
        yield view.run(path.coords)


def _numbers(lines: Traced, view: View) -> Iterator[str]:
    for number in lines.numbers:
        yield view.text(number.at, number.text, number.height_mm, angle_deg=number.angle_deg)


def _findings(panel: Panel, view: View, *, coloured: bool) -> Sequence[str]:
    """Return the marks of findings and their numbers."""
    half = _MARK_MM * view.reduction
    marks: list[str] = []
    for finding in panel.findings:
        if finding.at is not None:
            marks += view.finding(finding.severity, finding.at, half, coloured=coloured)
            beside = (finding.at[0] + 1.6 * half, finding.at[1])
            marks.append(view.text(beside, finding.id, 1.5 * view.reduction, anchor="start"))
    looks = {"fill": "black", "stroke": "none", "font_weight": "bold"}
    return [view.group(marks, "finding", 0.0, **looks)]
