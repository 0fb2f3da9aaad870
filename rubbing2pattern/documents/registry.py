"""The table of all documents of a panel: what each is, when it is written, what makes it.

Everything that lists these documents reads this table: the writing of a folder, the names that
overwriting may replace, the report, the archive package and ``docs/documents.md``.
"""

from __future__ import annotations

from typing import Final

from rubbing2pattern.documents.document import (
    Content,
    Document,
    When,
    own_names,
    purposes,
)
from rubbing2pattern.documents.drawing.condition import is_written
from rubbing2pattern.documents.formats.dxf import dxf_text
from rubbing2pattern.documents.formats.pdf import pdf_bytes
from rubbing2pattern.documents.formats.svg import svg_text
from rubbing2pattern.documents.kept_rubbing import KeptRubbing
from rubbing2pattern.documents.lists.cames import CAME_COLUMNS, cames_csv
from rubbing2pattern.documents.lists.glass_to_buy import (
    KILN_COLUMNS,
    REPLACEMENT_COLUMNS,
    kiln_csv,
    replacement_csv,
    replacement_xlsx,
)
from rubbing2pattern.documents.lists.joints import JOINT_COLUMNS, joints_csv
from rubbing2pattern.documents.lists.lead_to_cut import (
    ORDER_COLUMNS,
    STRIP_COLUMNS,
    lead_csv,
    strips_csv,
    weights_note,
)
from rubbing2pattern.documents.lists.lead_widths import WIDTH_COLUMNS, lead_widths_csv
from rubbing2pattern.documents.lists.pieces_sheet import pieces_xlsx
from rubbing2pattern.documents.lists.pieces_table import PIECE_COLUMNS, pieces_csv
from rubbing2pattern.documents.overlay import overlay_png
from rubbing2pattern.documents.report import report_html
from rubbing2pattern.documents.source import Source
from rubbing2pattern.documents.templates import Templates
from rubbing2pattern.documents.tiles import tile_documents, tile_names
from rubbing2pattern.glazing.folder import LIST_NAME, WORKBOOK_NAME
from rubbing2pattern.output import CORRECTIONS_NAMES, RECORD_NAME, RUBBING_NAME, UNCORRECTED_NAME
from rubbing2pattern.record.panel import record_text

_RUBBING: When[Source] = When(
    "whenever the rubbing is at hand, as after `trace`", lambda s: s.rubbing is not None
)
_PAPERS: When[Source] = When(
    "for each `--paper`, such as `pattern-A4.pdf`", lambda s: bool(tile_names(s.options, s.paper))
)
_TO_REPLACE = "once pieces are marked to be replaced"
_REPLACED: When[Source] = When(_TO_REPLACE, lambda s: bool(s.work.orders))
_TEMPLATES: When[Source] = When(_TO_REPLACE, lambda s: s.templates is not None)
_FIRED: When[Source] = When("once such pieces are painted", lambda s: bool(s.work.firings))
_CONDITION: When[Source] = When(
    "once the state or action of a piece is written", lambda s: is_written(s.glazing.filled)
)
_CORRECTED: When[Source] = When("after corrections", lambda s: bool(_files_applied(s)))
_CAN_UNDO: When[Source] = When("after corrections", lambda s: UNCORRECTED_NAME in s.copies)


def _files_applied(source: Source) -> tuple[str, ...]:
    return tuple(name for name in source.copies if name != UNCORRECTED_NAME)


def _rubbing(source: Source) -> KeptRubbing:
    assert source.rubbing is not None
    return source.rubbing


def _templates(source: Source) -> Templates:
    assert source.templates is not None
    return source.templates


def _report(source: Source) -> Content:
    return report_html(
        source.panel,
        source.rubbing,
        source.provenance,
        source.options,
        source.plan,
        weights_note(source.panel, source.leading, source.options),
        purposes(DOCUMENTS, source),
        source.condition if is_written(source.glazing.filled) else None,
    )


