"""The figures of the report as words, in the documents' unit; the record has them all in mm."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from rubbing2pattern.documents.drawing.width_letters import widths_used
from rubbing2pattern.documents.formats.cells import fine_cell
from rubbing2pattern.documents.lists.pieces_table import around
from rubbing2pattern.documents.wording import (
    REFERENCES,
    count_of,
    glass_of,
    length_of,
    run_of,
    size_of,
)
from rubbing2pattern.findings import Severity
from rubbing2pattern.geometry.curves import Point
from rubbing2pattern.model import Came, Corrected, Panel, Profile
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.units import MM_PER_INCH, decimal, in_square_inches

Row = tuple[str, ...]

_LONGEST_VALUE = 400
"""Letters of one value of the provenance; a longer one is in the record."""


@dataclass(frozen=True, slots=True)
class Fact:
    """A figure with its name and a remark about it."""

    name: str
    value: str
    remark: str = ""


def key_figures(panel: Panel, options: DocumentOptions) -> tuple[Fact, ...]:
    """Return the figures that a reader wants first."""
    uses = widths_used(panel)
    total, border = (
        sum(part)
        for part in zip((0.0, 0.0), *((u.length_mm, u.border_length_mm) for u in uses), strict=True)
    )
    glass = sum(piece.cut_area_mm2 for piece in panel.pieces)
    counts = {s: sum(f.severity is s for f in panel.findings) for s in Severity}
    worst = max(panel.outer_width_mm, panel.outer_height_mm)
    share = panel.scale.relative_uncertainty
    return (
        Fact("Over all", size_of(panel.outer_width_mm, panel.outer_height_mm, options),
             "width × height, to the outer edges of the leads"),
        Fact("To the lead lines", size_of(panel.width_mm, panel.height_mm, options)),
        Fact("Pieces of glass", str(len(panel.pieces)), f"{glass_of(glass, options)} as cut"),
        Fact("Length of lead", run_of(total, options),
             f"along the lead lines, {run_of(border, options)} of it border"),
        Fact("Leads", count_of(len(panel.cames), "came"), count_of(len(panel.joints), "joint")),
        Fact("Widths of lead", ", ".join(use.stock for use in uses) or "none"),
        Fact("Scale", f"±{100.0 * share:.2g} %",
             f"one standard deviation: {fine(share * worst, options)} in "
             f"{length_of(worst, options)}"),
        Fact("Heart and clearance",
             f"{length_of(panel.heart_mm, options)}, {length_of(panel.clearance_mm, options)}",
             "as given, not measured"),
        Fact("Findings", f"{counts[Severity.WRONG]} wrong, {counts[Severity.CHECK]} to check",
             count_of(counts[Severity.NOTE], "note")),
    )  # fmt: skip


def piece_rows(panel: Panel, options: DocumentOptions) -> tuple[Row, ...]:
    """Return number, rectangle, areas as cut and as seen, widths, neighbours, findings."""
    cames = {came.id: came for came in panel.cames}
    doubts: dict[int, list[str]] = {}
    for finding in panel.findings:
        for number in finding.pieces:
            doubts.setdefault(number, []).append(finding.id)
    rows = []
    for piece in panel.pieces:
        stocks, others = around(piece, cames)
        rows.append(
            (
                str(piece.number),
                bare(size_of(piece.rectangle.width_mm, piece.rectangle.height_mm, options)),
                area(piece.cut_area_mm2, options),
                area(piece.sight_area_mm2, options),
                f"{area(piece.centre_area_mm2, options)} ± "
                f"{area(piece.area_uncertainty_mm2, options)}",
                ", ".join(stocks),
                ", ".join(map(str, others)),
                ", ".join(doubts.get(piece.number, [])),
            )
        )
    return tuple(rows)


def width_rows(panel: Panel, options: DocumentOptions) -> tuple[Row, ...]:
    """Return letter, stock, cames, lengths and measured widths for each width of lead."""
    rows = []
    for use in widths_used(panel):
        by_profile = ", ".join(
            f"{run_of(length, options)} {profile.value}"
            for profile in Profile
            if (length := sum(c.length_mm for c in use.cames if c.profile is profile)) > 0.0
        )
        least, mean, most = (fine(width, options) for width in use.measured_mm)
        rows.append(
            (
                use.letter,
                use.stock,
                str(len(use.cames)),
                run_of(use.length_mm, options),
                run_of(use.border_length_mm, options),
                length_of(use.longest_mm, options),
                f"{bare(least)} – {bare(mean)} – {most}",
                by_profile,
            )
        )
    return tuple(rows)


def came_rows(panel: Panel, options: DocumentOptions) -> tuple[Row, ...]:
    """Return id, pieces, length, letter, face width and remark of each came."""
    letters = {came.id: use.letter for use in widths_used(panel) for came in use.cames}
    return tuple(
        (
            came.id,
            " | ".join(str(number) for number in came.pieces),
            bare(length_of(came.length_mm, options)),
            letters[came.id],
            bare(uncertain(came.face_width_mm, came.face_width_uncertainty_mm, options)),
            ", ".join(_remarks(came, options)),
        )
        for came in panel.cames
    )


def scale_facts(panel: Panel, options: DocumentOptions) -> tuple[Fact, ...]:
    """Return how the scale was found, how far it can be trusted, and how the panel was turned."""
    scale = panel.scale
    share = scale.relative_uncertainty
    lengths = (100.0, 500.0, 1000.0) if options.units == "mm" else (101.6, 304.8, 914.4)
    longest = max(panel.outer_width_mm, panel.outer_height_mm)
    uncertain_by = "; ".join(
        f"{fine(share * length, options)} in {length_of(length, options)}"
        for length in (*lengths, longest)
    )
    flat = scale.reference in ("dpi", "ruler")
    perspective = (
        "none was taken out: the picture was taken as flat and square"
        if flat
        else "taken out by the plane that the reference gives"
    )
    lens = (
        f"k1 = {scale.lens_k1:g}, taken out; at half the picture's diagonal from its middle"
        if scale.lens_k1
        else "none was taken out"
    )
    unit_px = "mm" if options.units == "mm" else "in"
    px = scale.px_per_mm * (1.0 if options.units == "mm" else MM_PER_INCH)
    return (
        Fact("Scale from", REFERENCES.get(scale.reference, scale.reference), scale.statement),
        Fact("Uncertainty of any length", f"±{100.0 * share:.2g} %", "one standard deviation"),
        Fact("That is", uncertain_by),
        Fact("Resolution", f"{px:.2f} pixels per {unit_px}", "mean, on the sheet"),
        Fact("Perspective", perspective),
        Fact("Bend of the lens", lens),
        Fact("Levelled by", f"{decimal(panel.level_angle_deg, 2)}°", "angle taken out"),
    )


def residual_rows(panel: Panel, options: DocumentOptions) -> tuple[Row, ...]:
    """Return name, distance from the fit and use of each mark of the reference."""
    return tuple(
        (mark.name, fine(mark.residual_mm, options), "used" if mark.used else "left out")
        for mark in panel.scale.residuals
    )


def provenance_facts(provenance: Mapping[str, Any]) -> tuple[Fact, ...]:
    """Return everything the record knows of where it comes from."""
    return tuple(Fact(name, value) for name, value in _flat(provenance, ""))


def place(at: Point | None, options: DocumentOptions) -> str:
    """Say where a place is, from the lower left corner of the panel."""
    if at is None:
        return "whole panel"
    x, y = (length_of(part, options) for part in at)
    return f"x {bare(x)}, y {y}"


def bare(text: str) -> str:
    """Return a figure without the unit behind it, for a column that names the unit."""
    return text.rsplit(" ", 1)[0]


def fine(length_mm: float, options: DocumentOptions) -> str:
    """Write a width or an uncertainty, too fine for the fractions of a rule, with decimals."""
    if not math.isfinite(length_mm):
        return f"? {options.units}"
    return f"{fine_cell(length_mm, options)} {options.units}"


def uncertain(width_mm: float, uncertainty_mm: float, options: DocumentOptions) -> str:
    """Write a width with its standard deviation, as far as that is known."""
    return f"{bare(fine(width_mm, options))} ± {fine(uncertainty_mm, options)}"


def area(area_mm2: float, options: DocumentOptions) -> str:
    """Write an area in mm² or square inches, for a column that names the unit."""
    if options.units == "mm":
        return decimal(area_mm2, 0)
    return decimal(in_square_inches(area_mm2), 2)


def _remarks(came: Came, options: DocumentOptions) -> Iterator[str]:
    if came.border:
        yield "border"
    if came.profile is not Profile.UNKNOWN:
        yield came.profile.value
    bridged = sum(end - start for start, end in came.gaps)
    if bridged > 0.0:
        yield f"{length_of(bridged, options)} bridged"
    if came.corrected is not Corrected.NO:
        yield f"{came.corrected.value} by hand"


def _flat(datum: Any, name: str) -> Iterator[tuple[str, str]]:
    """Yield the names and values of nested tables; a list of plain values is one value."""
    if isinstance(datum, Mapping):
        for key, item in datum.items():
            yield from _flat(item, f"{name} {key}".strip())
        return
    if isinstance(datum, list | tuple):
        if any(isinstance(item, Mapping | list | tuple) for item in datum):
            value = "; ".join(_short(item) for item in datum)
        else:
            value = ", ".join(str(item) for item in datum)
    else:
        value = "–" if datum is None else str(datum)
    if len(value) > _LONGEST_VALUE:
        value = f"{value[:_LONGEST_VALUE]} … (all of it in the record)"
    yield name, value


def _short(datum: Any) -> str:
    if isinstance(datum, Mapping):
        return ", ".join(f"{key} {_short(item)}" for key, item in datum.items())
    if isinstance(datum, list | tuple):
        return " ".join(_short(item) for item in datum)
    return str(datum)
