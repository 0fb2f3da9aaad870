"""What a decoder written in C writes to the standard error stream, caught and kept from it.

libtiff says there what it stumbles over, and Pillow often takes the picture all the same.
"""

from __future__ import annotations

import os
import re
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager

_STDERR = 2
"""Number of the stream, by POSIX."""
_LINE = re.compile(rb"[A-Za-z]\w*: [^\x1b]*\n?")
"""A line of libtiff: a name of its own, then what is wrong."""
_ONE_AT_A_TIME = threading.Lock()


@contextmanager
def decoder_lines() -> Iterator[list[str]]:
    """Give a list that holds, after the block, what decoders have written in it.

    What others have written meanwhile, such as a progress bar, is passed on.
    """
    lines: list[str] = []
    with _ONE_AT_A_TIME, tempfile.TemporaryFile() as held:
        try:
            kept = os.dup(_STDERR)
        except OSError:  # the stream is closed, so nothing can be written to it
            yield lines
            return
        os.dup2(held.fileno(), _STDERR)
        try:
            yield lines
        finally:
            os.dup2(kept, _STDERR)
            os.close(kept)
            held.seek(0)
            for line in held:
                if _LINE.fullmatch(line):
                    lines.append(line.decode("utf-8", "replace").strip())
                else:
                    os.write(_STDERR, line)
