"""The list of joints: ``joints.csv``, where the cames meet."""

from __future__ import annotations

from rubbing2pattern.documents.formats.cells import fine_cell, separated
from rubbing2pattern.documents.formats.columns import Column, Quantity, headings
from rubbing2pattern.model import JointKind, Panel
from rubbing2pattern.options.documents import DocumentOptions

JOINT_COLUMNS = (
    Column("joint", "its id"),
    Column("x", "how far it lies to the right of the panel's lower left corner", Quantity.LENGTH),
    Column("y", "how far it lies above that corner", Quantity.LENGTH),
    Column("kind", f"how the cames meet: {', '.join(JointKind)}"),
    Column("cames", "the cames that meet there"),
    Column("uncertainty", "one standard deviation of its place", Quantity.LENGTH),
)


def joints_csv(panel: Panel, options: DocumentOptions) -> str:
    """List the joints, one a row, in the panel's order.

    Places have decimals even in inches, so that a spreadsheet can plot them.
    """
    rows = (
        (
            joint.id,
            fine_cell(joint.x_mm, options),
            fine_cell(joint.y_mm, options),
            joint.kind.value,
            " ".join(joint.cames),
            fine_cell(joint.uncertainty_mm, options),
        )
        for joint in panel.joints
    )
    return separated(headings(JOINT_COLUMNS, options.units), rows)
