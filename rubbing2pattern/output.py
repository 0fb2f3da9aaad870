"""Results appear whole or not at all: written aside, made safe on the disk, then renamed.

A folder of results is written into a hidden sibling folder and renamed at the end. An older folder
of that name, if it may be replaced, changes places with it. While it is written its owner holds a
lock beside it, which the operating system takes away when the owner dies, on whichever machine:
what nobody holds is left from a killed run, and the next run that writes there removes it.
"""

from __future__ import annotations

import ctypes
import os
import re
import shutil
import sys
from collections.abc import Collection, Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from fnmatch import fnmatchcase
from pathlib import Path, PureWindowsPath
from typing import Final

import filelock

from rubbing2pattern.errors import OutputNotWritten
from rubbing2pattern.inputs.files import stands
from rubbing2pattern.texts import printable

RECORD_NAME = "panel.json"
"""The file that marks a folder of results."""

RUBBING_NAME: Final = "rubbing.png"
"""The rubbing as the overlay shows it, kept so that the overlay can be drawn again."""

CORRECTIONS_NAMES = "corrections-*.toml"
"""Copies of the files of corrections that made the record what it is, numbered from 1."""
UNCORRECTED_NAME: Final = "uncorrected.json"
"""The record from before the first corrections of a folder, from which they can be taken back."""

MATCHES_NAME = "matches.json"
"""The file that marks a folder of matched loose pieces."""

COMPARISON_NAME = "comparison.json"
"""The file that marks a folder of a comparison."""

HIDDEN = ".rubbing2pattern-"
"""How the names of hidden folders begin, and of their locks, which end in .lock as well."""
_LOCKS = re.compile(re.escape(HIDDEN) + r"[0-9]+-[0-9]+\.lock")

_AT_FDCWD, _RENAME_EXCHANGE = -100, 2
"""Of the system call `renameat2` (Linux, fcntl.h and fs.h)."""


def check_folder(
    folder: Path,
    *,
    overwrite: bool = False,
    discard_corrections: bool = False,
    record: str = RECORD_NAME,
) -> None:
    """Raise `OutputNotWritten` when a folder of results may not be put at `folder`.

    Rules, in this order:

    1. the path has a name, and is a folder or does not exist yet;
    2. an existing folder is replaced only with `overwrite`;
    3. with `overwrite` only when it is empty or holds the file `record`;
    4. and no corrections, which a new reading would lose, unless `discard_corrections` is given;
    5. an existing folder, and the nearest existing folder above, can be written to.
    """
    place = _real(folder)
    if stands(place):
        if not place.is_dir():
            raise OutputNotWritten(f"{folder} is a file, not a folder; choose another -o FOLDER")
        if not overwrite:
            raise OutputNotWritten(
                f"{folder} exists already; choose another -o FOLDER or replace it with --overwrite"
            )
        if not (place / record).is_file() and any(place.iterdir()):
            raise OutputNotWritten(
                f"{folder} holds files but no {record}, so it is not a folder of results and is "
                "not replaced, even with --overwrite; choose another -o FOLDER"
            )
        corrections = [] if discard_corrections else sorted(place.glob(CORRECTIONS_NAMES))
        if corrections:
            names = ", ".join(path.name for path in corrections)
            raise OutputNotWritten(
                f"{folder} holds corrections ({names}) that would be lost; choose another "
                "-o FOLDER and apply them there, or give them up with --discard-corrections"
            )
        if not os.access(place, os.W_OK | os.X_OK):
            raise OutputNotWritten(
                f"cannot write {folder}: you may not write in it; allow it, or choose another -o "
                "FOLDER"
            )
    above = next(p for p in place.parents if stands(p))
    if not above.is_dir() or not os.access(above, os.W_OK | os.X_OK):
        raise OutputNotWritten(
            f"cannot write {folder}: {above} is not a folder that you may write to"
        )


@dataclass(frozen=True, slots=True)
class _Replaces:
    """What may be replaced; see `check_folder`."""

    own: Collection[str]
    overwrite: bool
    discard_corrections: bool
    record: str

    def check(self, folder: Path) -> None:
        check_folder(
            folder,
            overwrite=self.overwrite,
            discard_corrections=self.discard_corrections,
            record=self.record,
        )


