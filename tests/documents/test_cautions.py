"""Cautions are written in one place, name every hazard, and reach every document for the work."""

from __future__ import annotations

import ast
import io
import re
from pathlib import Path

import pymupdf
import pytest
from openpyxl import load_workbook

from rubbing2pattern.archiving.readme import Packed, readme_text
from rubbing2pattern.documents import document_files
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.trade import cautions
from rubbing2pattern.trade.cautions import CAUTIONS, KEEPING
from tests import panels
from tests.running import ROOT

PACKAGE = ROOT / "rubbing2pattern"
HAZARDS = {
    "poison": r"gloves.*mask.*clean wet.*wash hands",
    "asbestos": r"tested.*licensed",
    "fumes": r"draw them off.*gases",
    "paint": r"do not rub, scrape or wash.*mask.*food away",
    "edges": r"protect eyes and hands",
    "heavy": r"upright",
    "estimates": r"Local codes and licensed practice come before",
}
"""What each caution must name, and what it must say to do about it."""
OF_CAUTIONS = re.compile(r"poison|toxic|asbestos|splinters|lead dust|fumes|protect eyes", re.I)


@pytest.mark.parametrize("hazard", HAZARDS)
def test_every_hazard_is_named_with_what_to_do(hazard: str) -> None:
    said = [text for text in CAUTIONS if hazard in text]
    assert said, f"no caution names {hazard}"
    assert any(re.search(HAZARDS[hazard], text) for text in said), said


@pytest.mark.parametrize("name", ["CAUTIONS", "GROZING", "CUTTING", "FIRING", "KEEPING"])
def test_every_set_of_cautions_defers_to_codes_and_licensed_practice(name: str) -> None:
    given = getattr(cautions, name)
    text = (given if isinstance(given, str) else " ".join(given)).lower()
    assert "local codes" in text and "licensed practice" in text


def spoken(path: Path) -> list[tuple[int, str]]:
    """Strings of a module that are not docstrings, with their lines."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    quiet = {
        id(node.value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    }
    return [
        (node.lineno, node.value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in quiet
    ]


def test_cautions_are_written_in_one_place() -> None:
    own = PACKAGE / "trade" / "cautions.py"
    assert any(OF_CAUTIONS.search(text) for _, text in spoken(own))
    for path in sorted(PACKAGE.rglob("*.py")):
        for line, text in spoken(path):
            where = f"{path.relative_to(PACKAGE)}:{line}: {text}"
            assert path == own or not OF_CAUTIONS.search(text), where
    for path in sorted(PACKAGE.rglob("*.jinja")):
        assert not OF_CAUTIONS.search(path.read_text(encoding="utf-8")), path.name


@pytest.fixture(scope="module")
def files() -> dict[str, bytes]:
    return document_files(panels.two_by_two(), None, {}, DocumentOptions())


def plain(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.parametrize("name", ["pattern.pdf", "pattern-A4.pdf", "report.html", "pieces.xlsx"])
def test_a_document_for_the_work_carries_every_caution(name: str, files: dict[str, bytes]) -> None:
    match name.rsplit(".", 1)[1]:
        case "pdf":
            with pymupdf.open(stream=files[name]) as pages:
                said = plain(" ".join(page.get_text() for page in pages))
        case "xlsx":
            rows = load_workbook(io.BytesIO(files[name]))["notes"].iter_rows(values_only=True)
            said = plain(" ".join(str(row[0]) for row in rows))
        case _:
            said = plain(files[name].decode().replace("&#39;", "'"))
    for caution in CAUTIONS:
        assert caution in said, caution


def test_the_page_of_an_archive_carries_its_caution() -> None:
    page = readme_text({"n4 3b": (Packed("panel.json", "the record"),)}, ())
    assert KEEPING in plain(page.decode())
