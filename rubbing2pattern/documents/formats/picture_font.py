"""The type of pictures: one that has accents, fractions and the square of mm².

The type that Pillow brings has plain letters alone. ReportLab, which writes the PDF files, brings
Bitstream Vera Sans with all Latin letters.
"""

from __future__ import annotations

import unicodedata
from functools import cache
from importlib.resources import as_file, files

from PIL import ImageFont

CAPITALS = 0.729
"""Height of capitals of Bitstream Vera Sans, of its size (font metrics, OS/2 table)."""

_FILE = ("fonts", "Vera.ttf")
_MISSING = "\uffff"
"""A code point without a character (Unicode 23.7), so every type shows its empty box for it."""


@cache
def picture_font(size_px: float) -> ImageFont.FreeTypeFont:
    """Return the type in a size."""
    with as_file(files("reportlab").joinpath(*_FILE)) as place:
        return ImageFont.truetype(place, size_px)


def shown_text(text: str) -> str:
    """Return a text in characters that the type has; others lose their accents or become "?"."""
    return "".join(map(_shown, text))


@cache
def _shown(character: str) -> str:
    for form in (character, unicodedata.normalize("NFKD", character)[:1]):
        if form.isspace() or _glyph(form) != _glyph(_MISSING):
            return form
    return "?"


def _glyph(character: str) -> bytes:
    return bytes(picture_font(_TRIED_PX).getmask(character))


_TRIED_PX = 20.0
"""Size in which a character is compared with the empty box."""
