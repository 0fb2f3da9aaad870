"""The documents of the workshop, all made from one record of the panel.

`registry` is the table of them. `drawing` makes the neutral drawing and `formats` writes it;
`tiles` are its pages, `templates` the pieces to be made new, `lists` glass and lead; `report` and
`overlay` are for checking. What becomes of loose pieces, comparisons and collections has rooms of
the same kind.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from rubbing2pattern.documents.document import files_of
from rubbing2pattern.documents.kept_rubbing import KeptRubbing
from rubbing2pattern.documents.registry import DOCUMENTS
from rubbing2pattern.documents.source import Glazing, source_of
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.options.leading import LeadingOptions
from rubbing2pattern.options.paper import PaperOptions
from rubbing2pattern.output import write_files
from rubbing2pattern.reading import Rubbing

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
    copies: Mapping[str, bytes] | None = None,
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
    copies : files of corrections that were applied, and the record from before, by name.

    Raises
    ------
    OutputNotWritten
        The pattern does not fit a PDF page, or the disk refuses a file.
    """
    files = document_files(panel, rubbing, provenance, options, paper, glazing, leading, copies)
    write_files(files, folder, folder)


def document_files(
    panel: Panel,
    rubbing: Rubbing | KeptRubbing | None,
    provenance: Mapping[str, Any],
    options: DocumentOptions,
    paper: PaperOptions = PaperOptions(),
    glazing: Glazing = Glazing(),
    leading: LeadingOptions = LeadingOptions(),
    copies: Mapping[str, bytes] | None = None,
) -> dict[str, bytes]:
    """Return the content of each document by file name, see `write_documents`."""
    source = source_of(panel, rubbing, provenance, options, paper, glazing, leading, copies)
    return files_of(DOCUMENTS, source)
