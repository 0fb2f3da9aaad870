"""The report as a browser prints it; only where a browser is at hand."""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import pymupdf
import pytest

from rubbing2pattern.findings import Code, Finding, Severity
from rubbing2pattern.findings.names import named
from rubbing2pattern.model import Corrected
from rubbing2pattern.options.documents import DocumentOptions
from tests import panels
from tests.documents.report.reported import kept, parsed, report
from tests.running import PATIENCE_S, settings

BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")
QUIET = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--no-pdf-header-footer",
)  # fmt: skip
POINTS_PER_MM = 72.0 / 25.4


@pytest.fixture(scope="module")
def printed(tmp_path_factory: pytest.TempPathFactory) -> pymupdf.Document:
    folder: Path = tmp_path_factory.mktemp("printed")
    drawn = panels.lattice(12, 10)
    findings = tuple(
        Finding(Code.BRIDGED_GAP, Severity.CHECK, f"Gap {k}.", (40.0 * k, 40.0 * k), (k,))
        for k in range(1, 12)
    )
    page = folder / "report.html"
    panel = replace(drawn, name="n4 3b", findings=named(findings))
    page.write_text(report(panel, kept(panel)), encoding="utf-8")
    paper = folder / "report.pdf"
    command = [str(BROWSER), *QUIET, f"--user-data-dir={folder / 'profile'}"]
    subprocess.run(
        [*command, f"--print-to-pdf={paper}", page.as_uri()],
        **settings(),
        check=True,
        capture_output=True,
        timeout=PATIENCE_S,
    )
    return pymupdf.open(paper)


needs_browser = pytest.mark.skipif(BROWSER is None, reason="no browser is at hand")


@needs_browser
def test_it_prints_on_a4_with_nothing_over_the_edge(printed: pymupdf.Document) -> None:
    assert 6 <= len(printed) <= 20
    for page in printed:
        assert page.rect.width == pytest.approx(210.0 * POINTS_PER_MM, abs=1.0)
        assert page.rect.height == pytest.approx(297.0 * POINTS_PER_MM, abs=1.0)
        for x0, y0, x1, y1, text, *_ in page.get_text("blocks"):
            assert min(x0, y0) > 8.0 * POINTS_PER_MM, text
            assert x1 < page.rect.width - 8.0 * POINTS_PER_MM, text
            assert y1 < page.rect.height - 4.0 * POINTS_PER_MM, text


@needs_browser
def test_every_page_says_what_it_belongs_to(printed: pymupdf.Document) -> None:
    for k, page in enumerate(printed, start=1):
        words = " ".join(page.get_text().split())
        assert "Panel n4 3b, seen from" in words
        assert f"{k} of {len(printed)}" in words


@needs_browser
def test_heads_are_repeated_where_a_list_goes_on(printed: pymupdf.Document) -> None:
    rows = [len(re.findall(r"\d+\.\d × \d+\.\d\n", page.get_text())) for page in printed]
    going_on = [page for page, number in zip(printed, rows, strict=True) if number > 4]
    assert len(going_on) >= 2
    for page in going_on:
        assert "Rectangle" in page.get_text()
    assert sum(rows) >= 120


@needs_browser
def test_overlay_and_drawing_are_pictures_on_their_pages(printed: pymupdf.Document) -> None:
    for heading, images in (("Overlay: the pattern over the rubbing", 1), ("Numbered drawing", 0)):
        (page,) = (page for page in printed if heading in page.get_text())
        assert len(page.get_images()) == images
        assert len(page.get_drawings()) > 3
        numbers = {int(word[4]) for word in page.get_text("words") if word[4].isdigit()}
        assert set(range(1, 121)) <= numbers


def test_what_was_corrected_is_marked_by_shape() -> None:
    drawn = panels.two_by_two()
    cames = (replace(drawn.cames[0], corrected=Corrected.MOVED), *drawn.cames[1:])
    for panel, marked in ((replace(drawn, cames=cames), True), (drawn, False)):
        tree = parsed(report(panel, kept(panel), DocumentOptions()))
        group = tree.find(".//section[@id='overlay']//g[@data-layer='corrected']")
        assert bool(len(group)) is marked
        legend = "".join(tree.find(".//ul[@class='legend']").itertext())
        assert ("corrected by hand" in legend) is marked
