"""The program started as a process of its own, as its user starts it, but not waited for."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[1]


def started(*words: str | Path, code: str | None = None) -> subprocess.Popen[str]:
    """Start the program with these words, or some code that does it; a group of processes."""
    inherited = {k: v for k, v in os.environ.items() if not k.startswith("PYTHON")}
    begin = ["-m", "rubbing2pattern"] if code is None else ["-c", code]
    return subprocess.Popen(
        [sys.executable, *begin, *map(str, words)],
        cwd=ROOT,
        env=inherited | {"PYTHONPATH": str(ROOT), "PYTHONUTF8": "1"},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        encoding="utf-8",
        start_new_session=True,
    )
