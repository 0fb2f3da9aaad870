"""The documents of the workshop, all made from one record of the panel.

`drawing` makes the neutral drawing and `formats` writes it; `tiles` are its pages, `templates` the
pieces to be made new, `lists` glass and lead; `report` and `overlay` are for checking. What becomes
of loose pieces, comparisons and collections has rooms of the same kind.
"""

from __future__ import annotations

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

from rubbing2pattern.documents.drawing.pattern import panel_marks, sheet_drawing
from rubbing2pattern.documents.formats.dxf import dxf_text
from rubbing2pattern.documents.formats.pdf import pdf_bytes
from rubbing2pattern.documents.formats.svg import svg_text
from rubbing2pattern.documents.kept_rubbing import KeptRubbing, keep_rubbing
from rubbing2pattern.documents.lists.glass_and_lead import cames_csv
from rubbing2pattern.documents.lists.glass_documents import Glazing, glazing_documents
from rubbing2pattern.documents.lists.lead_to_cut import lead_csv, strips_csv, weights_told
from rubbing2pattern.documents.overlay import overlay_png
from rubbing2pattern.documents.report import REPORT_NAME, report_html
from rubbing2pattern.documents.tiles import tile_documents
from rubbing2pattern.leading import plan_lead
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.options.leading import LeadingOptions
from rubbing2pattern.options.paper import PaperOptions
from rubbing2pattern.output import RECORD_NAME, RUBBING_NAME, write_files
from rubbing2pattern.reading import Rubbing
from rubbing2pattern.record.history import rubbing_part
from rubbing2pattern.record.panel import panel_of, record_of, record_text

__all__ = ["document_files", "write_documents"]


def write_documents(
    folder: Path,
    panel: Panel,
    rubbing: Rubbing | KeptRubbing | None,
    provenance: Mapping[str, Any],
    options: DocumentOptions,
    paper: PaperOptions = PaperOptions(),
    glazing: Glazing = Glazing(),
    leading: LeadingOptions = LeadingOptions(),
) -> None:
    """Write all documents of a panel into an existing folder.

    Parameters
    ----------
    folder : an existing, empty folder; putting it in its place whole is the caller's part.
    panel : the finished panel.
    rubbing : the picture or what was kept of it, for the overlay; None leaves the overlay out.
    provenance : plain values for the record.
    options : unit, lettering, margins.
    paper : papers of the tiles, what the printer does, whether the pattern is mirrored.
    glazing : what a person wrote about the pieces, and the options of glass and templates.
    leading : how leads are cut, the stick, what is taken for weights.

    Raises
    ------
    OutputNotWritten
        The pattern does not fit a PDF page, or the disk refuses a file.
    """
    files = document_files(panel, rubbing, provenance, options, paper, glazing, leading)
    write_files(files, folder, folder)


def document_files(
    panel: Panel,
    rubbing: Rubbing | KeptRubbing | None,
    provenance: Mapping[str, Any],
    options: DocumentOptions,
    paper: PaperOptions = PaperOptions(),
    glazing: Glazing = Glazing(),
    leading: LeadingOptions = LeadingOptions(),
) -> dict[str, bytes]:
    """Return the content of each document by file name.

    All are made from the panel as the record gives it back, so that drawing, lists and record
    never disagree by a rounding and can be made again from the record.
    """
    record = record_of(panel, provenance)
    kept = panel_of(record)
    straight = keep_rubbing(rubbing, kept, options) if isinstance(rubbing, Rubbing) else rubbing
    frame = None if straight is None else straight.frame
    record = record.model_copy(update={"rubbing": rubbing_part(frame)})
    # Half of the overlay's time goes into libraries that let another thread run meanwhile.
    with ThreadPoolExecutor(1) as beside:
        overlay = None if straight is None else beside.submit(overlay_png, straight, kept, options)
        plan = plan_lead(kept, leading)
        drawn = panel_marks(kept, options, mirrored=paper.mirrored, strips=plan.strips)
        drawing = sheet_drawing(drawn, kept, record.provenance, options)
        files = {
            RECORD_NAME: record_text(record).encode(),
            "pattern.dxf": dxf_text(drawing).encode(),
            "pattern.svg": svg_text(drawing).encode(),
            "pattern.pdf": pdf_bytes(drawing),
            **tile_documents(drawn, kept, record.provenance, options, paper),
            **glazing_documents(kept, options, glazing, (paper.print_across, paper.print_up)),
            "cames.csv": cames_csv(kept, options).encode(),
            "strips.csv": strips_csv(kept, plan, options).encode(),
            "lead.csv": lead_csv(kept, plan, options).encode(),
            REPORT_NAME: report_html(
                kept,
                straight,
                record.provenance,
                options,
                plan,
                weights_told(kept, leading, options),
            ),
        }
        if straight is not None and overlay is not None:
            files[RUBBING_NAME] = straight.png
            files["overlay.png"] = overlay.result()
    return files
