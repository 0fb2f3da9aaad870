"""Write the pages of docs/ that are made from the program, and the table of documents in README."""

from __future__ import annotations

from pathlib import Path

from rubbing2pattern.documents.comparison.record import comparison_schema
from rubbing2pattern.documents.describe import documents_page
from rubbing2pattern.documents.matches.record import matches_schema
from rubbing2pattern.guide.pages import cautions_page, index_page
from rubbing2pattern.options.describe import options_page
from rubbing2pattern.record.panel import schema_text

MADE = {
    "index.md": index_page,
    "cautions.md": cautions_page,
    "documents.md": documents_page,
    "options.md": options_page,
    "panel.schema.json": schema_text,
    "matches.schema.json": matches_schema,
    "comparison.schema.json": comparison_schema,
}

if __name__ == "__main__":
    for name, text in MADE.items():
        Path(__file__).with_name(name).write_text(text(), encoding="utf-8", newline="\n")
