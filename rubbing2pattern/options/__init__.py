"""One frozen group of options per stage; every threshold in mm with default, range and reason."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from typing import Any

from rubbing2pattern.options.audit import AuditOptions
from rubbing2pattern.options.base import Part, of_documents, of_reading
from rubbing2pattern.options.compare import CompareOptions
from rubbing2pattern.options.correct import CorrectOptions
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.options.fragments import FragmentOptions
from rubbing2pattern.options.glass import GlassOptions
from rubbing2pattern.options.joining import JoiningOptions
from rubbing2pattern.options.laying import LayingOptions
from rubbing2pattern.options.lead import LeadOptions
from rubbing2pattern.options.leading import LeadingOptions
from rubbing2pattern.options.level import LevelOptions
from rubbing2pattern.options.load import LoadOptions
from rubbing2pattern.options.loose import LooseOptions
from rubbing2pattern.options.match import MatchOptions
from rubbing2pattern.options.measure import MeasureOptions
from rubbing2pattern.options.paper import PaperOptions
from rubbing2pattern.options.pieces import PieceOptions
from rubbing2pattern.options.rectify import RectifyOptions
from rubbing2pattern.options.skeleton import SkeletonOptions
from rubbing2pattern.options.templates import TemplateOptions
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.options.trace import TraceOptions


@dataclass(frozen=True, slots=True)
class Options:
    """The options of a whole run: a group for each stage and for what is made afterwards."""

    load: LoadOptions = field(
        default_factory=LoadOptions, metadata=of_reading("people who photograph or scan a rubbing")
    )
    rectify: RectifyOptions = field(
        default_factory=RectifyOptions,
        metadata=of_reading("people who measure the sheet, marks or targets on it"),
    )
    lead: LeadOptions = field(
        default_factory=LeadOptions, metadata=of_reading("people who make the rubbing")
    )
    skeleton: SkeletonOptions = field(
        default_factory=SkeletonOptions,
        metadata=of_reading("people who ask why a piece is missing, or one too many"),
    )
    trace: TraceOptions = field(
        default_factory=TraceOptions,
        metadata=of_reading("people who ask why a free end is tied to a lead, or is not"),
    )
    joining: JoiningOptions = field(
        default_factory=JoiningOptions, metadata=of_reading("people who rub a panel on two sheets")
    )
    tidy: TidyOptions = field(
        default_factory=TidyOptions,
        metadata=of_reading("people who ask why a lead is missing, or one too many"),
    )
    laying: LayingOptions = field(
        default_factory=LayingOptions,
        metadata=of_reading("people who ask why a lead lies beside its place"),
    )
    measure: MeasureOptions = field(
        default_factory=MeasureOptions,
        metadata=of_reading("people who choose the width of new lead"),
    )
    level: LevelOptions = field(
        default_factory=LevelOptions,
        metadata=of_reading("people who ask why the pattern lies askew"),
    )
    pieces: PieceOptions = field(
        default_factory=PieceOptions, metadata=of_reading("people who cut glass and choose lead")
    )
    audit: AuditOptions = field(
        default_factory=AuditOptions,
        metadata=of_reading("people who settle the findings at the panel"),
    )
    correct: CorrectOptions = field(
        default_factory=CorrectOptions,
        metadata=of_reading("people who write a file of corrections"),
    )
    documents: DocumentOptions = field(
        default_factory=DocumentOptions,
        metadata=of_documents("people who work with pattern, lists and report"),
    )
    glass: GlassOptions = field(
        default_factory=GlassOptions, metadata=of_documents("people who buy, cut and fire glass")
    )
    leading: LeadingOptions = field(
        default_factory=LeadingOptions, metadata=of_documents("people who buy and cut lead")
    )
    paper: PaperOptions = field(
        default_factory=PaperOptions, metadata=of_documents("people who print the pattern")
    )
    templates: TemplateOptions = field(
        default_factory=TemplateOptions, metadata=of_documents("people who print and cut templates")
    )
    loose: LooseOptions = field(
        default_factory=LooseOptions, metadata=of_reading("people who photograph loose pieces")
    )
    match: MatchOptions = field(
        default_factory=MatchOptions, metadata=of_reading("people who sort loose pieces")
    )
    fragments: FragmentOptions = field(
        default_factory=FragmentOptions, metadata=of_reading("people who put fragments together")
    )
    compare: CompareOptions = field(
        default_factory=CompareOptions,
        metadata=of_reading("people who compare two rubbings of one panel"),
    )

    def values(self, *parts: Part) -> dict[str, Any]:
        """Return options by their full names, ``"tidy.gap_mm"``, in a fixed order.

        Parameters
        ----------
        parts : of which they are; all when none is named.
        """
        return {
            f"{held.name}.{option.name}": getattr(getattr(self, held.name), option.name)
            for held in fields(self)
            if not parts or held.metadata["part"] in parts
            for option in fields(getattr(self, held.name))
        }

    def changed(self, *parts: Part) -> dict[str, Any]:
        """Return the options that differ from their defaults, as `values` does."""
        default = Options().values()
        return {name: v for name, v in self.values(*parts).items() if v != default[name]}