DOCUMENTS: Final[tuple[Document[Source], ...]] = (
    Document(
        "pattern.pdf",
        "the pattern at true size on one page, for a plotter or a large printer; measure its "
        "check lengths before use",
        lambda s: pdf_bytes(s.drawing),
    ),
    Document(
        "pattern.dxf",
        "the pattern for a drawing program or a cutter, in millimetres, with lines and arcs as "
        "such, in layers",
        lambda s: dxf_text(s.drawing),
    ),
    Document(
        "pattern.svg",
        "the page of `pattern.pdf` for a vector drawing program, in millimetres",
        lambda s: svg_text(s.drawing),
    ),
    Document(
        "pattern-*.pdf",
        "the pattern at true size as tiles for paper of this size: a map first, then pages with "
        "register marks, crop marks and check lengths",
        lambda s: tile_documents(s.marks, s.panel, s.provenance, s.options, s.paper),
        _PAPERS,
        names=lambda s: tile_names(s.options, s.paper),
        page="printing.md",
    ),
    Document(
        "overlay.png",
        "the traced pattern over the rubbing, with the findings marked: look at this one first",
        lambda s: overlay_png(_rubbing(s), s.panel, s.options),
        _RUBBING,
        beside=True,
    ),
    Document(
        "report.html",
        "the report for people, to be read in a browser without a network or printed: key "
        "figures, what must be settled with pictures of the places, overlay, numbered drawing, "
        "widths, lists, scale, provenance, files",
        _report,
    ),
    Document(
        RUBBING_NAME,
        "the rubbing straight on, as `overlay.png` shows it; kept so that the overlay can be "
        "drawn again",
        lambda s: _rubbing(s).png,
        _RUBBING,
    ),
    Document(
        WORKBOOK_NAME,
        "the sheet to fill in at the panel: every piece with its shape and empty columns for "
        "state, action, glass …; sizes, areas and neighbours on a second sheet",
        lambda s: pieces_xlsx(s.panel, s.glazing.filled, s.options),
        page="glass-lists.md",
    ),
    Document(
        LIST_NAME,
        "the sheet of `pieces.xlsx` as a list, without pictures",
        lambda s: pieces_csv(s.panel, s.options, s.glazing.filled),
        each="piece",
        columns=PIECE_COLUMNS,
        page="pieces.md",
    ),
    Document(
        "condition.pdf",
        "the condition drawing: every piece hatched by its state and lettered by its action, with "
        "a key, on one page",
        lambda s: pdf_bytes(s.condition),
        _CONDITION,
        page="glass-lists.md",
    ),
    Document(
        "condition.svg",
        "the page of `condition.pdf` for a vector drawing program",
        lambda s: svg_text(s.condition),
        _CONDITION,
    ),
    Document(
        "replacement.xlsx",
        "glass to buy, by name, and the blank of each piece",
        lambda s: replacement_xlsx(s.panel, s.work.orders, s.options, s.glazing.glass),
        _REPLACED,
        page="glass-lists.md",
    ),
    Document(
        "replacement.csv",
        "the glass to buy of `replacement.xlsx`, and the blank of each piece, as a list",
        lambda s: replacement_csv(s.work.orders, s.options, s.glazing.glass),
        _REPLACED,
        each="piece to be replaced",
        columns=REPLACEMENT_COLUMNS,
    ),
    Document(
        "kiln.csv",
        "the firings of painted pieces that are made new, in order",
        lambda s: kiln_csv(s.work.firings, s.options, s.glazing.glass),
        _FIRED,
        each="firing",
        columns=KILN_COLUMNS,
    ),
    Document(
        "cames.csv",
        "the cames: ends, length, face width with its uncertainty, profile, strip, and the pieces "
        "on both sides",
        lambda s: cames_csv(s.panel, s.plan, s.options),
        each="came",
        columns=CAME_COLUMNS,
        page="figures.md",
    ),
    Document(
        "joints.csv",
        "the joints: place with its uncertainty, kind, and the cames that meet",
        lambda s: joints_csv(s.panel, s.options),
        each="joint",
        columns=JOINT_COLUMNS,
        page="figures.md",
    ),
    Document(
        "lead-widths.csv",
        "the lead by width: how many cames have each stock width, their length and the face "
        "widths measured",
        lambda s: lead_widths_csv(s.panel, s.options),
        each="stock width",
        columns=WIDTH_COLUMNS,
        former="cames.csv",
    ),
    Document(
        "strips.csv",
        "the lead in strips to cut: which runs through, cut length, how each end is cut, from "
        "which stick",
        lambda s: strips_csv(s.panel, s.plan, s.options),
        each="strip",
        columns=STRIP_COLUMNS,
        page="lead-to-cut.md",
    ),
    Document(
        "lead.csv",
        "the lead to buy: sticks and offcuts by width; weights of lead and glass, estimated",
        lambda s: lead_csv(s.panel, s.plan, s.options),
        each="width and profile, and for border and inside where they are kept apart; a last one "
        "for the panel",
        columns=ORDER_COLUMNS,
        page="lead-to-cut.md",
    ),
    Document(
        "templates.pdf",
        "templates of the pieces to be replaced at true size on pages to print, with a list to "
        "tick off",
        lambda s: _templates(s).pdf(),
        _TEMPLATES,
        page="templates.md",
    ),
    Document(
        "templates.svg",
        "the templates of `templates.pdf` on one sheet for a plotter or cutter",
        lambda s: _templates(s).svg(),
        _TEMPLATES,
    ),
    Document(
        "templates.dxf",
        "the sheet of `templates.svg` as DXF, in millimetres; the layer `cut outline` is for the "
        "knife",
        lambda s: _templates(s).dxf(),
        _TEMPLATES,
    ),
    Document(
        CORRECTIONS_NAMES,
        "a copy of a file of corrections that was applied; they are numbered in order",
        lambda s: {name: s.copies[name] for name in _files_applied(s)},
        _CORRECTED,
        names=lambda s: _files_applied(s),
        page="corrections.md",
    ),
    Document(
        UNCORRECTED_NAME,
        "the record as it was before corrections; `correct --undo` goes back by it",
        lambda s: s.copies[UNCORRECTED_NAME],
        _CAN_UNDO,
        page="corrections.md",
    ),
    Document(
        RECORD_NAME,
        "the record: all figures of the panel, with uncertainties and provenance",
        lambda s: record_text(s.record),
        page="figures.md",
    ),
)

OWN_NAMES: Final = own_names(DOCUMENTS)
"""What the program itself writes into a folder of results; anything else belongs to someone."""
