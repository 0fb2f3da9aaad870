"""The tables of a collection: how each rubbing went, and what all come to."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rubbing2pattern.collection.stamps import Outcome
from rubbing2pattern.collection.totals import Totals
from rubbing2pattern.documents.formats.cells import area_cell, length_cell, separated, weight_cell
from rubbing2pattern.documents.formats.columns import Column, Quantity, headings
from rubbing2pattern.findings import Severity
from rubbing2pattern.options.documents import DocumentOptions

RESULT_COLUMNS = (
    Column("row", "number of the row in the list"),
    Column("file", "name of the picture"),
    Column("panel", "name of the panel"),
    Column("folder", "name of its folder of results; empty where there is none"),
    Column("state", "done or failed"),
    Column("exit", "the exit code that `trace` gives for that rubbing"),
    Column("reason", "why it failed"),
    Column("width", "width to the outer edges of the border leads", Quantity.LENGTH),
    Column("height", "height to the outer edges of the border leads", Quantity.LENGTH),
    Column("pieces", "how many pieces of glass it has"),
    Column("glass", "sum of their areas as cut", Quantity.AREA),
    Column("lead", "sum of the lengths of the strips to cut", Quantity.LENGTH),
    *(Column(kind.value, f"how many findings have the severity {kind.value}") for kind in Severity),
)
SUM_COLUMNS = (
    Column("what", "lead or glass"),
    Column("stock", "stock width of the lead"),
    Column("profile", "shape of the leaf"),
    Column("length", "sum of the lengths of the strips to cut", Quantity.LENGTH),
    Column("sticks", "how many sticks to buy, panel by panel; bought together they may be fewer"),
    Column("weight", "weight of the strips, an estimate", Quantity.WEIGHT),
    Column("pieces", "how many pieces of glass there are"),
    Column("area", "sum of their areas as cut", Quantity.AREA),
)


def results_csv(outcomes: Sequence[Outcome], options: DocumentOptions) -> str:
    """List the rubbings, one a row, in the order of the list.

    ``exit`` is the exit code that `trace` gives for the same fault, and ``reason`` its message.
    Sizes go to the outer edges of the border leads; ``glass`` is the sum of the cut areas,
    ``lead`` that of the strips.
    """
    return separated(
        headings(RESULT_COLUMNS, options.units),
        (_result(outcome, options) for outcome in outcomes),
    )


def _result(outcome: Outcome, options: DocumentOptions) -> Sequence[object]:
    stamp = outcome.stamp
    stated = (
        outcome.number, stamp.image, stamp.panel, outcome.name if stamp.figures else "",
        stamp.state.value, stamp.exit_code, stamp.reason,
    )  # fmt: skip
    figures = stamp.figures
    if figures is None:
        return (*stated, *("" for _ in range(5 + len(Severity))))
    return (
        *stated,
        length_cell(figures.width_mm, options),
        length_cell(figures.height_mm, options),
        figures.pieces,
        area_cell(figures.glass_mm2, options),
        length_cell(figures.lead_mm, options),
        *(figures.findings.get(kind.value, 0) for kind in Severity),
    )


def totals_csv(totals: Totals, options: DocumentOptions) -> str:
    """List what all panels that are done come to: lead by width and profile, then glass.

    ``sticks`` are those of the panels bought one by one; bought together they may be fewer.
    """
    return separated(headings(SUM_COLUMNS, options.units), _sums(totals, options))


def _sums(totals: Totals, options: DocumentOptions) -> Iterator[Sequence[object]]:
    for part in totals.lead:
        yield (
            "lead", part.stock, part.profile, length_cell(part.length_mm, options), part.sticks,
            weight_cell(part.lead_kg, options), "", "",
        )  # fmt: skip
    glass = area_cell(totals.glass_mm2, options)
    yield "glass", "", "", "", "", "", totals.pieces, glass
