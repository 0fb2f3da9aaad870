"""A folder of results that a person has open for review: who holds it, and the edits not yet saved.

Three hidden files lie beside the folder while it is held: the lock, which the operating system
takes away when its owner dies; a note that says in words who holds it; and the draft, the edits
made since the last save, which stays when the program or the browser ends without saving.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import filelock

from rubbing2pattern.errors import InputUnreadable, OutputNotWritten
from rubbing2pattern.inputs.files import content_of
from rubbing2pattern.output import HIDDEN, let_go, write_whole
from rubbing2pattern.texts import printable

_LARGEST_NOTE_BYTES = 2_000
"""Bytes of the note at most; it is one sentence."""


def beside(folder: Path, kind: str) -> Path:
    """Return the hidden file of a kind (``"lock"``, ``"held"``, ``"draft"``) beside a folder."""
    place = Path(os.path.realpath(folder))
    return place.with_name(f"{HIDDEN}review-{place.name}.{kind}")


def _lock(folder: Path) -> filelock.BaseFileLock:
    """Return the lock of a folder; in the process that has it, it can be had once more."""
    return filelock.FileLock(
        beside(folder, "lock"),
        timeout=0,
        thread_local=False,
        is_singleton=True,
        fallback_to_soft=False,
    )


@contextmanager
def held(folder: Path, by: str) -> Iterator[None]:
    """Hold a folder in the block; other processes that would change it are told by whom.

    Parameters
    ----------
    folder : of results.
    by : who holds it, as in ``"the review page (process 77)"``.

    Raises
    ------
    OutputNotWritten
        Another process holds it, or nothing can be written beside it.
    """
    lock = _lock(folder)
    try:
        lock.acquire()
    except filelock.Timeout as fault:
        raise OutputNotWritten(_told(folder)) from fault
    except OSError as fault:
        raise OutputNotWritten(
            f"cannot write beside {folder}: {fault.strerror or fault}; a review keeps its lock and "
            "its draft there"
        ) from fault
    note = beside(folder, "held")
    try:
        write_whole(note, by.encode(), overwrite=True)
        yield
    finally:
        with suppress(OSError):
            note.unlink()
        let_go(lock)


def refuse_held(folder: Path) -> None:
    """Raise `OutputNotWritten` when another process has a folder open for review."""
    if not beside(folder, "lock").exists():
        return
    lock = _lock(folder)
    try:
        lock.acquire()
    except filelock.Timeout as fault:
        raise OutputNotWritten(_told(folder)) from fault
    except OSError:
        return  # On a disk without locks nobody can hold it.
    if lock.lock_counter > 1:
        lock.release()  # this very process has it
    else:
        let_go(lock)


def _told(folder: Path) -> str:
    by = "another process"
    with suppress(InputUnreadable):
        note = content_of(beside(folder, "held"), _LARGEST_NOTE_BYTES)
        by = printable(note.decode("utf-8", "replace"), lines=False) or by
    return f"{folder} is open for review, by {by}; save and close the review first"
