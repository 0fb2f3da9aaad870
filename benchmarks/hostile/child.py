"""The program run in a forked child: its own streams, signals, limits and processor time.

The parent has imported all, so that a run costs only what the program itself does. The child enters
the program where ``python -m rubbing2pattern`` does.
"""

from __future__ import annotations

import errno
import os
import resource
import signal
import sys
import tempfile
import time
import traceback
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from benchmarks.hostile.trial import Ended, Stdout

SLOW_S = 10.0
"""Processor time that a hostile input may cost at most."""
_KILLED_S = 40
"""Processor time after which the kernel ends a child."""
_HUNG_S = 90.0
"""Time by the clock after which a child is taken for waiting for ever."""
_MEMORY = 6 << 30
"""Bytes of address space that a child may take, so that the machine outlives it."""
_FILE = 2 << 30
"""Bytes of the largest file that a child may write."""
_BROKEN_EXIT = 120
"""Exit code of Python when it cannot flush stdout at its end."""
_POLL_S = 0.005
_RECURSION = 1000
"""Python's own limit; the parent writes deeper data than it allows."""
_WRITES = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND
_HARMLESS = ("/dev/null",)
_SPEAKS = ("socket.connect", "socket.getaddrinfo", "socket.bind", "subprocess.Popen", "os.system")
_CHANGES = {
    "os.mkdir": 1,
    "os.remove": 1,
    "os.rmdir": 1,
    "os.truncate": 1,
    "os.chmod": 1,
    "os.rename": 2,
    "os.link": 2,
    "os.symlink": 2,
}
"""Audit events of Python that change the disk; how many of their arguments are paths."""


def run(words: Sequence[str], place: Path, stdout: Stdout = Stdout.FILE) -> Ended:
    """Run the program in ``place/desk`` and wait for its end; `place` alone may be written."""
    with tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as err:
        heard, says = os.pipe()
        begun = time.monotonic()
        pid = os.fork()
        if pid == 0:
            os.close(heard)
            _child(words, place, (_stream(stdout, out.fileno()), err.fileno(), says))
        os.close(says)
        status, used, hung = _waited(pid, begun)
        with os.fdopen(heard, "rb") as events:
            outside = events.read().decode("utf-8", "replace").split("\0")
        code = os.waitstatus_to_exitcode(status)
        texts = []
        for stream in (out, err):
            stream.seek(0)
            texts.append(stream.read().decode("utf-8", "replace"))
    spent = used.ru_utime + used.ru_stime
    return Ended(code, texts[0], texts[1], spent, hung, tuple(dict.fromkeys(filter(None, outside))))


def _waited(pid: int, begun: float) -> tuple[int, Any, bool]:
    """Wait for a child, and end its whole group when it hangs."""
    hung = False
    while True:
        done, status, used = os.wait4(pid, os.WNOHANG)
        if done:
            return status, used, hung
        if not hung and time.monotonic() - begun > _HUNG_S:
            hung = True
            os.killpg(pid, signal.SIGKILL)
        time.sleep(_POLL_S)


def _stream(stdout: Stdout, regular: int) -> int:
    match stdout:
        case Stdout.FULL:
            return os.open("/dev/full", os.O_WRONLY)
        case Stdout.NOBODY:
            nobody, end = os.pipe()
            os.close(nobody)
            return end
        case Stdout.CLOSED:
            return -1
    return regular


def _child(words: Sequence[str], place: Path, streams: tuple[int, int, int]) -> None:
    """Run the program and leave this process; never returns."""
    code = 1
    try:
        os.setsid()
        _set_up(place, streams)
        sys.argv = ["rubbing2pattern", *words]
        code = _entered()
    except BaseException:
        os.write(2, traceback.format_exc().encode("utf-8", "replace"))
    finally:
        os._exit(code)


def _set_up(place: Path, streams: tuple[int, int, int]) -> None:
    out, err, says = streams
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    os.dup2(err, 2)
    os.dup2(out, 1) if out >= 0 else os.close(1)
    sys.stdin = open(0, encoding="utf-8", closefd=False)  # noqa: SIM115
    # A closed stream is None, as Python has it.
    sys.stdout = None if out < 0 else open(1, "w", encoding="utf-8", closefd=False)  # noqa: SIM115
    sys.stderr = open(2, "w", encoding="utf-8", errors="backslashreplace", closefd=False)  # noqa: SIM115
    os.environ |= {"HOME": str(place / "home"), "TMPDIR": str(place / "tmp")}
    os.environ.pop("RUBBING2PATTERN_DEBUG", None)
    tempfile.tempdir = None
    sys.dont_write_bytecode = True
    sys.setrecursionlimit(_RECURSION)
    os.chdir(place / "desk")
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGPIPE):
        signal.signal(number, signal.SIG_DFL)
    signal.signal(signal.SIGINT, signal.default_int_handler)
    signal.signal(signal.SIGPIPE, signal.SIG_IGN)  # as Python begins
    for what, most in (
        (resource.RLIMIT_CPU, _KILLED_S),
        (resource.RLIMIT_AS, _MEMORY),
        (resource.RLIMIT_FSIZE, _FILE),
        (resource.RLIMIT_CORE, 0),
    ):
        resource.setrlimit(what, (most, most))
    _listen(place, says)


def _entered() -> int:
    """Enter the program as its own process does; return its exit code."""
    from rubbing2pattern.cli import entry

    code: Any = 0
    try:
        entry()
    except SystemExit as end:
        code = end.code
    try:
        if sys.stdout is not None:
            sys.stdout.flush()
        sys.stderr.flush()
    except OSError:
        traceback.print_exc()
        return _BROKEN_EXIT
    return code if isinstance(code, int) else 0 if code is None else 1


def _listen(place: Path, says: int) -> None:
    """Say and refuse every change outside `place`, and say every word to another machine."""
    home = os.path.realpath(place)

    def changed(path: Any) -> None:
        if not isinstance(path, str | bytes | os.PathLike):
            return
        real = os.path.realpath(os.fsdecode(path))
        # What does not lie in a folder cannot be written: the attempt fails.
        possible = Path(real).parent.is_dir()
        if possible and not real.startswith(home + os.sep) and real not in _HARMLESS:
            os.write(says, f"writes {real}\0".encode("utf-8", "backslashreplace"))
            # Said, and not done: a defect that is found must do no harm to this machine.
            raise PermissionError(errno.EPERM, "outside the folder of the trial", real)

    def hook(event: str, given: tuple[Any, ...]) -> None:
        if event == "open":
            path, mode, flags = given
            if flags & _WRITES or (isinstance(mode, str) and set(mode) & set("wax+")):
                changed(path)
        elif event in _CHANGES:
            for path in given[: _CHANGES[event]]:
                changed(path)
        elif event in _SPEAKS:
            os.write(says, f"{event} {given!r}\0".encode("utf-8", "backslashreplace"))

    sys.addaudithook(hook)
