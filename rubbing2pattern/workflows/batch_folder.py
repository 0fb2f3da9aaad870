"""The folder of a collection: one run has it at a time, and one process each of its rows."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import filelock

from rubbing2pattern.collection.stamps import MARKER, PANELS, PICTURES, STAMPS
from rubbing2pattern.documents.collection import COLLECTION_DOCUMENTS
from rubbing2pattern.documents.document import own_names
from rubbing2pattern.errors import OutputNotWritten
from rubbing2pattern.output import (
    HIDDEN,
    clear_leftovers,
    inside,
    let_go,
    lock_at,
    unheld,
    write_whole,
)

_LOCK = ".batch.lock"
_WORDS = {"format": "rubbing2pattern batch", "version": 1}


@contextmanager
def opened(home: Path, shown: Path, *, resume: bool) -> Iterator[None]:
    """Hold the folder of a collection for this run alone; a killed run holds nothing.

    Raises
    ------
    OutputNotWritten
        The folder exists and is not resumed, is of another kind, is in use, or cannot be written.
    """
    marker = home / MARKER
    if home.exists() and not home.is_dir():
        raise OutputNotWritten(f"{shown} is a file, not a folder; choose another -o FOLDER")
    if home.is_dir() and any(home.iterdir()) and not resume:
        raise OutputNotWritten(
            f"{shown} exists already; go on with --resume or choose another -o FOLDER"
        )
    if home.is_dir() and not marker.is_file() and any(map(_is_foreign, home.iterdir())):
        raise OutputNotWritten(
            f"{shown} holds files but no {MARKER}, so it is not a folder of a batch; choose "
            "another -o FOLDER"
        )
    try:
        home.mkdir(parents=True, exist_ok=True)
        for name in (_LOCK, MARKER, *own_names(COLLECTION_DOCUMENTS)):
            check_inside(home, home / name)
        with lock_at(home / _LOCK, wait=False):
            # First, for a folder without it would not be resumed.
            if not marker.is_file():
                write_whole(marker, (json.dumps(_WORDS) + "\n").encode(), overwrite=True)
            for name in (PANELS, STAMPS, PICTURES):
                _own_folder(home, home / name)
            yield
    except filelock.Timeout as fault:
        raise OutputNotWritten(
            f"another run is writing to {shown}; wait for it or choose another -o FOLDER"
        ) from fault
    except OSError as fault:
        raise OutputNotWritten(f"cannot write {shown}: {fault.strerror or fault}") from fault


def _is_foreign(entry: Path) -> bool:
    """Return whether something is not left by a run that was killed as it began the folder."""
    return entry.name != _LOCK and not entry.name.startswith(HIDDEN)


def check_inside(home: Path, place: Path) -> None:
    """Refuse a place that is a link, or that does not lie in the folder of the collection.

    Raises
    ------
    OutputNotWritten
        It is one.
    """
    if place.is_symlink():
        raise OutputNotWritten(f"{place} is a link, which may lead out of the folder")
    inside(home, place.relative_to(home).as_posix())


def _own_folder(home: Path, place: Path) -> None:
    """Make a folder inside, clear what a killed run left in it; a link would lead outside."""
    check_inside(home, place)
    place.mkdir(exist_ok=True)
    clear_leftovers(place)
    list(unheld(place.glob("*.begun")))  # each goes as the next is asked for: its row begins anew


@contextmanager
def begun(home: Path, row: Path) -> Iterator[None]:
    """Hold a row in the block, after waiting for a process that outlived an earlier run.

    The file stays when the process is killed, and says which row it was at. Where there is no room
    for it the row goes on: it may be done already.

    Raises
    ------
    OutputNotWritten
        The file is a link.
    """
    check_inside(home, row)
    lock = lock_at(row)
    with suppress(OSError):
        lock.acquire()
    try:
        yield
    finally:
        let_go(lock)
