"""What a command says of a stdout that takes nothing more."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from rubbing2pattern.archiving.bag import write_bag
from tests.running import settings


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no such device")
@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--help",), "what --help says cannot be shown"),
        (("archive", "-h"), "what --help says cannot be shown"),
        (("--version",), "what --version says cannot be shown"),
        (("verify", "bag", "--json"), "bag is not as it was packed, but the summary cannot be"),
    ],
)
def test_a_full_stdout_is_no_defect(tmp_path: Path, words: tuple[str, ...], said: str) -> None:
    (tmp_path / "bag").mkdir()
    write_bag(tmp_path / "bag", {"a": b"a"}, {})
    with Path("/dev/full").open("w") as full:
        result = subprocess.run(
            [sys.executable, "-m", "rubbing2pattern", *words],
            **settings(tmp_path),
            stdout=full,
            stderr=subprocess.PIPE,
            check=False,
        )
    assert result.returncode == 6, result.stderr
    assert result.stderr.startswith(f"rubbing2pattern: {said}")
    assert len(result.stderr.splitlines()) == 1
