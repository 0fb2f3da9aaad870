"""Every command does its work where there is no network: none opens a socket or asks for a name."""

from __future__ import annotations

import http.client
import socket
from collections.abc import Callable
from pathlib import Path

import pytest

from rubbing2pattern.cli import main
from tests.readings import read_once
from tests.running import run_here
from tests.workflows.collecting import DPI, listed, picture

CORRECTIONS = """\
by = "A. Glazier"
date = 2026-11-26
[[add_lead]]
from = [20, 0]
to = [20, 50]
width_mm = 5
"""

COMMANDS = (
    "targets -o targets.pdf",
    "help tracing",
    f"trace a.png --dpi {DPI} -o panel",
    "correct panel fix.toml",
    "redraw panel --paper A3",
    "lists panel --pieces panel/pieces.csv",
    "compare panel panel -o compared",
    "archive panel -o package",
    "verify package",
    "batch list.csv -o all --jobs 1",
    f"match --results panel a.png --dpi {DPI} -o matched",
)


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[object]:
    """Refuse what reaches a network, also to modules that have it already, and note it."""
    noted: list[object] = []

    def refused(*args: object, **kwargs: object) -> None:
        noted.append(args)
        raise OSError(101, "Network is unreachable")

    monkeypatch.setattr(socket.socket, "__init__", refused)
    for name in ("getaddrinfo", "gethostbyname", "gethostbyaddr", "create_connection"):
        monkeypatch.setattr(socket, name, refused)
    return noted


def test_no_command_reaches_a_network(
    asked: list[object], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    for module in ("rubbing2pattern.workflows.batch", "rubbing2pattern.workflows.pipeline"):
        monkeypatch.setattr(f"{module}.trace_rubbing", read_once)
    picture(tmp_path / "a.png", 1, 1)
    listed(tmp_path / "list.csv", [{"file": "a.png", "dpi": DPI}])
    (tmp_path / "fix.toml").write_text(CORRECTIONS, encoding="utf-8")
    for command in COMMANDS:
        done = run_here(*command.split())
        assert done.returncode in (0, 8), (command, done.stderr)
        assert not asked, command
    # What `review` opens, and for whom, is tested with its server.
    assert {command.split()[0] for command in COMMANDS} >= {*main.commands} - {"demo", "review"}


@pytest.mark.parametrize(
    "reach",
    [
        lambda: http.client.HTTPConnection("localhost").connect(),
        lambda: socket.socket(),
        lambda: socket.getaddrinfo("localhost", 80),
    ],
)
def test_what_reaches_a_network_is_noted(asked: list[object], reach: Callable[[], object]) -> None:
    with pytest.raises(OSError, match="unreachable"):
        reach()
    assert asked
