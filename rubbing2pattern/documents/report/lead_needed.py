"""The lead to cut and to buy, as the report shows it."""

from __future__ import annotations

from collections.abc import Iterator

from rubbing2pattern.documents.drawing.width_letters import widths_used
from rubbing2pattern.documents.report.facts import Fact, Row, bare
from rubbing2pattern.documents.wording import count_of, length_of, run_of, weight_of
from rubbing2pattern.leading import EndCut, LeadPlan, Strip, StripEnd
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.units import decimal


def weight_figure(plan: LeadPlan, options: DocumentOptions) -> Fact:
    """Return the weight of the panel, a key figure."""
    return Fact(
        "Weight, about",
        weight_of(plan.lead_kg + plan.glass_kg, options, 1),
        f"glass {weight_of(plan.glass_kg, options, 1)}, "
        f"lead {weight_of(plan.lead_kg, options, 1)}; an estimate",
    )


def order_rows(panel: Panel, plan: LeadPlan, options: DocumentOptions) -> tuple[Row, ...]:
    """Return letter, stock, leaf, strips, length, sticks, sticks to buy, longest offcut, weight."""
    letters = _letters(panel)
    return tuple(
        (
            letters[order.stock],
            f"{order.stock}, border" if order.border else order.stock,
            order.profile.value,
            str(len(order.strips)),
            run_of(order.total_length_mm, options),
            str(order.sticks),
            str(order.to_buy),
            length_of(max(order.offcuts_mm, default=0.0), options),
            weight_of(order.lead_kg, options, 2),
        )
        for order in plan.orders
    )


def strip_rows(panel: Panel, plan: LeadPlan, options: DocumentOptions) -> tuple[Row, ...]:
    """Return number, letter, length to cut, ends, sticks and cames of each strip."""
    letters = _letters(panel)
    return tuple(
        (
            str(strip.number),
            letters[strip.stock],
            bare(length_of(strip.cut_length_mm, options)),
            "; ".join(_ends(strip, options)),
            ", ".join(f"{letters[strip.stock]}{stick}" for stick in strip.sticks),
            ", ".join(strip.cames),
        )
        for strip in plan.strips
    )


def _letters(panel: Panel) -> dict[str, str]:
    return {use.stock: use.letter for use in widths_used(panel)}


def _ends(strip: Strip, options: DocumentOptions) -> Iterator[str]:
    """Yield how both ends are cut; equal ones once, a ring's not twice."""
    if strip.covered:
        yield "covered by the leads it joins: nothing to cut"
        return
    if strip.ring:
        yield "ring"
    else:
        first, last = (_end(end) for end in strip.ends)
        yield from (f"both {first}",) if first == last else (first, last)
    if len(strip.parts_mm) > 1:
        parts = " + ".join(bare(length_of(part, options)) for part in strip.parts_mm)
        yield f"in {count_of(len(strip.parts_mm), 'part')}: {parts}"


def _end(end: StripEnd) -> str:
    square = end.cut in (EndCut.JOIN, EndCut.FREE, EndCut.CLOSED) or round(end.angle_deg) == 90
    return end.cut.value if square else f"{end.cut.value} {decimal(end.angle_deg, 0)}°"