@contextmanager
def whole_folder(
    folder: Path,
    own: Collection[str],
    *,
    overwrite: bool = False,
    discard_corrections: bool = False,
    record: str = RECORD_NAME,
) -> Iterator[Path]:
    """Give an empty folder to write into; it becomes `folder` when the block ends well.

    When the block raises or is interrupted, nothing of it is left, and `folder` is as it was.
    With `overwrite` the old results are replaced at the very end; files in the old folder that the
    program did not write are kept in the new one unless it has one of that name.

    Parameters
    ----------
    folder : where it is put.
    own : what the program itself writes into such a folder; patterns of names.
    overwrite, discard_corrections : see `check_folder`.
    record : the file that marks the kind of folder: `RECORD_NAME`, `MATCHES_NAME`,
        `COMPARISON_NAME`.

    Raises
    ------
    OutputNotWritten
        As `check_folder` says, or when the disk refuses a step.
    """
    replaces = _Replaces(own, overwrite, discard_corrections, record)
    replaces.check(folder)
    place = _real(folder)
    made = [p for p in place.parents if not stands(p)]
    hidden = str(folder)
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        with _new_sibling(place) as partial:
            hidden = str(partial)
            yield partial
            _make_safe(partial)
            _put_in_place(partial, place, replaces)
    except BaseException as fault:
        for above in made:
            with suppress(OSError):
                above.rmdir()
        if isinstance(fault, OSError):
            message = f"cannot write {folder}: {_reason(fault)}"
        elif isinstance(fault, OutputNotWritten):
            message = str(fault)
        else:
            raise
        # Nobody knows the hidden folder by its name.
        raise OutputNotWritten(message.replace(hidden, str(folder))) from fault


def inside(folder: Path, name: str) -> Path:
    """Return the path of a file in a folder, proved to lie inside it; every writer asks for it.

    Parameters
    ----------
    folder : an existing folder.
    name : of the file, with / between folders in it.

    Raises
    ------
    OutputNotWritten
        The name is empty, absolute, leads upward, has a drive or a sign that Windows takes for a
        separator of folders, or a link leads out of the folder.
    """
    parts = name.split("/")
    plain = not any(part in ("", ".", "..") for part in parts) and not re.search(r"[\\\0]", name)
    path = folder / name
    real = Path(os.path.realpath(path)) if plain and not PureWindowsPath(name).drive else None
    if real is None or not real.is_relative_to(os.path.realpath(folder)):
        raise OutputNotWritten(
            f"{printable(name)!r} is not written: it would not lie inside {folder}"
        )
    return path


def write_files(files: Mapping[str, bytes], folder: Path, place: Path) -> None:
    """Write files into an existing folder; `place` is where a fault says that it lies.

    Raises
    ------
    OutputNotWritten
        When a name leads out of the folder, see `inside`, or the disk refuses a file.
    """
    for name, content in files.items():
        try:
            path = inside(folder, name)
            if path.parent != folder:
                path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content)
        except OSError as fault:
            reason = fault.strerror or fault
            raise OutputNotWritten(f"cannot write {place / name}: {reason}") from fault


def write_whole(path: Path, content: bytes, *, overwrite: bool = False) -> None:
    """Write a single file that appears whole or not at all.

    Raises
    ------
    OutputNotWritten
        When the file exists and `overwrite` is not given, something else than a file stands there,
        such as a device, or the disk refuses a step.
    """
    place = _real(path)
    if place.is_dir():
        raise OutputNotWritten(f"{path} is a folder, not a file")
    if stands(place) and not place.is_file():
        raise OutputNotWritten(
            f"{path} is a device or a pipe and is not replaced, even with --overwrite; choose "
            "another -o"
        )
    if stands(place) and not overwrite:
        raise OutputNotWritten(f"{path} exists already; replace it with --overwrite")
    try:
        with _new_sibling(place) as partial:
            draft = partial / "draft"
            draft.write_bytes(content)
            _make_safe(partial)
            draft.replace(place)
            _sync(place.parent)
    except OSError as fault:
        raise OutputNotWritten(f"cannot write {path}: {_reason(fault)}") from fault


def clear_leftovers(folder: Path) -> None:
    """Remove the hidden folders that killed runs left in a folder; what cannot be removed stays.

    1. It has a lock whose name is ours, and nobody holds the lock; see `unheld`.
    2. A new and an old folder that both stand, for want of a swap in one step, are left to a
       person: the run was killed between two renames, and neither has its name.
    """
    with suppress(OSError):
        for lock in unheld(p for p in folder.iterdir() if _LOCKS.fullmatch(p.name)):  # rule 1
            partial = lock.with_suffix("")
            aside = _aside(partial)
            if not (partial.exists() and aside.exists()):  # rule 2
                shutil.rmtree(partial, ignore_errors=True)
                shutil.rmtree(aside, ignore_errors=True)


def unheld(locks: Iterable[Path]) -> Iterator[Path]:
    """Yield the files of locks that no living process holds; each goes when the next is asked for.

    The system gives such a lock at once, whatever the numbers of processes and names of machines.
    A lock that it does not give, or not on this disk, is not yielded.
    """
    for path in locks:
        lock = lock_at(path, wait=False)
        try:
            lock.acquire()
        except OSError:  # `filelock.Timeout` is one.
            continue
        try:
            yield path
        finally:
            let_go(lock)


def let_go(lock: filelock.BaseFileLock) -> None:
    """Remove the file of a lock and release it; where an open file stays, releasing removes it."""
    with suppress(OSError):
        Path(lock.lock_file).unlink()
    lock.release()


def _real(path: Path) -> Path:
    """Follow links, so that a link to a folder stays a link."""
    place = Path(os.path.realpath(path))
    if not place.name:
        raise OutputNotWritten(f"{path} cannot be replaced by results; choose another -o")
    if place.is_symlink():
        raise OutputNotWritten(f"{path} is a link that leads back to itself; choose another -o")
    return place


