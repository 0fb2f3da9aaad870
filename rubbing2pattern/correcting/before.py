"""A panel before a file of corrections, with what depends on it alone worked out once."""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property

import shapely

from rubbing2pattern.correcting.net import Net
from rubbing2pattern.findings import Kind
from rubbing2pattern.findings.names import named
from rubbing2pattern.model import Came, Panel, Piece
from rubbing2pattern.options.correct import CorrectOptions


class Before:
    """A panel as it was, read by many corrections and changed by none.

    Attributes
    ----------
    panel : the panel; all its findings have names.
    options : how places are meant.
    """

    def __init__(self, panel: Panel, options: CorrectOptions) -> None:
        self.panel = replace(panel, findings=named(panel.findings))
        self.options = options

    @cached_property
    def net(self) -> Net:
        """The net of the panel, which stays as it is; changes are made on a copy."""
        return Net(self.panel, self.options)

    @cached_property
    def pieces(self) -> dict[int, Piece]:
        """The pieces by their numbers."""
        return {piece.number: piece for piece in self.panel.pieces}

    @cached_property
    def cames(self) -> dict[str, Came]:
        """The cames by their ids."""
        return {came.id: came for came in self.panel.cames}

    @cached_property
    def ground(self) -> shapely.Geometry:
        """What the panel covers.

        Leads that enclose no glass show that the border is open, and so does a piece that was lost.
        Where it ran is not known then, so all between the leads, and as far as the piece reached,
        belongs to the panel.
        """
        pieces = [piece.outline for piece in self.panel.pieces]
        closed = shapely.union_all([self.panel.outline, *pieces])
        bare: list[shapely.Geometry] = [
            shapely.LineString(came.path) for came in self.panel.cames if not came.pieces
        ]
        bare += [
            shapely.Point(f.at).buffer(f.numbers["far_mm"])
            for f in (*self.panel.findings, *(d.finding for d in self.panel.dismissed))
            if f.kind is Kind.GLASS_LIES_OPEN and f.at
        ]
        return shapely.union_all([closed, *bare]).convex_hull if bare else closed

    @cached_property
    def around(self) -> shapely.Geometry:
        """The panel and as much around it as a joint may lie off."""
        return self.ground.buffer(self.options.joint_mm)
