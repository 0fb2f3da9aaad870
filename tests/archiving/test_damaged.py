"""What is damaged before it is packed, or in the tag files of a package."""

from __future__ import annotations

from pathlib import Path

import bagit
import pytest

from rubbing2pattern.archiving.bag import faults_of, write_bag
from rubbing2pattern.documents import write_documents
from rubbing2pattern.errors import InputUnreadable
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.workflows.archive import archive_folders
from rubbing2pattern.workflows.provenance import program_now
from tests import panels


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    place = tmp_path / "results"
    place.mkdir()
    write_documents(place, panels.two_by_two(), None, program_now(), DocumentOptions())
    return place


@pytest.mark.parametrize("name", ["pattern.svg", "cames.csv", "report.html", "pieces.xlsx"])
def test_a_folder_with_a_damaged_document_is_not_packed(
    folder: Path, tmp_path: Path, name: str
) -> None:
    archive_folders([folder], tmp_path / "whole")
    content = bytearray((folder / name).read_bytes())
    del content[len(content) // 2]
    (folder / name).write_bytes(content)
    with pytest.raises(InputUnreadable, match=name):
        archive_folders([folder], tmp_path / "bag")
    assert not (tmp_path / "bag").exists()


def test_a_folder_without_a_drawing_is_not_packed(folder: Path, tmp_path: Path) -> None:
    (folder / "pattern.dxf").unlink()
    with pytest.raises(InputUnreadable, match=r"pattern.dxf.*redraw"):
        archive_folders([folder], tmp_path / "bag")


@pytest.mark.parametrize("line", ["no label", "  indented at the top"])
def test_a_line_of_the_tag_file_without_a_label_is_found(tmp_path: Path, line: str) -> None:
    write_bag(tmp_path, {"a.txt": b"a"}, {"Contact-Name": "A. Glazier"}, tmp_path)
    info = tmp_path / "bag-info.txt"
    info.write_text(f"{line}\n{info.read_text(encoding='utf-8')}", encoding="utf-8")
    with pytest.raises(bagit.BagError):  # outside check: the library of the standard
        bagit.Bag(str(tmp_path)).validate()
    assert "bag-info.txt, line 1: no label with a colon" in faults_of(tmp_path)
