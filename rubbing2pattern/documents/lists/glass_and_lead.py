"""The lists of glass and lead, as comma-separated values (RFC 4180, UTF-8)."""

from __future__ import annotations

from rubbing2pattern.documents.drawing.width_letters import widths_used
from rubbing2pattern.documents.formats.cells import fine_cell, length_cell, separated
from rubbing2pattern.documents.lists.pieces_table import piece_rows
from rubbing2pattern.glazing.columns import columns, heading
from rubbing2pattern.glazing.entries import NOTHING_TYPED, Filled
from rubbing2pattern.model import Panel, Profile
from rubbing2pattern.options.documents import DocumentOptions


def pieces_csv(panel: Panel, options: DocumentOptions, filled: Filled = NOTHING_TYPED) -> str:
    """List the pieces of glass, one a row, by number.

    Widths and areas are in the unit that ends the heading: mm and mm2, or inches with fractions
    and square inches. ``rectangle`` is the smallest one around the glass as cut, its longer side
    first; ``leads`` are the stock widths around the piece, ``findings`` their numbers and codes.
    The last columns are for a person to fill in; `filled` is what was written so far.
    """
    names = columns(picture=False)
    rows = piece_rows(panel, filled, options)
    return separated(
        [heading(name, options.units) for name in names],
        ([row[name] for name in names] for row in rows),
    )


def cames_csv(panel: Panel, options: DocumentOptions) -> str:
    """List the lead by stock width, narrowest first: one row a width.

    ``letter`` is the one on the pattern. Lengths are those of the lead lines, from joint to joint,
    without any allowance for joints, stretching or waste. The lengths by profile add up to the
    length; the border's is part of it. ``measured_`` are face widths as the rubbing gives them,
    with decimals even in inches, because a fraction of the rule is too coarse to judge them by.
    """
    unit = options.units
    heads = (
        "letter",
        "stock",
        "cames",
        f"length_{unit}",
        f"border_length_{unit}",
        *(f"{profile.value}_length_{unit}" for profile in Profile),
        f"longest_came_{unit}",
        f"measured_least_{unit}",
        f"measured_mean_{unit}",
        f"measured_most_{unit}",
    )
    rows = []
    for use in widths_used(panel):
        by_profile = (
            sum(came.length_mm for came in use.cames if came.profile is profile)
            for profile in Profile
        )
        lengths = (use.length_mm, use.border_length_mm, *by_profile, use.longest_mm)
        rows.append(
            (
                use.letter,
                use.stock,
                len(use.cames),
                *(length_cell(length, options) for length in lengths),
                *(fine_cell(width, options) for width in use.measured_mm),
            )
        )
    return separated(heads, rows)
