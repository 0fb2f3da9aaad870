"""All documents of a comparison."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rubbing2pattern.comparing.found import Comparison
from rubbing2pattern.documents.comparison.listing import list_pages
from rubbing2pattern.documents.comparison.page import comparison_page
from rubbing2pattern.documents.comparison.record import comparison_json
from rubbing2pattern.documents.comparison.table import comparison_csv
from rubbing2pattern.documents.formats.pdf import pdf_bytes
from rubbing2pattern.documents.formats.raster import page_image, png_of
from rubbing2pattern.documents.formats.svg import svg_text
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.output import COMPARISON_NAME

_DOTS_PER_MM = 6.0
"""Of the picture: about 150 to the inch."""


def comparison_documents(
    found: Comparison, provenance: Mapping[str, Any], options: DocumentOptions
) -> dict[str, bytes]:
    """Return the content of each document of a comparison by file name."""
    page = comparison_page(found, options)
    return {
        COMPARISON_NAME: comparison_json(found, provenance).encode(),
        "comparison.csv": comparison_csv(found, options).encode(),
        "comparison.pdf": pdf_bytes(page, *list_pages(found, options)),
        "comparison.svg": svg_text(page).encode(),
        "comparison.png": png_of(page_image(page, _DOTS_PER_MM), _DOTS_PER_MM),
    }
