"""The one place where a file from outside is opened: a plain file, no larger than its limit.

A pipe or a device may have no end, so nothing is read from one: it is refused when it is opened.
"""

from __future__ import annotations

import errno
import io
import os
import stat
from pathlib import Path

from rubbing2pattern.errors import InputUnreadable, RubbingError

LARGEST_BYTES = 2_000_000_000
"""Bytes of any file that is read whole, 2 GB: a wrong one must not fill the memory."""

_NOT_PLAIN = {
    stat.S_IFIFO: "a pipe",
    stat.S_IFCHR: "a device",
    stat.S_IFBLK: "a device",
    stat.S_IFSOCK: "a socket",
}


def plain_file(path: Path) -> io.BufferedReader:
    """Open a plain file for reading; nothing waits for the other end of a pipe.

    Raises
    ------
    OSError
        It cannot be opened, or is no plain file; `strerror` says what it is.
    """
    handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    kind = stat.S_IFMT(os.fstat(handle).st_mode)
    if kind == stat.S_IFREG:
        return os.fdopen(handle, "rb")
    os.close(handle)
    if kind == stat.S_IFDIR:
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(path))
    what = _NOT_PLAIN.get(kind, "something else")
    raise OSError(errno.EINVAL, f"it is {what}, not a plain file", str(path))


def content_of(
    path: Path,
    most_bytes: int = LARGEST_BYTES,
    what: str = "a file of this kind",
    *,
    fault: type[RubbingError] = InputUnreadable,
    cure: str = "",
) -> bytes:
    """Return the content of a file.

    Parameters
    ----------
    path : the file.
    most_bytes : its limit; no more is read.
    what : what the limit belongs to, ``"a list of marks"``, for messages.
    fault : kind of the error.
    cure : what to do when it cannot be opened, for messages.

    Raises
    ------
    RubbingError
        Of the kind `fault`: the file cannot be opened, is no plain file, or is too large.
    """
    try:
        with plain_file(path) as file:
            content, size = file.read(most_bytes + 1), os.fstat(file.fileno()).st_size
    except OSError as reason:
        said = "; ".join(filter(None, (reason.strerror or str(reason), cure)))
        raise fault(f"cannot read {path}: {said}") from reason
    if len(content) > most_bytes:
        raise fault(
            f"{path} has {size} bytes and is larger than {_size(most_bytes)}, the limit for {what}"
        )
    return content


def text_of(
    path: Path,
    most_bytes: int,
    what: str,
    *,
    fault: type[RubbingError] = InputUnreadable,
    cure: str = "save it as UTF-8",
) -> str:
    r"""Return the text of a file in UTF-8, without a byte order mark, its lines ended by ``\n``.

    `cure` is for one that is not text; the other parameters and the errors are as for `content_of`.
    """
    content = content_of(path, most_bytes, what, fault=fault)
    text = decoded(content, str(path), fault=fault, cure=cure)
    return io.StringIO(text, newline=None).read()


def decoded(
    content: bytes,
    name: str,
    *,
    fault: type[RubbingError] = InputUnreadable,
    cure: str = "save it as UTF-8",
) -> str:
    """Return the text that bytes hold; `name` is the file's, see `text_of`."""
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as reason:
        raise fault(f"{name} is not text in UTF-8 (byte {reason.start}); {cure}") from reason


def stands(path: Path) -> bool:
    """Return whether a path exists; one that cannot be asked for, as too long a name, does not."""
    try:
        return path.exists()
    except OSError:
        return False


def _size(count: int) -> str:
    megabytes = count // 1_000_000
    return "one megabyte" if megabytes == 1 else f"{megabytes} megabytes"
