"""All documents of the glass: the sheet of pieces, and what follows once it is filled in."""

from __future__ import annotations

from dataclasses import dataclass, field

from rubbing2pattern.documents.lists.glass_and_lead import pieces_csv
from rubbing2pattern.documents.lists.glass_to_buy import NOT_STATED, glass_documents
from rubbing2pattern.documents.lists.pieces_sheet import pieces_xlsx
from rubbing2pattern.documents.templates import TemplatePiece, template_documents
from rubbing2pattern.glazing.entries import Filled
from rubbing2pattern.glazing.folder import LIST_NAME, WORKBOOK_NAME
from rubbing2pattern.glazing.new_glass import grain_of
from rubbing2pattern.glazing.work import GlassWork, glass_work
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.options.glass import GlassOptions
from rubbing2pattern.options.templates import TemplateOptions


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


def glazing_documents(
    panel: Panel,
    options: DocumentOptions,
    glazing: Glazing,
    print_scale: tuple[float, float] = (1.0, 1.0),
) -> dict[str, bytes]:
    """Return the sheet of pieces and the documents of the pieces to be replaced, by file name.

    Without a piece to be replaced there are only ``pieces.csv`` and ``pieces.xlsx``. The templates
    make up for `print_scale`, what the printer makes of a length across and up.
    """
    filled = glazing.filled
    replaced = [
        TemplatePiece(
            piece.number,
            entry.glass or f"glass {NOT_STATED}",
            ", ".join(part for part in (entry.thickness, entry.decorated) if part),
            grain_of(entry, glazing.glass),
        )
        for piece in panel.pieces
        if (entry := filled.of(piece.number)).replaced
    ]
    files = {
        LIST_NAME: pieces_csv(panel, options, filled).encode(),
        WORKBOOK_NAME: pieces_xlsx(panel, filled, options),
    }
    if replaced:
        work = glazing.work or glass_work(panel, filled, glazing.glass)
        files |= glass_documents(panel, work, options, glazing.glass)
        files |= template_documents(panel, replaced, options, glazing.templates, print_scale)
    return files
