"""Write the pages of docs/ that are made from the program."""

from __future__ import annotations

from pathlib import Path

from rubbing2pattern.documents.comparison.record import comparison_schema
from rubbing2pattern.documents.matches.record import matches_schema
from rubbing2pattern.options.describe import options_page
from rubbing2pattern.record.panel import schema_text

if __name__ == "__main__":
    page = Path(__file__).with_name("options.md")
    page.write_text(options_page(), encoding="utf-8", newline="\n")
    schema = Path(__file__).with_name("panel.schema.json")
    schema.write_text(schema_text(), encoding="utf-8", newline="\n")
    matches = Path(__file__).with_name("matches.schema.json")
    matches.write_text(matches_schema(), encoding="utf-8", newline="\n")
    comparison = Path(__file__).with_name("comparison.schema.json")
    comparison.write_text(comparison_schema(), encoding="utf-8", newline="\n")
