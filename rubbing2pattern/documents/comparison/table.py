"""A comparison as a table: ``comparison.csv``, one row for each lead, joint, piece and side."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

from rubbing2pattern.comparing.found import Comparison, LeadPair, SideKind
from rubbing2pattern.documents.comparison.sentences import move_of
from rubbing2pattern.documents.formats.cells import area_cell, fine_cell, length_cell, separated
from rubbing2pattern.documents.formats.columns import Column, Quantity, headings
from rubbing2pattern.geometry.curves import Point
from rubbing2pattern.options.documents import DocumentOptions

COMPARISON_COLUMNS = (
    Column("kind", "lead, joint, piece or side of the border"),
    Column("changed", "yes where something did"),
    Column("what", "its change; for a side, the figure that was measured"),
    Column("before", "its name before"),
    Column("after", "its name after"),
    Column("by", "how far it moved where it moved most; of a side, the change of its sag or bow",
           Quantity.LENGTH),
    Column("right", "the part of that move to the right", Quantity.LENGTH),
    Column("up", "the part of that move upwards", Quantity.LENGTH),
    Column("uncertainty", "one standard deviation of the move", Quantity.LENGTH),
    Column("x", "how far it lies to the right of the lower left corner of the panel before",
           Quantity.LENGTH),
    Column("y", "how far it lies above that corner", Quantity.LENGTH),
    Column("length", "length of the lead or the side", Quantity.LENGTH),
    Column("was", "face width of the lead before; of a side its sag or bow, positive outwards",
           Quantity.LENGTH),
    Column("now", "that width, sag or bow after", Quantity.LENGTH),
    Column("area_was", "area of the piece before, to the middle of the leads", Quantity.AREA),
    Column("area_now", "area of the piece after", Quantity.AREA),
)  # fmt: skip


def comparison_csv(found: Comparison, options: DocumentOptions) -> str:
    """List leads, joints, pieces and sides with both names; ``changed`` says yes where they did.

    Of a lead, ``by`` and its parts to the right and up are those of the place that is off most, at
    x, y; ``was`` and ``now`` are face widths. Of a side they are its sag or bow, positive outwards,
    ``by`` is their change. Areas are to the middle of the leads.
    """
    return separated(
        headings(COMPARISON_COLUMNS, options.units),
        ([row.get(c.name, "") for c in COMPARISON_COLUMNS] for row in _rows(found, options)),
    )


def _rows(found: Comparison, options: DocumentOptions) -> Iterator[Mapping[str, str]]:
    yield from (_lead(pair, options) for pair in found.pairs)
    for lone in found.lone_leads:
        middle = lone.path[len(lone.path) // 2]
        yield {
            "kind": "lead",
            "changed": "yes",
            "what": lone.fate.value if lone.whole else f"{lone.fate.value} in part",
            "before" if lone.fate == "lost" else "after": lone.came,
            **_at((float(middle[0]), float(middle[1])), options),
            "length": length_cell(lone.length_mm, options),
            "was" if lone.fate == "lost" else "now": fine_cell(lone.face_width_mm, options),
        }
    yield from _joints(found, options)
    for line in found.pieces:
        yield {
            "kind": "piece",
            "changed": "" if line.fate == "same" else "yes",
            "what": line.fate.value,
            "before": " ".join(map(str, line.before)),
            "after": " ".join(map(str, line.after)),
            "area_was": area_cell(line.area_before_mm2, options),
            "area_now": area_cell(line.area_after_mm2, options),
        }
    yield from _sides(found, options)


def _lead(pair: LeadPair, options: DocumentOptions) -> Mapping[str, str]:
    what = [word for word, so in (("moved", pair.moved), ("width", pair.width_changed)) if so]
    return {
        "kind": "lead",
        "changed": "yes" if what else "",
        "what": " ".join(what) or "same",
        "before": pair.before,
        "after": pair.after,
        "by": fine_cell(pair.most_mm, options),
        **_moved(move_of(pair), options),
        "uncertainty": fine_cell(pair.uncertainty_mm, options),
        **_at(pair.most_at, options),
        "length": length_cell(pair.length_mm, options),
        "was": fine_cell(pair.width_before_mm, options),
        "now": fine_cell(pair.width_after_mm, options),
    }


def _joints(found: Comparison, options: DocumentOptions) -> Iterator[Mapping[str, str]]:
    for pair in found.joint_pairs:
        yield {
            "kind": "joint",
            "changed": "yes" if pair.moved else "",
            "what": "moved" if pair.moved else "same",
            "before": pair.before,
            "after": pair.after,
            "by": fine_cell(math.hypot(*pair.shift_mm), options),
            **_moved(pair.shift_mm, options),
            "uncertainty": fine_cell(pair.uncertainty_mm, options),
            **_at(pair.at, options),
        }
    for lone in found.lone_joints:
        yield {
            "kind": "joint",
            "changed": "yes",
            "what": lone.fate.value,
            "before" if lone.fate == "lost" else "after": lone.joint,
            **_at(lone.at, options),
        }


def _sides(found: Comparison, options: DocumentOptions) -> Iterator[Mapping[str, str]]:
    for side in found.sides:
        yield {
            "kind": "side",
            "changed": "yes" if side.changed else "",
            "what": side.kind.value,
            "before": side.name,
            "after": side.name,
            "by": fine_cell(side.change_mm, options),
            "uncertainty": fine_cell(side.uncertainty_mm, options),
            **_at(side.after.at, options),
            "length": length_cell(side.after.length_mm, options),
            "was": fine_cell(side.before.most_mm, options),
            "now": fine_cell(side.after.most_mm, options),
        }
        if side.kind is not SideKind.STRAIGHT:
            yield {
                "kind": "side",
                "changed": "yes" if side.changed else "",
                "what": "rise" if side.kind is SideKind.ARC else "radius",
                "before": side.name,
                "after": side.name,
                "was": fine_cell(side.before.rise_mm, options),
                "now": fine_cell(side.after.rise_mm, options),
            }


def _moved(shift_mm: Point, options: DocumentOptions) -> dict[str, str]:
    return {
        "right": fine_cell(shift_mm[0], options),
        "up": fine_cell(shift_mm[1], options),
    }


def _at(place: Point, options: DocumentOptions) -> dict[str, str]:
    return {"x": length_cell(place[0], options), "y": length_cell(place[1], options)}
