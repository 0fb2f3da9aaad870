"""All documents of matched loose pieces."""

from __future__ import annotations

from collections.abc import Sequence

from PIL import Image

from rubbing2pattern.documents.drawing import Drawing
from rubbing2pattern.documents.formats.pdf import pdf_bytes
from rubbing2pattern.documents.formats.raster import page_image, png_of
from rubbing2pattern.documents.matches.listing import list_pages
from rubbing2pattern.documents.matches.panel_drawing import panel_page
from rubbing2pattern.documents.matches.photos import photo_page
from rubbing2pattern.documents.matches.record import matches_json
from rubbing2pattern.documents.matches.table import matches_csv, matches_xlsx
from rubbing2pattern.matching.result import Matching
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.output import MATCHES_NAME

_DOTS_PER_MM = 7.0
"""Of the picture: about 180 to the inch."""


def match_documents(matching: Matching, options: DocumentOptions) -> dict[str, bytes]:
    """Return the content of each document of matched loose pieces by file name."""
    drawn = [
        panel_page(matching, options),
        *(photo_page(photo, matching, options) for photo in matching.photos),
    ]
    return {
        MATCHES_NAME: matches_json(matching).encode(),
        "matches.csv": matches_csv(matching, options).encode(),
        "matches.xlsx": matches_xlsx(matching, options),
        "matches.pdf": pdf_bytes(*drawn, *list_pages(matching, options)),
        "matches.png": png_of(_beside(drawn), _DOTS_PER_MM),
    }


def _beside(pages: Sequence[Drawing]) -> Image.Image:
    """Put the pages side by side into one picture, tops level."""
    images = [page_image(page, _DOTS_PER_MM) for page in pages]
    width = sum(image.width for image in images)
    whole = Image.new("RGB", (width, max(image.height for image in images)), (255, 255, 255))
    x = 0
    for image in images:
        whole.paste(image, (x, 0))
        x += image.width
    return whole
