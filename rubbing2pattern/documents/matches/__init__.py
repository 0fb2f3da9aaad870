"""All documents of matched loose pieces."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from PIL import Image

from rubbing2pattern.documents.document import Document, When, files_of, own_names
from rubbing2pattern.documents.drawing import Drawing
from rubbing2pattern.documents.formats.pdf import pdf_bytes
from rubbing2pattern.documents.formats.raster import page_image, png_of
from rubbing2pattern.documents.matches.labels import SHEETS, STRIP, label_pages
from rubbing2pattern.documents.matches.listing import list_pages
from rubbing2pattern.documents.matches.panel_drawing import panel_page
from rubbing2pattern.documents.matches.pattern_file import pattern_files
from rubbing2pattern.documents.matches.photos import photo_page, photo_view
from rubbing2pattern.documents.matches.record import matches_json
from rubbing2pattern.documents.matches.table import (
    MATCH_COLUMNS,
    matches_csv,
    matches_xlsx,
)
from rubbing2pattern.documents.matches.thumbnails import Straight
from rubbing2pattern.matching.pattern_offer import PATTERN_NAMES
from rubbing2pattern.matching.result import Matching
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.output import MATCHES_NAME

_DOTS_PER_MM = 7.0
"""Of the picture: about 180 to the inch."""


@dataclass(frozen=True, slots=True)
class _Source:
    """What the documents are made from.

    Attributes
    ----------
    drawn : pages of the panels and their photographs.
    seen : each photograph straight on, by its name.
    """

    matching: Matching
    options: DocumentOptions
    drawn: tuple[Drawing, ...]
    seen: Mapping[str, Straight]


MATCH_DOCUMENTS: Final[tuple[Document[_Source], ...]] = (
    Document(
        "matches.pdf",
        "the panel with each glass in its place, each photograph with the numbers written on it, "
        "and lists to tick off",
        lambda s: pdf_bytes(*s.drawn, *list_pages(s.matching, s.seen, s.options)),
    ),
    Document(
        "matches.png",
        "the pages of `matches.pdf` with the panel and the photographs, as one picture",
        lambda s: png_of(_beside(s.drawn), _DOTS_PER_MM),
    ),
    Document(
        "matches.xlsx",
        "the list of `matches.csv` as a workbook with a small picture of each piece, what has to "
        "be cut, and notes",
        lambda s: matches_xlsx(s.matching, s.seen, s.options),
    ),
    Document(
        "matches.csv",
        "the loose pieces with their numbers",
        lambda s: matches_csv(s.matching, s.options),
        each="loose piece, then for each number that lacks glass",
        columns=MATCH_COLUMNS,
        page="loose-pieces.md",
    ),
    Document(
        "labels.pdf",
        "labels to stick on the glass, on sheets of 24 of 70 by 37 mm, or with `--units in` of 30 "
        "of 2 5/8 by 1 in: number, panel, side up, what is to be done",
        lambda s: pdf_bytes(*label_pages(s.matching, SHEETS[s.options.units], s.options)),
        page="loose-pieces.md",
    ),
    Document(
        "labels-strip.pdf",
        "labels to stick on the glass for a thermal printer, 62 by 29 mm each",
        lambda s: pdf_bytes(*label_pages(s.matching, STRIP, s.options)),
        page="loose-pieces.md",
    ),
    Document(
        PATTERN_NAMES,
        "corrections of the pattern that the glass asks for, to look at, sign and give to "
        "`correct`",
        lambda s: pattern_files(s.matching, s.options.units),
        when=When(
            "where several pieces agree against it; with several panels one for each, with its "
            "letter",
            lambda s: any(own.edits for own in s.matching.panels),
        ),
        names=lambda s: tuple(pattern_files(s.matching, s.options.units)),
        page="fitting-glass.md",
    ),
    Document(
        MATCHES_NAME,
        "all matches for programs, in mm, with outlines and places",
        lambda s: matches_json(s.matching),
        page="matches.schema.json",
    ),
)
MATCH_NAMES: Final = own_names(MATCH_DOCUMENTS)
"""What the program itself writes into a folder of matches."""


def match_documents(matching: Matching, options: DocumentOptions) -> dict[str, bytes]:
    """Return the content of each document of matched loose pieces by file name."""
    views = [photo_view(photo, matching, options) for photo in matching.photos]
    panels = (panel_page(matching, options, own) for own in matching.panels)
    photos = (photo_page(view, matching, options) for view in views)
    seen = {view.photo.name: view.seen for view in views}
    source = _Source(matching, options, (*panels, *photos), seen)
    return files_of(MATCH_DOCUMENTS, source)


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
