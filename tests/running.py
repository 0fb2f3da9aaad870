"""The program run as a process of its own, as its user starts it, however the tests were started.

A shell that starts the tests in the background lets them ignore SIGINT, `nohup` lets them ignore
SIGHUP, and what is ignored stays ignored in children. Every child here begins with all signals as
a terminal gives them, with nothing to read, and without the environment's settings of Python and
of this program.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

from click.testing import CliRunner

from rubbing2pattern.cli.main import main

ROOT = Path(__file__).parents[1]

PATIENCE_S = 1800.0
"""Seconds after which a child hangs: no load of a machine makes a run of the tests take so long."""

OF_A_TERMINAL = ("RUBBING2PATTERN", "COLUMNS", "LINES", "NO_COLOR", "FORCE_COLOR")
"""Beginnings of names in the environment that change what the program writes."""

Run = subprocess.CompletedProcess[str]


def environment(**more: str) -> dict[str, str]:
    """Return the environment of a child: its own, less what changes how the program runs."""
    taken = ("PYTHON", *OF_A_TERMINAL)
    inherited = {k: v for k, v in os.environ.items() if not k.startswith(taken)}
    return inherited | {"PYTHONPATH": str(ROOT), "PYTHONUTF8": "1"} | more


def signals_as_at_a_terminal() -> None:
    """Let the signals that end a program do so; in a child, before its program begins."""
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGQUIT):
        signal.signal(number, signal.SIG_DFL)


def settings(cwd: Path | None = None, **more: str) -> dict[str, Any]:
    """Return what all children have in common, for `subprocess`."""
    return {
        "cwd": cwd or ROOT,
        "env": environment(**more),
        "stdin": subprocess.DEVNULL,
        "text": True,
        "encoding": "utf-8",
        "preexec_fn": signals_as_at_a_terminal if os.name == "posix" else None,
    }


def run(*words: str | Path, cwd: Path | None = None, **more: str) -> Run:
    """Run the program with these words to its end; further names go into its environment."""
    return python("-m", "rubbing2pattern", *words, cwd=cwd, **more)


def run_here(*words: str | Path) -> Run:
    """Run the program with these words in this process, which has its libraries loaded already.

    For what a command does with folders. What is about the process itself, such as its streams, its
    signals and what it loads, needs `run`.
    """
    done = CliRunner().invoke(main, [str(word) for word in words], prog_name="rubbing2pattern")
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return Run(["rubbing2pattern", *words], done.exit_code, done.stdout, done.stderr)


def python(*words: str | Path, cwd: Path | None = None, **more: str) -> Run:
    """Run Python with these words to its end; further names go into its environment."""
    return subprocess.run(
        [sys.executable, *map(str, words)],
        **settings(cwd, **more),
        capture_output=True,
        timeout=PATIENCE_S,
        check=False,
    )


def started(
    *words: str | Path, code: str | None = None, module: str = "rubbing2pattern"
) -> subprocess.Popen[str]:
    """Start the program with these words, or some code that does it; a group of processes.

    It is not waited for: `ended` does.
    """
    begin = ["-m", module] if code is None else ["-c", code]
    return subprocess.Popen(
        [sys.executable, *begin, *map(str, words)],
        **settings(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,
    )


def ended(process: subprocess.Popen[str]) -> tuple[str, str]:
    """Wait for the end of a process and return what it wrote to stdout and stderr."""
    return process.communicate(timeout=PATIENCE_S)


def refused(result: Run, code: int, *words: str) -> None:
    """Check that a run was refused plainly: its code, one or two lines, no traceback."""
    assert result.returncode == code, result.stderr
    assert result.stdout == ""
    messages = [line for line in result.stderr.splitlines() if not is_progress(line)]
    assert 1 <= len(messages) <= 2, result.stderr
    assert messages[0].startswith("rubbing2pattern: ")
    assert "Traceback" not in result.stderr
    for word in words:
        assert word in result.stderr


def is_progress(line: str) -> bool:
    return line.partition(": ")[2].split(" ")[0].endswith("/10")


def listing(folder: Path) -> dict[str, bytes]:
    return {
        str(p.relative_to(folder)): p.read_bytes() if p.is_file() else b""
        for p in folder.rglob("*")
    }
