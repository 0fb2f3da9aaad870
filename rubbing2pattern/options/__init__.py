"""One frozen group of options per stage; every threshold in mm with default, range and reason."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from typing import Any

from rubbing2pattern.options.audit import AuditOptions
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

    load: LoadOptions = field(default_factory=LoadOptions)
    rectify: RectifyOptions = field(default_factory=RectifyOptions)
    lead: LeadOptions = field(default_factory=LeadOptions)
    skeleton: SkeletonOptions = field(default_factory=SkeletonOptions)
    trace: TraceOptions = field(default_factory=TraceOptions)
    joining: JoiningOptions = field(default_factory=JoiningOptions)
    tidy: TidyOptions = field(default_factory=TidyOptions)
    laying: LayingOptions = field(default_factory=LayingOptions)
    measure: MeasureOptions = field(default_factory=MeasureOptions)
    level: LevelOptions = field(default_factory=LevelOptions)
    pieces: PieceOptions = field(default_factory=PieceOptions)
    audit: AuditOptions = field(default_factory=AuditOptions)
    correct: CorrectOptions = field(default_factory=CorrectOptions)
    documents: DocumentOptions = field(default_factory=DocumentOptions)
    glass: GlassOptions = field(default_factory=GlassOptions)
    leading: LeadingOptions = field(default_factory=LeadingOptions)
    paper: PaperOptions = field(default_factory=PaperOptions)
    templates: TemplateOptions = field(default_factory=TemplateOptions)
    loose: LooseOptions = field(default_factory=LooseOptions)
    match: MatchOptions = field(default_factory=MatchOptions)
    fragments: FragmentOptions = field(default_factory=FragmentOptions)
    compare: CompareOptions = field(default_factory=CompareOptions)

    def values(self) -> dict[str, Any]:
        """Return every option by its full name, ``"tidy.gap_mm"``, in a fixed order."""
        groups = {group.name: getattr(self, group.name) for group in fields(self)}
        return {
            f"{name}.{option.name}": getattr(group, option.name)
            for name, group in groups.items()
            for option in fields(group)
        }

    def changed(self) -> dict[str, Any]:
        """Return the options that differ from their defaults, by full name."""
        default = Options().values()
        return {name: given for name, given in self.values().items() if given != default[name]}
