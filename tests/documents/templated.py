"""Templates drawn and written as their three documents, and what is seen on their pages."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pymupdf
from shapely.geometry import Point, Polygon

from rubbing2pattern.documents.templates import TemplatePiece, templates_of
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions

MM_PER_PT = 25.4 / 72.0  # ISO 32000-1: the user unit is 1/72 inch
CUT_PT = 0.25 / MM_PER_PT


def template_documents(
    panel: Panel, pieces: Sequence[TemplatePiece], options: DocumentOptions, *more: Any
) -> dict[str, bytes]:
    drawn = templates_of(panel, pieces, options, *more)
    if drawn is None:
        return {}
    return {
        "templates.pdf": drawn.pdf(),
        "templates.svg": drawn.svg().encode(),
        "templates.dxf": drawn.dxf().encode(),
    }


def cut_on(page: pymupdf.Page) -> list[Polygon]:
    """Return the cut outlines on a page in mm, y upwards: closed solid lines of their weight."""
    found = []
    for path in page.get_drawings():
        if abs((path["width"] or 0.0) - CUT_PT) > 0.01 or path["fill"]:
            continue
        corners = [p for item in path["items"] if item[0] == "l" for p in item[1:]]
        for item in path["items"]:
            if item[0] in ("re", "qu"):
                quad = item[1].quad if item[0] == "re" else item[1]
                corners += [quad.ul, quad.ur, quad.lr, quad.ll]
        if len(corners) > 2:
            points = [(p.x * MM_PER_PT, (page.rect.height - p.y) * MM_PER_PT) for p in corners]
            found.append(Polygon(points))
    return found


def numbers_on(page: pymupdf.Page) -> dict[int, Point]:
    """Return the middle of each bold number on a page in mm, y upwards."""
    found = {}
    for block in page.get_text("dict")["blocks"]:
        for line in block.get("lines", ()):
            for span in line["spans"]:
                if span["text"].isdigit() and "Bold" in span["font"]:
                    x0, y0, x1, y1 = span["bbox"]
                    middle = (x0 + x1) / 2, page.rect.height - (y0 + y1) / 2
                    found[int(span["text"])] = Point(*(v * MM_PER_PT for v in middle))
    return found
