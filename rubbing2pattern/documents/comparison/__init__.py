"""All documents of a comparison."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from rubbing2pattern.comparing.found import Comparison
from rubbing2pattern.documents.comparison.listing import list_pages
from rubbing2pattern.documents.comparison.page import comparison_page
from rubbing2pattern.documents.comparison.record import comparison_json
from rubbing2pattern.documents.comparison.table import COMPARISON_COLUMNS, comparison_csv
from rubbing2pattern.documents.document import Document, files_of, own_names
from rubbing2pattern.documents.drawing import Drawing
from rubbing2pattern.documents.formats.pdf import pdf_bytes
from rubbing2pattern.documents.formats.raster import page_image, png_of
from rubbing2pattern.documents.formats.svg import svg_text
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.output import COMPARISON_NAME

_DOTS_PER_MM = 6.0
"""Of the picture: about 150 to the inch."""


@dataclass(frozen=True, slots=True)
class _Source:
    """What the documents are made from; `page` is the drawing of both states."""

    found: Comparison
    provenance: Mapping[str, Any]
    options: DocumentOptions
    page: Drawing


COMPARISON_DOCUMENTS: Final[tuple[Document[_Source], ...]] = (
    Document(
        "comparison.pdf",
        "both rubbings laid over each other, then the lists of what differs",
        lambda s: pdf_bytes(s.page, *list_pages(s.found, s.options)),
        page="compare.md",
    ),
    Document(
        "comparison.svg",
        "the drawing of `comparison.pdf`, for a vector drawing program",
        lambda s: svg_text(s.page),
    ),
    Document(
        "comparison.png",
        "the drawing of `comparison.pdf` as a picture",
        lambda s: png_of(page_image(s.page, _DOTS_PER_MM), _DOTS_PER_MM),
    ),
    Document(
        "comparison.csv",
        "every lead, joint, piece and side with both names and its change",
        lambda s: comparison_csv(s.found, s.options),
        each="lead, joint, piece and side",
        columns=COMPARISON_COLUMNS,
    ),
    Document(
        COMPARISON_NAME,
        "all differences for programs, in mm",
        lambda s: comparison_json(s.found, s.provenance),
        page="comparison.schema.json",
    ),
)
COMPARISON_NAMES: Final = own_names(COMPARISON_DOCUMENTS)
"""What the program itself writes into a folder of a comparison."""


def comparison_documents(
    found: Comparison, provenance: Mapping[str, Any], options: DocumentOptions
) -> dict[str, bytes]:
    """Return the content of each document of a comparison by file name."""
    source = _Source(found, provenance, options, comparison_page(found, options))
    return files_of(COMPARISON_DOCUMENTS, source)
