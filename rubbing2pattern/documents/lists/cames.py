"""The list of cames: ``cames.csv``, the lead from joint to joint."""

from __future__ import annotations

import math

from rubbing2pattern.documents.formats.cells import fine_cell, length_cell, separated, yes_or_no
from rubbing2pattern.documents.formats.columns import Column, Quantity, headings
from rubbing2pattern.leading import LeadPlan
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions

CAME_COLUMNS = (
    Column("came", "its id"),
    Column("start", "the joint at which it begins"),
    Column("end", "the joint at which it ends"),
    Column("length", "length along the lead line from joint to joint, without allowance",
           Quantity.LENGTH),
    Column("face_width", "face width as measured", Quantity.LENGTH),
    Column("face_width_uncertainty", "one standard deviation of the face width; empty where it "
           "is not known", Quantity.LENGTH),
    Column("stock", "the nearest stock width"),
    Column("profile", "shape of the leaf: flat, round or unknown"),
    Column("strip", "the strip to cut that it belongs to, as in `strips.csv`"),
    Column("run", "number of the run of lead that was fitted as one line; a run can be cut into "
           "several strips"),
    Column("border", "yes or no"),
    Column("pieces", "numbers of the pieces on both sides, the left one first as it runs from "
           "start to end; a single one at the border, and along a lead that ends freely"),
)  # fmt: skip


def cames_csv(panel: Panel, plan: LeadPlan, options: DocumentOptions) -> str:
    """List the cames, one a row, in the panel's order.

    Face widths have decimals even in inches, because a fraction of the rule is too coarse to judge
    them by.
    """
    strips = {name: strip.number for strip in plan.strips for name in strip.cames}
    rows = (
        (
            came.id,
            came.start,
            came.end,
            length_cell(came.length_mm, options),
            fine_cell(came.face_width_mm, options),
            _known(came.face_width_uncertainty_mm, options),
            came.stock,
            came.profile.value,
            strips[came.id],
            came.strip,
            yes_or_no(came.border),
            " ".join(map(str, dict.fromkeys(came.pieces))),
        )
        for came in panel.cames
    )
    return separated(headings(CAME_COLUMNS, options.units), rows)


def _known(width_mm: float, options: DocumentOptions) -> str:
    return fine_cell(width_mm, options) if math.isfinite(width_mm) else ""
