"""What several documents say in the same words: sizes, counts, scale, doubts."""

from __future__ import annotations

from rubbing2pattern.documents.drawing import plain_text
from rubbing2pattern.findings import Severity
from rubbing2pattern.model import Corrected, Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.units import (
    decimal,
    format_length,
    in_mass_unit,
    in_square_inches,
    inch_fraction,
)

REFERENCES = {
    "dpi": "the resolution of the scan",
    "ruler": "two marks a measured distance apart",
    "marks": "reference marks",
    "sheet": "the edges of the sheet",
    "targets": "printed targets",
}
"""What the scale may come from, by the kind of reference."""


def scale_sentence(panel: Panel, options: DocumentOptions) -> str:
    """Say where the scale comes from and how far it can be trusted."""
    share = panel.scale.relative_uncertainty
    longest = max(panel.outer_width_mm, panel.outer_height_mm)
    if options.units == "mm":
        amount = f"{share * longest:.2f} mm in {longest:.0f} mm"
    else:
        part = inch_fraction(share * longest, 64)
        amount = (
            f"{'under 1/64' if part == '0' else part} in in "
            f"{format_length(longest, 'in', denominator=2)}"
        )
    source = REFERENCES.get(panel.scale.reference, panel.scale.reference)
    return (
        f"Taken from {source}. Lengths are true to ±{100.0 * share:.2g} % "
        f"(one standard deviation), that is {amount}."
    )


def findings_text(panel: Panel) -> str:
    """Count the findings by their severity."""
    if not panel.findings:
        return "No findings"
    counts = {s: sum(f.severity is s for f in panel.findings) for s in Severity}
    return (
        f"{count_of(len(panel.findings), 'finding')}: {counts[Severity.WRONG]} wrong, "
        f"{counts[Severity.CHECK]} to check, {count_of(counts[Severity.NOTE], 'note')}"
    )


def corrections_text(panel: Panel) -> str:
    """Say who corrected the panel last, and which cames are corrected."""
    last = panel.corrections[-1]
    cames = [came.id for came in panel.cames if came.corrected is not Corrected.NO]
    named = f"; by hand: {', '.join(cames[:12])}" if cames else ""
    more = f" and {len(cames) - 12} more" if len(cames) > 12 else ""
    return plain_text(f"Corrected by {last.by}, {last.date}{named}{more}")


def count_of(number: int, noun: str) -> str:
    """Write a number with its noun, in the plural where it is one."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def length_of(length_mm: float, options: DocumentOptions) -> str:
    """Write a length in the unit of the documents; short ones in finer parts of an inch."""
    denominator = max(options.fraction, 64) if length_mm < 3.0 else options.fraction
    return format_length(length_mm, options.units, denominator=denominator)


def size_of(width_mm: float, height_mm: float, options: DocumentOptions) -> str:
    """Write width × height with the unit once."""
    width, height = length_of(width_mm, options), length_of(height_mm, options)
    return f"{width.rsplit(' ', 1)[0]} × {height}"


def run_of(length_mm: float, options: DocumentOptions) -> str:
    """Write a length of lead in metres, or in inches to a half."""
    if options.units == "mm":
        return f"{length_mm / 1000.0:.2f} m"
    return format_length(length_mm, "in", denominator=2)


def glass_of(area_mm2: float, options: DocumentOptions) -> str:
    """Write an area of glass in square metres or square feet."""
    if options.units == "mm":
        return f"{decimal(area_mm2 / 1e6, 3)} m²"
    return f"{decimal(in_square_inches(area_mm2) / 144.0, 2)} sq ft"


def weight_of(weight_kg: float, options: DocumentOptions, places: int) -> str:
    """Write a weight in kilograms or pounds."""
    unit = "kg" if options.units == "mm" else "lb"
    return f"{decimal(in_mass_unit(weight_kg, options.units), places)} {unit}"
