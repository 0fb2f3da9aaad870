"""The tables of a collection: how each rubbing went, and what all come to."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rubbing2pattern.collection.stamps import Outcome
from rubbing2pattern.collection.totals import Totals
from rubbing2pattern.documents.formats.cells import area_cell, length_cell, separated, weight_cell
from rubbing2pattern.findings import Severity
from rubbing2pattern.options.documents import DocumentOptions


def results_csv(outcomes: Sequence[Outcome], options: DocumentOptions) -> str:
    """List the rubbings, one a row, in the order of the list.

    ``exit`` is the exit code that `trace` gives for the same fault, and ``reason`` its message.
    Sizes go to the outer edges of the border leads; ``glass`` is the sum of the cut areas,
    ``lead`` that of the strips.
    """
    unit = options.units
    heads = (
        "row", "file", "panel", "folder", "state", "exit", "reason", f"width_{unit}",
        f"height_{unit}", "pieces", f"glass_{unit}2", f"lead_{unit}",
        *(kind.value for kind in Severity),
    )  # fmt: skip
    return separated(heads, (_result(outcome, options) for outcome in outcomes))


def _result(outcome: Outcome, options: DocumentOptions) -> Sequence[object]:
    stamp = outcome.stamp
    told = (
        outcome.number, stamp.image, stamp.panel, outcome.name if stamp.figures else "",
        stamp.state.value, stamp.exit_code, stamp.reason,
    )  # fmt: skip
    figures = stamp.figures
    if figures is None:
        return (*told, *("" for _ in range(5 + len(Severity))))
    return (
        *told,
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
    unit, mass = options.units, "kg" if options.units == "mm" else "lb"
    heads = (
        "what", "stock", "profile", f"length_{unit}", "sticks", f"weight_{mass}", "pieces",
        f"area_{unit}2",
    )  # fmt: skip
    return separated(heads, _sums(totals, options))


def _sums(totals: Totals, options: DocumentOptions) -> Iterator[Sequence[object]]:
    for part in totals.lead:
        yield (
            "lead", part.stock, part.profile, length_cell(part.length_mm, options), part.sticks,
            weight_cell(part.lead_kg, options), "", "",
        )  # fmt: skip
    glass = area_cell(totals.glass_mm2, options)
    yield "glass", "", "", "", "", "", totals.pieces, glass
