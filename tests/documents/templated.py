"""Templates drawn and written as their three documents."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from rubbing2pattern.documents.templates import TemplatePiece, templates_of
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions


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
