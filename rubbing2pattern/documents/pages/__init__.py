"""What fills the templates of pages for a browser."""

from __future__ import annotations

from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from rubbing2pattern.documents.drawing import plain_text


@cache
def page_environment() -> Environment:
    """Return what fills a template: everything is escaped and brought onto one line."""
    return Environment(
        loader=PackageLoader("rubbing2pattern", "documents/pages"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_finalize,
    )


def _finalize(datum: Any) -> Any:
    """Remove control characters from outside texts; a page must not contain them."""
    return plain_text(datum) if type(datum) is str else datum
