"""No module of the package can reach a network; one asks a scheduler that its user names.

One serves the review page to a browser on the same machine.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.structure import house
from tests.structure.house import (
    PACKAGE,
    files_of,
    imported,
    inside,
    lines_of,
    no_faults,
    package_rooms,
    shown,
)

NETWORK = (
    *(
        "aiohttp",
        "anyio",
        "asyncio",
        "dask",
        "distributed",
        "ftplib",
        "http",
        "httpx",
        "imaplib",
        "nntplib",
    ),
    *("poplib", "requests", "smtplib", "socket", "socketserver", "ssl", "telnetlib", "urllib"),
    *("starlette", "urllib3", "uvicorn", "webbrowser", "websockets", "wsgiref", "xmlrpc"),
)
"""Modules that reach a network, those of Python and the usual others."""
ALLOWED = {
    "urllib.parse.quote": "documents/collection/page.py",
    "distributed.Client": "workflows/batch.py",
    "urllib.parse.parse_qs": "reviewing/guard.py",
    "socket": "reviewing/server.py",
    "uvicorn": "reviewing/server.py",
    "webbrowser.open_new_tab": "cli/review.py",
}
"""What only reads or writes addresses, and what `batch --scheduler` and `review` need, which serves
this machine alone (`tests/reviewing/test_guard.py`); by the module that may."""
ANSWERS = "starlette"
"""Puts answers together and opens nothing; what serves them is uvicorn."""


def reaches_a_network(path: Path) -> Iterator[str]:
    for name, line in imported(path):
        top = name.split(".")[0]
        if top == ANSWERS and inside(path).startswith("reviewing/"):
            continue
        if top in NETWORK and ALLOWED.get(name) != inside(path):
            yield f"{shown(path)}:{line} imports {name}"


@pytest.mark.parametrize("room", package_rooms())
def test_nothing_reaches_a_network(room: str) -> None:
    no_faults(reaches_a_network, files_of(room))


def test_what_reaches_one_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    text = "import socket\nfrom urllib.request import urlopen\nfrom distributed import Client\n"
    monkeypatch.setattr(house, "text_of", lambda path: text)
    assert lines_of(reaches_a_network(PACKAGE / "stages" / "reaching.py")) == [1, 2, 3]
