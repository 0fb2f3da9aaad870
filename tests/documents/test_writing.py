"""All documents together: one set of files that agree with each other."""

from __future__ import annotations

import csv
import io
import json
import os
from pathlib import Path

import pytest

from rubbing2pattern.documents import document_files, write_documents
from rubbing2pattern.documents.document import ALWAYS
from rubbing2pattern.documents.registry import DOCUMENTS
from rubbing2pattern.errors import OutputNotWritten
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.record.panel import panel_of, record_from_text
from tests import panels
from tests.working import grows_with_the_panel

OPTIONS = DocumentOptions()
PROVENANCE = {"program": {"name": "rubbing2pattern"}, "image": {"name": "n4 3b.jpg"}}
NAMES = {document.name for document in DOCUMENTS if document.when is ALWAYS} | {"pattern-A4.pdf"}


def test_every_document_is_written(tmp_path: Path) -> None:
    write_documents(tmp_path, panels.two_by_two(), None, PROVENANCE, OPTIONS)
    assert {p.name for p in tmp_path.iterdir()} == NAMES
    files = document_files(panels.two_by_two(), None, PROVENANCE, OPTIONS)
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == files


@pytest.mark.parametrize("options", [OPTIONS, DocumentOptions(units="in")])
def test_the_record_alone_gives_the_same_documents(options: DocumentOptions) -> None:
    files = document_files(panels.arched(), None, PROVENANCE, options)
    record = record_from_text(files["panel.json"])
    again = document_files(panel_of(record), None, record.provenance, options)
    assert again == files


def test_a_file_name_that_is_no_text_does_no_harm() -> None:
    """A name of bytes that are no UTF-8 reaches the program with lone surrogates in it."""
    files = document_files(panels.strapped(), None, {"image": {"name": "a\udcff.png"}}, OPTIONS)
    record = record_from_text(files["panel.json"])
    assert record.provenance == {"image": {"name": "a\ufffd.png"}}
    assert document_files(panel_of(record), None, record.provenance, OPTIONS) == files


def test_list_and_record_agree() -> None:
    files = document_files(panels.mosaic(30, 200.0, 200.0), None, {}, OPTIONS)
    record = json.loads(files["panel.json"])
    pieces = list(csv.DictReader(io.StringIO(files["pieces.csv"].decode())))
    for listed, kept in zip(pieces, record["pieces"], strict=True):
        assert int(listed["number"]) == kept["number"]
        for name in ("centre_area_mm2", "cut_area_mm2", "sight_area_mm2"):
            assert float(listed[name]) == pytest.approx(kept[name], abs=0.0501)
        assert listed["cames"].split() == kept["cames"]
    cames = list(csv.DictReader(io.StringIO(files["lead-widths.csv"].decode())))
    assert sum(int(r["cames"]) for r in cames) == len(record["cames"])
    total = sum(came["length_mm"] for came in record["cames"])
    assert sum(float(r["length_mm"]) for r in cames) == pytest.approx(total, abs=0.2)


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="rights do not bind this user")
def test_a_folder_that_may_not_be_written(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    try:
        with pytest.raises(OutputNotWritten, match=r"pattern\.pdf"):
            write_documents(tmp_path, panels.strapped(), None, {}, OPTIONS)
    finally:
        tmp_path.chmod(0o700)


def test_a_folder_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(OutputNotWritten, match=r"pattern\.pdf"):
        write_documents(tmp_path / "gone", panels.strapped(), None, {}, OPTIONS)


def test_two_hundred_and_fifty_pieces_take_no_time_to_speak_of() -> None:
    """Twice the pieces are about twice the work; no document compares each with every other."""
    half, whole = panels.lattice(25, 5), panels.lattice(25, 10)
    grows_with_the_panel(
        lambda: document_files(half, None, {}, OPTIONS),
        lambda: document_files(whole, None, {}, OPTIONS),
    )
