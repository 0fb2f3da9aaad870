"""Sentences of a comparison: positions, moves, widths, sag and bow."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from rubbing2pattern.comparing.found import (
    BorderSide,
    Comparison,
    Fate,
    LeadPair,
    LoneLead,
    PieceFate,
    PieceLine,
    SideKind,
)
from rubbing2pattern.documents.formats.cells import fine_cell
from rubbing2pattern.documents.wording import count_of, length_of
from rubbing2pattern.geometry.curves import Point
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.units import decimal, in_inches

_WAYS = ("right", "up and right", "up", "up and left", "left", "down and left", "down",
         "down and right")  # fmt: skip


def amount_of(length_mm: float, options: DocumentOptions) -> str:
    """Write a small amount: tenths of a millimetre, or thousandths of an inch."""
    if options.units == "mm":
        return f"{decimal(length_mm, 1)} mm"
    return f"{decimal(in_inches(length_mm), 3)} in"


def spread_of(length_mm: float, options: DocumentOptions) -> str:
    """Write one standard deviation, a place finer in millimetres; empty where unknown."""
    if not math.isfinite(length_mm):
        return ""
    text = fine_cell(length_mm, options)
    return f"{text} {options.units}"


def direction_text(shift_mm: Point) -> str:
    """Say which way something moved, in eighths of a turn; empty if it did not move."""
    if math.hypot(*shift_mm) < 1e-3:
        return ""
    turn = math.degrees(math.atan2(shift_mm[1], shift_mm[0]))
    return _WAYS[round(turn / 45.0) % 8]


def name_of(pair: LeadPair) -> str:
    """Name a came of both, with the second id where it differs."""
    return pair.before if pair.before == pair.after else f"{pair.before} (now {pair.after})"


def move_of(pair: LeadPair) -> Point:
    """Return how the place that is off most moved."""
    return (pair.most_to[0] - pair.most_at[0], pair.most_to[1] - pair.most_at[1])


def move_text(pair: LeadPair, options: DocumentOptions) -> str:
    """Say how far a lead moved and which way."""
    return f"{name_of(pair)} by {amount_of(pair.most_mm, options)} {direction_text(move_of(pair))}"


def width_change_text(pair: LeadPair, options: DocumentOptions) -> str:
    """Say how the face of a lead changed."""
    was, now = (amount_of(w, options) for w in (pair.width_before_mm, pair.width_after_mm))
    return f"{name_of(pair)} from {was} to {now}"


def lone_lead_text(lead: LoneLead, options: DocumentOptions) -> str:
    """Say what of a lead the other rubbing does not show."""
    part = "" if lead.whole else "part of "
    return f"{part}{lead.came}, {length_of(lead.length_mm, options)}"


def numbers_in(numbers: Sequence[int]) -> str:
    """Write numbers: 3, 5."""
    return ", ".join(map(str, numbers))


def piece_change_text(line: PieceLine) -> str:
    """Say how pieces changed."""
    before, after = numbers_in(line.before), numbers_in(line.after)
    match line.fate:
        case PieceFate.GONE:
            return f"{before} is gone"
        case PieceFate.NEW:
            return f"{after} is new"
        case PieceFate.MERGED:
            return f"{before} are now one, {after}"
        case PieceFate.SPLIT:
            return f"{before} is now {after}"
        case PieceFate.REGROUPED:
            return f"{before} are now {after}"
    return f"{before} is now {after}" if before != after else f"{before} as before"


def bow_text(side: BorderSide, most_mm: float, options: DocumentOptions) -> str:
    """Say how far a side leaves its line, and which way: 4.2 mm sag, 0.8 mm in."""
    amount = amount_of(abs(most_mm), options)
    if amount == amount_of(0.0, options):
        return amount
    low, high = side.name.startswith("bottom"), side.name.startswith("top")
    straight = side.kind is SideKind.STRAIGHT
    if straight and ((low and most_mm > 0.0) or (high and most_mm < 0.0)):
        return f"{amount} sag"
    return f"{amount} {'out' if most_mm > 0.0 else 'in'}"


def line_of(side: BorderSide) -> str:
    """Say what a side is measured from."""
    return {SideKind.STRAIGHT: "chord", SideKind.ARC: "arc", SideKind.CIRCLE: "circle"}[side.kind]


def panels_sentence(found: Comparison) -> str:
    """Say which two states are compared."""
    return f"Before: {_panel(found.before)}. After: {_panel(found.after)}."


def _panel(panel: Panel) -> str:
    side = f", {panel.side}" if panel.side else ""
    return (
        f"{panel.name}{side}, {count_of(len(panel.pieces), 'piece')}, "
        f"{count_of(len(panel.cames), 'came')}"
    )


def registration_sentence(found: Comparison, options: DocumentOptions) -> str:
    """Say how the second was laid over the first."""
    laid, turn = found.registration, decimal(found.motion.placement.angle_deg, 2)
    mirrored = "mirrored and " if laid.motion.mirrored else ""
    return (
        f"After was {mirrored}turned by {turn.replace('-180', '180')}° and lies on before with "
        f"{math.floor(100.0 * laid.share)} % of the lead; leads that held differ by "
        f"{spread_of(laid.rms_mm, options)}, the laying over is sure to "
        f"{spread_of(laid.uncertainty_mm, options)} (one standard deviation)."
    )


def changes_by_kind(found: Comparison, options: DocumentOptions) -> Iterator[tuple[str, list[str]]]:
    """Yield the kinds of change, each with its list of sentences; none without a change."""
    lost = [lead for lead in found.lone_leads if lead.fate is Fate.LOST]
    added = [lead for lead in found.lone_leads if lead.fate is Fate.ADDED]
    kinds = (
        ("moved", [move_text(pair, options) for pair in found.moved]),
        ("widths", [width_change_text(pair, options) for pair in found.widened]),
        ("lost", [lone_lead_text(lead, options) for lead in lost]),
        ("added", [lone_lead_text(lead, options) for lead in added]),
        ("joints", _joints(found, options)),
        ("pieces", [piece_change_text(line) for line in found.redrawn]),
        ("border", [_side(side, options) for side in found.sides if side.changed]),
    )
    yield from ((kind, said) for kind, said in kinds if said)


def _joints(found: Comparison, options: DocumentOptions) -> list[str]:
    moved = [pair for pair in found.joint_pairs if pair.moved]
    said = [
        f"{pair.before} by {amount_of(math.hypot(*pair.shift_mm), options)} "
        f"{direction_text(pair.shift_mm)}"
        for pair in moved
    ]
    return said + [f"{lone.joint} {lone.fate.value}" for lone in found.lone_joints]


def _side(side: BorderSide, options: DocumentOptions) -> str:
    said = (
        f"{side.name} {bow_text(side, side.after.most_mm, options)} "
        f"(was {bow_text(side, side.before.most_mm, options)})"
    )
    if side.kind is SideKind.STRAIGHT:
        return said
    what = "rise" if side.kind is SideKind.ARC else "radius"
    was, now = (length_of(bow.rise_mm, options) for bow in (side.before, side.after))
    return f"{said}, {what} {now} (was {was})"
