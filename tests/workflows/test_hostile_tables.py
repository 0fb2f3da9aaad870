"""Every table that a command writes, searched for cells that a spreadsheet would run."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from pathlib import Path

import pytest

from rubbing2pattern import correct_folder, list_folder
from rubbing2pattern.collection.stamps import Figures, LeadSum, Outcome, Stamp, State
from rubbing2pattern.collection.totals import totals_of
from rubbing2pattern.documents import write_documents
from rubbing2pattern.documents.archive import ARCHIVE_DOCUMENTS
from rubbing2pattern.documents.collection import COLLECTION_DOCUMENTS, Collected
from rubbing2pattern.documents.comparison import COMPARISON_DOCUMENTS
from rubbing2pattern.documents.document import files_of
from rubbing2pattern.documents.matches import MATCH_DOCUMENTS
from rubbing2pattern.documents.registry import DOCUMENTS
from rubbing2pattern.findings import Code, Finding, Severity
from rubbing2pattern.glazing.table import plain_text
from rubbing2pattern.inputs.about import About
from rubbing2pattern.inputs.corrections import corrections_from
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.output import write_files
from rubbing2pattern.workflows.archive import archive_folders
from rubbing2pattern.workflows.compare import compare_panels, write_comparison
from rubbing2pattern.workflows.match import write_matches
from tests.documents.matched import matching
from tests.glazing.sheets import FOUR, type_in_folder
from tests.hostile import FORMULAS, live_cells, live_cells_of_book
from tests.workflows.written_on import COARSE, PROVENANCE, RUBBING

TABLES = (".csv", ".xlsx")
REGISTRIES = (
    DOCUMENTS,
    ARCHIVE_DOCUMENTS,
    MATCH_DOCUMENTS,
    COMPARISON_DOCUMENTS,
    COLLECTION_DOCUMENTS,
)
SAYING = ("changes.csv", "pieces.csv", "replacement.csv", "matches.csv", "results.csv")
"""Lists in which the text has a cell of its own, so that it was looked at."""


def named_so(panel: Panel, text: str) -> Panel:
    """Return a panel whose name and sizes of lead say a text, with a finding to dismiss."""
    cames = tuple(replace(came, stock=text) for came in panel.cames)
    doubt = Finding(Code.FREE_END, Severity.CHECK, text, (50.0, 50.0), (1,), id="F1")
    return replace(panel, name=text, cames=cames, findings=(doubt,))


def worked_on(place: Path, text: str) -> None:
    """Make a folder of results, correct it, fill in its sheet, make its lists and pack it."""
    folder = place / "results"
    folder.mkdir(parents=True)
    panel = named_so(FOUR, text)
    write_documents(folder, panel, RUBBING, PROVENANCE, COARSE.documents, COARSE.paper)
    said = (
        f"by = '''{text}'''\ndate = 2026-11-25\nremark = '''{text}'''\n"
        f"[[join_pieces]]\npieces = [3, 4]\n[[dismiss]]\nname = 'F1'\nwhy = '''{text}'''\n"
    )
    entry = {"state": "missing", "action": "replace", "thickness": "3", "decoration": "painted"}
    typed = {number: {**entry, "glass": text, "remark": text} for number in (1, 2, 4)}
    type_in_folder(folder, typed)
    correct_folder(folder, corrections_from(said.encode()))
    list_folder(folder)
    about = About(title=text, who=text, rights=text)
    archive_folders([folder], place / "package", about=about)


def matched(place: Path, text: str) -> None:
    whole = matching()
    photos = tuple(
        replace(
            p, rubbing=replace(p.rubbing, photograph=replace(p.rubbing.photograph, source=text))
        )
        for p in whole.photos
    )
    found = tuple(replace(m, piece=replace(m.piece, photo=text)) for m in whole.matches.matches)
    matches = replace(whole.matches, matches=found)
    panels = tuple(replace(p, panel=replace(p.panel, name=text)) for p in whole.panels)
    write_matches(replace(whole, panels=panels, photos=photos, matches=matches), place / "matches")


def compared(place: Path, text: str) -> None:
    before = named_so(FOUR, text)
    after = replace(before, cames=before.cames[:1] + before.cames[1:])
    write_comparison(compare_panels(before, after), place / "comparison")


def collected(place: Path, text: str) -> None:
    lead = LeadSum(stock=text, stock_mm=5.0, profile=text, length_mm=9.0, sticks=1, lead_kg=0.5)
    sums = {"width_mm": 300.0, "height_mm": 400.0, "pieces": 4, "glass_mm2": 1e5}
    figures = Figures(**sums, lead=(lead,), findings={"check": 2})
    stamp = Stamp(
        key="", panel=text, image=text, state=State.DONE, exit_code=0, reason=text, figures=figures
    )
    outcomes = (Outcome(1, text, stamp),)
    whole = Collected(outcomes, totals_of(outcomes), DocumentOptions())
    write_files(files_of(COLLECTION_DOCUMENTS, whole), place, place)


@pytest.mark.parametrize("text", FORMULAS)
def test_no_table_has_a_cell_that_a_spreadsheet_runs(tmp_path: Path, text: str) -> None:
    for made in (worked_on, matched, compared, collected):
        made(tmp_path, text)
    found = [path for path in sorted(tmp_path.rglob("*")) if path.suffix in TABLES]
    wanted = {d.name for table in REGISTRIES for d in table if d.name.endswith(TABLES)}
    assert {path.name for path in found} == wanted, "a table was not written, or is in no registry"
    for path in found:
        content = path.read_bytes()
        live = (
            live_cells(content.decode()) if path.suffix == ".csv" else live_cells_of_book(content)
        )
        assert live == [], path.name
        if path.name in SAYING:
            rows = csv.reader(io.StringIO(content.decode(), newline=""))
            said = [cell for row in rows for cell in row]
            assert any(plain_text(cell) == text for cell in said), path.name
