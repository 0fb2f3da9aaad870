"""What all documents of a panel are made from: its record, and what several of them share."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from rubbing2pattern.documents.drawing import Drawing
from rubbing2pattern.documents.drawing.condition import condition_drawing
from rubbing2pattern.documents.drawing.pattern import PanelMarks, panel_marks, sheet_drawing
from rubbing2pattern.documents.kept_rubbing import KeptRubbing, keep_rubbing
from rubbing2pattern.documents.lists.glass_to_buy import NOT_STATED
from rubbing2pattern.documents.templates import TemplatePiece, Templates, templates_of
from rubbing2pattern.glazing.entries import Filled
from rubbing2pattern.glazing.new_glass import grain_of
from rubbing2pattern.glazing.work import GlassWork, glass_work
from rubbing2pattern.leading import LeadPlan, plan_lead
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.options.glass import GlassOptions
from rubbing2pattern.options.leading import LeadingOptions
from rubbing2pattern.options.paper import PaperOptions
from rubbing2pattern.options.templates import TemplateOptions
from rubbing2pattern.reading import Rubbing
from rubbing2pattern.record.fields import PanelRecord
from rubbing2pattern.record.history import rubbing_part
from rubbing2pattern.record.panel import panel_of, record_of


@dataclass(frozen=True, slots=True)
class Glazing:
    """What the documents of the glass are made from besides the panel.

    Attributes
    ----------
    filled : what a person wrote on the sheet of pieces.
    glass, templates : options.
    work : the lists that follow from `filled`, if they were made already.
    """

    filled: Filled = field(default_factory=Filled)
    glass: GlassOptions = field(default_factory=GlassOptions)
    templates: TemplateOptions = field(default_factory=TemplateOptions)
    work: GlassWork | None = None


@dataclass(frozen=True)
class Source:
    """What the documents of a panel are made from; what several share is worked out once.

    Attributes
    ----------
    record, panel : the record, and the panel as it gives it back, so that drawing, lists and record
        never disagree by a rounding and can be made again from the record.
    rubbing : the rubbing straight on, or None without one.
    options, paper, leading : of all documents, of the pattern, of new lead.
    glazing : what a person wrote about the pieces, and the options of glass and templates.
    copies : files of corrections that were applied, and the record from before, by name.
    """

    record: PanelRecord
    panel: Panel
    rubbing: KeptRubbing | None
    options: DocumentOptions
    paper: PaperOptions = PaperOptions()
    glazing: Glazing = Glazing()
    leading: LeadingOptions = LeadingOptions()
    copies: Mapping[str, bytes] = field(default_factory=dict)

    @property
    def provenance(self) -> Mapping[str, Any]:
        """What the record says of where it comes from."""
        return self.record.provenance

    @cached_property
    def plan(self) -> LeadPlan:
        """The lead to cut and to buy."""
        return plan_lead(self.panel, self.leading)

    @cached_property
    def marks(self) -> PanelMarks:
        """The panel as it is drawn, without a sheet around it."""
        mirrored = self.paper.mirrored
        return panel_marks(self.panel, self.options, mirrored=mirrored, strips=self.plan.strips)

    @cached_property
    def drawing(self) -> Drawing:
        """The pattern on one sheet."""
        return sheet_drawing(self.marks, self.panel, self.provenance, self.options)

    @cached_property
    def condition(self) -> Drawing:
        """The condition of the glass on one page."""
        return condition_drawing(self.panel, self.glazing.filled, self.options)

    @cached_property
    def work(self) -> GlassWork:
        """Glass to buy and firings; both empty while no piece is to be replaced."""
        glazing = self.glazing
        return glazing.work or glass_work(self.panel, glazing.filled, glazing.glass)

    @cached_property
    def templates(self) -> Templates | None:
        """Templates of the pieces to be replaced, or None without one that has glass."""
        glazing = self.glazing
        replaced = [
            TemplatePiece(
                piece.number,
                entry.glass or f"glass {NOT_STATED}",
                ", ".join(part for part in (entry.thickness, entry.decorated) if part),
                grain_of(entry, glazing.glass),
            )
            for piece in self.panel.pieces
            if (entry := glazing.filled.of(piece.number)).replaced
        ]
        scale = (self.paper.print_across, self.paper.print_up)
        options = glazing.templates.following(self.paper)
        return templates_of(self.panel, replaced, self.options, options, scale)


def source_of(
    panel: Panel,
    rubbing: Rubbing | KeptRubbing | None,
    provenance: Mapping[str, Any],
    options: DocumentOptions,
    paper: PaperOptions = PaperOptions(),
    glazing: Glazing = Glazing(),
    leading: LeadingOptions = LeadingOptions(),
    copies: Mapping[str, bytes] | None = None,
) -> Source:
    """Gather what the documents of a panel are made from, see `Source`."""
    record = record_of(panel, provenance)
    kept = panel_of(record)
    straight = keep_rubbing(rubbing, kept, options) if isinstance(rubbing, Rubbing) else rubbing
    frame = None if straight is None else straight.frame
    record = record.model_copy(update={"rubbing": rubbing_part(frame)})
    return Source(record, kept, straight, options, paper, glazing, leading, dict(copies or {}))