@contextmanager
def _new_sibling(place: Path) -> Iterator[Path]:
    """Make a hidden folder beside `place`; it is locked in the block, and goes when that ends.

    On a disk without locks nothing can prove the owner dead: what a killed run leaves there stays.
    """
    place.parent.stat()  # The lock would make a folder that is missing.
    clear_leftovers(place.parent)
    sibling, lock = _locked_sibling(place)
    try:
        yield sibling
    finally:
        shutil.rmtree(sibling, ignore_errors=True)
        let_go(lock)


def _locked_sibling(place: Path) -> tuple[Path, filelock.BaseFileLock]:
    """Make a hidden folder and its lock, with the rights that the user's mask gives."""
    number = 0
    while True:
        sibling = place.parent / f"{HIDDEN}{os.getpid()}-{number}"
        lock = lock_at(Path(f"{sibling}.lock"), wait=False)
        number += 1
        try:
            lock.acquire()
        except filelock.Timeout:
            continue
        except OSError:
            pass  # If nothing may be written here, making the folder says why.
        try:
            sibling.mkdir()
        except BaseException as fault:
            let_go(lock)
            if not isinstance(fault, FileExistsError):
                raise
        else:
            return sibling, lock


def lock_at(path: Path, *, wait: bool = True) -> filelock.BaseFileLock:
    """Return a lock that the system itself holds; a mere file would outlive its owner."""
    return filelock.FileLock(path, timeout=-1 if wait else 0, fallback_to_soft=False)


def _aside(partial: Path) -> Path:
    """Return where an old folder goes while the new one takes its place."""
    return partial.with_name(f"{partial.name}-old")


def _put_in_place(partial: Path, place: Path, replaces: _Replaces) -> None:
    """Put `partial` at `place`; an old folder there is restored if the new one is not in place.

    1. With nothing at `place` one rename does it.
    2. Else what someone else put into the old folder is taken over first.
    3. Where the system can, both folders change places in one step: a kill leaves a whole one.
    4. Elsewhere the old folder goes aside first, and back when the new one cannot take its place.
    """
    if not stands(place):
        try:
            partial.rename(place)  # rule 1
        except OSError:
            if not stands(place):
                raise
        else:
            return _sync(place.parent)
    replaces.check(place)  # Another run may have put its results there at any moment.
    _take_over(place, partial, replaces.own)  # rule 2
    if _exchanged(partial, place):  # rule 3
        _sync(place.parent)
        return shutil.rmtree(partial)
    aside = _aside(partial)
    try:
        place.rename(aside)  # rule 4
        partial.rename(place)
        _sync(place.parent)
    except BaseException:
        if aside.exists() and not place.exists():
            aside.rename(place)
        raise
    finally:
        if aside.exists() and place.exists():
            shutil.rmtree(aside)


def _exchanged(one: Path, other: Path) -> bool:
    """Let two folders change places in one step; return whether the system did it.

    Linux has `renameat2` for it, which Python does not offer by a name of its own.
    """
    if not sys.platform.startswith("linux"):
        return False
    try:
        rename = ctypes.CDLL(None, use_errno=True).renameat2
    except (AttributeError, OSError):
        return False
    paths = (os.fsencode(one), os.fsencode(other))
    return bool(rename(_AT_FDCWD, paths[0], _AT_FDCWD, paths[1], _RENAME_EXCHANGE) == 0)


def _take_over(old: Path, new: Path, own: Collection[str]) -> None:
    """Give a new folder what someone else put into the old one, and bring it to the disk."""
    taken = False
    for entry in sorted(old.iterdir()):
        ours = any(fnmatchcase(entry.name, name) for name in own)
        there = new / entry.name
        if ours or os.path.lexists(there):
            continue
        if entry.is_dir() and not entry.is_symlink():
            shutil.copytree(entry, there, symlinks=True, copy_function=_linked)
        else:
            _linked(str(entry), str(there))
        taken = True
    if taken:
        _sync(new)


def _linked(source: str, target: str) -> str:
    """Give a file a second name, or copy it where the disk has no such thing."""
    try:
        os.link(source, target, follow_symlinks=False)
    except OSError:
        shutil.copy2(source, target, follow_symlinks=False)
        if not Path(target).is_symlink():
            _sync(Path(target))
    return target


def _make_safe(folder: Path) -> None:
    """Bring every file below `folder`, and the folders themselves, to the disk."""
    for base, _, names in os.walk(folder):
        for name in names:
            _sync(Path(base) / name)
        _sync(Path(base))


def _sync(path: Path) -> None:
    try:
        handle = os.open(path, os.O_RDONLY)
    except OSError:
        if path.is_dir():
            return  # Windows opens no folders; its file system keeps the order of renames itself.
        raise
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _reason(fault: OSError) -> str:
    where = f" ({fault.filename})" if fault.filename else ""
    return f"{fault.strerror or fault}{where}"
