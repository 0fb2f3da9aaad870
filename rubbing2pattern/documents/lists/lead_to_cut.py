"""The lists of lead: strips to cut, sticks to buy, and what the weights rest on."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from rubbing2pattern.documents.drawing.width_letters import widths_used
from rubbing2pattern.documents.formats.cells import (
    fine_cell,
    length_cell,
    separated,
    weight_cell,
    yes_or_no,
)
from rubbing2pattern.documents.formats.columns import Column, Quantity, headings
from rubbing2pattern.documents.wording import length_of
from rubbing2pattern.leading import LeadPlan, Strip, StripEnd
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.options.leading import LeadingOptions
from rubbing2pattern.units import decimal

TOTAL = "all"
"""Written instead of the letter in the last row of the list of sticks."""

STRIP_COLUMNS = (
    Column("strip", "its number, on the pattern as `S12` beside the longest came of "
           "the strip that has room, on the layer `strip number`; in the reading order of the "
           "first came of each; corrections may change it"),
    Column("letter", "letter of its width, as on the pattern"),
    Column("stock", "its stock width"),
    Column("profile", "shape of the leaf of most of its length"),
    Column("border", "yes or no"),
    Column("ring", "whether it is closed in itself: yes or no"),
    Column("cut_length", "length to cut, over the longest points of the cuts, without allowance",
           Quantity.LENGTH),
    Column("lead_line", "length of its lead line, from joint to joint", Quantity.LENGTH),
    Column("measured_width", "face width as the rubbing gives it, mean by length",
           Quantity.LENGTH),
    *(
        column
        for end in ("start", "end")
        for column in (
            Column(f"{end}_joint", f"the joint at its {end}"),
            Column(f"{end}_cut", f"how it is cut at its {end}"),
            Column(f"{end}_angle_deg", "the angle of that cut to the length of the strip; 90 is "
                   "square"),
            Column(f"{end}_meets", f"the strips that it is soldered to at its {end}"),
        )
    ),
    Column("parts", "lengths of its parts, only where it is longer than a stick gives",
           Quantity.LENGTH),
    Column("soldered_at", "the joints at which such parts are soldered"),
    Column("sticks", "the stick that it is cut from, by letter and number: A1, A2 …, as in the row "
           "of `lead.csv` of its width, profile and border; of several parts the stick of each"),
    Column("cames", "the cames that it is made of, along it"),
    Column("remark", "what is out of the ordinary"),
)  # fmt: skip
ORDER_COLUMNS = (
    Column("letter", "letter of the width, as on the pattern; `all` in the row for the panel"),
    Column("stock", "stock width"),
    Column("profile", "shape of the leaf"),
    Column("border", "yes or no with `leading.border_apart`, otherwise empty"),
    Column("strips", "how many strips are cut from it"),
    Column("total_length", "the sum of their cut lengths", Quantity.LENGTH),
    Column("longest_strip", "the greatest of their cut lengths", Quantity.LENGTH),
    Column("stick_length", "length of a stick as it is bought", Quantity.LENGTH),
    Column("sticks", "how many sticks hold all strips"),
    Column("at_least", "the number of sticks that no way of cutting does without"),
    Column("to_buy", "how many to buy, with the spare ones"),
    Column("offcuts", "what is left of each stick, by its number; crushed ends are not counted",
           Quantity.LENGTH),
    Column("method", "how the sticks were found, and whether fewer are ruled out"),
    Column("lead", "weight of the strips, an estimate", Quantity.WEIGHT),
    Column("bought", "weight of the sticks to buy, an estimate", Quantity.WEIGHT),
    Column("glass", "weight of the glass, an estimate; only in the row for the panel",
           Quantity.WEIGHT),
)  # fmt: skip


def strips_csv(panel: Panel, plan: LeadPlan, options: DocumentOptions) -> str:
    """List the strips to cut, one a row, by number.

    ``cut_length`` goes over the longest points of the cuts, without allowance; ``lead_line`` from
    joint to joint. Of each end: its joint, how it is cut, at what angle to the length of the strip,
    and the strips it is soldered to. ``sticks`` are those of the list of lead, by letter and
    number; a strip in several parts names the stick of each. A strip that the leads it joins cover
    whole has no length and no stick.
    """
    letters = {use.stock: use.letter for use in widths_used(panel)}
    return separated(
        headings(STRIP_COLUMNS, options.units),
        (_strip_row(strip, letters, options) for strip in plan.strips),
    )


def lead_csv(panel: Panel, plan: LeadPlan, options: DocumentOptions) -> str:
    """List the lead to buy, one row for each width and profile, narrowest first, then the sum.

    ``border`` is empty unless the border's lead is ordered apart.
    ``sticks`` hold all strips; ``at_least`` is the number that no way of cutting does without;
    ``to_buy`` counts the spare ones in. Offcuts are those of each stick, its crushed ends not
    counted. Weights are estimates: of the strips, and of the sticks to buy; the last row gives that
    of the glass as well.
    """
    return separated(headings(ORDER_COLUMNS, options.units), _order_rows(panel, plan, options))


def weights_note(panel: Panel, leading: LeadingOptions, options: DocumentOptions) -> str:
    """Say what the weights of lead and glass rest on."""
    sizes = {
        name: length_of(mm, options)
        for name, mm in (
            ("leaf", leading.leaf_mm), ("round", leading.round_leaf_mm),
            ("heart", panel.heart_mm), ("channel", leading.channel_mm),
            ("glass", leading.glass_mm),
        )
    }  # fmt: skip
    return (
        f"Weights are estimates. Glass: {sizes['glass']} thick everywhere, 2500 kg/m³ (EN 572-1). "
        f"Lead: 11 340 kg/m³ (CRC Handbook), every came an H with flat leaves {sizes['leaf']} "
        f"thick, or round ones {sizes['round']} in the middle, and a heart {sizes['heart']} thick "
        f"and {sizes['channel']} high; a U as wide with such a back weighs the same. Solder, "
        "cement, ties and bars are not counted."
    )


def _strip_row(
    strip: Strip, letters: Mapping[str, str], options: DocumentOptions
) -> tuple[object, ...]:
    letter = letters[strip.stock]
    parted = len(strip.parts_mm) > 1
    return (
        strip.number,
        letter,
        strip.stock,
        strip.profile.value,
        yes_or_no(strip.border),
        yes_or_no(strip.ring),
        length_cell(strip.cut_length_mm, options),
        length_cell(strip.lead_line_mm, options),
        fine_cell(strip.face_width_mm, options),
        *(cell for end in strip.ends for cell in _end_cells(end)),
        "; ".join(length_cell(part, options) for part in strip.parts_mm) if parted else "",
        "; ".join(joint or "between joints" for joint in strip.soldered_at),
        "; ".join(f"{letter}{stick}" for stick in strip.sticks),
        " ".join(strip.cames),
        _remark(strip),
    )


def _end_cells(end: StripEnd) -> tuple[object, ...]:
    meets = " ".join(str(number) for number in end.meets)
    return end.joint, end.cut.value, decimal(end.angle_deg, 0), meets


def _remark(strip: Strip) -> str:
    if strip.covered:
        return "covered by the leads it joins: nothing to cut"
    if len(strip.parts_mm) > 1:
        return f"longer than a stick gives: soldered from {len(strip.parts_mm)} parts"
    return ""


def _order_rows(
    panel: Panel, plan: LeadPlan, options: DocumentOptions
) -> Iterator[tuple[object, ...]]:
    letters = {use.stock: use.letter for use in widths_used(panel)}
    strips = {strip.number: strip for strip in plan.strips}
    stick = length_cell(plan.stick_mm, options)

    def longest(numbers: tuple[int, ...]) -> str:
        return length_cell(max((strips[n].cut_length_mm for n in numbers), default=0.0), options)

    for order in plan.orders:
        yield (
            letters[order.stock], order.stock, order.profile.value,
            "" if order.border is None else yes_or_no(order.border), len(order.strips),
            length_cell(order.total_length_mm, options), longest(order.strips), stick,
            order.sticks, order.least_sticks, order.to_buy,
            "; ".join(length_cell(offcut, options) for offcut in order.offcuts_mm),
            order.method, weight_cell(order.lead_kg, options),
            weight_cell(order.bought_kg, options), "",
        )  # fmt: skip
    everything = tuple(n for order in plan.orders for n in order.strips)
    yield (
        TOTAL, "", "", "", len(everything),
        length_cell(sum(order.total_length_mm for order in plan.orders), options),
        longest(everything), stick,
        *(sum(getattr(order, count) for order in plan.orders)
          for count in ("sticks", "least_sticks", "to_buy")),
        "", "", weight_cell(plan.lead_kg, options),
        weight_cell(sum(order.bought_kg for order in plan.orders), options),
        weight_cell(plan.glass_kg, options),
    )  # fmt: skip
