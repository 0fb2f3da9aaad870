"""The list of the widths of lead: ``lead-widths.csv``."""

from __future__ import annotations

from rubbing2pattern.documents.drawing.width_letters import widths_used
from rubbing2pattern.documents.formats.cells import fine_cell, length_cell, separated
from rubbing2pattern.documents.formats.columns import Column, Quantity, headings
from rubbing2pattern.model import Panel, Profile
from rubbing2pattern.options.documents import DocumentOptions

_LEAVES = {
    Profile.FLAT: "a flat leaf",
    Profile.ROUND: "a round leaf",
    Profile.UNKNOWN: "a leaf of unknown shape",
}
WIDTH_COLUMNS = (
    Column("letter", "the letter of this width on the pattern"),
    Column("stock", "the stock width"),
    Column("cames", "how many cames have it"),
    Column("length", "their length along the lead lines, without allowance for joints, stretching "
           "or waste", Quantity.LENGTH),
    Column("border_length", "how much of it is border", Quantity.LENGTH),
    *(
        Column(f"{profile.value}_length", f"how much of it has {leaf}", Quantity.LENGTH)
        for profile, leaf in _LEAVES.items()
    ),
    Column("longest_came", "length of the longest single came", Quantity.LENGTH),
    Column("measured_least", "least face width as the rubbing gives it", Quantity.LENGTH),
    Column("measured_mean", "mean of the face widths by length", Quantity.LENGTH),
    Column("measured_most", "largest face width", Quantity.LENGTH),
)  # fmt: skip


def lead_widths_csv(panel: Panel, options: DocumentOptions) -> str:
    """List the lead by stock width, narrowest first: one row a width.

    ``letter`` is the one on the pattern. Lengths are those of the lead lines, from joint to joint,
    without any allowance for joints, stretching or waste. The lengths by profile add up to the
    length; the border's is part of it. ``measured_`` are face widths as the rubbing gives them,
    with decimals even in inches, because a fraction of the rule is too coarse to judge them by.
    """
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
    return separated(headings(WIDTH_COLUMNS, options.units), rows)
