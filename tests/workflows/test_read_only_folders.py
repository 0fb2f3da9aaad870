"""Folders that may be read and not written: results are refused plainly, and reading goes on."""

from __future__ import annotations

import os
import stat
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from rubbing2pattern import write_reading
from rubbing2pattern.documents import write_documents
from rubbing2pattern.errors import OutputNotWritten
from rubbing2pattern.output import write_whole
from rubbing2pattern.workflows.match import write_matches
from rubbing2pattern.workflows.pipeline import Reading
from tests.correcting.making import HEAD
from tests.documents.matched import matching
from tests.glazing.sheets import FOUR
from tests.running import Run, listing, run_here as run
from tests.workflows.collecting import collection
from tests.workflows.written_on import COARSE, JOIN, PROVENANCE, RUBBING

NOBODY = 65534
"""Number of the user without rights, as POSIX systems have it."""

pytestmark = pytest.mark.skipif(os.name != "posix", reason="rights of folders are those of POSIX")


@contextmanager
def as_anyone() -> Iterator[None]:
    """Give up the rights of a superuser, who may write anywhere."""
    if os.geteuid() != 0:
        yield
        return
    os.setresuid(NOBODY, NOBODY, 0)
    try:
        yield
    finally:
        os.setresuid(0, 0, 0)


@pytest.fixture
def place() -> Iterator[Path]:
    """Give a folder that anyone may read and write; pytest's own are closed to others."""
    with tempfile.TemporaryDirectory() as name:
        path = Path(name)
        path.chmod(0o777)
        yield path
        for folder in (path, *path.rglob("*")):
            if folder.is_dir() and not folder.is_symlink():
                folder.chmod(0o755)


def results(folder: Path) -> Path:
    folder.mkdir(parents=True)
    write_documents(folder, FOUR, RUBBING, PROVENANCE, COARSE.documents, COARSE.paper)
    (folder.parent / "join.toml").write_text(JOIN, encoding="utf-8")
    return folder


def locked(folder: Path) -> None:
    """Take the right to write in a folder and all folders in it."""
    for one in (folder, *folder.rglob("*")):
        one.chmod(one.stat().st_mode & ~(stat.S_IWUSR | stat.S_IWGRP | stat.S_IWOTH))


WRITING: dict[str, Callable[[Path, Path], Run]] = {
    "correct": lambda folder, out: run("correct", folder, folder.parent / "join.toml"),
    "redraw": lambda folder, out: run("redraw", folder, "--mirrored"),
    "lists": lambda folder, out: run("lists", folder, "--pieces", folder / "pieces.xlsx"),
    "archive": lambda folder, out: run("archive", folder, "-o", out),
    "compare": lambda folder, out: run("compare", folder, folder, "-o", out),
    "targets": lambda folder, out: run("targets", "-o", out),
    "batch": lambda folder, out: run("batch", folder.parent / "list.csv", "-o", out, "--quiet"),
}


@pytest.mark.parametrize("command", WRITING)
def test_a_command_says_that_it_may_not_write_there(place: Path, command: str) -> None:
    folder = results(place / "shelf" / "n4 3b")
    collection(place / "shelf", 1)
    warm = results(place / "warm" / "n4 3b")
    collection(place / "warm", 1)
    WRITING[command](warm, place / "warm" / "out")  # Libraries are loaded with all rights.
    locked(place / "shelf")
    before = listing(place / "shelf")
    with as_anyone():
        done = WRITING[command](folder, place / "shelf" / "out")
    assert done.returncode == 6, (done.stdout, done.stderr)
    assert "cannot write" in done.stderr and "defect" not in done.stderr
    assert listing(place / "shelf") == before


@pytest.mark.parametrize("command", ["archive", "compare", "verify"])
def test_what_only_reads_a_folder_takes_one_that_is_locked(place: Path, command: str) -> None:
    folder = results(place / "shelf" / "n4 3b")
    bag = place / "shelf" / "bag"
    assert run("archive", folder, "-o", bag).returncode == 0
    out = place / "out"
    reading = {
        "archive": lambda: run("archive", folder, "-o", out),
        "compare": lambda: run("compare", folder, folder, "-o", out),
        "verify": lambda: run("verify", bag),
    }
    assert run("compare", folder, folder, "-o", place / "warm").returncode == 0
    locked(place / "shelf")
    before = listing(place / "shelf")
    with as_anyone():
        done = reading[command]()
    assert done.returncode == 0, done.stderr
    assert listing(place / "shelf") == before


def test_a_folder_of_results_that_is_locked_itself_is_not_replaced(place: Path) -> None:
    """Its place could be taken, but not what lies in it: nothing may be half done."""
    folder = results(place / "n4 3b")
    run("redraw", folder, "--mirrored")
    locked(folder)
    before = listing(place)
    with as_anyone():
        done = run("redraw", folder, "--as-rubbed")
    assert done.returncode == 6, done.stdout
    assert f"cannot write {folder}: you may not write in it" in done.stderr
    assert listing(place) == before


def test_what_is_new_is_refused_as_well(place: Path) -> None:
    results(place / "shelf" / "n4 3b")
    locked(place / "shelf")
    whole, out = matching(), place / "shelf" / "out"
    reading = Reading(FOUR, RUBBING, (), PROVENANCE)
    writers: tuple[Callable[[], object], ...] = (
        lambda: write_reading(reading, out, options=COARSE),
        lambda: write_matches(whole, out),
        lambda: write_whole(out, HEAD.encode()),
    )
    write_reading(reading, place / "warm", options=COARSE)
    write_matches(whole, place / "warm matches")
    with as_anyone():
        for write in writers:
            with pytest.raises(OutputNotWritten, match="cannot write"):
                write()
    assert not out.exists()
