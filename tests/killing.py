"""A process killed at a chosen step of its work on the disk, so that no moment is left to chance.

For scripts that a test starts: the process is copied for each kill, which needs one thread.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
from collections.abc import Callable
from multiprocessing.connection import Connection
from pathlib import Path

STEPS = (
    "open", "os.link", "os.mkdir", "os.remove", "os.rename", "os.rmdir", "os.truncate",
    "shutil.rmtree",
)  # fmt: skip
"""What Python announces before it does it; its library reference, "Audit events table"."""


def killed_at(step: int, home: Path, work: Callable[[], object]) -> int | None:
    """Do work in a copy of this process, killed before it touches `home` for the `step`-th time.

    Returns None when it was killed, else in how many steps the work was done. Step 0 kills nothing.

    Raises
    ------
    AssertionError
        The work failed; the copy has written why to stderr.
    """
    here, there = multiprocessing.Pipe(duplex=False)
    fork = multiprocessing.get_context("fork")
    copy = fork.Process(target=_worked, args=(step, home, work, there))
    copy.start()
    copy.join()
    if copy.exitcode == -signal.SIGKILL:
        return None
    assert copy.exitcode == 0
    steps = here.recv()
    assert isinstance(steps, int)
    return steps


def _worked(step: int, home: Path, work: Callable[[], object], there: Connection) -> None:
    steps = 0

    def at_step(event: str, args: tuple[object, ...]) -> None:
        nonlocal steps
        if event in STEPS and str(args[0]).startswith(str(home)):
            steps += 1
            if steps == step:
                os.kill(os.getpid(), signal.SIGKILL)

    sys.addaudithook(at_step)
    work()
    there.send(steps)
