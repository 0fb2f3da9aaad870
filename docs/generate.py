"""Write the pages of docs/ that are made from the program, and the table of documents in README."""

from __future__ import annotations

from pathlib import Path

from rubbing2pattern.documents.comparison.record import comparison_schema
from rubbing2pattern.documents.describe import documents_page, readme_with_documents
from rubbing2pattern.documents.matches.record import matches_schema
from rubbing2pattern.options.describe import options_page
from rubbing2pattern.record.panel import schema_text

DOCS = Path(__file__).parent
README = DOCS.parent / "README.md"

if __name__ == "__main__":
    pages = {
        DOCS / "options.md": options_page(),
        DOCS / "documents.md": documents_page(),
        DOCS / "panel.schema.json": schema_text(),
        DOCS / "matches.schema.json": matches_schema(),
        DOCS / "comparison.schema.json": comparison_schema(),
        README: readme_with_documents(README.read_text(encoding="utf-8")),
    }
    for path, text in pages.items():
        path.write_text(text, encoding="utf-8", newline="\n")
